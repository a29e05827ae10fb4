"""Groups that lean on each other: a design's law drawn towards those of its family and of its group of materials.

Each group has a starting value of its own, so what is shared is what the shop sees *against* that starting value. In
deviations z from the start, counted in the spread stated with it,

    z = sqrt(a) m + sqrt(b) f + sqrt(c) e        a + b + c = 1

with m common to a group of materials, f to a family in it, and e the group's own, all standard normal and one for each
parameter. A group without relatives has therefore exactly the starting value it was given. The joint mode is found by
turns: each group climbs under what its relatives say of it, then all tell each other anew what their lives say, up and
down the tree. What a group tells is kept as information (a precision and a precision times a mean), so that one without
lives, or with lives that say nothing of some parameter, needs no special case.

Few lives lean: the mode of the shape lies above its mean, and many relatives that all tell their mode would add up to a
confidence that is nobody's. So each tells its mean, and the mean is what is answered (docs/decisions/relatives.md).
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.centring import centred, lean
from calc.life.checks import Floats, Numbers, above_zero, numbers
from calc.life.fitting import FITTED, NOT_SETTLED, Fit, fit
from calc.life.likelihood import Lives, Prior, Whole, climb

MOST_ROUNDS = 60
# In spreads of the starting value: a move this small changes no forecast.
STILL = 1e-7


class Shares(NamedTuple):
    """Shares of the variance of what is not known at the start; they add up to 1, and `own` is above zero."""

    material_group: float
    family: float
    own: float


# Assumed: half of what a starting value misses is the design's own. On simulated shops whose groups share anything from
# nothing to nine tenths, the 80 % range then holds 78 to 86 % of lives of a design never seen (docs/decisions).
ASSUMED_SHARES = Shares(material_group=0.2, family=0.3, own=0.5)


class Kin(NamedTuple):
    """The tree: the family of each group, shape (groups,), and the group of materials of each family, (families,)."""

    family: Whole
    material_group: Whole


class Told(NamedTuple):
    """What lives say of each z, as information: precision (groups, k, k), and precision times mean (groups, k)."""

    precision: Floats
    pull: Floats


class Normal(NamedTuple):
    """Normal beliefs: mean (rows, k) and covariance (rows, k, k)."""

    mean: Floats
    covariance: Floats


class PooledFit(NamedTuple):
    """The fit of every group, the belief it began from (its start, moved by its relatives), and what it rests on.

    `own`, `relatives` and `start` are shares of weight in the typical life at the group's mean duty; they add up to 1.
    """

    fit: Fit
    before: Normal
    own: Floats
    relatives: Floats
    start: Floats
    rounds: int


def kin(family: npt.ArrayLike, material_group: npt.ArrayLike) -> Kin:
    """Check a tree of groups.

    Parameters
    ----------
    family : number of each group's family, 0 and up, shape (groups,)
    material_group : number of each family's group of materials, 0 and up, shape (families,)

    Returns
    -------
    Kin

    Raises
    ------
    WorkingError : when a group names a family, or a family a group of materials, that is none

    >>> kin([0, 0, 1], [0, 0]).family.tolist()
    [0, 0, 1]

    Source: none, a check.
    """
    below, above = np.asarray(family, dtype=np.int64), np.asarray(material_group, dtype=np.int64)
    if below.ndim != 1 or above.ndim != 1 or below.size == 0:
        raise WorkingError("family", "Give one family for each group, and one group of materials for each family.")
    if below.min() < 0 or below.max() >= above.size:
        raise WorkingError("family", f"A family must be a number from 0 to {above.size - 1}.")
    if above.min() < 0 or above.max() >= above.size:
        raise WorkingError("material_group", f"A group of materials must be a number from 0 to {above.size - 1}.")
    return Kin(below, above)


def from_relatives(told: Told, tree: Kin, shares: Shares = ASSUMED_SHARES) -> Normal:
    """What the relatives of each group make of it, its own lives left aside.

    Parameters
    ----------
    told : what the lives of each group say of its z
    tree : from `kin`
    shares : of the variance at the start

    Returns
    -------
    Normal of each group's z: mean 0 and variance 1 where no relative says anything

    Raises
    ------
    WorkingError : when the shares do not add up to 1 or leave a group nothing of its own

    >>> one_knows = Told(np.array([[[0.0]], [[1e9]]]), np.array([[0.0], [2e9]]))
    >>> answer = from_relatives(one_knows, kin([0, 0], [0]), Shares(0.3, 0.4, 0.3))
    >>> answer.mean.round(3).tolist(), answer.covariance.round(3).tolist()
    ([[1.4], [0.0]], [[[0.51]], [[1.0]]])

    Source: exact messages between normal variables on a tree [pearl-1988 (m)]; partial pooling [gelman-bda (m)].
    """
    _check_shares(shares)
    families = tree.material_group.size
    up = _through(told, shares.own)
    of_family = _gather(up, tree.family, families)
    upper = _through(of_family, shares.family)
    of_material = _gather(upper, tree.material_group, families)
    eye = np.eye(told.pull.shape[1])
    # Down again; at each step what came up the same branch is taken off.
    here = tree.material_group
    beside = Told(of_material.precision[here] - upper.precision, of_material.pull[here] - upper.pull)
    above = _joined(np.zeros_like(beside.pull), shares.material_group * eye, beside)
    above = Normal(above.mean, above.covariance + shares.family * eye)
    siblings = Told(of_family.precision[tree.family] - up.precision, of_family.pull[tree.family] - up.pull)
    around = _joined(above.mean[tree.family], above.covariance[tree.family], siblings)
    return Normal(around.mean, around.covariance + shares.own * eye)


def _check_shares(shares: Shares) -> None:
    if min(shares) < 0 or shares.own <= 0 or abs(sum(shares) - 1) > 1e-9:
        raise WorkingError("shares", "The shares must add up to 1, none below zero, with some of a group's own.")


def _through(told: Told, variance: float) -> Told:
    """What is told of x becomes what is told of y where x = y + noise of that variance; sound where nothing is told."""
    softer = np.eye(told.pull.shape[1]) + variance * told.precision
    both = np.linalg.solve(softer, np.concatenate((told.precision, told.pull[:, :, None]), axis=2))
    precision = both[:, :, :-1]
    return Told((precision + precision.transpose(0, 2, 1)) / 2, np.asarray(both[:, :, -1]))


def _gather(told: Told, owner: Whole, owners: int) -> Told:
    precision, pull = np.zeros((owners, *told.precision.shape[1:])), np.zeros((owners, told.pull.shape[1]))
    np.add.at(precision, owner, told.precision)
    np.add.at(pull, owner, told.pull)
    return Told(precision, pull)


def _joined(mean: Floats, covariance: Floats, told: Told) -> Normal:
    """A normal belief after what is told, by way of its covariance, which may be zero."""
    softer = np.eye(mean.shape[1]) + covariance @ told.precision
    wide = np.broadcast_to(covariance, told.precision.shape)
    moved = mean[:, :, None] + wide @ told.pull[:, :, None]
    both = np.linalg.solve(softer, np.concatenate((wide, moved), axis=2))
    after = both[:, :, :-1]
    return Normal(np.asarray(both[:, :, -1]), (after + after.transpose(0, 2, 1)) / 2)


def fit_pooled(
    data: Lives, start: Numbers, spread: Numbers, tree: Kin, shares: Shares = ASSUMED_SHARES, *, mode: bool = False
) -> PooledFit:
    """Fit the life laws of all groups at once, each leaning on its relatives as far as its own lives leave open.

    Parameters
    ----------
    data : lives from `fitting.lives`, numbered within the rows of `start`
    start : starting value of (b, ln beta) per group, shape (groups, p + 1)
    spread : its standard deviations, of the same shape, above zero
    tree : from `kin`
    shares : of the variance at the start
    mode : answer the joint mode itself, and not the mean that lies beside it

    Returns
    -------
    PooledFit; a group that cannot be fitted answers what its relatives and its starting value say, with the reason

    Raises
    ------
    WorkingError : when shapes disagree, a spread is not above zero or the shares are none

    >>> from calc.life.fitting import lives
    >>> data = lives([0] * 4, [True, True, True, False], [31, 44, 52, 60], np.ones((4, 1)))
    >>> answer = fit_pooled(data, [[3.0, 0.9]] * 2, [[0.8, 0.3]] * 2, kin([0, 0], [0]))
    >>> np.exp(answer.fit.coefficients[:, 0]).round(1).tolist()
    [53.1, 32.7]

    Source: joint mode and its normal approximation [gelman-bda (m)], by turns of `fitting.fit` and `from_relatives`;
    from the mode to the mean by `centring.lean`.
    """
    task = _task(data, start, spread, tree, shares, mode)
    nothing = Told(np.zeros((*task.start.shape, task.start.shape[1])), np.zeros(task.start.shape))
    around = climbed = from_relatives(nothing, tree, shares)
    state = _Standing(task.start.copy(), nothing, task.cut)
    steps, rounds = 0, 0
    while state.busy.any() and rounds < MOST_ROUNDS:
        rounds += 1
        theta, told, taken = _own_lives(task, _prior(around, task), state)
        steps += taken
        climbed = Normal(
            np.where(state.busy[:, None], around.mean, climbed.mean),
            np.where(state.busy[:, None, None], around.covariance, climbed.covariance),
        )
        around = from_relatives(told, tree, shares)
        state = _Standing(theta, told, task.cut & _moved(climbed, around))
    return _answer(task, state, around, steps, rounds)


class _Task(NamedTuple):
    """What is to be fitted; `cut` are the groups with lives, `worn` those with worn edges."""

    data: Lives
    start: Floats
    spread: Floats
    shares: Shares
    cut: npt.NDArray[np.bool_]
    worn: npt.NDArray[np.bool_]
    mode: bool


class _Standing(NamedTuple):
    """Where the groups are, what they tell, and which are still to climb."""

    theta: Floats
    told: Told
    busy: npt.NDArray[np.bool_]


def _task(data: Lives, start: Numbers, spread: Numbers, tree: Kin, shares: Shares, mode: bool) -> _Task:
    middle, wide = numbers("start", start), above_zero("spread", spread)
    if middle.ndim != 2 or middle.shape != wide.shape or middle.shape[0] != tree.family.size:
        raise WorkingError("start", "Give a starting value, its spread and a family for each group.")
    if data.duty.shape[1] + 1 != middle.shape[1] or (data.group.size and data.group[-1] >= middle.shape[0]):
        raise WorkingError("start", "Give a starting value for each group and one more column than the duty has.")
    cut = np.bincount(data.group, minlength=middle.shape[0]) > 0
    worn = np.bincount(data.group[data.ended], minlength=middle.shape[0]) > 0
    return _Task(data, middle, wide, shares, cut, worn, mode)


def _in_spreads(precision: Floats, task: _Task) -> Floats:
    return np.asarray(precision * task.spread[:, :, None] * task.spread[:, None, :])


def _prior(around: Normal, task: _Task) -> Prior:
    """From deviations in spreads back to (b, ln beta)."""
    precision = np.linalg.inv(around.covariance) / _in_spreads(np.ones_like(around.covariance), task)
    return Prior(task.start + task.spread * around.mean, precision)


def _own_lives(task: _Task, prior: Prior, state: _Standing) -> tuple[Floats, Told, int]:
    """Climb, and read off what each group's own lives say near its top."""
    theta, _, hessian, settled, steps = climb(task.data, prior, state.theta.copy(), state.busy)
    sound = state.busy & settled
    likelihood = np.where(sound[:, None, None], _in_spreads(-(hessian + prior.precision), task), 0.0)
    values, vectors = np.linalg.eigh(likelihood)
    # A group never takes away from what its relatives know; where the mode lies does not depend on this.
    precision = np.einsum("gij,gj,gkj->gik", vectors, np.maximum(values, 0.0), vectors)
    # At the top the pull of the lives is that of the prior, the other way.
    slope = np.einsum("gij,gj->gi", prior.precision, theta - prior.mean)
    leans = np.flatnonzero(sound & task.worn)
    if leans.size and not task.mode:
        sharpness = (prior.precision + precision / _in_spreads(np.ones_like(precision), task))[leans]
        off = lean(task.data, prior, leans, theta[leans], np.linalg.inv(sharpness))
        slope[leans] += np.einsum("gij,gj->gi", sharpness, off)
    pull = np.einsum("gij,gj->gi", precision, (theta - task.start) / task.spread) + slope * task.spread
    told = Told(
        np.where(state.busy[:, None, None], precision, state.told.precision),
        np.where(state.busy[:, None], np.where(sound[:, None], pull, 0.0), state.told.pull),
    )
    # One that did not settle begins again from its prior, should its relatives move it.
    return np.where((state.busy & ~settled)[:, None], prior.mean, theta), told, steps


