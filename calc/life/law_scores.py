"""Was the law right? Scores of forecasts that are whole Weibull laws, in closed form."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError

Array = npt.NDArray[np.float64]


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
