"""Learning the life law from ended and censored edges, for thousands of groups in one batch.

ln eta = x . b, with the covariates x of the duty (1, ln vc, ln feed, ln depth ...); beta is common to a group. An edge
that worked at several duties has the exposure u = sum(m_i / eta_i) and contributes

    d (ln beta + (beta - 1) ln u - x_last . b) - u^beta

with d = 1 when it ended by wear and 0 when it was taken off, broke (a competing end) or is still in use. Normal priors
on b and ln beta are added; a prior precision of zero is a flat prior. All groups take their damped Newton steps
together, on arrays sorted by group.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, numbers
from calc.life.likelihood import FLATTEST, STEEPEST, Lives, Prior, Whole, by_group, climb

FITTED = ""
NO_ENDS = "no edge of the group has ended by wear"
TOO_FEW = "too few different lives to tell the spread; give a prior"
NOT_TOLD_APART = "the duties of the group do not differ enough to tell their effects apart"
NOT_SETTLED = "the fit did not settle"


class Fit(NamedTuple):
    """What was learnt: arrays with one row per group."""

    coefficients: Floats
    log_shape: Floats
    covariance: Floats
    log_likelihood: Floats
    ended: Whole
    censored: Whole
    converged: npt.NDArray[np.bool_]
    reason: npt.NDArray[np.str_]
    steps: int


def lives(
    group: npt.ArrayLike, ended: npt.ArrayLike, minutes: Numbers, duty: Numbers, edge: npt.ArrayLike | None = None
) -> Lives:
    """Check lives and sort them for `fit`.

    Parameters
    ----------
    group : group number of each edge, 0 and up, shape (edges,)
    ended : whether the edge ended by wear; False is right-censored, shape (edges,)
    minutes : minutes in cut of each stretch, shape (stretches,)
    duty : covariates of each stretch, the first column usually 1, shape (stretches, p)
    edge : edge number of each stretch, 0 and up, the stretches of an edge in the order they were cut,
        shape (stretches,); one stretch per edge in order when left out

    Returns
    -------
    Lives, sorted by group

    Raises
    ------
    WorkingError : when shapes disagree, minutes are not above zero, or an edge has no stretch

    >>> lives([0, 0], [True, False], [40, 55], [[1.0], [1.0]]).minutes.tolist()
    [40.0, 55.0]

    Source: none, a check.
    """
    owner, done = np.asarray(group, dtype=np.int64), np.asarray(ended, dtype=bool)
    cut, what = above_zero("minutes", minutes), numbers("duty", duty)
    by = np.arange(owner.size) if edge is None else np.asarray(edge, dtype=np.int64)
    if what.ndim != 2 or cut.ndim != 1 or not what.shape[0] == cut.size == by.size:
        raise WorkingError("duty", "Give one row of duty figures for each stretch of minutes.")
    if owner.size == 0 or owner.shape != done.shape or owner.min() < 0:
        raise WorkingError("ended", "Give one group and one ended mark for each edge, and at least one edge.")
    if by.size == 0 or by.min() < 0 or by.max() >= owner.size or np.any(np.bincount(by, minlength=owner.size) == 0):
        raise WorkingError("minutes", "Give at least one stretch of minutes for each edge.")
    order = np.argsort(owner, kind="stable")
    place = np.empty(owner.size, dtype=np.int64)
    place[order] = np.arange(owner.size)
    stretches = np.argsort(place[by], kind="stable")
    return Lives(owner[order], done[order], place[by][stretches], cut[stretches], what[stretches])


def flat_prior(groups: int, covariates: int) -> Prior:
    """No prior at all: plain maximum likelihood.

    Parameters
    ----------
    groups : number of groups
    covariates : p, columns of the duty

    Returns
    -------
    Prior with zero precision

    >>> flat_prior(2, 1).precision.shape
    (2, 2, 2)

    Source: none.
    """
    wide = covariates + 1
    return Prior(np.zeros((groups, wide)), np.zeros((groups, wide, wide)))


def normal_prior(mean: Numbers, standard_deviation: Numbers) -> Prior:
    """Independent normal priors of (b, ln beta).

    Parameters
    ----------
    mean : prior means, shape (groups, p + 1), the last column ln beta
    standard_deviation : of the same shape; infinite for a flat prior of that number

    Returns
    -------
    Prior

    Raises
    ------
    WorkingError : when a mean is missing or a standard deviation is not above zero

    >>> normal_prior([[4.0, 1.0]], [[0.5, np.inf]]).precision[0].tolist()
    [[4.0, 0.0], [0.0, 0.0]]

    Source: [gelman-bda (m)].
    """
    middle = np.atleast_2d(numbers("mean", mean))
    spread = np.broadcast_to(np.asarray(standard_deviation, dtype=np.float64), middle.shape)
    if np.any(~(spread > 0)):
        raise WorkingError("standard_deviation", "The spread of a prior must be above zero.")
    return Prior(middle, np.eye(middle.shape[1]) * (1 / spread**2)[:, None, :])


def fit(data: Lives, prior: Prior, begin: Floats | None = None) -> Fit:
    """Fit the life law of every group at once: the most likely parameters and their Laplace covariance.

    Parameters
    ----------
    data : lives from `lives`, groups numbered within the prior's rows
    prior : prior of each group; a group without a single edge answers its prior
    begin : where to begin, (b, ln beta), shape (groups, p + 1), when something near the answer is known

    Returns
    -------
    Fit; a group that cannot be fitted has converged False, a reason in words, and its prior's mean and covariance
    where the prior is proper, else nan

    Raises
    ------
    WorkingError : when the prior has another number of covariates or groups than the lives need

    >>> data = lives([0] * 4, [True, True, True, False], [31, 44, 52, 60], np.ones((4, 1)))
    >>> answer = fit(data, flat_prior(1, 1))
    >>> float(np.exp(answer.coefficients[0, 0]).round(2)), float(np.exp(answer.log_shape[0]).round(2))
    (53.7, 3.91)

    Source: [lawless-2003 (m)] for the likelihood with right censoring; cumulative exposure [nelson-1990 (m)]; Laplace
    approximation [gelman-bda (m)].
    """
    groups, wide = prior.mean.shape
    if data.duty.shape[1] + 1 != wide or (data.group.size and data.group[-1] >= groups):
        raise WorkingError("prior", "The prior must have a row for each group and a column for each duty figure.")
    ended = np.bincount(data.group, weights=data.ended, minlength=groups).astype(np.int64)
    count = np.bincount(data.group, minlength=groups).astype(np.int64)
    proper = np.linalg.matrix_rank(prior.precision) == wide
    reason = np.full(groups, FITTED, dtype="<U80")
    reason[~proper & (ended == 0)] = NO_ENDS
    reason[~proper & (ended > 0) & ~_told_apart(data, prior, groups)] = NOT_TOLD_APART
    theta = _start(data, prior, groups, proper) if begin is None else begin.copy()
    ready = (reason == FITTED) & (count > 0)
    theta, level, hessian, settled, steps = climb(data, prior, theta, ready)
    steep = (theta[:, -1] > STEEPEST - 0.01) | (theta[:, -1] < FLATTEST + 0.01)
    reason[ready & steep] = TOO_FEW
    reason[ready & ~steep & ~settled] = NOT_SETTLED
    good = reason == FITTED
    covariance = _inverse(np.where((good & (count > 0))[:, None, None], -hessian, prior.precision))
    theta = np.where(good[:, None], theta, np.where(proper[:, None], prior.mean, np.nan))
    theta[count == 0] = np.where(proper[count == 0][:, None], prior.mean[count == 0], np.nan)
    return Fit(
        theta[:, :-1],
        theta[:, -1],
        covariance,
        np.where(good & (count > 0), level, np.nan),
        ended,
        count - ended,
        good,
        reason,
        steps,
    )


def scale_at(fitted: Fit, group: npt.ArrayLike, duty: Numbers) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """What the fit says of edges at their present duty, ready for `predictive.belief`.

    Parameters
    ----------
    fitted : answer of `fit`
    group : group of each edge, shape (edges,)
    duty : covariates of each edge's duty, shape (edges, p)

    Returns
    -------
    log_scale, log_shape, variance_scale, variance_shape, covariance, each of shape (edges,)

    >>> data = lives([0] * 4, [True, True, True, False], [31, 44, 52, 60], np.ones((4, 1)))
    >>> [float(number[0].round(3)) for number in scale_at(fit(data, flat_prior(1, 1)), [0], [[1.0]])]
    [3.983, 1.363, 0.022, 0.243, -0.001]

    Source: derived, a linear function of normal variables.
    """
    row, what = np.asarray(group, dtype=np.int64), numbers("duty", duty)
    return project(fitted.coefficients[row], fitted.log_shape[row], fitted.covariance[row], what)


def project(
    coefficients: Floats, log_shape: Floats, covariance: Floats, duty: Floats
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Mean, variances and covariance of (ln eta, ln beta) at a duty from those of (b, ln beta).

    Parameters
    ----------
    coefficients : b, shape (edges, p)
    log_shape : ln beta, shape (edges,)
    covariance : of (b, ln beta), shape (edges, p + 1, p + 1)
    duty : covariates, shape (edges, p)

    Returns
    -------
    log_scale, log_shape, variance_scale, variance_shape, covariance, each of shape (edges,)

    >>> answer = project(np.array([[4.0]]), np.array([1.0]), np.eye(2)[None] * 0.04, np.array([[1.0]]))
    >>> [float(number[0]) for number in answer]
    [4.0, 1.0, 0.04, 0.04, 0.0]

    Source: derived, a linear function of normal variables.
    """
    scale = (coefficients * duty).sum(axis=1)
    spread = np.einsum("ei,eij,ej->e", duty, covariance[:, :-1, :-1], duty)
    both = np.einsum("ei,ei->e", duty, covariance[:, :-1, -1])
    return scale, log_shape, np.maximum(spread, 0.0), covariance[:, -1, -1], both


