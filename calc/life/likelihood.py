"""The posterior of the life law's parameters, and the Newton steps that climb it for all groups together."""

import itertools
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.life.checks import Floats

Whole = npt.NDArray[np.int64]

MOST_STEPS = 100
# Lives all alike drive the shape to infinity; no cutting edge is as regular as this.
STEEPEST = np.log(200.0)
FLATTEST = np.log(0.02)


class Lives(NamedTuple):
    """Edges and the stretches they worked, sorted by group: one stretch per duty, in the order they were cut."""

    group: Whole
    ended: npt.NDArray[np.bool_]
    edge: Whole
    minutes: Floats
    duty: Floats


class Prior(NamedTuple):
    """Normal prior of (b, ln beta) per group: mean (groups, p + 1) and precision (groups, p + 1, p + 1)."""

    mean: Floats
    precision: Floats


def by_group(values: Floats, group: Whole, groups: int) -> Floats:
    """Sum the rows of each group.

    Parameters
    ----------
    values : shape (rows, ...)
    group : group of each row, sorted, shape (rows,)
    groups : number of groups; one without rows sums to zero

    Returns
    -------
    sums, shape (groups, ...)

    >>> by_group(np.array([1.0, 2.0, 4.0]), np.array([0, 0, 2]), 3).tolist()
    [3.0, 0.0, 4.0]

    Source: none, a sum.
    """
    answer = np.zeros((groups, *values.shape[1:]))
    if not group.size:
        return answer
    starts = np.flatnonzero(np.concatenate(([True], group[1:] != group[:-1])))
    answer[group[starts]] = np.add.reduceat(values, starts, axis=0)
    return answer


def climb(
    data: Lives, prior: Prior, theta: Floats, ready: npt.NDArray[np.bool_]
) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_], int]:
    """Damped Newton steps of all groups together; a group leaves the batch when it has settled.

    Parameters
    ----------
    data : lives sorted by group
    prior : prior of each group
    theta : where to begin, (b, ln beta), shape (groups, p + 1)
    ready : groups to climb, each with at least one edge, shape (groups,)

    Returns
    -------
    where each group ended, its log posterior, its curvature there, whether it settled, and the steps taken

    >>> one = Lives(np.zeros(3, int), np.ones(3, bool), np.arange(3), np.array([31.0, 44.0, 52.0]), np.ones((3, 1)))
    >>> no_prior = Prior(np.zeros((1, 2)), np.zeros((1, 2, 2)))
    >>> theta, _, _, settled, _ = climb(one, no_prior, np.array([[4.0, 0.0]]), np.array([True]))
    >>> theta.round(3).tolist(), settled.tolist()
    ([[3.825, 1.785]], [True])

    Source: Newton's method with the damping of Levenberg (m).
    """
    groups, wide = theta.shape
    level, hessian = np.full(groups, np.nan), np.zeros((groups, wide, wide))
    settled = np.zeros(groups, dtype=bool)
    rows = np.flatnonzero(ready)
    if not rows.size:
        return theta, level, hessian, settled, 0
    likelihood = _Likelihood(data, prior, rows)
    at, damping = theta[rows], np.full(rows.size, 1e-3)
    value, slope, curve = likelihood.derivatives(at)
    steps = 0
    while rows.size and steps < MOST_STEPS:
        steps += 1
        move = _newton_move(slope, curve, damping)
        trial = at + move
        trial[:, -1] = np.clip(trial[:, -1], FLATTEST, STEEPEST)
        new_value, new_slope, new_curve = likelihood.derivatives(trial)
        # A hair of slack: at the top the level cannot rise any more than its rounding.
        better = new_value >= value - 1e-10 * (1 + np.abs(value))
        damping = np.where(better, np.maximum(damping / 20, 1e-14), np.minimum(damping * 10, 1e12))
        at, value = np.where(better[:, None], trial, at), np.where(better, new_value, value)
        slope = np.where(better[:, None], new_slope, slope)
        curve = np.where(better[:, None, None], new_curve, curve)
        still = (damping < 1e-2) & (np.abs(move).max(axis=1) < 1e-8)
        stuck = (at[:, -1] >= STEEPEST) | (at[:, -1] <= FLATTEST) | (damping >= 1e12)
        leave = better & still | stuck
        theta[rows], level[rows], hessian[rows] = at, value, curve
        settled[rows] = better & still
        if leave.any():
            keep = ~leave
            rows, at, value, slope, curve, damping = (part[keep] for part in (rows, at, value, slope, curve, damping))
            if rows.size:
                likelihood = likelihood.only(keep)
    return theta, level, hessian, settled, steps


def slopes(data: Lives, prior: Prior, rows: Whole, theta: Floats) -> Floats:
    """Slope of the log posterior of some groups, where they are put.

    Parameters
    ----------
    data : lives sorted by group
    prior : prior of each group
    rows : groups asked about, rising, each with at least one edge
    theta : (b, ln beta) of each, shape (rows, p + 1)

    Returns
    -------
    slopes, shape (rows, p + 1)

    >>> one = Lives(np.zeros(3, int), np.ones(3, bool), np.arange(3), np.array([31.0, 44.0, 52.0]), np.ones((3, 1)))
    >>> no_prior = Prior(np.zeros((1, 2)), np.zeros((1, 2, 2)))
    >>> slopes(one, no_prior, np.array([0]), np.array([[4.0, 0.0]])).round(3).tolist()
    [[-0.674, 2.711]]

    Source: derived, as in `climb`.
    """
    return _Likelihood(data, prior, rows).derivatives(theta)[1]


