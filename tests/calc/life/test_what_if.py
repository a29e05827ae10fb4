"""Edges, money and time per part, against a simulation and against the change points that the same laws give."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from calc.errors import WorkingError
from calc.life.nodes import node_percentiles
from calc.life.policies import policy_costs
from calc.life.predictive import belief, mean_time_outlasted
from calc.life.replacement import believed_change
from calc.life.what_if import good_parts, per_part, worked

VAGUE = belief(np.log([45, 60]), np.log(2.5), 0.08, 0.03, 0.01, 2, 900)


def test_the_minutes_worked_are_the_integral_of_survival() -> None:
    chance, minutes = worked([30, np.inf], VAGUE)
    for row, until in ((0, 30.0), (1, np.inf)):
        for node in (0, 22, 44):
            scale, shape = VAGUE.scale[row, node], VAGUE.shape[row, node]

            def alive(age: float, scale: float = scale, shape: float = shape) -> float:
                return float(np.exp(-((age / scale) ** shape)) * (1 + age / 900) ** -2)

            assert minutes[row, node] == pytest.approx(quad(alive, 0, until)[0], rel=1e-6)
            assert chance[row, node] == pytest.approx(alive(until) if np.isfinite(until) else 0)
    mean = (minutes * VAGUE.weight).sum(axis=1)
    assert mean[0] == pytest.approx(mean_time_outlasted([[30.0], [1.0]], VAGUE)[0, 0], rel=1e-6)


def test_the_cost_is_that_of_the_ways_of_changing() -> None:
    change = believed_change(VAGUE, 17, 300, 2.0)
    found = per_part(VAGUE, change.minutes, 2.0, 17, 300, 1.5)
    ways = policy_costs(VAGUE, 2.0, change.parts[:, None], 17, 0, 283)
    assert found.planned + found.failures == pytest.approx(ways.total[:, 0], rel=1e-6)
    assert found.edges.middle == pytest.approx(ways.edges_per_part[:, 0], rel=1e-6)
    assert found.machine + found.planned + found.failures == pytest.approx(found.cost.middle, rel=1e-12)
    assert found.early == pytest.approx(change.chance_of_failure, abs=1e-9)
    assert np.all(found.cost.low < found.cost.middle)
    assert np.all(found.cost.middle < found.cost.high)


@pytest.mark.parametrize("each", [0.3, 2.0, 11.0, 70.0])
@pytest.mark.parametrize("count", [1, 5, 32, 33, 90, np.inf])
def test_good_parts_are_the_sum_of_the_chances_to_make_them(each: float, count: float) -> None:
    made = good_parts([count * each] * 2, each, VAGUE)
    numbers = np.arange(1, min(count, 3000) + 1)
    for node in (0, 22, 44):
        scale, shape = VAGUE.scale[0, node], VAGUE.shape[0, node]
        chances = np.exp(-((numbers * each / scale) ** shape)) * (1 + numbers * each / 900) ** -2
        assert made[0, node] == pytest.approx(chances.sum(), rel=2e-3, abs=1e-12)


@pytest.mark.parametrize("count", [12, np.inf])
def test_a_simulated_machine_spends_and_makes_as_much(count: float) -> None:
    """One law that is known, edges one after another until 40,000 have been used."""
    rng = np.random.default_rng(11)
    scale, shape, rate, each = 50.0, 2.2, 1 / 400, 2.5
    age = count * each
    lives = np.minimum(scale * rng.weibull(shape, 40_000), rng.exponential(1 / rate, 40_000))
    failed, minutes = lives < age, np.minimum(lives, age)
    parts = float(np.floor(minutes / each + 1e-9).sum())
    money = minutes.sum() * 1.2 + np.where(failed, 200, 20).sum()
    clock = minutes.sum() + (parts + failed.sum()) * 1.0 + 3.0 * lives.size
    # A gamma belief of that mean, so sure that it is a rate.
    known = belief(np.log(scale), np.log(shape), breaks=1e9 * rate, break_minutes=1e9)
    found = per_part(known, age, each, 20, 200, 1.2, 3.0, 1.0)
    assert found.cost.middle[0] == pytest.approx(money / parts, rel=0.01)
    assert found.edges.middle[0] == pytest.approx(lives.size / parts, rel=0.01)
    assert found.hourly.middle[0] == pytest.approx(60 * parts / clock, rel=0.005)
    assert found.cost.low[0] == pytest.approx(found.cost.high[0])


def test_less_is_known_and_the_range_is_wider() -> None:
    spans = []
    for variance in (0.0, 0.04, 0.25):
        found = per_part(belief(np.log(45), np.log(2.5), variance), 30, 2, 17, 300, 1.5)
        spans.append(float((found.cost.high - found.cost.low)[0]))
    assert spans[0] == pytest.approx(0, abs=1e-9)
    assert spans[0] < spans[1] < spans[2]


def test_units_of_time_do_not_matter() -> None:
    minutes = per_part(belief(np.log(45), np.log(2.5), 0.08), 30, 2, 17, 300, 1.5, 3, 1)
    seconds = per_part(belief(np.log(45 * 60), np.log(2.5), 0.08), 1800, 120, 17, 300, 1.5 / 60, 180, 60)
    assert minutes.cost.high == pytest.approx(seconds.cost.high)
    assert minutes.hourly.low / 60 == pytest.approx(seconds.hourly.low)


def test_percentiles_of_nodes_are_those_of_the_bell_curve() -> None:
    found = belief(np.log(60), np.log(3), 0.04, nodes=(41, 1))
    low, high = node_percentiles(np.log(found.scale), found.weight, (10, 90))[0]
    # 1.2816 standard deviations: the normal distribution's 10 and 90 %, read between nodes.
    assert (low, high) == pytest.approx((np.log(60) - 0.2563, np.log(60) + 0.2563), abs=0.02)


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("age", {"age": 0}), ("age", {"age": np.nan}), ("minutes_per_part", {"minutes_per_part": 0}),
        ("cost_planned", {"cost_planned": -1}), ("machine_rate", {"machine_rate": -1}),
    ],
)  # fmt: skip
def test_figures_that_make_no_sense_are_named(name: str, wrong: dict[str, float]) -> None:
    sound = {"age": 30, "minutes_per_part": 2, "cost_planned": 17, "cost_failure": 300, "machine_rate": 1}
    with pytest.raises(WorkingError) as refused:
        per_part(VAGUE, **(sound | wrong))
    assert refused.value.argument == name
