"""Quantities with units: the one registry, the boundary to text and back, and checks of arguments.

Spindle speed is carried in ``1/min``; see `calc.registry`. Import from here: the parts live in `calc.registry`
(the registry and its words), `calc.typed` (reading) and `calc.shown` (text).
"""

import functools
import inspect
from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar

import numpy as np
import pint

from calc.errors import WorkingError
from calc.registry import Quantity, System, choose, in_unit, plain, revolutions_per_minute, unit_named, ureg
from calc.shown import readers_unit, show, show_number, unit_sign
from calc.typed import check_dimension, read_number, read_quantity, said

__all__ = [
    "Quantity", "System", "check_dimension", "choose", "in_unit", "plain", "read_number", "read_quantity",
    "readers_unit", "require", "require_positive", "revolutions_per_minute", "said", "show", "show_number", "takes",
    "unit_named", "unit_sign", "ureg",
]  # fmt: skip

P = ParamSpec("P")
R = TypeVar("R")


def takes(**units: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Decorate a function so that each named argument is checked to be a quantity of that unit's dimension.

    An argument left at None is not checked: it means "not given".

    Parameters
    ----------
    units : argument name = a unit of its dimension

    Returns
    -------
    the decorator

    >>> @takes(diameter="mm")
    ... def radius(diameter: Quantity) -> Quantity:
    ...     return diameter / 2
    >>> radius(3.0)
    Traceback (most recent call last):
        ...
    calc.errors.WorkingError: Diameter needs a unit: it must be a length such as 10 mm.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        signature = inspect.signature(function)

        @functools.wraps(function)
        def checked(*args: P.args, **kwargs: P.kwargs) -> R:
            passed = signature.bind(*args, **kwargs).arguments
            for name, unit in units.items():
                if passed.get(name) is not None:
                    check_dimension(name, passed[name], unit)
            return function(*args, **kwargs)

        return checked

    return decorate


def require(argument: str, holds: Any, sentence: str) -> None:
    """Refuse an argument unless a condition holds, of an array at every point.

    Parameters
    ----------
    argument : name the complaint carries
    holds : bool, or an array of them
    sentence : what is wrong and the way out

    Raises
    ------
    WorkingError : when it does not hold

    >>> require("teeth", np.array([2, 0]) > 0, "Teeth must be above zero.")
    Traceback (most recent call last):
        ...
    calc.errors.WorkingError: Teeth must be above zero.
    """
    if not (holds.all() if isinstance(holds, np.ndarray) else holds):
        raise WorkingError(argument, sentence)


def require_positive(argument: str, value: Any) -> None:
    """Refuse a quantity, number or array that is not above zero and finite.

    Parameters
    ----------
    argument : name the complaint carries
    value : quantity or number, or an array of them

    Raises
    ------
    WorkingError : when it is zero, negative, or not finite

    >>> require_positive("diameter", ureg.Quantity(0, "mm"))
    Traceback (most recent call last):
        ...
    calc.errors.WorkingError: Diameter must be above zero.
    """
    magnitude = value.magnitude if isinstance(value, pint.Quantity) else value
    require(argument, (magnitude > 0) & (magnitude < np.inf), f"{said(argument)} must be above zero.")
