"""What the ways of changing cost on whole parts, what an early change costs, and stops shared."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life.policies import ONE_BY_ONE, early_change_costs, policy_costs
from calc.life.predictive import Belief, belief, lasting
from calc.life.replacement import believed_change
from calc.life.stops import shared_stops

VAGUE = belief(np.log(45), np.log(2.5), 0.08, 0.03, 0.01, breaks=2, break_minutes=900)


def direct(believed: Belief, each: float, most: int) -> tuple[np.ndarray, np.ndarray]:
    """P(at least n parts), n = 1 .. most, and its running sum: node by node, without the code under test."""
    ages = each * np.arange(1, most + 1)
    by_node = np.exp(-((ages[:, None] / believed.scale[0]) ** believed.shape[0]))
    alive = by_node @ believed.weight[0] * (1 + ages / believed.break_minutes[0]) ** -believed.breaks[0]
    return alive, np.cumsum(alive)


@pytest.mark.parametrize(("each", "count"), [(6.0, 5), (0.4, 60), (0.03, 900), (90.0, 1)])
def test_a_part_costs_what_an_edge_costs_over_the_good_parts_that_it_makes(each: float, count: int) -> None:
    alive, made = direct(VAGUE, each, 40_000)
    found = policy_costs(VAGUE, each, [count, np.inf], 3.0, 2.0, 20.0)
    failing = 1 - alive[count - 1]
    assert found.parts[0] == pytest.approx([made[count - 1], made[-1]], rel=2e-5)
    assert found.chance_of_failure[0] == pytest.approx([failing, 1.0], abs=1e-9)
    assert found.total[0, 0] == pytest.approx((5 + 20 * failing) / made[count - 1], rel=2e-5)
    assert (found.edge / found.change)[0] == pytest.approx([1.5, 1.5])
    assert found.edges_per_part[0, 0] == pytest.approx(1 / made[count - 1], rel=2e-5)
    assert found.failures_per_part[0, 1] == pytest.approx(found.edges_per_part[0, 1])


def test_costs_are_those_of_a_simulated_machine() -> None:
    draw = np.random.default_rng(41)
    each, count, shape, scale, lives = 7.0, 5, 2.2, 48.0, 200_000
    made = np.floor(scale * draw.exponential(size=lives) ** (1 / shape) / each)
    known = belief(np.log(scale), np.log(shape))
    for policy in (count, np.inf):
        good, failed = np.minimum(made, policy), made < policy
        cost = 4.0 + 1.5 + 30.0 * failed
        ratio = cost.mean() / good.mean()
        spread = np.std(cost - ratio * good) / good.mean() / np.sqrt(lives)
        assert abs(policy_costs(known, each, [policy], 4.0, 1.5, 30.0).total[0, 0] - ratio) < 3 * spread


@pytest.mark.parametrize("shape", [1.3, 2.0, 3.5, 6.0])
@pytest.mark.parametrize("each", [2.0, 9.0, 25.0])
@pytest.mark.parametrize("failure", [6.0, 20.0, 300.0])
def test_the_advised_count_is_the_cheapest_of_all(shape: float, each: float, failure: float) -> None:
    believed = belief(np.log(50), np.log(shape), 0.05, 0.02)
    counts = np.arange(1, 160)
    costs = policy_costs(believed, each, [*counts, np.inf], 3.0, 2.0, failure - 5.0).total[0]
    ours = believed_change(believed, 5.0, failure, each).parts[0]
    chosen = costs[-1] if np.isinf(ours) else costs[int(ours) - 1]
    assert chosen == pytest.approx(costs.min(), rel=2e-6)


def test_parts_beyond_those_counted_singly_join_on_smoothly() -> None:
    counts = np.array([ONE_BY_ONE - 1, ONE_BY_ONE, ONE_BY_ONE + 1, ONE_BY_ONE + 2])
    alive, made = direct(VAGUE, 0.05, ONE_BY_ONE + 2)
    assert policy_costs(VAGUE, 0.05, counts, 1, 1, 1).parts[0] == pytest.approx(made[counts - 1], rel=1e-7)
    assert alive[-1] > 0.5


def test_edges_are_answered_together_as_alone() -> None:
    both = belief(np.log([30.0, 60.0]), np.log([2.0, 4.0]))
    together = policy_costs(both, [2.0, 5.0], [[4, np.inf], [9, np.inf]], [1.0, 2.0], 1.0, [10.0, 40.0])
    alone = policy_costs(belief(np.log(60), np.log(4)), 5.0, [9, np.inf], 2.0, 1.0, 40.0)
    assert together.total[1] == pytest.approx(alone.total[0], rel=1e-6)


def test_what_no_policy_can_be_is_refused() -> None:
    with pytest.raises(WorkingError, match="minutes per part must be above zero"):
        policy_costs(VAGUE, 0, [4], 1, 1, 1)
    with pytest.raises(WorkingError, match="counts must be above zero"):
        policy_costs(VAGUE, 2, [0], 1, 1, 1)
    with pytest.raises(WorkingError, match="failure must not be below zero"):
        policy_costs(VAGUE, 2, [4], 1, 1, -1)


@pytest.mark.parametrize(("used", "ahead", "each"), [(12.0, 6, 3.0), (0.0, 10, 2.0), (5.0, 400, 0.05)])
def test_an_early_change_costs_the_parts_forgone_less_the_failures_spared(used: float, ahead: int, each: float) -> None:
    more, rate = 3.0, 0.9 * each
    early = np.array([0, 1, 2, ahead // 2, ahead])
    parts = np.arange(ahead + 1)
    alive = lasting((parts * each)[None], used, VAGUE)[0]

    def total(count: int) -> float:
        return float(more * (1 - alive[count]) - rate * alive[1 : count + 1].sum())

    wanted = [total(ahead - number) - total(ahead) for number in early]
    assert min(wanted) >= 0
    found = early_change_costs(used, ahead, each, VAGUE, more, rate, [early])[0]
    assert found == pytest.approx(wanted, rel=1e-2, abs=1e-6)


def test_no_edge_is_changed_before_now_and_none_gains_by_it() -> None:
    costs = early_change_costs(30.0, 4, 5.0, VAGUE, 500.0, 0.1, [[0, 2, 4, 5]])[0]
    assert costs.tolist() == [0, 0, 0, np.inf]


def plans(size: int) -> list[list[int]]:
    """Every choice of a stop for each edge, none after its own due point."""
    return [list(plan) for plan in product(*(range(edge + 1) for edge in range(size)))]


def cost_of(plan: list[int], early: np.ndarray, stop: float) -> float:
    return len(set(plan)) * stop + float(sum(early[at, edge] for edge, at in enumerate(plan)))


@given(
    gaps=st.lists(st.floats(0, 10), min_size=1, max_size=6),
    rates=st.lists(st.floats(0, 3), min_size=6, max_size=6),
    reach=st.floats(1, 40),
    stop=st.floats(0, 12),
)
def test_shared_stops_are_the_cheapest_of_all_plans(
    gaps: list[float], rates: list[float], reach: float, stop: float
) -> None:
    due = np.cumsum(gaps)
    ahead = np.maximum(due[None, :] - due[:, None], 0.0)
    early = np.where(ahead > reach, np.inf, ahead * np.array(rates[: due.size]))
    found = shared_stops(early, stop)
    assert found.cost == pytest.approx(min(cost_of(plan, early, stop) for plan in plans(due.size)), abs=1e-7)
    assert cost_of(found.at.tolist(), early, stop) == pytest.approx(found.cost, abs=1e-7)
    assert (found.at <= np.arange(due.size)).all()


def test_where_sharing_costs_nothing_one_stop_takes_all_and_none_is_needed_for_none() -> None:
    assert shared_stops(np.zeros((4, 4)), 0.0).at.tolist() == [0, 0, 0, 0]
    assert shared_stops(np.zeros((0, 0)), 1.0).cost == 0


def test_a_table_that_is_none_is_refused() -> None:
    with pytest.raises(WorkingError, match="square"):
        shared_stops(np.zeros((2, 3)), 1.0)
    with pytest.raises(WorkingError, match="below zero"):
        shared_stops([[0.0, -1.0], [0.0, 0.0]], 1.0)
    with pytest.raises(WorkingError, match="stop cost"):
        shared_stops([[0.0]], -1.0)
