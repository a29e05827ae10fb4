"""What must hold of every fit, whatever the lives."""

from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.life.fitting import Fit, fit, lives, normal_prior
from calc.life.pooling import fit_pooled, kin

MEAN, SPREAD = np.array([[4.0, -1.5, 0.9]]), np.array([[0.6, 0.4, 0.3]])
MINUTES = st.floats(0.5, 2000)
LOG_SPEED = st.floats(-1, 1)


class Table(NamedTuple):
    """Lives of one group at one duty each: minutes, whether worn, ln of the speed against the reference."""

    minutes: list[float]
    worn: list[bool]
    log_speed: list[float]


def fitted(table: Table, mean: np.ndarray = MEAN, spread: np.ndarray = SPREAD) -> Fit:
    count = len(table.minutes)
    duty = np.column_stack([np.ones(count), table.log_speed])
    return fit(lives(np.zeros(count), table.worn, table.minutes, duty), normal_prior(mean, spread))


@st.composite
def tables(draw: st.DrawFn, least: int = 1) -> Table:
    rows = draw(st.lists(st.tuples(MINUTES, st.booleans(), LOG_SPEED), min_size=least, max_size=12))
    minutes, worn, log_speed = map(list, zip(*rows, strict=True))
    return Table(minutes, worn, log_speed)


def assert_same(one: Fit, other: Fit, moved: float = 0.0) -> None:
    """The same law, the second with its scale that much higher."""
    assert other.coefficients[0] == pytest.approx(one.coefficients[0] + np.array([moved, 0.0]), abs=1e-6)
    assert other.log_shape[0] == pytest.approx(one.log_shape[0], abs=1e-6)
    assert other.covariance[0] == pytest.approx(one.covariance[0], abs=1e-6)


@given(tables(), MINUTES, LOG_SPEED)
@settings(deadline=None)
def test_at_a_fixed_shape_an_edge_taken_off_never_lowers_the_scale(
    table: Table, minutes: float, log_speed: float
) -> None:
    # One duty for all, so that the scale is one number; the shape is held by its prior.
    held = np.array([[0.6, 1e-7, 1e-7]])
    before = fitted(table, spread=held)
    more = Table([*table.minutes, minutes], [*table.worn, False], [*table.log_speed, log_speed])
    after = fitted(more, spread=held)
    assert before.converged[0]
    assert after.converged[0]
    assert after.coefficients[0, 0] >= before.coefficients[0, 0] - 1e-8


@given(tables())
@settings(deadline=None)
def test_units_of_time_do_not_matter(table: Table) -> None:
    hours = Table([each / 60 for each in table.minutes], table.worn, table.log_speed)
    assert_same(fitted(table), fitted(hours, mean=MEAN - np.array([[np.log(60), 0.0, 0.0]])), moved=-np.log(60))


@given(tables(least=2), st.randoms(use_true_random=False))
@settings(deadline=None)
def test_the_order_of_edges_does_not_matter(table: Table, chance: object) -> None:
    rows = list(zip(*table, strict=True))
    chance.shuffle(rows)  # type: ignore[attr-defined]  # what the strategy gives is random.Random
    assert_same(fitted(table), fitted(Table(*map(list, zip(*rows, strict=True)))))


@given(tables(), st.floats(0.05, 0.95))
@settings(deadline=None)
def test_a_stretch_cut_in_two_counts_as_one(table: Table, where: float) -> None:
    count = len(table.minutes)
    edge = np.repeat(np.arange(count), 2)
    minutes = np.column_stack([np.array(table.minutes) * where, np.array(table.minutes) * (1 - where)]).ravel()
    duty = np.column_stack([np.ones(2 * count), np.repeat(table.log_speed, 2)])
    split = fit(lives(np.zeros(count), table.worn, minutes, duty, edge), normal_prior(MEAN, SPREAD))
    assert_same(fitted(table), split)


@given(tables())
@settings(deadline=None)
def test_a_lone_group_pooled_is_as_unpooled(table: Table) -> None:
    count = len(table.minutes)
    duty = np.column_stack([np.ones(count), table.log_speed])
    pooled = fit_pooled(lives(np.zeros(count), table.worn, table.minutes, duty), MEAN, SPREAD, kin([0], [0]), mode=True)
    assert_same(fitted(table), pooled.fit)
    assert pooled.relatives[0] == pytest.approx(0.0, abs=1e-9)
