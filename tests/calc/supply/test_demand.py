"""From a plan's parts to tips, day by day."""

import math
from typing import Any

import numpy as np
import pytest

from calc.errors import WorkingError
from calc.supply.demand import (
    DemandByDay,
    demand_by_day,
    minutes_in_cut,
    project_stock,
    spread_parts,
    tips_from_changes,
    whole_part_changes,
)
from calc.supply.paths import Streams, changes_in_months
from calc.supply.renewal import renewal_count

DAYS = 20


def streams(**changes: object) -> Streams:
    exposure = np.cumsum(np.full((3, DAYS), [[20.0], [35.0], [8.0]]), axis=1)
    law = {"design": [0, 0, 1], "shape": [3.0, 2.0, 4.0], "scale": [45.0, 60.0, 30.0], "exposure": exposure}
    return Streams.of(**{**law, **changes})  # type: ignore[arg-type]


def test_possible_months_follow_the_exact_count_of_each_day() -> None:
    played = changes_in_months(streams(used=[10.0, 0.0, 20.0], change_at=[40.0, math.inf, 25.0]), 3)
    assert played.shape == (3, 512, DAYS)
    assert (np.diff(played, axis=-1) >= 0).all()
    assert played[2].max() == 0, "a design that nothing uses needs nothing"
    for day in (0, 7, DAYS - 1):
        first = renewal_count(3.0, 45.0, 20.0 * (day + 1), 10.0, 40.0)
        second = renewal_count(2.0, 60.0, 35.0 * (day + 1))
        exact = float(first.mean + second.mean)
        assert played[0, :, day].mean() == pytest.approx(exact, rel=0.01, abs=0.02)
        spread = float(first.variance + second.variance)
        assert played[0, :, day].var() == pytest.approx(spread, rel=0.15, abs=0.05)


def test_breakage_is_played_as_the_exact_count_has_it() -> None:
    played = changes_in_months(streams(breakage=[0.02, 0.0, 0.0]), 2)
    exact = renewal_count(3.0, 45.0, 20.0 * DAYS, breakage=0.02).mean + renewal_count(2.0, 60.0, 35.0 * DAYS).mean
    assert played[0, :, -1].mean() == pytest.approx(float(exact), rel=0.01)


def test_the_same_plan_gives_the_same_answer() -> None:
    assert (changes_in_months(streams(), 2) == changes_in_months(streams(), 2)).all()


def test_an_unsure_life_law_widens_the_range() -> None:
    sure = changes_in_months(streams(), 2)[0, :, -1]
    unsure = changes_in_months(streams(scale_spread=0.4, shape_spread=0.2), 2)[0, :, -1]
    assert unsure.std() > 2 * sure.std()
    assert unsure.mean() > sure.mean(), "short lives cost more edges than long lives save"


def test_scenarios_share_their_luck() -> None:
    base = streams().exposure
    both = streams(exposure=np.stack([base, base * 1.1]))
    played = changes_in_months(both, 2)
    assert played.shape == (2, 2, 512, DAYS)
    assert (played[0] == changes_in_months(streams(), 2)).all()
    assert (played[1] >= played[0]).all(), "ten percent more work never takes fewer edges in the same month"


def test_days_without_work_take_nothing() -> None:
    idle = np.zeros((3, DAYS))
    idle[0, 10:] = 120.0
    played = changes_in_months(streams(exposure=idle, used=[200.0, 0.0, 0.0], change_at=50.0), 2)
    assert played[0, :, 9].max() == 0
    assert played[0, :, 10].min() >= 1
    assert changes_in_months(streams(exposure=np.zeros((3, DAYS))), 2).max() == 0


