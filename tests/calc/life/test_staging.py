"""Edges to lay ready for a batch beside all that are in use: counted, simulated, and for batches of any size."""

from __future__ import annotations

import numpy as np
import pytest

from calc.errors import WorkingError
from calc.life import staging
from calc.life.batch import edges_to_stage
from calc.life.predictive import belief
from calc.life.staging import batch_edges_to_stage

VAGUE = belief(np.log(60), np.log(2.5), 0.05, 0.02, breaks=3, break_minutes=900)


def test_one_edge_in_use_is_counted_as_before() -> None:
    known = belief(np.log(60), np.log(3))
    assert batch_edges_to_stage(45, np.inf, 40, 6, known) == pytest.approx(edges_to_stage(45, 40, 6, 3, 60))
    mean, ready = edges_to_stage(0, 40, 6, 3, 60, change_at_parts=6)
    assert batch_edges_to_stage([], [], 40, 6, known, 6) == pytest.approx((mean + 1, ready + 1))


@pytest.mark.parametrize("batch", [40, 3000])
def test_a_few_hopeless_laws_among_those_believed_forbid_no_answer(batch: int) -> None:
    """A starting life of half an hour, good to a factor of 1.6, and parts of five minutes."""
    start = belief(np.log(30), np.log(2.5), 0.25, 0.09)
    finishing = np.exp(-((5.0 / start.scale[0]) ** start.shape[0]))
    assert 0 < start.weight[0][finishing < 1e-3].sum() < 0.01
    mean, ready = batch_edges_to_stage([], [], batch, 5.0, start)
    # As many edges as do by each law alone; those asked for must be enough by 95 % of the weight.
    alone = [
        batch_edges_to_stage([], [], batch, 5.0, belief(np.log(scale), np.log(shape)))
        for scale, shape in zip(start.scale[0], start.shape[0], strict=True)
        if np.exp(-((5.0 / scale) ** shape)) > 1e-3
    ]
    fewest, most = min(one[0] for one in alone), max(one[1] for one in alone)
    assert fewest < mean < ready < most
    assert batch_edges_to_stage([], [], batch, 5.0, start, None, 0.9)[1] < ready


@pytest.mark.parametrize("confidence", [0.95, 0.9999])
def test_where_edges_may_well_finish_no_part_none_are_laid_ready(confidence: float) -> None:
    doubtful = belief(np.log(30), np.log(3), 0.64 if confidence < 0.99 else 0.2, 0.09)
    with pytest.raises(WorkingError, match="hardly ever finish"):
        batch_edges_to_stage([], [], 40, 20.0, doubtful, None, confidence)


def test_a_law_too_steep_for_any_number_still_answers() -> None:
    vague = belief(np.log(30), np.log(30), 0.1, 1.0)
    mean, ready = batch_edges_to_stage([90.0, 3.0], [np.inf, 4], 200, 2.0, vague)
    assert 0 < mean < ready <= 200


def test_several_edges_in_use_are_those_of_a_simulated_machine() -> None:
    draw = np.random.default_rng(17)
    shape, scale, each, batch, count, times = 2.4, 55.0, 4.0, 50, 9, 40_000
    used, ahead = np.array([20.0, 6.0]), np.array([4, 7])
    needed = np.empty(times)
    for run in range(times):
        lives = scale * ((used / scale) ** shape + draw.exponential(size=2)) ** (1 / shape) - used
        left = batch - int(np.minimum(np.floor(lives / each), ahead).sum())
        fresh = np.minimum(np.floor(scale * draw.exponential(size=60) ** (1 / shape) / each), count).cumsum()
        needed[run] = 0 if left <= 0 else 1 + int(np.searchsorted(fresh, left))
    mean, ready = batch_edges_to_stage(used, ahead, batch, each, belief(np.log(scale), np.log(shape)), count)
    assert abs(mean - needed.mean()) < 3 * needed.std() / np.sqrt(times)
    slack = 3 * np.sqrt(0.05 * 0.95 / times)
    assert np.mean(needed <= ready) >= 0.95 - slack
    assert np.mean(needed <= ready - 1) < 0.95 + slack


@pytest.mark.parametrize("parts", [510, 1000, 2600])
@pytest.mark.parametrize(
    ("each", "count"), [(2.0, 20), (2.0, None), (6.0, 4), (0.05, None), (0.05, 600), (0.3, 90), (20.0, None)]
)
def test_a_large_batch_is_answered_as_if_counted_part_by_part(
    each: float, count: int | None, parts: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    large = batch_edges_to_stage([45, 10], [3, 12], parts, each, VAGUE, count)
    monkeypatch.setattr(staging, "PART_BY_PART", 5000)
    mean, ready = batch_edges_to_stage([45, 10], [3, 12], parts, each, VAGUE, count)
    assert large[0] == pytest.approx(mean, rel=0.01)
    assert abs(large[1] - ready) <= max(1, 0.005 * ready)


def test_more_parts_take_more_edges_up_to_any_number() -> None:
    answers = [batch_edges_to_stage([], [], parts, 2.0, VAGUE, 20) for parts in (10, 900, 1100, 20_000, 3_000_000)]
    assert answers == sorted(answers)
    assert answers[-1][0] == pytest.approx(150 * answers[-2][0], rel=0.01)


def test_a_change_that_is_due_now_makes_no_more_parts() -> None:
    assert batch_edges_to_stage([40], [0], 30, 6, VAGUE, 5) == batch_edges_to_stage([], [], 30, 6, VAGUE, 5)


@pytest.mark.parametrize("parts", [40, 4000])
def test_what_cannot_be_counted_is_refused(parts: int) -> None:
    with pytest.raises(WorkingError, match="hardly ever finish a part"):
        batch_edges_to_stage([], [], parts, 5000, belief(np.log(60), np.log(3)))
    with pytest.raises(WorkingError, match="ahead must not be below zero"):
        batch_edges_to_stage([4], [-1], parts, 5, VAGUE)
    with pytest.raises(WorkingError, match="parts must be above zero"):
        batch_edges_to_stage([4], [1], 0, 5, VAGUE)