def breakage_belief(
    breaks: Numbers, minutes: Numbers, prior_breaks: Numbers = 0.0, prior_minutes: Numbers = 0.0
) -> tuple[Floats, Floats]:
    """Gamma belief about the breakage rate after the breaks seen in the minutes cut.

    Parameters
    ----------
    breaks : edges that chipped or broke, shape (groups,)
    minutes : minutes in cut of all edges, shape (groups,)
    prior_breaks, prior_minutes : the prior said in the same figures

    Returns
    -------
    gamma shape, gamma rate in minutes; their ratio is the rate per minute

    Raises
    ------
    WorkingError : when a figure is below zero or nothing at all is known

    >>> shape, rate = breakage_belief(11, 1094.6)
    >>> float((shape / rate).round(6))
    0.010049

    Source: conjugate gamma prior of a constant rate [gelman-bda (m)]; flat prior: events over total time.
    """
    known = [numbers(name, value) for name, value in (("breaks", breaks), ("minutes", minutes))]
    before = [
        numbers(name, value) for name, value in (("prior_breaks", prior_breaks), ("prior_minutes", prior_minutes))
    ]
    total = [np.asarray(new + old) for new, old in zip(known, before, strict=True)]
    if any(np.any(part < 0) for part in (*known, *before)) or np.any(total[1] <= 0):
        raise WorkingError("minutes", "The minutes watched must be above zero and no count below zero.")
    return total[0], total[1]


