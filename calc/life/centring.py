"""From the top of what is believed to its middle.

Few ends leave a belief that leans: longer lives and looser ones stay possible for longer than shorter and tighter
ones. The bell curve laid at its top then promises too little too surely. Its middle lies off the top by

    half of C times the slope of trace(H C)

with C the covariance at the top and H the curvature of the log posterior; the slope of the trace is had from the slopes
of the log posterior a little off to each side, along as many lines as there are parameters. Where nothing has worn yet
the belief stays at its top: minutes that an edge has merely survived must not raise what it is promised.
"""

import numpy as np
import numpy.typing as npt

from calc.life.checks import Floats
from calc.life.fitting import Fit
from calc.life.likelihood import Lives, Prior, Whole, slopes

# In standard deviations: where the lean is read, and how far the middle may be moved, since what lies further off is
# no longer told by the shape of the top.
ASIDE, FURTHEST = 0.5, 1.0


def centred(data: Lives, prior: Prior, fitted: Fit) -> Fit:
    """Move each group's answer from the most likely parameters to their mean, as far as the lives make them lean.

    Parameters
    ----------
    data : lives that were fitted
    prior : prior of each group; one that is flat in some direction leaves its group at the top, as having no worn edge
    fitted : answer of `fitting.fit` to these lives under this prior

    Returns
    -------
    Fit with the means in place of the modes; covariances, counts and reasons stay

    >>> from calc.life.fitting import fit, lives, normal_prior
    >>> data, prior = lives([0] * 2, [True, False], [31, 44], np.ones((2, 1))), normal_prior([[4.0, 1.0]], [[0.5, 0.3]])
    >>> top = fit(data, prior)
    >>> middle = centred(data, prior, top)
    >>> bool(middle.coefficients[0, 0] > top.coefficients[0, 0])
    True

    Source: mean of a leaning posterior to the first order [tierney-kadane-1986 (m)].
    """
    theta = np.column_stack([fitted.coefficients, fitted.log_shape])
    proper = np.linalg.matrix_rank(prior.precision) == theta.shape[1]
    rows = np.flatnonzero(fitted.converged & (fitted.ended > 0) & proper)
    if not rows.size:
        return fitted
    theta[rows] += lean(data, prior, rows, theta[rows], fitted.covariance[rows])
    return fitted._replace(coefficients=theta[:, :-1], log_shape=theta[:, -1])


def lean(data: Lives, prior: Prior, rows: Whole, theta: Floats, covariance: Floats) -> Floats:
    """How far the middle of each group's belief lies from its top.

    Parameters
    ----------
    data : lives sorted by group
    prior : prior of each group
    rows : groups asked about, rising, each with at least one edge
    theta : the top of each, (b, ln beta), shape (rows, p + 1)
    covariance : of the bell curve laid there, shape (rows, p + 1, p + 1)

    Returns
    -------
    middle less top, shape (rows, p + 1), at most one standard deviation

    >>> from calc.life.fitting import fit, lives, normal_prior
    >>> data, prior = lives([0] * 2, [True, False], [31, 44], np.ones((2, 1))), normal_prior([[4.0, 1.0]], [[0.5, 0.3]])
    >>> top = fit(data, prior)
    >>> at = np.column_stack([top.coefficients, top.log_shape])
    >>> lean(data, prior, np.array([0]), at, top.covariance).round(2).tolist()
    [[0.09, -0.05]]

    Source: mean of a leaning posterior to the first order [tierney-kadane-1986 (m)].
    """
    root = np.linalg.cholesky(covariance)
    pull = np.zeros_like(theta)
    for line in range(theta.shape[1]):
        for aside in (-ASIDE, ASIDE):
            there = theta + aside * root[:, :, line]
            pull += slopes(data, prior, rows, there) / (2 * ASIDE**2)
    moved = np.einsum("gji,gj->gi", root, pull)
    moved *= _within(moved)[:, None]
    return np.asarray(np.einsum("gij,gj->gi", root, moved))


def _within(moved: Floats) -> npt.NDArray[np.float64]:
    return np.asarray(np.minimum(1.0, FURTHEST / np.maximum(np.sqrt((moved**2).sum(axis=1)), 1e-300)))
