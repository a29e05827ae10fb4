"""Wear readings against a finer mesh by plain formulas, and against simulated edges whose truth is known."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life.predictive import Belief, belief, lasting, remaining
from calc.life.wear_forecast import ASSUMED, Habits, fitted_start, wear_forecast

LIMIT = 0.3
GAUGE, START, START_SD, STRAYING = np.array(ASSUMED, dtype=np.float64).tolist()


def by_brute_force(times: list[float], lands: list[float], used: float, believed: Belief, counted: float) -> np.ndarray:
    """10, 50 and 90 % of the minutes left on 40,000 lives, with the whole covariance of the readings written out."""
    time, land = np.array(times), np.array(lands)
    lives = used + np.linspace(1e-3, 600, 40_001)
    weight, scale, shape = believed.weight[0], believed.scale[0], believed.shape[0]
    law = (lives[:, None] / scale) ** shape
    alive = np.exp((counted / scale) ** shape - law)
    prior = (weight * shape / lives[:, None] * law * alive).sum(axis=1)
    fit = np.empty(lives.size)
    for row, life in enumerate(lives):
        part = time / life
        mean = START * (1 - part) + LIMIT * part
        covariance = START_SD**2 * np.outer(1 - part, 1 - part) + GAUGE**2 * np.eye(time.size)
        covariance += STRAYING**2 * (np.minimum.outer(part, part) - np.outer(part, part))
        off = land - mean
        fit[row] = -0.5 * (off @ np.linalg.solve(covariance, off) + np.linalg.slogdet(covariance)[1])
    chance = np.cumsum(prior * np.exp(fit - fit.max()))
    at = lives - used
    breaks = (1 + at / believed.break_minutes[0]) ** -believed.breaks[0]
    return np.interp([0.1, 0.5, 0.9], 1 - (1 - chance / chance[-1]) * breaks, at)


@pytest.mark.parametrize(
    ("times", "lands", "used", "counted"),
    [
        ([10, 20, 30], [0.11, 0.17, 0.23], 30, 0),
        ([10, 20, 30], [0.06, 0.09, 0.10], 30, 30),
        ([5], [0.02], 9, 5),
        ([40, 41, 60, 62], [0.2, 0.21, 0.26, 0.25], 62, 40),
    ],
)
def test_the_mesh_agrees_with_a_finer_one_by_plain_formulas(
    times: list[float], lands: list[float], used: float, counted: float
) -> None:
    vague = belief(math.log(60), math.log(3), 0.16, 0.04, 0.0, 0.5, 1500.0)
    ours = wear_forecast([times], [lands], LIMIT, used, vague, counted).percentiles()[0]
    assert ours == pytest.approx(by_brute_force(times, lands, used, vague, counted), rel=5e-3, abs=0.02)


def simulated(seed: int, edges: int, shape: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Edges still good at an age drawn without regard to their lives, read three times by then."""
    draw = np.random.default_rng(seed)
    lives, used = 60 * draw.weibull(shape, 3 * edges), draw.uniform(12, 75, 3 * edges)
    lives, used = (one[lives > used][:edges] for one in (lives, used))
    times = used[:, None] * np.array([1 / 3, 2 / 3, 1])
    part = times / lives[:, None]
    pinned = np.zeros(part.shape)
    path, before = np.zeros(lives.size), np.zeros(lives.size)
    for place in range(3):
        share = (1 - part[:, place]) / (1 - before)
        spread = (part[:, place] - before) * share
        path = share * path + np.sqrt(spread) * draw.normal(size=lives.size)
        pinned[:, place], before = path, part[:, place]
    start = draw.normal(START, START_SD, (lives.size, 1))
    lands = start * (1 - part) + LIMIT * part + STRAYING * pinned + draw.normal(0, GAUGE, part.shape)
    return lives, times, np.maximum(lands, 0.0), used


@pytest.mark.parametrize(("seed", "shape"), [(1, 2.0), (2, 3.0), (3, 4.5)])
def test_eight_in_ten_simulated_edges_cross_in_the_range_of_eight_in_ten(seed: int, shape: float) -> None:
    lives, times, lands, used = simulated(seed, 1500, shape)
    known = belief(np.full(lives.size, math.log(60)), math.log(shape))
    found, left = wear_forecast(times, lands, LIMIT, used, known), lives - used
    low, middle, high = found.crossing()[~found.worn].T
    left, blind = left[~found.worn], remaining(used, known, percent=[50])[~found.worn, 0]
    assert 0.75 <= np.mean((low <= left) & (left <= high)) <= 0.85
    assert np.mean(np.abs(middle - left)) < 0.9 * np.mean(np.abs(blind - left))


