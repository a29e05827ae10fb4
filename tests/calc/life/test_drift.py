"""Change points and lots: how often they cry for nothing, how often they find what is there."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from calc.errors import WorkingError
from calc.life.drift import Drift, find_drift, not_by_chance, running_residuals
from calc.life.fitting import fit, lives
from calc.life.likelihood import Prior
from calc.life.lots import compare_lots, lots_that_differ

SHAPE = 3.0
Floats = npt.NDArray[np.float64]


def simulated(
    groups: int, edges: int, taken_off: Floats | float, *, seed: int, factor: float = 1.0, last: int = 0
) -> tuple[npt.NDArray[np.bool_], Floats]:
    """Weibull lives at scale 1, taken off at `taken_off`; the last ones last `factor` as long. Scale fitted again."""
    chance = np.random.default_rng(seed)
    drawn = chance.weibull(SHAPE, (groups, edges))
    drawn[:, edges - last :] *= factor
    ended = drawn <= taken_off
    summed = np.minimum(drawn, taken_off) ** SHAPE
    return ended, np.asarray(summed * ((ended.sum(1) + 1) / (summed.sum(1) + 1))[:, None])


def found_in(ended: npt.NDArray[np.bool_], summed: Floats) -> Drift:
    groups, edges = ended.shape
    return find_drift(np.repeat(np.arange(groups), edges), ended.ravel(), summed.ravel(), np.full(groups, SHAPE))


# Nothing taken off, about half, six in seven, and a shop that began to change early half-way through.
TAKEN_OFF: dict[str, Floats | float] = {
    "none": 9.0,
    "half": np.random.default_rng(3).uniform(0.3, 1.3, (1500, 40)),
    "most": np.random.default_rng(4).uniform(0.5, 0.6, (1500, 40)),
    "later": np.where(np.arange(40) < 20, 9.0, 0.5),
}


@pytest.mark.parametrize("taken_off", TAKEN_OFF)
def test_where_nothing_changed_one_group_in_a_hundred_seems_to_have(taken_off: str) -> None:
    found = found_in(*simulated(1500, 40, TAKEN_OFF[taken_off], seed=11))
    # 15 are expected; 26 or more come by chance in fewer than one of two hundred such tests (binomial).
    assert np.sum(found.p_value <= 0.01) < 26
    assert np.mean(found.p_value <= 0.05) < 0.067


@pytest.mark.parametrize("taken_off", [9.0, 0.7])
def test_a_law_fitted_to_the_same_edges_raises_no_more(taken_off: float) -> None:
    """Scale and shape as the shop fits them, under a starting value that is half as long as lives really are."""
    groups, edges, chance = 1000, 40, np.random.default_rng(21)
    scale = np.exp(chance.normal(np.log(50), 0.3, groups))[:, None]
    minutes = scale * chance.weibull(SHAPE, (groups, edges))
    ended = minutes <= taken_off * scale
    minutes = np.minimum(minutes, taken_off * scale)
    start = np.tile([np.log(25), np.log(2.5)], (groups, 1))
    prior = Prior(start, np.tile(np.diag([1 / 0.5**2, 1 / 0.3**2]), (groups, 1, 1)))
    owner = np.repeat(np.arange(groups), edges)
    learnt = fit(lives(owner, ended.ravel(), minutes.ravel(), np.ones((groups * edges, 1))), prior)
    shape = np.exp(learnt.log_shape)
    summed = (minutes / np.exp(learnt.coefficients)) ** shape[:, None]
    found = find_drift(owner, ended.ravel(), summed.ravel(), shape)
    # 10 are expected; 19 or more come by chance in about one of two hundred such tests (binomial).
    assert np.sum(found.p_value <= 0.01) < 19


def test_lives_that_fall_by_four_tenths_are_usually_found_and_rightly_dated() -> None:
    found = found_in(*simulated(150, 40, 9.0, seed=12, factor=0.6, last=12))
    sure = (found.p_value <= 0.01) & (found.factor < 1)
    assert sure.mean() > 0.6
    assert np.median(found.change[sure]) == pytest.approx(28, abs=1)
    assert np.all(found.ended_since[sure] == 40 - found.change[sure])
    inside = (found.low <= 0.6) & (found.high >= 0.6)
    assert 0.74 < inside[sure].mean() < 0.9


def test_lives_that_rise_are_told_apart_from_those_that_fall() -> None:
    found = found_in(*simulated(40, 60, 9.0, seed=13, factor=2.0, last=30))
    sure = found.p_value <= 0.01
    assert sure.mean() > 0.9
    assert np.all(found.factor[sure] > 1)


def test_groups_of_any_size_get_the_answer_they_get_alone() -> None:
    ended, summed = simulated(3, 20, 9.0, seed=14, factor=0.4, last=8)
    sizes = [20, 12, 20]
    group = np.repeat([0, 1, 2], sizes)
    rows = np.concatenate([np.arange(20 - size, 20) + 20 * place for place, size in enumerate(sizes)])
    mixed = np.random.default_rng(1).permutation(np.repeat([0, 1, 2], sizes))  # edges of the groups in turn
    order = np.argsort(mixed, kind="stable").argsort(kind="stable")
    together = find_drift(mixed, ended.ravel()[rows][order], summed.ravel()[rows][order], [SHAPE] * 3)
    for place in range(3):
        own = rows[group == place]
        alone = find_drift([0] * own.size, ended.ravel()[own], summed.ravel()[own], [SHAPE])
        for name in Drift._fields:
            assert getattr(together, name)[place] == getattr(alone, name)[0], name


@pytest.mark.parametrize("ended", [[True] * 5, [False] * 12, [True] * 5 + [False] * 9])
def test_too_few_ends_say_nothing(ended: list[bool]) -> None:
    found = find_drift([0] * len(ended), ended, [0.5] * len(ended), [SHAPE])
    assert (found.change[0], found.ended_since[0], found.p_value[0]) == (-1, 0, 1.0)
    assert np.isnan(found.factor[0])


def test_no_edge_and_no_group_are_no_trouble() -> None:
    assert find_drift([], [], [], []).p_value.size == 0
    assert find_drift([], [], [], [SHAPE]).change.tolist() == [-1]


@pytest.mark.parametrize(
    ("given", "at_fault"),
    [
        (([0, 0], [True], [1.0, 1.0], [SHAPE]), "ended"),
        (([1], [True], [1.0], [SHAPE]), "group"),
        (([0], [True], [-1.0], [SHAPE]), "summed_chance"),
        (([0], [True], [1.0], [0.0]), "shape"),
    ],
)
def test_what_cannot_be_searched_is_named(
    given: tuple[list[int], list[bool], list[float], list[float]], at_fault: str
) -> None:
    with pytest.raises(WorkingError) as refused:
        find_drift(*given)
    assert refused.value.argument == at_fault


def test_residuals_of_a_right_law_stay_about_nothing() -> None:
    ended, summed = simulated(1, 4000, 0.9, seed=15)
    assert abs(running_residuals(ended[0], summed[0])).max() < 4 * np.sqrt(ended.sum())


def test_of_what_is_acted_on_few_is_chance() -> None:
    """60 groups, of which six have really changed: the share of chance among those acted on, over many shops."""
    chance = np.random.default_rng(6)
    wrong = []
    for _ in range(400):
        p_values = np.concatenate([chance.uniform(0, 1, 54), chance.uniform(0, 0.002, 6)])
        acted = not_by_chance(p_values, 60)
        wrong.append(acted[:54].sum() / max(acted.sum(), 1))
    assert 0.05 < np.mean(wrong) < 0.1


def test_nothing_found_and_nothing_sure_are_not_acted_on() -> None:
    assert not_by_chance([], 50).tolist() == []
    assert not_by_chance([0.009], 50).tolist() == [False]
    assert not_by_chance([0.009], 5).tolist() == [True]


@pytest.mark.parametrize(
    ("given", "at_fault"), [(([-1.0], 3), "p_values"), (([0.1, 0.1], 1), "looked_at"), (([0.1], 1, 1.0), "false")]
)
def test_findings_that_cannot_be_weighed_are_named(given: tuple[list[float], int], at_fault: str) -> None:
    with pytest.raises(WorkingError) as refused:
        not_by_chance(*given)
    assert refused.value.argument == at_fault


# --- lots ---------------------------------------------------------------------------------------------


def lot_lives(factors: list[float], edges: int, seed: int) -> tuple[list[int], npt.NDArray[np.bool_], Floats]:
    chance = np.random.default_rng(seed)
    drawn = chance.weibull(SHAPE, (len(factors), edges)) * np.array(factors)[:, None]
    lot = [place for place in range(len(factors)) for _ in range(edges)]
    return lot, (drawn <= 1.1).ravel(), np.asarray(np.minimum(drawn, 1.1) ** SHAPE).ravel()


def test_a_bad_lot_is_found_and_the_others_are_not_blamed() -> None:
    lots = compare_lots(*lot_lives([1.0, 1.0, 0.6, 1.0], 15, seed=1), SHAPE)
    assert lots_that_differ(lots).tolist() == [2]
    assert lots.factor[2] < lots.factor[[0, 1, 3]].min()
    assert lots.edges.tolist() == [15] * 4


def test_lots_that_differ_as_believed_lie_in_their_ranges_eight_times_in_ten() -> None:
    chance = np.random.default_rng(2)
    inside = []
    for seed in range(120):
        true = np.exp(chance.normal(0, 0.2, 6))
        lots = compare_lots(*lot_lives(true.tolist(), 8, seed=seed), SHAPE)
        ratio = true / np.exp(np.mean(np.log(true)))
        inside.append((lots.low <= ratio) & (ratio <= lots.high))
    assert 0.74 < np.mean(inside) < 0.88


def test_the_chance_to_be_worse_is_that_of_two_gamma_beliefs() -> None:
    """Against draws of both beliefs, worked out here anew."""
    lot, ended, summed = [0] * 6 + [1] * 3, [True] * 9, [1.0] * 6 + [0.4] * 3
    lots = compare_lots(lot, ended, summed, SHAPE)
    sure = 1 / (SHAPE * 0.2) ** 2
    fair = (9 + sure) / (7.2 + sure)
    chance = np.random.default_rng(5)
    own = chance.gamma(sure + 3, 1 / (sure + 1.2 * fair), 200_000)
    rest = chance.gamma(sure + 6, 1 / (sure + 6.0 * fair), 200_000)
    assert lots.worse[1] == pytest.approx(np.mean(own > rest), abs=0.005)
    assert lots.factor[1] == pytest.approx(np.median(own) ** (-1 / SHAPE), abs=0.005)


def test_a_lot_of_one_edge_says_little_and_more_edges_say_more() -> None:
    little = compare_lots([0] * 10 + [1], [True] * 11, [1.0] * 10 + [0.2], SHAPE)
    much = compare_lots([0] * 10 + [1] * 10, [True] * 20, [1.0] * 10 + [0.2] * 10, SHAPE)
    assert 0.85 < little.factor[1] < 1
    assert much.factor[1] < little.factor[1]
    assert much.high[1] - much.low[1] < little.high[1] - little.low[1]
    assert lots_that_differ(little).size == 0


@pytest.mark.parametrize(
    ("given", "at_fault"),
    [
        (([0, 1], [True], [1.0], SHAPE), "ended"),
        (([], [], [], SHAPE), "lot"),
        (([-1], [True], [1.0], SHAPE), "lot"),
        (([0], [True], [-1.0], SHAPE), "summed_chance"),
        (([0], [True], [1.0], 0.0), "shape"),
    ],
)
def test_lots_that_cannot_be_compared_are_named(
    given: tuple[list[int], list[bool], list[float], float], at_fault: str
) -> None:
    with pytest.raises(WorkingError) as refused:
        compare_lots(*given)
    assert refused.value.argument == at_fault


def test_a_chance_beyond_certain_is_refused() -> None:
    with pytest.raises(WorkingError, match="between 0 and 1"):
        lots_that_differ(compare_lots([0], [True], [1.0], SHAPE), 1.0)