def _start(data: Lives, prior: Prior, groups: int, proper: npt.NDArray[np.bool_]) -> Floats:
    """Begin at the prior where it is proper, else at the exponential law of the group's minutes per end."""
    wide = prior.mean.shape[1]
    minutes = np.bincount(data.group[data.edge], weights=data.minutes, minlength=groups)
    ended = np.bincount(data.group, weights=data.ended, minlength=groups)
    typical = np.log(np.maximum(minutes, 1e-300) / np.maximum(ended, 0.5))
    # The constant may sit in any column or be spread over several: project it onto the duties.
    square = by_group(data.duty[:, :, None] * data.duty[:, None, :], data.group[data.edge], groups)
    ones = by_group(data.duty, data.group[data.edge], groups) * typical[:, None]
    theta = np.zeros((groups, wide))
    theta[:, :-1] = np.einsum("gij,gj->gi", np.linalg.pinv(square, hermitian=True), ones)
    return np.where(proper[:, None], prior.mean, theta)


def _told_apart(data: Lives, prior: Prior, groups: int) -> npt.NDArray[np.bool_]:
    square = by_group(data.duty[:, :, None] * data.duty[:, None, :], data.group[data.edge], groups)
    square += prior.precision[:, :-1, :-1]
    size = np.sqrt(np.maximum(np.diagonal(square, axis1=1, axis2=2), 1e-300))
    scaled = square / (size[:, :, None] * size[:, None, :])
    return np.asarray(np.linalg.eigvalsh(scaled)[:, 0] > 1e-9)


def _inverse(precision: Floats) -> Floats:
    """Inverse of each matrix; nan where a flat direction leaves none."""
    answer = np.full(precision.shape, np.nan)
    sound = np.linalg.eigvalsh(precision)[:, 0] > 0
    answer[sound] = np.linalg.inv(precision[sound])
    return answer