def _moved(before: Normal, after: Normal) -> npt.NDArray[np.bool_]:
    shift = np.abs(after.mean - before.mean).max(axis=1)
    wider = np.abs(after.covariance - before.covariance).max(axis=(1, 2))
    return np.asarray((shift > STILL) | (wider > STILL))


def _answer(task: _Task, state: _Standing, around: Normal, steps: int, rounds: int) -> PooledFit:
    prior = _prior(around, task)
    fitted = fit(task.data, prior, begin=state.theta)
    restless = state.busy & (fitted.reason == FITTED)
    if not task.mode:
        fitted = centred(task.data, prior, fitted)
    fitted = fitted._replace(
        converged=fitted.converged & ~restless,
        reason=np.where(restless, NOT_SETTLED, fitted.reason),
        steps=fitted.steps + steps,
    )
    before = Normal(prior.mean, _in_spreads(around.covariance, task))
    return PooledFit(fitted, before, *_weights(task, fitted, around), rounds)


def _weights(task: _Task, fitted: Fit, around: Normal) -> tuple[Floats, Floats, Floats]:
    """How much of what is said of the typical life is each one's, at the mean duty of the group's own minutes."""
    groups, data = task.start.shape[0], task.data
    owner = data.group[data.edge]
    duty = np.zeros((groups, data.duty.shape[1]))
    np.add.at(duty, owner, data.duty)
    count = np.bincount(owner, minlength=groups)
    duty[count > 0] /= count[count > 0, None]
    duty[count == 0, 0] = 1.0
    along = duty * task.spread[:, :-1]
    after = np.einsum("gi,gij,gj->g", duty, fitted.covariance[:, :-1, :-1], duty)
    before = np.einsum("gi,gij,gj->g", along, around.covariance[:, :-1, :-1], along)
    length = np.maximum((along**2).sum(axis=1), 1e-300)
    own_share = task.shares.own
    shared = 1 - own_share
    # Of the shared part, what the relatives have not settled is still the starting value's.
    open_still = (before - own_share * length) / (shared * length) if shared > 0 else np.ones(groups)
    own = np.clip(1 - after / np.maximum(before, 1e-300), 0.0, 1.0)
    start = (1 - own) * np.clip(open_still, 0.0, 1.0)
    return own, 1 - own - start, start
