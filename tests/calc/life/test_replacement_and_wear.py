"""When to change, and what wear readings say."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life import wear
from calc.life.predictive import belief
from calc.life.replacement import believed_change, change_age, change_parts


@pytest.mark.parametrize(("shape", "planned", "failure"), [(0.8, 5, 50), (1.0, 5, 50), (3.0, 5, 5), (3.0, 5, 4)])
def test_where_changing_early_cannot_pay_the_edge_is_run_to_the_end(
    shape: float, planned: float, failure: float
) -> None:
    best = change_age(shape, 60, planned, failure)
    assert np.isinf(best.minutes)
    assert best.cost_rate == pytest.approx(best.cost_rate_to_end)
    assert np.isinf(change_parts(shape, 60, planned, failure, 5).parts)
    assert np.isinf(believed_change(belief(np.log(60), np.log(shape)), planned, failure, 5).parts).all()


def test_the_accepted_risk_is_never_passed() -> None:
    free, held = change_age(3, 60, 10, 20), change_age(3, 60, 10, 20, accepted_risk=0.05)
    assert free.chance_of_failure > 0.05
    assert held.chance_of_failure == pytest.approx(0.05)
    assert held.limited_by_risk
    parts = change_parts(3, 60, 10, 20, 7, accepted_risk=0.05)
    assert parts.chance_of_failure <= 0.05
    assert parts.parts == 3
    assert parts.limited_by_risk
    believed = believed_change(belief(np.log(60), np.log(3), 0.05), 10, 20, 7, accepted_risk=0.05)
    assert believed.chance_of_failure[0] <= 0.05
    assert believed.parts[0] <= 3


def test_an_edge_run_to_the_end_still_keeps_the_accepted_risk() -> None:
    assert math.isfinite(change_age(0.9, 60, 5, 50, accepted_risk=0.2).minutes)
    assert math.isfinite(believed_change(belief(np.log(60), np.log(0.9)), 5, 50, 6, accepted_risk=0.2).minutes[0])


def test_when_one_part_risks_too_much_no_part_is_advised() -> None:
    assert change_parts(3, 60, 10, 20, 30, accepted_risk=0.05).parts == 0
    none = believed_change(belief(np.log(60), np.log(3)), 10, 20, 30, accepted_risk=0.05)
    assert (none.parts[0], none.minutes[0], none.chance_of_failure[0]) == (0, 0, 0)


def test_edges_are_answered_together_as_alone() -> None:
    shapes, costs = np.array([0.8, 1.5, 3.0, 6.0]), np.array([20.0, 40.0, 12.0, 90.0])
    together = change_age(shapes, 50, 6, costs)
    for row in range(4):
        alone = change_age(shapes[row], 50, 6, costs[row])
        assert together.minutes[row] == pytest.approx(float(alone.minutes), rel=1e-9)


def test_a_known_law_is_advised_as_the_exact_one_and_doubt_costs_more() -> None:
    exact = change_parts(3.5, 45, 5, 25, 2.0)
    known = believed_change(belief(np.log(45), np.log(3.5)), 5, 25, 2.0)
    doubt = believed_change(belief(np.log(45), np.log(3.5), 0.2, 0.1), 5, 25, 2.0)
    assert known.parts[0] == exact.parts
    assert known.cost_rate[0] == pytest.approx(float(exact.cost_rate), rel=1e-4)
    assert doubt.cost_rate[0] > known.cost_rate[0]


def test_minutes_are_advised_where_minutes_per_part_are_not_known() -> None:
    both = believed_change(belief(np.log([45, 45]), np.log(3.5)), 5, 25, [np.nan, 6.2])
    assert np.isnan(both.parts[0])
    assert both.minutes[0] == pytest.approx(23.38, rel=0.03)
    assert both.parts[1] == 4


def test_tiny_parts_are_compared_in_steps_over_the_whole_life() -> None:
    best = believed_change(belief(np.log(45), np.log(3.5)), 5, 25, 0.01)
    assert best.minutes[0] == pytest.approx(23.38, rel=0.03)


def test_a_risk_or_a_part_out_of_range_is_refused() -> None:
    known = belief(np.log(45), np.log(3.5))
    with pytest.raises(WorkingError):
        believed_change(known, 5, 25, accepted_risk=1.5)
    with pytest.raises(WorkingError):
        believed_change(known, 5, 25, minutes_per_part=0)
    with pytest.raises(WorkingError):
        change_age(3, 60, 0, 20)


@settings(deadline=None)
@given(st.floats(1.2, 6), st.floats(1.5, 50))
def test_the_dearer_a_failure_the_earlier_the_change(shape: float, ratio: float) -> None:
    assert change_age(shape, 60, 1, ratio * 1.5).minutes <= change_age(shape, 60, 1, ratio).minutes * (1 + 1e-9)


def test_wear_that_does_not_grow_is_questioned() -> None:
    with pytest.raises(WorkingError, match="does not grow"):
        wear.minutes_to_limit(wear.fit_wear_line([1, 5], [0.2, 0.1]), 0.3)


def test_readings_must_pair_and_differ() -> None:
    with pytest.raises(WorkingError) as refused:
        wear.fit_wear_line([1, 2], [0.1])
    assert refused.value.argument == "wear"
    with pytest.raises(WorkingError, match="different minutes"):
        wear.fit_wear_line([3, 3], [0.1, 0.2])
    with pytest.raises(WorkingError, match="in the order"):
        wear.minutes_between_readings([5, 3], [0.1, 0.2], 0.3)


def test_two_readings_leave_no_spread_and_one_past_the_limit_is_the_crossing() -> None:
    assert math.isnan(wear.fit_wear_line([1, 5], [0.1, 0.2]).residual_sd)
    assert wear.minutes_between_readings([4, 9], [0.5, 0.7], 0.3) == 4
    assert math.isnan(wear.minutes_between_readings([4, 9], [0.1, 0.2], 0.3))


def test_an_edge_that_has_reached_the_limit_has_nothing_left() -> None:
    left, possible, weight = wear.life_given_wear([10, 20], [0.2, 0.31], 0.3, 3, 80, 20)
    assert left.tolist() == [0, 0, 0]
    assert possible.max() == 0
    assert weight.sum() == pytest.approx(1)


def test_an_edge_far_beyond_its_law_still_gets_an_answer() -> None:
    left, _, _ = wear.life_given_wear([10], [0.1], 0.3, 3, 80, 1e9)
    assert np.all((left >= 0) & (left < 1))


def test_an_edge_that_wears_fast_has_less_left_than_its_law_says() -> None:
    fast, _, _ = wear.life_given_wear([10, 20], [0.15, 0.26], 0.3, 3, 80, 20)
    slow, _, _ = wear.life_given_wear([10, 20], [0.06, 0.08], 0.3, 3, 80, 20)
    assert np.all(fast < slow)
    assert np.all(np.diff(fast) > 0)