def test_edges_of_one_call_do_not_touch_each_other() -> None:
    many = belief(np.log([60.0, 20.0, 90.0]), np.log(3), 0.1, 0.02, 0.0, 0.3, 900.0)
    times: list[list[float]] = [[10, 20, math.nan], [5, math.nan, math.nan], [10, 30, 50]]
    lands = [[0.1, 0.2, math.nan], [0.1, math.nan, math.nan], [0.1, 0.15, 0.2]]
    together = wear_forecast(times, lands, LIMIT, [20, 9, 55], many, [0, 5, 55])
    for row, count in enumerate((2, 1, 3)):
        one = Belief(*(part[row : row + 1] for part in many))
        alone = wear_forecast([times[row][:count]], [lands[row][:count]], LIMIT, [20, 9, 55][row], one, [0, 5, 55][row])
        assert together.percentiles()[row] == pytest.approx(alone.percentiles()[0], rel=1e-6)
        assert together.chance([[5.0, 9.0]])[row] == pytest.approx(alone.chance([[5.0, 9.0]])[0], rel=1e-6)


def test_without_a_reading_the_law_alone_speaks() -> None:
    vague = belief(math.log(60), math.log(3), 0.05, 0.02, 0.0, 0.5, 1000.0)
    blind = wear_forecast([[math.nan]], [[math.nan]], LIMIT, 0, vague)
    assert blind.chance([[10.0, 50.0]])[0] == pytest.approx(lasting([[10.0, 50.0]], 0, vague)[0], abs=2e-3)


def test_a_reading_at_the_criterion_leaves_nothing() -> None:
    found = wear_forecast([[10, 20]], [[0.2, 0.3]], LIMIT, 25, belief(math.log(60), math.log(3)))
    assert found.worn.tolist() == [True]
    assert found.percentiles().tolist() == [[0, 0, 0]] == found.crossing().tolist()
    assert found.chance([[0.0, 1.0]]).tolist() == [[1.0, 0.0]]


def test_breakage_goes_on_competing() -> None:
    calm, brittle = (belief(math.log(60), math.log(3), 0.05, 0.02, 0.0, breaks, 100.0) for breaks in (0.0, 2.0))
    found = [wear_forecast([[20]], [[0.1]], LIMIT, 20, one) for one in (calm, brittle)]
    assert np.all(found[1].percentiles() < found[0].percentiles())
    assert found[1].crossing() == pytest.approx(found[0].crossing())


@settings(deadline=None, max_examples=10)
@given(st.floats(0.06, 0.27), st.floats(0.2, 0.9), st.floats(1.5, 5))
def test_minutes_after_a_reading_never_raise_what_is_left(land: float, spread: float, shape: float) -> None:
    edges = 30
    used = np.linspace(20, 200, edges)
    many = belief(np.full(edges, math.log(60)), math.log(shape), spread**2, 0.03)
    left = wear_forecast(np.full((edges, 1), 20.0), np.full((edges, 1), land), LIMIT, used, many).percentiles()
    assert np.all(np.diff(left, axis=0) <= 0.1 * left[:-1] + 0.05)
    assert np.all(left[1:] <= left[0] * 1.001)


@settings(deadline=None, max_examples=10)
@given(st.floats(1e-2, 1e2), st.floats(1e-2, 1e2))
def test_units_do_not_matter(minute: float, millimetre: float) -> None:
    def told(m: float, mm: float) -> np.ndarray:
        law = belief(math.log(60 * m), math.log(3), 0.1, 0.02, 0.0, 0.5, 900.0 * m)
        habits = Habits(*(np.asarray(one) * mm for one in ASSUMED))
        readings = (np.array([[10.0, 25.0]]) * m, np.array([[0.1, 0.18]]) * mm)
        return np.asarray(wear_forecast(*readings, LIMIT * mm, 30 * m, law, 0.0, habits).percentiles()[0] / m)

    assert told(minute, millimetre) == pytest.approx(told(1, 1), rel=1e-3)


def test_readings_may_come_in_any_order() -> None:
    law = belief(math.log(60), math.log(3))
    one = wear_forecast([[30, 10]], [[0.2, 0.1]], LIMIT, 30, law).percentiles()
    other = wear_forecast([[10, 30]], [[0.1, 0.2]], LIMIT, 30, law).percentiles()
    assert one.tolist() == other.tolist()


@pytest.mark.parametrize(
    ("change", "at_fault"),
    [
        ({"minutes": [[10, 40]]}, "wear"),
        ({"minutes": [[10]]}, "wear"),
        ({"minutes": [[-1, 5]]}, "minutes"),
        ({"wear_land": [[-0.1, 0.2]]}, "wear_land"),
        ({"limit": 0}, "limit"),
        ({"habits": ASSUMED._replace(gauge_sd=0)}, "gauge_sd"),
    ],
)
def test_what_cannot_be_is_refused_by_name(change: dict[str, object], at_fault: str) -> None:
    given: dict[str, object] = {"minutes": [[10, 20]], "wear_land": [[0.1, 0.2]], "limit": LIMIT, "used": 30}
    with pytest.raises(WorkingError) as refused:
        wear_forecast(**(given | change), believed=belief(4.0, 1.0))  # type: ignore[arg-type]  # wrong on purpose
    assert refused.value.argument == at_fault


def test_a_line_that_wants_to_begin_below_nothing_begins_at_nothing() -> None:
    assert fitted_start([10, 20], [0.0, 0.01], LIMIT, 40) == 0.0
