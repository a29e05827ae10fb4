"""The middle of what is believed, against posteriors laid out on a grid."""

from typing import Any

import numpy as np
import pytest

from calc.life.centring import FURTHEST, centred
from calc.life.fitting import fit, flat_prior, lives, normal_prior
from calc.life.predictive import belief, remaining

MEAN, SPREAD = np.array([4.0, np.log(2.8)]), np.array([0.5, 0.35])


def drawn(seed: int, groups: int, edges: int, off: float) -> tuple[Any, Any, Any, Any]:
    """True parameters drawn from the prior, and minutes and ended marks of edges taken off at an age."""
    draw = np.random.default_rng(seed)
    truth = MEAN + SPREAD * draw.standard_normal((groups, 2))
    found = np.exp(truth[:, :1]) * draw.weibull(np.exp(truth[:, 1:]), (groups, edges))
    return truth, np.minimum(found, off), found <= off, draw


def learnt(minutes: Any, ended: Any) -> tuple[Any, Any]:
    """At the top, and in the middle."""
    groups, edges = minutes.shape
    owner = np.repeat(np.arange(groups), edges)
    data = lives(owner, ended.ravel(), minutes.ravel(), np.ones((owner.size, 1)))
    prior = normal_prior(np.tile(MEAN, (groups, 1)), SPREAD)
    top = fit(data, prior)
    return top, centred(data, prior, top)


def mean_on_a_grid(minutes: Any, ended: Any) -> Any:
    deviation = np.linspace(-5, 5, 161)
    scale, shape = np.meshgrid(MEAN[0] + deviation * SPREAD[0], MEAN[1] + deviation * SPREAD[1], indexing="ij")
    level = -0.5 * (deviation[:, None] ** 2 + deviation**2)
    for age, done in zip(minutes, ended, strict=True):
        rise = np.exp(shape) * (np.log(age) - scale)
        level = level + done * (shape + rise) - np.exp(np.minimum(rise, 600))
    weight = np.exp(level - level.max())
    return np.array([(weight * scale).sum(), (weight * shape).sum()]) / weight.sum()


@pytest.mark.parametrize(("edges", "off"), [(3, 1e3), (4, 40.0), (12, 35.0), (30, 30.0)])
def test_the_middle_is_the_mean_of_the_belief(edges: int, off: float) -> None:
    _, minutes, ended, _ = drawn(5, 16, edges, off)
    worn = ended.any(axis=1)
    minutes, ended = minutes[worn], ended[worn]
    top, middle = learnt(minutes, ended)
    exact = np.array([mean_on_a_grid(*rows) for rows in zip(minutes, ended, strict=True)])
    for found, given in ((middle.coefficients[:, 0], exact[:, 0]), (middle.log_shape, exact[:, 1])):
        assert found == pytest.approx(given, abs=0.02)
    off_the_top = np.abs(top.coefficients[:, 0] - exact[:, 0]).mean()
    assert np.abs(middle.coefficients[:, 0] - exact[:, 0]).mean() < off_the_top / 4


@pytest.mark.parametrize(("edges", "off"), [(4, 1e3), (4, 38.0), (12, 33.0)])
def test_the_80_percent_range_holds_four_ends_in_five(edges: int, off: float) -> None:
    truth, minutes, ended, draw = drawn(7, 4000, edges, off)
    came = np.exp(truth[:, 0]) * draw.weibull(np.exp(truth[:, 1]))

    def inside(found: Any) -> float:
        spread = found.covariance[:, 0, 0], found.covariance[:, 1, 1], found.covariance[:, 0, 1]
        low, _, high = remaining(0.0, belief(found.coefficients[:, 0], found.log_shape, *spread)).T
        return float(((came >= low) & (came <= high)).mean())

    top, middle = learnt(minutes, ended)
    # Three standard deviations of the share of 4,000.
    assert inside(middle) == pytest.approx(0.8, abs=0.019)
    assert inside(top) < 0.785


def test_what_has_no_worn_edge_or_no_prior_stays() -> None:
    prior = normal_prior(np.tile(MEAN, (3, 1)), SPREAD)
    data = lives([1, 2, 2], [True, False, False], [30, 40, 60], np.ones((3, 1)))
    top = fit(data, prior)
    middle = centred(data, prior, top)
    moved = np.abs(middle.coefficients[:, 0] - top.coefficients[:, 0])
    assert (moved > 0).tolist() == [False, True, False]
    none_worn = fit(in_use := lives([0], [False], [30], [[1.0]]), prior)
    assert centred(in_use, prior, none_worn) is none_worn
    flat = flat_prior(1, 1)
    freely = lives([0] * 3, [True] * 3, [30, 40, 45], np.ones((3, 1)))
    assert centred(freely, flat, fit(freely, flat)).log_shape == fit(freely, flat).log_shape


def test_a_middle_is_never_more_than_a_standard_deviation_away() -> None:
    prior = normal_prior([[4.0, 1.0]], [[30.0, 3.0]])
    data = lives([0] * 2, [True, False], [30, 90], np.ones((2, 1)))
    top = fit(data, prior)
    middle = centred(data, prior, top)
    moved = np.append(middle.coefficients[0] - top.coefficients[0], middle.log_shape - top.log_shape)
    assert np.sqrt(moved @ np.linalg.solve(top.covariance[0], moved)) <= FURTHEST + 1e-9
    assert np.isfinite(moved).all()


def test_many_ends_leave_the_middle_at_the_top() -> None:
    _, minutes, ended, _ = drawn(9, 3, 3000, 1e3)
    top, middle = learnt(minutes, ended)
    assert middle.coefficients == pytest.approx(top.coefficients, abs=1e-3)
    assert middle.log_shape == pytest.approx(top.log_shape, abs=2e-3)
