"""Habits of wear lands against simulated edges whose habits are known, and the few readings that teach little."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life.wear_forecast import ASSUMED
from calc.life.wear_habits import LearntHabits, learn_habits

LIMIT = 0.3


def simulated(edges: int, gauge: float, start: float, start_sd: float, seed: int = 7) -> list[np.ndarray]:
    draw = np.random.default_rng(seed)
    lives = 60 * draw.weibull(3, edges) + 5
    part = np.sort(draw.uniform(0.1, 0.95, (edges, 5)), axis=1)
    begins = draw.normal(start, start_sd, (edges, 1))
    lands = begins * (1 - part) + LIMIT * part + draw.normal(0, gauge, part.shape)
    whose = np.repeat(np.arange(edges), 5)
    return [whose, (part * lives[:, None]).ravel(), np.maximum(lands, 0).ravel()]


def learnt(edges: int, gauge: float, start: float, start_sd: float) -> LearntHabits:
    whose, time, land = simulated(edges, gauge, start, start_sd)
    return learn_habits(whose, time, land, LIMIT)


def test_many_edges_teach_the_gauge_and_the_start() -> None:
    found = learnt(300, 0.008, 0.1, 0.02)
    assert (found.edges, found.readings) == (300, 1500)
    assert found.habits.gauge_sd == pytest.approx(0.008, rel=0.2)
    assert found.habits.start == pytest.approx(0.1, abs=0.01)
    assert found.habits.start_sd == pytest.approx(0.02, rel=0.4)
    assert np.asarray(found.habits.straying) < 0.5 * np.asarray(ASSUMED.straying)


def test_lands_that_do_not_stray_teach_so_slowly() -> None:
    """The gauge's error and straying are told apart by the distance of readings alone, which takes very many."""
    few, some, many = (np.asarray(learnt(edges, 0.008, 0.1, 0.02).habits.straying) for edges in (3, 300, 3000))
    assert many < some < few <= np.asarray(ASSUMED.straying)
    assert many < 0.02


def test_a_few_edges_move_the_assumed_habits_a_little() -> None:
    few, many = (learnt(edges, 0.004, 0.1, 0.02).habits for edges in (2, 300))
    assert np.asarray(many.gauge_sd) < np.asarray(few.gauge_sd) < np.asarray(ASSUMED.gauge_sd)
    assert np.asarray(ASSUMED.start) <= np.asarray(few.start) < np.asarray(many.start)


def test_single_readings_say_nothing() -> None:
    assert learn_habits([], [], [], LIMIT) == (ASSUMED, 0, 0)
    assert learn_habits([1, 2], [5, 9], [0.1, 0.1], LIMIT) == (ASSUMED, 0, 0)
    assert learn_habits([1, 1], [5, 5], [0.1, 0.1], LIMIT).habits == ASSUMED


def test_lands_that_do_not_grow_are_borne() -> None:
    found = learn_habits([1, 1, 1], [5, 10, 15], [0.2, 0.15, 0.1], LIMIT)
    assert np.all(np.isfinite(np.array(found.habits, dtype=np.float64)))


@settings(deadline=None, max_examples=20)
@given(st.floats(1e-2, 1e2))
def test_hours_teach_what_minutes_do(unit: float) -> None:
    whose, time, land = simulated(12, 0.01, 0.06, 0.02)
    assert learn_habits(whose, time * unit, land, LIMIT) == learn_habits(whose, time, land, LIMIT)


def test_readings_and_edges_must_match() -> None:
    with pytest.raises(WorkingError) as refused:
        learn_habits([1], [1, 2], [0.1, 0.2], LIMIT)
    assert refused.value.argument == "wear"
