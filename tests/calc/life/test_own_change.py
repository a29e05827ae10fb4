"""When one edge should come off, against the sum written out, and the ways in which it is run on or stopped at once."""

import math

import numpy as np
import pytest

from calc.errors import WorkingError
from calc.life.own_change import own_change
from calc.life.predictive import belief, life_survival
from calc.life.replacement import GRID, believed_change

AHEAD = np.arange(1, 60) * 2.0


def alive(shape: float = 4, scale: float = 40) -> np.ndarray:
    return np.asarray(np.exp(-((AHEAD / scale) ** shape)))


def test_a_fresh_edge_comes_off_where_age_replacement_says() -> None:
    law = belief(math.log(40), math.log(4))
    fresh = believed_change(law, 5, 60, 2.0)
    own = own_change(AHEAD, life_survival(AHEAD, law), 5, 60, fresh.cost_rate)
    assert own.minutes[0] == pytest.approx(float(fresh.minutes[0]), abs=2.0)
    assert own.chance_of_failure[0] == pytest.approx(float(fresh.chance_of_failure[0]), abs=0.05)


def test_it_is_the_least_of_the_sum() -> None:
    lasts, rate = alive(), 0.4
    every = np.concatenate(([1.0], lasts))
    worked = np.concatenate(([0.0], np.cumsum(2.0 * (every[1:] + every[:-1]) / 2)))
    cost = 5 * every + 80 * (1 - every) - rate * worked
    assert own_change(AHEAD, lasts, 5, 80, rate).minutes[0] == 2.0 * int(cost.argmin())


@pytest.mark.parametrize(("each", "failure"), [(2.0, 60.0), (6.2, 25.0), (11.0, 400.0), (0.31, 30.0)])
@pytest.mark.parametrize("doubt", [0.0, 0.1])
def test_by_good_parts_a_fresh_edge_comes_off_at_the_very_part_that_the_rule_for_fresh_ones_says(
    each: float, failure: float, doubt: float
) -> None:
    law = belief(math.log(40), math.log(4), doubt, doubt / 2)
    fresh = believed_change(law, 5, failure, each)
    ahead = np.arange(1, 500) * each
    own = own_change(ahead, life_survival(ahead, law), 5, failure, fresh.cost_each, minutes_per_part=each)
    step = max(math.ceil(3 * 40 / each / GRID), 1)
    assert abs(own.minutes[0] / each - fresh.parts[0]) <= (0.01 if step == 1 else step)


def test_by_good_parts_it_is_the_least_of_the_sum_over_single_parts() -> None:
    """Also where a step is three parts: the chances between the steps fall in a straight line."""
    single = np.arange(1, 121) * 1.0
    lasts = np.interp(single, np.append(0.0, AHEAD * 1.5), np.append(1.0, alive(scale=60)))
    cost = 5 * lasts + 80 * (1 - lasts) - 0.6 * np.cumsum(lasts)
    every_third = own_change(single[2::3], lasts[2::3], 5, 80, 0.6, minutes_per_part=1.0)
    assert every_third.minutes[0] == single[2::3][int(cost[2::3].argmin())]
    one, other = own_change([single[2::3]] * 2, [lasts[2::3]] * 2, 5, 80, 0.6, None, [1.0, math.nan]).minutes
    assert one == every_third.minutes[0]
    assert other == own_change(single[2::3], lasts[2::3], 5, 80, 0.6).minutes[0]


def test_the_accepted_risk_is_never_passed() -> None:
    best = own_change(AHEAD, alive(), 5, 6, 0.3, 0.02)
    assert best.limited_by_risk[0]
    assert best.chance_of_failure[0] <= 0.02
    assert not own_change(AHEAD, alive(), 5, 6, 0.3, math.nan).limited_by_risk[0]


def test_an_edge_all_but_done_comes_off_now() -> None:
    gone = own_change(AHEAD, alive(4, 0.5), 5, 80, 0.3, 0.05)
    assert (gone.minutes[0], gone.chance_of_failure[0]) == (0.0, 0.0)


@pytest.mark.parametrize(("failure", "rate"), [(5.0, 0.3), (5.1, 9.0)])
def test_where_changing_early_does_not_pay_it_is_run_to_its_end(failure: float, rate: float) -> None:
    best = own_change(AHEAD, alive(), 5, failure, rate)
    assert (best.minutes[0], best.chance_of_failure[0]) == (math.inf, 1.0)


def test_shapes_that_do_not_match_are_refused() -> None:
    with pytest.raises(WorkingError) as refused:
        own_change(AHEAD, alive()[:-1], 5, 60, 0.3)
    assert refused.value.argument == "lasting"
    with pytest.raises(WorkingError):
        own_change(AHEAD, alive(), 5, 60, 0.3, 2.0)
    with pytest.raises(WorkingError):
        own_change(AHEAD, alive(), 5, 60, 0.3, minutes_per_part=0.0)
