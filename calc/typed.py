"""Reading what people type: "0.0022 in", "5/16 in", "1 1/2 in", "0,5 mm", "120 sfm", or a bare number."""

import math
import re

import pint

from calc.errors import WorkingError
from calc.registry import ANGLES, Quantity, unit_and_words, unit_named, ureg

LONGEST_TEXT = 60
LARGEST = 1e9
SMALLEST = 1e-9

_NUMBER = re.compile(
    r"\s*(?P<sign>[+-]?)\s*(?:(?P<whole>\d+)[ -]+(?P<top>\d+)\s*/\s*(?P<bottom>\d+)(?![\d.])"
    r"|(?P<top2>\d+)\s*/\s*(?P<bottom2>\d+)(?![\d.])"
    r"|(?P<decimal>\d[\d,]*(?:\.\d*)?(?:[eE][+-]?\d+)?|\.\d+(?:[eE][+-]?\d+)?))\s*(?P<unit>.*?)\s*"
)


def said(argument: str) -> str:
    """The name of an argument as a person reads it.

    >>> said("surface_speed")
    'Surface speed'
    """
    return argument.replace("_", " ").capitalize()


def read_quantity(argument: str, raw: object, unit: str) -> Quantity:
    """Read what was given for `argument`: a number in `unit`, or text such as "0.0022 in", "5/16 in" or "120 sfm".

    Parameters
    ----------
    argument : name of the input, which every complaint names
    raw : number, text or quantity
    unit : the unit of a bare number, and the dimension that is wanted

    Returns
    -------
    the quantity in `unit`

    Raises
    ------
    WorkingError : when it is no number, not finite, absurdly large or small, or of the wrong dimension

    >>> read_quantity("surface_speed", "120 sfm", "m/min").magnitude
    36.576
    >>> read_quantity("diameter", "5/16 in", "mm").magnitude
    7.9375
    >>> read_quantity("diameter", "10 kW", "mm")
    Traceback (most recent call last):
        ...
    calc.errors.WorkingError: Diameter is given in "kW", but it must be a length such as 10 mm.
    """
    if isinstance(raw, pint.Quantity):
        check_dimension(argument, raw, unit)
        value = float(raw.m_as(unit_named(unit)))
    elif isinstance(raw, str):
        value = _read_text(argument, raw, unit)
    else:
        value = read_number(argument, raw)
    _require_sensible(argument, value, unit)
    return ureg.Quantity(value, unit_named(unit))


def read_number(argument: str, raw: object) -> float:
    """Read a plain number, given as a number or as text.

    Parameters
    ----------
    argument : name of the input, which every complaint names
    raw : number or text

    Returns
    -------
    the number, finite

    Raises
    ------
    WorkingError : when it is no number (true and false are none), or not finite

    >>> read_number("teeth", "6")
    6.0
    >>> read_number("teeth", True)
    Traceback (most recent call last):
        ...
    calc.errors.WorkingError: Teeth must be a number, not yes or no.
    """
    if isinstance(raw, bool):
        raise WorkingError(argument, f"{said(argument)} must be a number, not yes or no.")
    if isinstance(raw, str):
        value, unit = split_number(argument, raw)
        if unit:
            raise WorkingError(argument, f'{said(argument)} is a plain number; leave "{unit[:20]}" away.')
    elif isinstance(raw, int | float):
        value = _as_float(argument, raw)
    else:
        raise WorkingError(argument, f"{said(argument)} must be a number.")
    if not math.isfinite(value):
        raise WorkingError(argument, f"{said(argument)} must be a finite number.")
    return value


def _as_float(argument: str, raw: float) -> float:
    """A whole number beyond what a float can hold is refused rather than raising somewhere deep inside."""
    try:
        return float(raw)
    except OverflowError:
        raise WorkingError(argument, f"{said(argument)} must be a finite number.") from None


