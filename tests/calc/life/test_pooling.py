"""Groups that lean on each other, against joint optimisation by brute force and against closed forms."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from calc.errors import WorkingError
from calc.life import pooling
from calc.life.fitting import NOT_SETTLED, TOO_FEW, fit, lives, normal_prior
from calc.life.likelihood import Lives
from calc.life.pooling import ASSUMED_SHARES, Kin, Shares, Told, fit_pooled, from_relatives, kin

TREE = kin([0, 0, 1, 2, 3, 0], [0, 0, 1, 1])
START = np.array(
    [[4.0, -1.5, 0.9], [3.5, -2.0, 0.8], [4.2, -1.0, 1.0], [3.0, -1.5, 0.9], [4.5, -2.5, 0.7], [3.8, -1, 1]]
)
SPREAD = np.tile([0.6, 0.4, 0.3], (6, 1))


FEW, MANY = (12, 3, 8, 1, 6), (30, 25, 20, 25, 30)


def shop(seed: int = 3, ended: float = 0.8, edges: tuple[int, ...] = FEW) -> Lives:
    """Groups 0 to 4 with lives at two speeds, some of the edges split over both; group 5 has none."""
    draw = np.random.default_rng(seed)
    group = np.repeat(np.arange(5), edges)
    edge = np.concatenate((np.arange(group.size), np.arange(0, group.size, 3)))
    log_speed = draw.normal(0, 0.3, edge.size)
    minutes = draw.uniform(10, 90, edge.size)
    duty = np.column_stack([np.ones(edge.size), log_speed])
    return lives(group, draw.random(group.size) < ended, minutes, duty, edge)


def likeness(tree: Kin, shares: Shares) -> np.ndarray:
    """Correlation of z between groups, written down from the definition."""
    family, above = tree.family, tree.material_group[tree.family]
    return np.asarray(
        shares.material_group * (above[:, None] == above[None, :])
        + shares.family * (family[:, None] == family[None, :])
        + shares.own * np.eye(family.size)
    )


def joint_level(flat: np.ndarray, data: Lives, tree: Kin, shares: Shares) -> float:
    """Minus the log posterior of all groups together, written down anew."""
    theta = flat.reshape(START.shape)
    z = (theta - START) / SPREAD
    total = 0.5 * sum(z[:, column] @ np.linalg.solve(likeness(tree, shares), z[:, column]) for column in range(3))
    b, log_beta = theta[data.group, :-1], theta[data.group, -1]
    u = np.bincount(data.edge, data.minutes * np.exp(-np.sum(data.duty * b[data.edge], axis=1)))
    last = data.duty[np.searchsorted(data.edge, np.arange(u.size), side="right") - 1]
    ends = log_beta + (np.exp(log_beta) - 1) * np.log(u) - np.sum(last * b, axis=1)
    total += np.sum(u ** np.exp(log_beta)) - np.sum(ends[data.ended])
    return float(total)


def curvature(level: Any, at: np.ndarray, step: float = 1e-3) -> np.ndarray:
    """Second differences of a function, by hand."""
    size = at.size
    answer, eye = np.empty((size, size)), np.eye(size) * step
    for one in range(size):
        for other in range(size):
            answer[one, other] = (
                level(at + eye[one] + eye[other]) - level(at + eye[one] - eye[other])
                - level(at - eye[one] + eye[other]) + level(at - eye[one] - eye[other])
            ) / (4 * step**2)  # fmt: skip
    return answer


# What few lives would take away from their relatives' knowledge is not counted, so their ranges are exact to 3 %.
@pytest.mark.parametrize(("edges", "exact"), [(FEW, 2e-3), (MANY, 2e-6)])
@pytest.mark.parametrize("shares", [ASSUMED_SHARES, Shares(0.0, 0.6, 0.4), Shares(0.5, 0.0, 0.5), Shares(0, 0, 1)])
def test_it_is_the_joint_mode_and_its_curvature_found_by_brute_force(
    shares: Shares, edges: tuple[int, ...], exact: float
) -> None:
    data = shop(edges=edges)
    answer = fit_pooled(data, START, SPREAD, TREE, shares, mode=True)

    def level(flat: np.ndarray) -> float:
        return joint_level(flat, data, TREE, shares)

    brute = minimize(level, START.ravel(), method="BFGS", options={"gtol": 1e-7})
    found = np.column_stack([answer.fit.coefficients, answer.fit.log_shape])
    assert found == pytest.approx(brute.x.reshape(START.shape), abs=1e-5)
    covariance = np.linalg.inv(curvature(level, found.ravel()))
    for row in range(6):
        block = slice(3 * row, 3 * row + 3)
        assert answer.fit.covariance[row] == pytest.approx(covariance[block, block], abs=exact)
    assert answer.fit.converged.all()


def test_where_every_edge_was_taken_off_early_it_is_still_the_joint_mode() -> None:
    data = shop(seed=9, ended=0.0)
    answer = fit_pooled(data, START, SPREAD, TREE, mode=True)
    brute = minimize(
        joint_level, START.ravel(), args=(data, TREE, ASSUMED_SHARES), method="BFGS", options={"gtol": 1e-7}
    )
    found = np.column_stack([answer.fit.coefficients, answer.fit.log_shape])
    assert found == pytest.approx(brute.x.reshape(START.shape), abs=1e-5)
    assert answer.fit.converged.all()


def test_two_known_neighbours_are_weighed_as_normal_means_are() -> None:
    # Three designs of a family; two were seen with variances 0.1 and 0.4 about 1 and 2. By hand: the family's mean has
    # variance 0.7 at the start, and each design lies about it with variance 0.3.
    told = Told(np.array([10.0, 2.5, 0.0])[:, None, None], np.array([10.0, 5.0, 0.0])[:, None])
    answer = from_relatives(told, kin([0, 0, 0], [0]), Shares(0.3, 0.4, 0.3))
    weights = np.array([1 / 0.7, 1 / (0.1 + 0.3), 1 / (0.4 + 0.3)])
    assert answer.mean[2, 0] == pytest.approx((weights[1] * 1 + weights[2] * 2) / weights.sum())
    assert answer.covariance[2, 0, 0] == pytest.approx(1 / weights.sum() + 0.3)
    assert answer.mean[0, 0] == pytest.approx(weights[2] * 2 / (weights[0] + weights[2]))


@given(st.integers(0, 10_000), st.integers(1, 3), st.integers(2, 12))
@settings(max_examples=40, deadline=None)
def test_messages_give_what_one_large_normal_gives(seed: int, wide: int, groups: int) -> None:
    draw = np.random.default_rng(seed)
    family = draw.integers(0, 4, groups)
    tree, shares = kin(family, draw.integers(0, 2, 4)), Shares(*draw.dirichlet([1, 1, 1]))
    root = draw.normal(0, 2, (groups, wide, draw.integers(1, wide + 1)))  # often singular
    precision = np.einsum("gir,gjr->gij", root, root)
    pull = np.einsum("gij,gj->gi", precision, draw.normal(0, 1, (groups, wide)))
    answer = from_relatives(Told(precision, pull), tree, shares)
    alike = np.kron(likeness(tree, shares), np.eye(wide))
    for group in range(groups):
        others = precision.copy()
        others[group] = 0.0
        information = np.zeros((groups * wide, groups * wide))
        for row in range(groups):
            information[row * wide : (row + 1) * wide, row * wide : (row + 1) * wide] = others[row]
        covariance = np.linalg.solve(np.eye(groups * wide) + alike @ information, alike)
        kept = pull.copy()
        kept[group] = 0.0
        block = slice(group * wide, (group + 1) * wide)
        assert answer.covariance[group] == pytest.approx(covariance[block, block], abs=1e-7)
        assert answer.mean[group] == pytest.approx((covariance @ kept.ravel())[block], abs=1e-7)


@pytest.mark.parametrize(("count", "near"), [(3, 0.025), (10, 0.006)])
def test_the_answer_is_the_mean_found_by_summing_over_a_grid(count: int, near: float) -> None:
    minutes = 60 * np.random.default_rng(7).weibull(3.0, count)
    start, spread = np.array([[4.0, 0.9]]), np.array([[0.6, 0.4]])
    data = lives(np.zeros(count), np.ones(count), minutes, np.ones((count, 1)))
    scale, shape = np.meshgrid(np.linspace(2, 6.5, 600), np.linspace(-1.2, 3.2, 600))
    u = minutes[:, None, None] / np.exp(scale)
    level = np.sum(shape + (np.exp(shape) - 1) * np.log(u) - scale - u ** np.exp(shape), axis=0)
    level -= 0.5 * ((scale - 4.0) / 0.6) ** 2 + 0.5 * ((shape - 0.9) / 0.4) ** 2
    weight = np.exp(level - level.max()) / np.exp(level - level.max()).sum()
    truth = np.array([np.sum(weight * scale), np.sum(weight * shape)])

    def found(mode: bool = False) -> np.ndarray:
        answer = fit_pooled(data, start, spread, kin([0], [0]), mode=mode).fit
        return np.array([answer.coefficients[0, 0], answer.log_shape[0]])

    assert found() == pytest.approx(truth, abs=near)
    assert np.abs(found() - truth).max() < 0.5 * np.abs(found(mode=True) - truth).max()


def test_a_group_without_relatives_is_as_unpooled() -> None:
    data = shop()
    alone = fit(data, normal_prior(START, SPREAD))
    pooled = fit_pooled(data, START, SPREAD, kin(np.arange(6), np.arange(6)), mode=True)
    assert pooled.fit.coefficients == pytest.approx(alone.coefficients, abs=1e-8)
    assert pooled.fit.log_shape == pytest.approx(alone.log_shape, abs=1e-8)
    assert pooled.fit.covariance == pytest.approx(alone.covariance, abs=1e-8)
    assert pooled.relatives == pytest.approx(0.0, abs=1e-9)
    assert pooled.rounds == 1


def test_a_group_without_lives_or_relatives_is_its_starting_value() -> None:
    pooled = fit_pooled(shop(), START, SPREAD, kin([0, 0, 0, 0, 0, 1], [0, 1]))
    assert pooled.fit.coefficients[5].tolist() == START[5, :-1].tolist()
    assert pooled.fit.covariance[5] == pytest.approx(np.diag(SPREAD[5] ** 2))
    assert pooled.before.covariance[5] == pytest.approx(np.diag(SPREAD[5] ** 2))
    assert (pooled.own[5], pooled.start[5]) == pytest.approx((0.0, 1.0))


def test_without_a_single_life_all_stand_at_their_starting_values() -> None:
    none = np.zeros(0, dtype=np.int64)
    nothing = Lives(none, np.zeros(0, dtype=bool), none, np.zeros(0), np.zeros((0, 2)))
    pooled = fit_pooled(nothing, START, SPREAD, TREE)
    assert np.column_stack([pooled.fit.coefficients, pooled.fit.log_shape]) == pytest.approx(START)
    assert pooled.start == pytest.approx(1.0)
    assert pooled.rounds == 0


def test_relatives_that_last_longer_than_said_raise_what_is_expected_of_a_new_design() -> None:
    many = np.repeat([0, 1], 40)
    minutes = 120 * np.random.default_rng(2).weibull(2.5, 80)
    data = lives(many, np.ones(80), minutes, np.ones((80, 1)))
    start, spread = np.tile([np.log(60), 0.9], (4, 1)), np.tile([0.5, 0.3], (4, 1))
    pooled = fit_pooled(data, start, spread, kin([0, 0, 0, 1], [0, 0]))
    new_in_family, new_in_material = pooled.fit.coefficients[2:, 0]
    assert np.log(60) < new_in_material < new_in_family < np.log(120)
    assert pooled.fit.covariance[2, 0, 0] < pooled.fit.covariance[3, 0, 0] < 0.25
    assert pooled.relatives[2] > pooled.relatives[3] > 0.1
    assert pooled.own[2:] == pytest.approx(0.0)


@given(st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_weights_add_up_and_own_lives_outweigh_more_as_they_grow(seed: int) -> None:
    pooled = fit_pooled(shop(seed), START, SPREAD, TREE)
    assert pooled.own + pooled.relatives + pooled.start == pytest.approx(1.0)
    for part in (pooled.own, pooled.relatives, pooled.start):
        assert ((part >= -1e-9) & (part <= 1 + 1e-9)).all()
    assert pooled.own[0] > pooled.own[3] > pooled.own[5] - 1e-9


@given(st.integers(0, 10_000), st.permutations(range(6)))
@settings(max_examples=25, deadline=None)
def test_the_order_of_groups_does_not_matter(seed: int, order: list[int]) -> None:
    data, places = shop(seed), np.argsort(order)
    plain = fit_pooled(data, START, SPREAD, TREE)
    moved = lives(places[data.group], data.ended, data.minutes, data.duty, data.edge)
    turned = fit_pooled(moved, START[order], SPREAD[order], kin(TREE.family[order], TREE.material_group))
    assert turned.fit.coefficients == pytest.approx(plain.fit.coefficients[order], abs=1e-6)
    assert turned.fit.covariance == pytest.approx(plain.fit.covariance[order], abs=1e-6)


def test_lives_all_alike_leave_a_group_to_its_relatives_and_say_why() -> None:
    group = np.repeat([0, 1], [400, 10])
    minutes = np.concatenate((np.full(400, 40.0), 50 * np.random.default_rng(1).weibull(3, 10)))
    data = lives(group, np.ones(410), minutes, np.ones((410, 1)))
    pooled = fit_pooled(data, [[4.0, 0.9]] * 2, [[0.6, 0.3]] * 2, kin([0, 0], [0]))
    assert pooled.fit.reason.tolist() == [TOO_FEW, ""]
    assert pooled.fit.coefficients[0] == pytest.approx(pooled.before.mean[0, :-1])
    assert np.isfinite(pooled.fit.coefficients).all()
    assert np.isfinite(pooled.own).all()


def test_turns_that_do_not_come_to_rest_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pooling, "MOST_ROUNDS", 1)
    pooled = fit_pooled(shop(), START, SPREAD, TREE)
    assert NOT_SETTLED in pooled.fit.reason
    assert not pooled.fit.converged[0]


@pytest.mark.parametrize(
    ("family", "material_group", "field"),
    [([0, 2], [0, 0], "family"), ([0, -1], [0, 0], "family"), ([0, 1], [0, 2], "material_group"), ([], [0], "family")],
)
def test_a_tree_that_is_none_is_refused(family: list[int], material_group: list[int], field: str) -> None:
    with pytest.raises(WorkingError) as refusal:
        kin(family, material_group)
    assert refusal.value.argument == field


@pytest.mark.parametrize("shares", [Shares(0.5, 0.5, 0.0), Shares(0.5, 0.5, 0.5), Shares(-0.1, 0.6, 0.5)])
def test_shares_that_are_none_are_refused(shares: Shares) -> None:
    with pytest.raises(WorkingError, match="shares must add up to 1"):
        fit_pooled(shop(), START, SPREAD, TREE, shares)


def test_starting_values_of_another_size_are_refused() -> None:
    with pytest.raises(WorkingError, match="Give a starting value, its spread"):
        fit_pooled(shop(), START[:4], SPREAD[:4], TREE)
    with pytest.raises(WorkingError, match="one more column"):
        fit_pooled(shop(), START[:, :2], SPREAD[:, :2], TREE)
