"""Quantities and numbers as text, in the reader's own units and rounded for reading, never for computing."""

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass

import pint

from calc.registry import Quantity, System, unit_named


@dataclass(frozen=True, slots=True)
class _Shown:
    """How one listed unit is put on screen: the unit shown, its sign, and the decimals for a value."""

    unit: str
    sign: str
    decimals: Callable[[float], int]


def _places(count: int) -> Callable[[float], int]:
    return lambda value: count


def _minutes(value: float) -> int:
    """Whole minutes over ten; a short cut keeps enough to be told from another."""
    return 0 if value > 10 else 2 if value >= 1 else 3


def _millimetres(value: float) -> int:
    """To 0.001 mm; chips and feeds per tooth are thinner than that can tell apart."""
    return 3 if value >= 0.1 else 4


def _inches(value: float) -> int:
    """To 0.0001 in, and finer for chips."""
    return 4 if value >= 0.004 else 5


_METRIC = {
    "mm": _Shown("mm", " mm", _millimetres), "m/min": _Shown("m/min", " m/min", _places(1)),
    "mm/min": _Shown("mm/min", " mm/min", lambda value: 0 if value >= 100 else 1),
    "1/min": _Shown("1/min", " rev/min", lambda value: 0 if value >= 100 else 1),
    "deg": _Shown("deg", "°", _places(2)), "min": _Shown("min", " min", _minutes),
    "kW": _Shown("kW", " kW", _places(2)), "N·m": _Shown("N·m", " N·m", _places(2)),
    "N/mm²": _Shown("N/mm²", " N/mm²", _places(0)),
    "cm³/min": _Shown("cm³/min", " cm³/min", _places(2)), "µm": _Shown("µm", " µm", _places(2)),
    "N": _Shown("N", " N", _places(0)), "mm³": _Shown("mm³", " mm³", _places(2)), "%": _Shown("%", " %", _places(1)),
    "mm²": _Shown("mm²", " mm²", lambda value: 1 if value >= 10 else 3),
}  # fmt: skip
_INCH = _METRIC | {
    "mm": _Shown("in", " in", _inches),
    "m/min": _Shown("ft/min", " ft/min", lambda value: 0 if value >= 100 else 1),
    "mm/min": _Shown("in/min", " in/min", _places(2)), "kW": _Shown("hp", " hp", _places(2)),
    "N·m": _Shown("lbf*ft", " lbf·ft", _places(2)), "N/mm²": _Shown("ksi", " ksi", _places(1)),
    "cm³/min": _Shown("in^3/min", " in³/min", _places(3)), "µm": _Shown("µin", " µin", _places(1)),
    "N": _Shown("lbf", " lbf", _places(0)), "mm³": _Shown("in^3", " in³", _places(5)),
    "mm²": _Shown("in^2", " in²", lambda value: 4 if value >= 0.01 else 5),
}  # fmt: skip


@functools.lru_cache(maxsize=128)
def _listed(unit: pint.Unit) -> str:
    """The listed unit that `unit` is, by its own size: m/min and mm/min are shown apart."""
    return next((name for name in _METRIC if unit_named(name) == unit), "")


def show(quantity: Quantity, system: System = "metric", unit: str | None = None) -> str:
    """Write a quantity for reading, rounded as the shop reads it. Never compute from this text.

    Parameters
    ----------
    quantity : any quantity
    system : "metric" or "inch"
    unit : the listed unit to show it as (default: the unit it carries)

    Returns
    -------
    text with its unit; lengths to 0.001 mm or 0.0001 in (thin chips a place finer), minutes whole over ten

    >>> from calc.registry import ureg
    >>> show(ureg.Quantity(3.0043, "mm")), show(ureg.Quantity(3.0043, "mm"), "inch")
    ('3.004 mm', '0.1183 in')
    >>> show(ureg.Quantity(3819.72, "1/min"))
    '3820 rev/min'
    """
    listed = unit if unit is not None else _listed(quantity.units)
    shown = (_INCH if system == "inch" else _METRIC).get(listed)
    if shown is None:
        sign = f" {unit}" if unit else f" {quantity.units:~P}"
        value = float(quantity.m_as(unit_named(unit)) if unit else quantity.magnitude)
        return show_number(value) + sign.rstrip()
    value = float(quantity.m_as(unit_named(shown.unit)))
    return _rounded(value, shown.decimals(abs(value))) + shown.sign


def readers_unit(unit: str, system: System) -> str:
    """The unit in which a reader of a system writes and reads what is listed in a unit, as the registry knows it.

    Parameters
    ----------
    unit : a listed unit
    system : "metric" or "inch"

    Returns
    -------
    the unit's name; the listed one where the reader has no other

    >>> readers_unit("N·m", "inch"), readers_unit("N·m", "metric"), readers_unit("min", "inch")
    ('lbf*ft', 'N·m', 'min')
    """
    shown = (_INCH if system == "inch" else _METRIC).get(unit)
    return shown.unit if shown else unit


def unit_sign(unit: str, system: System) -> str:
    """How the reader's unit is written behind a number.

    Parameters
    ----------
    unit : a listed unit
    system : "metric" or "inch"

    Returns
    -------
    the sign without a space before it

    >>> unit_sign("N·m", "inch"), unit_sign("1/min", "metric"), unit_sign("deg", "inch")
    ('lbf·ft', 'rev/min', '°')
    """
    shown = (_INCH if system == "inch" else _METRIC).get(unit)
    return shown.sign.strip() if shown else unit


def show_number(value: float, digits: int = 4) -> str:
    """Write a plain number to `digits` significant figures, without an exponent where one can do without.

    Parameters
    ----------
    value : the number
    digits : significant figures

    Returns
    -------
    text

    >>> show_number(3), show_number(0.123456), show_number(12345.6)
    ('3', '0.1235', '12346')
    """
    if value == 0 or not 1e-4 <= abs(value) < 1e12:
        return f"{value:.{digits}g}"
    return _rounded(value, max(0, digits - 1 - math.floor(math.log10(abs(value)))))


def _rounded(value: float, decimals: int) -> str:
    """Fixed decimals without idle zeros; a value too small for them keeps three figures instead of reading as none."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if text in ("0", "-0"):
        return f"{value:.3g}" if value else "0"
    return text