def test_changes_fall_on_the_days_that_cut() -> None:
    # Sure edges of 30 minutes on a week with a short day and a free weekend.
    minutes = np.cumsum([31.0, 0.5, 0.5, 60.0, 0.0, 0.0, 45.0])
    week = Streams.of(design=[0], shape=300.0, scale=900.0, exposure=[minutes], change_at=30.0)
    assert np.unique(changes_in_months(week, 1)[0], axis=0).tolist() == [[1, 1, 1, 3, 3, 3, 4]]


def test_no_streams_is_an_empty_month() -> None:
    empty = Streams.of(design=[], shape=3.0, scale=45.0, exposure=np.zeros((0, 5)))
    assert changes_in_months(empty, 2).max() == 0


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"design": [0, 0, -1]}, "design"), ({"design": 1}, "design"), ({"exposure": np.zeros((2, 5))}, "exposure"),
        ({"exposure": np.zeros((3, 0))}, "exposure"), ({"exposure": np.zeros(3)}, "exposure"),
        ({"exposure": [[2.0, 1.0]] * 3}, "exposure"), ({"exposure": [[-1.0, 1.0]] * 3}, "exposure"),
        ({"exposure": [[math.nan]] * 3}, "exposure"), ({"shape_spread": -0.1}, "shape_spread"),
        ({"scale_spread": math.inf}, "scale_spread"), ({"scale": 0.0}, "scale"),
    ],
)  # fmt: skip
def test_bad_streams_are_named(changes: dict[str, object], field: str) -> None:
    with pytest.raises(WorkingError) as refused:
        streams(**changes)
    assert refused.value.argument == field


def test_a_stream_of_an_unknown_design_and_an_impossible_life_are_refused() -> None:
    with pytest.raises(WorkingError, match="not in the list"):
        changes_in_months(streams(), 1)
    with pytest.raises(WorkingError, match="check its life"):
        changes_in_months(streams(scale=1e-4), 2)


def test_tips_follow_their_corners() -> None:
    changes = np.arange(0, 11, dtype=np.int32).reshape(1, 1, 11)
    assert tips_from_changes(changes, 4).ravel().tolist() == [0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3]
    assert tips_from_changes(changes, 4, fresh_edges=2).ravel().tolist() == [0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2]
    assert tips_from_changes(changes, 1, scrap_chance=1.0).ravel().tolist() == list(range(11))
    assert tips_from_changes(changes, 4, scrap_chance=1.0).ravel().tolist() == list(range(11))
    assert tips_from_changes(changes, 2, fresh_edges=3, scrap_chance=1.0).ravel().tolist() == list(range(11))


def test_spoilt_tips_cost_what_they_should() -> None:
    # Corners used per tip is a geometric number stopped at 4: mean (1 - (1 - q)^4) / q.
    changes = np.full((1, 512, 1), 400, dtype=np.int32)
    tips = tips_from_changes(changes, 4, scrap_chance=0.2).mean()
    assert tips == pytest.approx(400 * 0.2 / (1 - 0.8**4), rel=0.01)


def test_scenarios_of_tips_keep_their_axis() -> None:
    changes = np.full((2, 1, 8, 3), 6, dtype=np.int32)
    assert tips_from_changes(changes, 2, scrap_chance=0.3).shape == (2, 1, 8, 3)


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ({"edges_per_tip": 0}, "edges_per_tip"), ({"edges_per_tip": 1.5}, "edges_per_tip"),
        ({"edges_per_tip": 2, "fresh_edges": -1}, "fresh_edges"),
        ({"edges_per_tip": 2, "fresh_edges": 0.5}, "fresh_edges"),
        ({"edges_per_tip": 2, "scrap_chance": 1.1}, "scrap_chance"),
        ({"edges_per_tip": 2, "scrap_chance": math.nan}, "scrap_chance"),
    ],
)  # fmt: skip
def test_bad_tips_are_named(arguments: dict[str, Any], field: str) -> None:
    with pytest.raises(WorkingError) as refused:
        tips_from_changes(np.zeros((1, 4, 2), dtype=np.int32), **arguments)
    assert refused.value.argument == field
    with pytest.raises(WorkingError, match="axes of designs"):
        tips_from_changes(np.zeros(3, dtype=np.int32), 1)