def split_number(argument: str, text: str) -> tuple[float, str]:
    """Split "5/16 in", "1 1/2 in", "0,5 mm" or "120" into the number and the unit text after it.

    Parameters
    ----------
    argument : name of the input, which every complaint names
    text : what was typed

    Returns
    -------
    the number, and what follows it (may be empty)

    Raises
    ------
    WorkingError : when the text does not begin with a number, is too long, or a comma could mean two things

    >>> split_number("diameter", "1 1/2 in")
    (1.5, 'in')
    """
    if not text.strip():
        raise WorkingError(
            argument, f"{said(argument)} is empty; give a number, with a unit if it is not the listed one."
        )
    match = _NUMBER.fullmatch(text) if len(text) <= LONGEST_TEXT else None
    if match is None:
        raise WorkingError(
            argument, f'{said(argument)}: "{text.strip()[:20]}" is not a number with a unit, such as 12.5 or 0.5 in.'
        )
    top, bottom = match["top"] or match["top2"], match["bottom"] or match["bottom2"]
    if bottom is not None:
        if int(bottom) == 0:
            raise WorkingError(argument, f"{said(argument)}: a fraction cannot be over zero.")
        value = int(match["whole"] or 0) + int(top) / int(bottom)
    else:
        value = float(_without_comma(argument, match["decimal"]))
    return (-value if match["sign"] == "-" else value), match["unit"]


def _without_comma(argument: str, number: str) -> str:
    """A decimal comma is read; "1,200" could be 1200 or 1.2 and is sent back."""
    if "," not in number:
        return number
    whole, _, rest = number.partition(",")
    if "." in rest or "," in rest or re.fullmatch(r"\d{3}", rest):
        raise WorkingError(
            argument,
            f'{said(argument)}: the comma in "{number}" could mean two things; write it with a point or without.',
        )
    return f"{whole}.{rest}"


def _read_text(argument: str, raw: str, unit: str) -> float:
    value, written = split_number(argument, raw)
    if not math.isfinite(value):
        raise WorkingError(argument, f"{said(argument)} must be a finite number.")
    if not written:
        return value
    try:
        given, words = unit_and_words(written)
    except WorkingError as problem:
        raise WorkingError(argument, f"{said(argument)}: {problem.sentence}") from None
    wanted, wanted_words = unit_and_words(unit)
    # The registry counts an angle as a plain number, so 3 % or 5 teeth would pass for degrees and rad/s for 1/min.
    angle_where_none = bool(words & ANGLES) != bool(wanted_words & ANGLES)
    if angle_where_none or given.dimensionality != wanted.dimensionality:
        raise WorkingError(argument, _wrong_dimension(argument, written, unit))
    # Fifteen figures are all that was meant: 1.5 in is 38.1 mm, not 38.099999999999994.
    return float(f"{ureg.Quantity(value, given).m_as(wanted):.15g}")


def _require_sensible(argument: str, value: float, unit: str) -> None:
    if not math.isfinite(value):
        raise WorkingError(argument, f"{said(argument)} must be a finite number.")
    if abs(value) > LARGEST or 0 < abs(value) < SMALLEST:
        raise WorkingError(
            argument,
            f"{said(argument)} of {value:.3g} {unit} is beyond anything a shop can mean; check number and unit.",
        )


_EXAMPLES = {
    "mm": "a length such as 10 mm", "m/min": "a speed such as 60 m/min", "mm/min": "a feed rate such as 300 mm/min",
    "1/min": "a spindle speed such as 1200 1/min", "deg": "an angle such as 90 deg", "min": "a time such as 15 min",
    "kW": "a power such as 7.5 kW", "N/mm²": "a pressure such as 2000 N/mm²", "": "a plain number without a unit",
}  # fmt: skip


def _wanted(unit: str) -> str:
    return _EXAMPLES.get(unit, f"in {unit} or the like")


def _wrong_dimension(argument: str, written: str, unit: str) -> str:
    return f'{said(argument)} is given in "{written[:20]}", but it must be {_wanted(unit)}.'


def check_dimension(argument: str, value: object, unit: str) -> None:
    """Make sure that `value` is a quantity of the same dimension as `unit`.

    Parameters
    ----------
    argument : name the complaint carries
    value : what was passed
    unit : any unit of the wanted dimension

    Raises
    ------
    WorkingError : when it is no quantity, or one of another dimension

    >>> check_dimension("feed", ureg.Quantity(0.2, "mm"), "mm")
    """
    if not isinstance(value, pint.Quantity):
        raise WorkingError(argument, f"{said(argument)} needs a unit: it must be {_wanted(unit)}.")
    if value.dimensionality != unit_named(unit).dimensionality:
        raise WorkingError(argument, _wrong_dimension(argument, f"{value.units:~P}" or "a plain number", unit))
