"""Was the forecast right? Scores of what was said against what came."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError

Array = npt.NDArray[np.float64]


def pinball_loss(observed: npt.ArrayLike, quantile: npt.ArrayLike, level: float) -> Array:
    """Return the loss of a quantile forecast, per forecast; at level 0.5 it is half the absolute error.

    Parameters
    ----------
    observed : what came, minutes, any shape
    quantile : what was said, minutes
    level : chance that the value stays under the quantile, 0 < level < 1

    Returns
    -------
    minutes, broadcast shape; smaller is better

    Raises
    ------
    WorkingError : when the level is not a chance

    >>> pinball_loss([10.0, 10.0], [8.0, 14.0], 0.9).round(6).tolist()
    [1.8, 0.4]

    Source: [koenker-1978 (m)]
    """
    if not 0 < level < 1:
        raise WorkingError("level", "The level must lie between 0 and 1, both ends left out.")
    miss = np.asarray(observed, dtype=np.float64) - np.asarray(quantile, dtype=np.float64)
    return np.maximum(level * miss, (level - 1) * miss)


def coverage(observed: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike) -> float:
    """Return the share of what came that fell inside its interval, ends included.

    Parameters
    ----------
    observed, low, high : minutes, one per forecast, at least one

    Returns
    -------
    share, 0 to 1

    Raises
    ------
    WorkingError : when there is nothing to score

    >>> coverage([10.0, 30.0], [8.0, 8.0], [20.0, 20.0])
    0.5

    Source: [gneiting-raftery-2007 (m)]
    """
    came = np.asarray(observed, dtype=np.float64)
    if came.size == 0:
        raise WorkingError("observed", "There is no ended edge to score yet.")
    return float(((came >= np.asarray(low)) & (came <= np.asarray(high))).mean())


def interval_score(observed: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike, inside: float) -> Array:
    """Return the width of an interval plus a penalty for what fell outside it, per forecast.

    Parameters
    ----------
    observed, low, high : minutes
    inside : chance the interval was meant to hold, 0 < inside < 1

    Returns
    -------
    minutes, broadcast shape; smaller is better

    Raises
    ------
    WorkingError : when `inside` is not a chance

    >>> interval_score([10.0, 30.0], [8.0, 8.0], [20.0, 20.0], 0.8).round(6).tolist()
    [12.0, 112.0]

    Source: [gneiting-raftery-2007 (m)]
    """
    tail = (1 - inside) / 2
    return (pinball_loss(observed, low, tail) + pinball_loss(observed, high, 1 - tail)) / tail


def crps_weibull(
    observed: npt.ArrayLike,
    shape: npt.ArrayLike,
    scale: npt.ArrayLike,
    used: npt.ArrayLike = 0.0,
    ended: npt.ArrayLike = True,
) -> Array:
    """Return the continuous ranked probability score of a Weibull forecast of the minutes left.

    It is the area between the forecast's distribution and the step at what came. When an edge came
    off before it failed, only the minutes it was seen to last are scored.

    Parameters
    ----------
    observed : minutes it lasted from the forecast on, at least 0
    shape, scale : Weibull law of a new edge, dimensionless and minutes
    used : minutes it had cut when the forecast was made
    ended : true when it failed, false when it was taken off before (censored)

    Returns
    -------
    minutes, broadcast shape; smaller is better

    Raises
    ------
    WorkingError : naming the input at fault

    >>> f"{crps_weibull(42, 3, 50):.4f} {crps_weibull(12, 3, 50, used=30):.4f}"
    '4.0381 4.3927'

    Source: [gneiting-raftery-2007 (m)]; integrals by the incomplete gamma function
    """
    came, k, eta, age = _checked(observed, shape, scale, used)
    once = _lasting(age, came, k, eta)
    squared = np.where(
        np.asarray(ended, dtype=bool),
        _lasting(age, np.full_like(came, np.inf), k, eta, power=2),
        _lasting(age, came, k, eta, power=2),
    )
    return np.asarray(came - 2 * once + squared)


def pit_weibull(
    observed: npt.ArrayLike, shape: npt.ArrayLike, scale: npt.ArrayLike, used: npt.ArrayLike = 0.0
) -> Array:
    """Return where in the forecast's distribution the observation fell, 0 to 1: even when forecasts are right.

    Parameters
    ----------
    observed : minutes it lasted from the forecast on, at least 0
    shape, scale : Weibull law of a new edge
    used : minutes it had cut when the forecast was made

    Returns
    -------
    0 to 1, broadcast shape

    Raises
    ------
    WorkingError : naming the input at fault

    >>> f"{pit_weibull(12, 3, 50, used=30):.4f}"
    '0.3139'

    Source: [gneiting-raftery-2007 (m)]
    """
    came, k, eta, age = _checked(observed, shape, scale, used)
    return np.asarray(-np.expm1((age / eta) ** k - ((age + came) / eta) ** k))


def log_score_weibull(
    observed: npt.ArrayLike, shape: npt.ArrayLike, scale: npt.ArrayLike, used: npt.ArrayLike = 0.0
) -> Array:
    """Return minus the log density (per minute) that the forecast gave to what came.

    Parameters
    ----------
    observed : minutes it lasted from the forecast on, above 0 for a new edge
    shape, scale : Weibull law of a new edge
    used : minutes it had cut when the forecast was made

    Returns
    -------
    nats, broadcast shape; smaller is better

    Raises
    ------
    WorkingError : naming the input at fault

    >>> f"{log_score_weibull(12, 3, 50, used=30):.4f}"
    '3.5388'

    Source: [gneiting-raftery-2007 (m)]
    """
    came, k, eta, age = _checked(observed, shape, scale, used)
    total = (age + came) / eta
    with np.errstate(divide="ignore"):
        return np.asarray(total**k - (age / eta) ** k - np.log(k / eta) - (k - 1) * np.log(total))


def brier_score(chance: npt.ArrayLike, happened: npt.ArrayLike) -> float:
    """Return the mean squared error of chances given to events.

    Parameters
    ----------
    chance : what was said, 0 to 1
    happened : what came, true or false

    Returns
    -------
    0 for perfect, 1 for always wrong

    Raises
    ------
    WorkingError : when a chance lies outside 0 to 1

    >>> round(brier_score([0.9, 0.2], [True, False]), 6)
    0.025

    Source: [brier-1950 (m)]
    """
    said = np.asarray(chance, dtype=np.float64)
    if said.size == 0 or not ((said >= 0) & (said <= 1)).all():
        raise WorkingError("chance", "Chances must lie between 0 and 1, and there must be at least one.")
    return float(((said - np.asarray(happened, dtype=np.float64)) ** 2).mean())


def _lasting(age: Array, more: Array, shape: Array, scale: Array, power: int = 1) -> Array:
    """Integrate the chance of lasting beyond `age`, to that power, over the next minutes."""
    from scipy.special import gamma, gammaincc

    # A power of the survival function is that of a Weibull with a shorter scale.
    eta = scale * power ** (-1 / shape)
    inverse = 1 / shape
    start, end = (age / eta) ** shape, ((age + more) / eta) ** shape
    tail = (gammaincc(inverse, start) - gammaincc(inverse, end)) * gamma(inverse) * eta / shape
    return np.asarray(tail * np.exp(start))


def _checked(
    observed: npt.ArrayLike, shape: npt.ArrayLike, scale: npt.ArrayLike, used: npt.ArrayLike
) -> tuple[Array, Array, Array, Array]:
    rows = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (observed, shape, scale, used)))
    for name, values, least in (("observed", rows[0], 0.0), ("used", rows[3], 0.0)):
        if not (np.isfinite(values).all() and (values >= least).all()):
            raise WorkingError(name, f"The minutes {name} must be a number and not below 0.")
    for name, values in (("shape", rows[1]), ("scale", rows[2])):
        if not (np.isfinite(values).all() and (values > 0).all()):
            raise WorkingError(name, f"The {name} of the life law must be above 0.")
    return rows[0], rows[1], rows[2], rows[3]