def _newton_move(slope: Floats, curve: Floats, damping: Floats) -> Floats:
    """Uphill step from the eigenvalues of the curvature, so that no saddle or ridge turns it round."""
    values, vectors = np.linalg.eigh(-curve)
    size = np.abs(values)
    size = np.maximum(size + damping[:, None] * size.max(axis=1, keepdims=True), 1e-300)
    along = np.einsum("gji,gj->gi", vectors, slope) / size
    move = np.einsum("gij,gj->gi", vectors, along)
    longest = np.abs(move).max(axis=1, keepdims=True)
    return np.asarray(move * np.minimum(1.0, 4.0 / np.maximum(longest, 1e-300)))


class _Likelihood:
    """Log posterior of the chosen groups with its slope and curvature in (b, ln beta)."""

    def __init__(self, data: Lives, prior: Prior, rows: Whole) -> None:
        number = np.full(prior.mean.shape[0], -1, dtype=np.int64)
        number[rows] = np.arange(rows.size)
        mine = number[data.group] >= 0
        place = np.cumsum(mine) - 1
        kept = mine[data.edge]
        self.group = number[data.group[mine]]
        self.ended = data.ended[mine].astype(np.float64)
        self.edge, self.minutes, self.duty = place[data.edge[kept]], data.minutes[kept], data.duty[kept]
        self.mean, self.precision = prior.mean[rows], prior.precision[rows]
        self._prepare()

    def _prepare(self) -> None:
        edges = self.group.size
        self.single = self.edge.size == edges
        last = np.searchsorted(self.edge, np.arange(edges), side="right") - 1
        self.starts = np.searchsorted(self.edge, np.arange(edges))
        self.last_duty = self.duty[last]
        self.log_minutes = np.log(self.minutes)
        self.group_starts = np.searchsorted(self.group, np.arange(self.mean.shape[0]))
        p = self.duty.shape[1]
        self.upper = np.triu_indices(p)
        if self.single:
            self.square = self.duty[:, self.upper[0]] * self.duty[:, self.upper[1]]

    def only(self, keep: npt.NDArray[np.bool_]) -> "_Likelihood":
        part = object.__new__(_Likelihood)
        number = np.cumsum(keep) - 1
        mine = keep[self.group]
        place = np.cumsum(mine) - 1
        kept = mine[self.edge]
        part.group, part.ended = number[self.group[mine]], self.ended[mine]
        part.edge, part.minutes, part.duty = place[self.edge[kept]], self.minutes[kept], self.duty[kept]
        part.mean, part.precision = self.mean[keep], self.precision[keep]
        part._prepare()
        return part

    def _exposure(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Log exposure per edge, the mean duty weighted by exposure, and the second moments about zero."""
        b = theta[self.group[self.edge], :-1]
        each = self.log_minutes - np.einsum("sp,sp->s", self.duty, b)
        if self.single:
            return each, self.duty, self.square
        most = np.maximum.reduceat(each, self.starts)
        part = np.exp(each - most[self.edge])
        total = np.add.reduceat(part, self.starts)
        part /= total[self.edge]
        mean = np.add.reduceat(self.duty * part[:, None], self.starts, axis=0)
        square = self.duty[:, self.upper[0]] * self.duty[:, self.upper[1]]
        return most + np.log(total), mean, np.add.reduceat(square * part[:, None], self.starts, axis=0)

    def derivatives(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        p = self.duty.shape[1]
        log_u, mean, square = self._exposure(theta)
        beta = np.exp(theta[self.group, -1])
        d, rise = self.ended, beta * log_u
        w = np.exp(np.minimum(rise, 600.0))  # beyond any life, and short of overflow in the sums below
        last = np.einsum("ep,ep->e", self.last_duty, theta[self.group, :-1])
        pull = d * (beta - 1) - beta * w
        spread = square if self.single else mean[:, self.upper[0]] * mean[:, self.upper[1]]
        cross = d * beta - beta * w - beta * rise * w
        columns = [
            (d * (theta[self.group, -1] + (beta - 1) * log_u - last) - w)[:, None],
            -pull[:, None] * mean - d[:, None] * self.last_duty,
            (d * (1 + rise) - w * rise)[:, None],
            (-(beta**2) * w)[:, None] * spread + (0.0 if self.single else pull[:, None] * (square - spread)),
            -cross[:, None] * mean,
            (d * rise - w * rise - w * rise**2)[:, None],
        ]
        summed = np.add.reduceat(np.concatenate(columns, axis=1), self.group_starts, axis=0)
        ends = np.cumsum([0, 1, p, 1, square.shape[1], p, 1])
        value, slope_b, slope_s, upper, mixed, bend = (summed[:, low:high] for low, high in itertools.pairwise(ends))
        curve = np.empty((summed.shape[0], p + 1, p + 1))
        curve[:, self.upper[0], self.upper[1]] = upper
        curve[:, self.upper[1], self.upper[0]] = upper
        curve[:, :-1, -1] = curve[:, -1, :-1] = mixed
        curve[:, -1, -1] = bend[:, 0]
        off = theta - self.mean
        pulled = np.einsum("gij,gj->gi", self.precision, off)
        slope = np.concatenate((slope_b, slope_s), axis=1) - pulled
        return value[:, 0] - 0.5 * (off * pulled).sum(axis=1), slope, curve - self.precision