def test_demand_reads_off_mean_and_quantiles() -> None:
    months = np.arange(100, dtype=np.int32).reshape(1, 100, 1)
    demand = demand_by_day(months, per_change=2)
    assert {level: float(q[0, 0]) for level, q in demand.quantiles.items()} == {0.1: 18, 0.5: 98, 0.9: 178, 0.95: 188}
    assert float(demand.mean[0, 0]) == pytest.approx(99.0)
    assert float(demand.spread[0, 0]) == pytest.approx(2 * np.arange(100).std())
    with pytest.raises(WorkingError, match="At least one tip"):
        demand_by_day(months, per_change=0)


def test_parts_are_spread_over_working_days_only() -> None:
    working = np.array([True] * 5 + [False] * 2)
    spread = spread_parts([10, 0], [0, 5], [6, 6], working)
    assert spread.tolist() == [[2.0] * 5 + [0.0] * 2, [0.0] * 7]
    assert minutes_in_cut(spread, [1.5, 2.0])[0].tolist() == [3.0, 6.0, 9.0, 12.0, 15.0, 15.0, 15.0]


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        (([-1], [0], [1]), "parts"), (([math.nan], [0], [1]), "parts"), (([1], [-1], [1]), "first_day"),
        (([1], [0], [7]), "first_day"), (([1], [3], [2]), "last_day"), (([1], [5], [6]), "working"),
    ],
)  # fmt: skip
def test_bad_lines_are_named(arguments: tuple[list[float], list[int], list[int]], field: str) -> None:
    with pytest.raises(WorkingError) as refused:
        spread_parts(*arguments, [True] * 5 + [False] * 2)
    assert refused.value.argument == field


def test_minutes_per_part_cannot_be_negative() -> None:
    with pytest.raises(WorkingError, match="minutes in cut per part"):
        minutes_in_cut([[1.0]], [-1.0])


def test_stock_names_its_first_short_day() -> None:
    needed = DemandByDay(
        np.array([[2.0, 4.0, 6.0]]),
        {0.5: np.array([[2.0, 4.0, 6.0]]), 0.95: np.array([[3.0, 6.0, 9.0]])},
        np.zeros((1, 3)),
    )
    short = project_stock([5], np.zeros((1, 3)), needed)
    assert (short.short_likely.tolist(), short.short_careful.tolist()) == ([2], [1])
    covered = project_stock([5], [[0, 0, 4]], needed)
    assert (covered.short_likely.tolist(), covered.short_careful.tolist()) == ([-1], [1])
    assert covered.mean.tolist() == [[3.0, 1.0, 3.0]]
    with pytest.raises(WorkingError, match="on hand"):
        project_stock([-1], np.zeros((1, 3)), needed)
    with pytest.raises(WorkingError, match="Arrivals"):
        project_stock([1], [[0, -1, 0]], needed)


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ({"life": "long", "minutes_per_part": "1", "parts": 1}, "life"),
        ({"life": "5", "minutes_per_part": "0", "parts": 1}, "minutes_per_part"),
        ({"life": "5", "minutes_per_part": "1", "parts": -1}, "parts"),
        ({"life": "5", "minutes_per_part": "1", "parts": 1, "parts_on_edge": -1}, "parts"),
        ({"life": "5", "minutes_per_part": "1", "parts": 1, "edges_per_tip": 0}, "edges_per_tip"),
        ({"life": "5", "minutes_per_part": "6", "parts": 1}, "life"),
    ],
)  # fmt: skip
def test_a_bad_batch_is_named(arguments: dict[str, str], field: str) -> None:
    with pytest.raises(WorkingError) as refused:
        whole_part_changes(**arguments)  # type: ignore[arg-type]
    assert refused.value.argument == field
