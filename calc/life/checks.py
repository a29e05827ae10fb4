"""Checks of the numbers that come into `calc.life`, so that every refusal names the argument and the way out."""

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError

Floats: TypeAlias = npt.NDArray[np.float64]
Numbers: TypeAlias = npt.ArrayLike


def numbers(name: str, value: Numbers) -> Floats:
    """Return the value as an array of finite floats.

    Parameters
    ----------
    name : the argument as the caller spells it
    value : a number or an array of any shape

    Returns
    -------
    array of floats, in the shape of the value

    Raises
    ------
    WorkingError : when a number is missing, infinite or no number at all

    >>> numbers("life", [1, 2]).tolist()
    [1.0, 2.0]

    Source: none, a check.
    """
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise WorkingError(name, f"{_spoken(name)} must be a number.") from None
    if not np.all(np.isfinite(array)):
        raise WorkingError(name, f"{_spoken(name)} must be a number; leave it out when it is not known.")
    return array


def above_zero(name: str, value: Numbers) -> Floats:
    """Return the value as an array, every number of it above zero.

    Parameters
    ----------
    name : the argument as the caller spells it
    value : a number or an array of any shape

    Returns
    -------
    array of floats, in the shape of the value

    Raises
    ------
    WorkingError : when a number is zero, below, missing or infinite

    >>> above_zero("scale", 60).tolist()
    60.0

    Source: none, a check.
    """
    array = numbers(name, value)
    if np.any(array <= 0):
        raise WorkingError(name, f"{_spoken(name)} must be above zero.")
    return array


def not_below_zero(name: str, value: Numbers) -> Floats:
    """Return the value as an array, no number of it below zero.

    Parameters
    ----------
    name : the argument as the caller spells it
    value : a number or an array of any shape

    Returns
    -------
    array of floats, in the shape of the value

    Raises
    ------
    WorkingError : when a number is below zero, missing or infinite

    >>> not_below_zero("used", [0, 4]).tolist()
    [0.0, 4.0]

    Source: none, a check.
    """
    array = numbers(name, value)
    if np.any(array < 0):
        raise WorkingError(name, f"{_spoken(name)} must not be below zero.")
    return array


def share(name: str, value: Numbers) -> Floats:
    """Return the value as an array of chances strictly between 0 and 1.

    Parameters
    ----------
    name : the argument as the caller spells it
    value : a chance or an array of chances

    Returns
    -------
    array of floats, in the shape of the value

    Raises
    ------
    WorkingError : when a chance is 0, 1 or outside

    >>> share("confidence", 0.95).tolist()
    0.95

    Source: none, a check.
    """
    array = numbers(name, value)
    if np.any((array <= 0) | (array >= 1)):
        raise WorkingError(name, f"{_spoken(name)} must lie between 0 and 1, such as 0.05 for one in twenty.")
    return array


def percentages(name: str, value: Numbers) -> Floats:
    """Return percentages strictly between 0 and 100 as shares.

    Parameters
    ----------
    name : the argument as the caller spells it
    value : a percentage or an array of them

    Returns
    -------
    array of floats, in the shape of the value

    Raises
    ------
    WorkingError : when a percentage is 0, 100 or outside

    >>> percentages("percent", [10, 50]).tolist()
    [0.1, 0.5]

    Source: none, a check.
    """
    array = numbers(name, value)
    if np.any((array <= 0) | (array >= 100)):
        raise WorkingError(name, f"{_spoken(name)} must lie between 0 and 100.")
    return array / 100


def _spoken(name: str) -> str:
    return "The " + name.replace("_", " ")
