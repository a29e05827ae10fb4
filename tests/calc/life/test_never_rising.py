"""Minutes cut, and nothing else learnt, never raise what an edge is promised."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.life.batch import believed_parts_left
from calc.life.predictive import Belief, belief, lasting, remaining

AGES = 60


def alike(believed: Belief, edges: int) -> Belief:
    return Belief(*(np.repeat(part, edges, axis=0) for part in believed))


def beliefs_of_a_shop(breaks: bool = True) -> st.SearchStrategy[Belief]:
    """What priors and fits of a shop look like: lives known within a factor of 1.05 to 2.5, shapes that all wear."""
    return st.builds(
        lambda shape, sd, sd_shape, broken: belief(
            math.log(60), math.log(shape), sd**2, sd_shape**2, 0.0, broken if breaks else 0.0, 800.0
        ),
        st.floats(2.5, 5), st.floats(0.05, 0.9), st.floats(0, 0.3), st.floats(0, 3),
    )  # fmt: skip


@settings(deadline=None, max_examples=60)
@given(beliefs_of_a_shop(), st.floats(20, 600), st.floats(0.3, 9))
def test_more_minutes_never_raise_minutes_parts_or_chance(believed: Belief, longest: float, each: float) -> None:
    many, used = alike(believed, AGES), np.linspace(0, longest, AGES)
    left = remaining(used, many)
    assert np.all(np.diff(left, axis=0) <= 5e-3 * left[:-1])
    assert np.all(np.diff(left, axis=0).clip(min=0).mean(axis=0) <= 1e-4 * left[0])
    parts = believed_parts_left(used, np.full(AGES, each), many)
    assert np.all(np.diff(parts, axis=0) <= (parts[:-1] > 150))
    chance = lasting(np.full((AGES, 2), [10.0, 50.0]), used, many)
    assert np.all(np.diff(chance, axis=0) <= 1e-3)


@settings(deadline=None, max_examples=30)
@given(beliefs_of_a_shop(), st.floats(5, 60), st.floats(1.05, 5))
def test_minutes_that_the_fit_knew_of_count_from_there(believed: Belief, counted: float, further: float) -> None:
    many, used = alike(believed, AGES), counted * np.linspace(1, further, AGES)
    left = remaining(used, many, np.full(AGES, counted))
    assert np.all(np.diff(left, axis=0) <= 1e-2 * left[:-1])


def test_the_least_that_was_ever_left_is_found_by_looking_at_every_age() -> None:
    """Against the plain conditional law at each of many ages, which rises where the belief is outlived."""
    vague = belief(math.log(60), math.log(3), 0.64, 0.1, 0.0, 0.5, 1000.0)
    ages = np.linspace(0, 400, 4001)
    weight, scale, shape = vague.weight[0], vague.scale[0], vague.shape[0]

    def plain(more: float, used: np.ndarray) -> np.ndarray:
        spent = (used[:, None] / scale) ** shape
        alive = (weight * np.exp(-spent)).sum(axis=1)
        later = (weight * np.exp(-(((used[:, None] + more) / scale) ** shape))).sum(axis=1)
        return np.asarray(later / alive * (1 + more / 1000.0) ** -0.5)

    for more in (5.0, 40.0, 120.0):
        chances = plain(more, ages)
        assert np.any(np.diff(chances) > 0)
        least = np.minimum.accumulate(chances)
        asked = [0, 400, 1500, 2600, 4000]
        ours = lasting(np.full(5, more), ages[asked], alike(vague, 5))
        assert ours == pytest.approx(least[asked], rel=2e-4)


def test_chance_and_minutes_say_the_same() -> None:
    vague = alike(belief(math.log(60), math.log(3), 0.5, 0.05, 0.0, 0.5, 500.0), 5)
    used = np.array([0.0, 30, 90, 200, 500])
    assert lasting(remaining(used, vague), used, vague) == pytest.approx(np.tile([0.9, 0.5, 0.1], (5, 1)), abs=1e-5)


def test_where_nothing_was_outlived_the_answer_is_the_plain_one() -> None:
    known = belief(math.log(60), math.log(3))
    assert remaining(45, known)[0] == pytest.approx([3.4712, 17.2175, 38.8001], abs=5e-4)
    assert remaining(45, known, 45)[0] == pytest.approx(remaining(45, known)[0], rel=1e-9)


@settings(deadline=None, max_examples=30)
@given(beliefs_of_a_shop(), st.floats(1e-3, 1e3), st.floats(0, 200))
def test_hours_and_minutes_tell_the_same(believed: Belief, unit: float, used: float) -> None:
    other = believed._replace(scale=believed.scale * unit, break_minutes=believed.break_minutes * unit)
    assert remaining(used * unit, other)[0] == pytest.approx(remaining(used, believed)[0] * unit, rel=1e-3)
    assert lasting(20 * unit, used * unit, other) == pytest.approx(lasting(20, used, believed), abs=1e-3)


def test_no_edges_have_nothing_left() -> None:
    nobody = Belief(*(part[:0] for part in belief(4.0, 1.0)))
    assert remaining(np.zeros(0), nobody).shape == (0, 3)
    assert lasting(np.zeros((0, 2)), np.zeros(0), nobody).shape == (0, 2)
