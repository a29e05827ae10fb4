"""Taylor's law and Gilbert's economics: what they refuse, and what must always hold."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life import economics, taylor


def test_a_life_and_its_speed_are_two_sides_of_one_law() -> None:
    speeds = np.array([20.0, 55.0, 120.0])
    lives = taylor.tool_life(speeds, 0.22, 190)
    assert taylor.surface_speed(lives, 0.22, 190) == pytest.approx(speeds)
    assert np.all(np.diff(lives) < 0)


def test_three_points_on_a_line_leave_no_doubt() -> None:
    speeds = np.array([60.0, 90.0, 130.0])
    law = taylor.fit_taylor(speeds, taylor.tool_life(speeds, 0.25, 200))
    assert [law.n, law.c] == pytest.approx([0.25, 200])
    assert list(law.n_interval) == pytest.approx([0.25, 0.25], rel=1e-6)
    assert law.residual_sd == pytest.approx(0, abs=1e-10)


def test_scatter_opens_the_interval_around_the_estimate() -> None:
    law = taylor.fit_taylor([60, 80, 100, 120], [70, 28, 11, 6.5])
    assert law.n_interval[0] < law.n < law.n_interval[1]
    assert law.c_interval[0] < law.c < law.c_interval[1]
    assert taylor.fit_taylor([60, 80, 100, 120], [70, 28, 11, 6.5], confidence=0.5).n_interval[0] > law.n_interval[0]


def test_wild_scatter_leaves_the_exponent_open_upwards() -> None:
    assert math.isinf(taylor.fit_taylor([60, 80, 100, 120], [70, 5, 40, 6]).n_interval[1])


def test_two_points_have_no_interval() -> None:
    assert all(map(math.isnan, taylor.fit_taylor([60, 100], [60, 10]).n_interval))


@pytest.mark.parametrize(
    ("speeds", "lives", "word"),
    [([60], [60], "two or more"), ([60, 60], [60, 50], "two or more"), ([60, 100], [10, 60], "fall faster")],
)
def test_points_that_make_no_law_are_refused(speeds: list[float], lives: list[float], word: str) -> None:
    with pytest.raises(WorkingError, match=word) as refused:
        taylor.fit_taylor(speeds, lives)
    assert refused.value.argument == "points"


def test_tools_with_one_exponent_never_meet() -> None:
    with pytest.raises(WorkingError, match="never last equally"):
        taylor.equal_life(0.2, 100, 0.2, 150)


def test_an_extended_law_wants_duties_that_differ() -> None:
    with pytest.raises(WorkingError, match="once for every life"):
        taylor.fit_extended([10, 20], [60])
    with pytest.raises(WorkingError, match="tell their effects apart"):
        taylor.fit_extended([10, 20, 30], [60, 70, 80], [0.1, 0.1, 0.1])
    with pytest.raises(WorkingError, match="tell their effects apart"):
        taylor.fit_extended([10], [60])
    with pytest.raises(WorkingError, match="for each exponent"):
        taylor.life_at([3.0, -2.0], 60, 0.1)


@pytest.mark.parametrize(
    ("chance", "freedom", "table"),
    [(0.975, 1, 12.706), (0.975, 10, 2.228), (0.95, 30, 1.697), (0.995, 5, 4.032), (0.5, 3, 0)],
)
def test_students_t_is_that_of_the_tables(chance: float, freedom: int, table: float) -> None:
    # Table A of t quantiles as printed in every handbook of statistics, from memory.
    assert taylor.student_t(chance, freedom) == pytest.approx(table, abs=5e-4)


@pytest.mark.parametrize(("chance", "freedom"), [(0.4, 3), (1.0, 3), (0.9, 0)])
def test_students_t_refuses_what_it_cannot_answer(chance: float, freedom: int) -> None:
    with pytest.raises(WorkingError):
        taylor.student_t(chance, freedom)


def test_the_cheapest_speed_is_the_bottom_of_the_cost_curve() -> None:
    best = economics.economic_lives(0.25, 180, 3, 1.0, 6)
    speed = float(best.speed_min_cost)
    around = economics.cost_against_speed(speed * np.array([0.97, 1.0, 1.03]), 0.25, 180, 400, 3, 1.0, 6).total
    assert around.argmin() == 1
    assert best.speed_max_output > best.speed_min_cost


def test_a_change_that_costs_nothing_has_no_best_life() -> None:
    with pytest.raises(WorkingError) as refused:
        economics.economic_lives(0.25, 180, 0, 1, 0)
    assert refused.value.argument == "change_time"


def test_an_edge_that_does_not_last_one_part_is_refused_on_whole_parts() -> None:
    with pytest.raises(WorkingError, match="one whole part"):
        economics.cost_per_part(10, 8, 1, 1, 5, whole=True)


@pytest.mark.parametrize(
    ("outlays", "costs", "parts"),
    [
        ((100, 0), (1.0, 2.0), 100),
        ((0, 0), (1.0, 2.0), 0),
        ((100, 0), (2.0, 2.0), math.nan),
        ((100, 0), (3.0, 2.0), math.nan),
    ],
)
def test_break_even_is_where_the_saving_has_paid_the_outlay(
    outlays: tuple[float, float], costs: tuple[float, float], parts: float
) -> None:
    answer = float(economics.break_even_parts(outlays[0], costs[0], outlays[1], costs[1]))
    assert answer == pytest.approx(parts, nan_ok=True)


@settings(deadline=None)
@given(st.floats(0.1, 0.6), st.floats(50, 500), st.floats(0.5, 10), st.floats(0.1, 3), st.floats(0.1, 40))
def test_the_cheapest_life_is_never_shorter_than_that_of_highest_output(
    n: float, c: float, change: float, rate: float, edge: float
) -> None:
    best = economics.economic_lives(n, c, change, rate, edge)
    assert best.life_min_cost >= best.life_max_output
