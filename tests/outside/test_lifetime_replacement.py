"""Change intervals against a direct minimum by SciPy, and edges to stage against plain simulation."""

import numpy as np
import pytest
from scipy import integrate, optimize

from calc.life.batch import edges_to_stage
from calc.life.predictive import belief
from calc.life.replacement import change_age, change_parts
from calc.life.staging import batch_edges_to_stage

LAWS = [
    (2.5, 1000.0, 1.0, 5.0, 0.0),
    (1.4, 60.0, 4.0, 60.0, 0.0),
    (5.0, 35.0, 6.0, 20.0, 0.004),
    (2.0, 80.0, 3.0, 9.0, 0.01),
]


def outlasted(age: float, shape: float, scale: float, rate: float) -> float:
    found = integrate.quad(lambda t: np.exp(-((t / scale) ** shape) - rate * t), 0, age, epsabs=1e-13, epsrel=1e-13)
    return float(found[0])


def cost(age: float, shape: float, scale: float, planned: float, failure: float, rate: float) -> float:
    alive = np.exp(-((age / scale) ** shape) - rate * age)
    return float((planned * alive + failure * (1 - alive)) / outlasted(age, shape, scale, rate))


@pytest.mark.parametrize("law", LAWS)
def test_the_change_age_costs_what_the_direct_minimum_costs(law: tuple[float, ...]) -> None:
    direct = optimize.minimize_scalar(
        cost, bounds=(law[1] * 0.01, law[1] * 3), args=law, method="bounded", options={"xatol": 1e-10}
    )
    ours = change_age(*law)
    assert float(ours.cost_rate) == pytest.approx(direct.fun, rel=1e-6)
    assert float(ours.cost_rate) <= direct.fun * (1 + 1e-12)


@pytest.mark.parametrize("law", LAWS)
def test_the_change_age_is_that_of_the_direct_minimum(law: tuple[float, ...]) -> None:
    # The cost is flat at its minimum, so the age is compared where its slope crosses zero, found by SciPy.
    def slope(age: float) -> float:
        shape, scale, planned, failure, rate = law
        alive = np.exp(-((age / scale) ** shape) - rate * age)
        hazard = shape / scale * (age / scale) ** (shape - 1) + rate
        return float(hazard * outlasted(age, shape, scale, rate) - (1 - alive) - planned / (failure - planned))

    direct = optimize.brentq(slope, law[1] * 0.01, law[1] * 5, xtol=1e-12)
    assert float(change_age(*law).minutes) == pytest.approx(direct, rel=1e-6)


@pytest.mark.parametrize("each", [0.7, 3.1, 9.0, 400.0])
@pytest.mark.parametrize("law", LAWS)
def test_the_whole_parts_are_the_cheapest_of_all_counts(law: tuple[float, ...], each: float) -> None:
    shape, scale, planned, failure, rate = law
    counts = np.arange(1, max(3, int(3 * scale / each)))
    rates = [cost(count * each, *law) for count in counts]
    ours = change_parts(shape, scale, planned, failure, each, rate)
    assert float(ours.cost_rate) == pytest.approx(min(rates), rel=1e-6)
    if each < scale:  # longer parts than lives: no count is better than running to the end
        assert int(ours.parts) == counts[int(np.argmin(rates))]
    else:
        assert np.isinf(ours.parts)


def drawn_lives(draw: np.random.Generator, used: float, shape: float, scale: float) -> float:
    return float(scale * ((used / scale) ** shape + draw.exponential()) ** (1 / shape) - used)


@pytest.mark.parametrize("change_at", [None, 5])
def test_edges_for_a_batch_are_those_of_a_simulated_spindle(change_at: int | None) -> None:
    draw = np.random.default_rng(9)
    used, batch, each, shape, scale = 20.0, 60, 6.0, 2.2, 50.0
    needed = []
    for _ in range(20_000):
        limit = batch if change_at is None else change_at
        to_do = batch - min(
            int(drawn_lives(draw, used, shape, scale) // each), limit if change_at is None else limit - 3
        )
        fresh = 0
        while to_do > 0:
            to_do -= min(int(drawn_lives(draw, 0.0, shape, scale) // each), limit)
            fresh += 1
        needed.append(fresh)
    mean, ready = edges_to_stage(used, batch, each, shape, scale, change_at_parts=change_at)
    assert mean == pytest.approx(np.mean(needed), rel=0.01)
    assert np.mean(np.array(needed) <= ready) >= 0.945
    assert np.mean(np.array(needed) <= ready - 1) < 0.955
    ahead = np.inf if change_at is None else change_at - 3
    known = batch_edges_to_stage(used, ahead, batch, each, belief(np.log(scale), np.log(shape)), change_at)
    assert known[0] == pytest.approx(mean)
    assert known[1] == ready
