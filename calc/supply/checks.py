"""Checks of the numbers that come into `calc.supply`."""

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError


def not_negative(**amounts: npt.ArrayLike) -> None:
    """Refuse the first of the named amounts that is negative or no number.

    Parameters
    ----------
    amounts : name of the argument -> a number or an array of any shape

    Returns
    -------
    nothing

    Raises
    ------
    WorkingError : naming the amount

    >>> not_negative(on_hand=3, on_order=[0, 2])

    Source: none, a check.
    """
    for name, amount in amounts.items():
        values = np.asarray(amount, dtype=np.float64)
        if not (np.isfinite(values).all() and (values >= 0).all()):
            raise WorkingError(name, f"{name.replace('_', ' ').capitalize()} must be a number and not below zero.")
