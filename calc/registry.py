"""The one unit registry, and the words by which a shop calls its units.

Spindle speed is carried in ``1/min``: revolutions as a plain frequency. The registry's own ``rpm`` carries 2 pi
(pi x 10 mm x 1000 rpm would be 197 m/min instead of 31.4), so it is never used; ``revolutions_per_minute`` makes
a spindle speed, and "rpm" typed by a person is read as ``1/min``.

Unit words are looked up in a closed list of what a shop writes, never evaluated, so that no text can do harm.
"""

import functools
import re
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np
import pint

from calc.errors import WorkingError

System: TypeAlias = Literal["metric", "inch"]
if TYPE_CHECKING:
    Quantity: TypeAlias = pint.Quantity[Any]
else:
    Quantity = pint.Quantity

ureg: "pint.UnitRegistry[Any]" = pint.UnitRegistry(cache_folder=None)

# The word a person types -> the registry's name for it. One word may be a product ("sfm" is ft/min).
_WORDS: dict[str, str] = {
    "": "dimensionless", "%": "percent", "percent": "percent",
    "mm": "millimeter", "cm": "centimeter", "m": "meter", "um": "micrometer", "µm": "micrometer",
    "micron": "micrometer", "microns": "micrometer", "nm": "nanometer",
    "in": "inch", "inch": "inch", "inches": "inch", '"': "inch", "ft": "foot", "foot": "foot", "feet": "foot",
    "thou": "thou", "mil": "thou", "uin": "microinch", "µin": "microinch",
    "s": "second", "sec": "second", "second": "second", "seconds": "second",
    "min": "minute", "mins": "minute", "minute": "minute", "minutes": "minute",
    "h": "hour", "hr": "hour", "hour": "hour", "hours": "hour", "day": "day", "days": "day",
    "deg": "degree", "°": "degree", "degree": "degree", "degrees": "degree", "rad": "radian",
    "rev": "dimensionless", "r": "dimensionless", "tooth": "dimensionless", "teeth": "dimensionless",
    "rpm": "1/minute", "hz": "1/second", "sfm": "foot/minute", "sfpm": "foot/minute", "fpm": "foot/minute",
    "ipm": "inch/minute", "ipt": "inch", "ipr": "inch", "tpi": "1/inch",
    "n": "newton", "kn": "kilonewton", "lbf": "force_pound", "nm_torque": "newton*meter", "j": "joule",
    "pa": "pascal", "mpa": "megapascal", "gpa": "gigapascal", "bar": "bar", "psi": "psi", "ksi": "ksi",
    "w": "watt", "kw": "kilowatt", "hp": "horsepower", "ps": "metric_horsepower",
    "g": "gram", "kg": "kilogram", "mg": "milligram", "lb": "pound", "oz": "ounce",
    "cc": "centimeter**3", "l": "liter", "ml": "milliliter",
}  # fmt: skip
# Where upper and lower case mean different things, the exact spelling decides before the lower-cased one.
_EXACT_WORDS = {"Nm": "nm_torque", "MPa": "mpa", "L": "l", "N": "n", "W": "w", "J": "j"}
ANGLES = frozenset({"deg", "°", "degree", "degrees", "rad"})
_SUPERSCRIPTS = str.maketrans(
    {"²": "^2", "³": "^3", "⁻": "^-", "¹": "1", "·": "*", "×": "*", "−": "-", "μ": "µ", "º": "°"}
)
_FACTOR = re.compile(r'(?P<word>1|[A-Za-zµ°"%]+)\.?(?:(?:\^|\*\*)?(?P<power>-?[1-9]))?')


def revolutions_per_minute(value: float) -> Quantity:
    """Make a spindle speed: revolutions per minute as a plain frequency.

    Parameters
    ----------
    value : n, revolutions per minute

    Returns
    -------
    the speed in 1/min

    >>> import math
    >>> (math.pi * ureg.Quantity(10, "mm") * revolutions_per_minute(1000)).to("m/min").magnitude
    31.41592653589793

    Source: the definition of a frequency; the registry's own rpm is an angular speed.
    """
    return ureg.Quantity(value, "1/min")


def in_unit(value: Any, unit: str) -> Quantity:
    """Convert what an arithmetic of quantities gave, whose type the registry leaves open.

    Parameters
    ----------
    value : a quantity
    unit : as the registry or the interface spells it

    Returns
    -------
    the quantity in that unit; of one value a plain float, of an array an array

    >>> in_unit(ureg.Quantity(1, "inch") * 2, "mm").magnitude
    50.8
    """
    wanted = unit_named(unit)
    return ureg.Quantity(plain(value.m_as(wanted)), wanted)


def plain(number: Any) -> Any:
    """Turn the scalar that an array function gave into a plain number, and leave an array as it is.

    Parameters
    ----------
    number : number or array

    Returns
    -------
    the same, never a NumPy scalar nor an array without axes

    >>> plain(np.cos(0.0)), plain(np.array(1.0)), plain(np.array([1.0, 2.0]))
    (1.0, 1.0, array([1., 2.]))
    """
    alone = isinstance(number, np.generic) or (isinstance(number, np.ndarray) and not number.ndim)
    return number.item() if alone else number


def choose(condition: Any, one: Any, other: Any, unit: str) -> Quantity:
    """Take one quantity where a condition holds and the other where it does not, at each point of arrays.

    Parameters
    ----------
    condition : bool, or an array of them
    one, other : quantities of the unit's dimension
    unit : of the result

    Returns
    -------
    the quantity in that unit

    >>> choose(True, ureg.Quantity(1, "inch"), ureg.Quantity(1, "mm"), "mm").magnitude
    25.4
    """
    wanted = unit_named(unit)
    return ureg.Quantity(plain(np.where(condition, one.m_as(wanted), other.m_as(wanted))[()]), wanted)


@functools.lru_cache(maxsize=512)
def unit_named(text: str) -> pint.Unit:
    """Find the unit a person or a declaration writes, such as "N/mm²", "ft/min", "sfm" or "mm/rev".

    Parameters
    ----------
    text : unit as written; words from the trade are known, "rpm" is 1/min, "" is a plain number

    Returns
    -------
    the registry's unit

    Raises
    ------
    WorkingError : (argument "unit") when a word is not known

    >>> str(unit_named("sfm"))
    'foot / minute'
    >>> unit_named("rpm") == unit_named("1/min")
    True
    """
    unit, _ = unit_and_words(text)
    return unit


def unit_problem(text: str) -> str:
    """Say why `text` is no unit; the sentence that goes with an unknown unit.

    >>> unit_problem("furlong")
    '"furlong" is not a unit known here; write it like mm, in, m/min, ft/min, 1/min or deg.'
    """
    return f'"{text}" is not a unit known here; write it like mm, in, m/min, ft/min, 1/min or deg.'


def unit_and_words(text: str) -> tuple[pint.Unit, frozenset[str]]:
    """The unit and the words it was written with; the words tell an angle from a plain number.

    Parameters
    ----------
    text : unit as written

    Returns
    -------
    the unit, and the words

    Raises
    ------
    WorkingError : (argument "unit") when a word is not known

    >>> sorted(unit_and_words("mm/rev")[1])
    ['mm', 'rev']
    """
    unit = ureg.Unit("dimensionless")
    words: set[str] = set()
    plain = text.strip().translate(_SUPERSCRIPTS)
    if not plain:
        return unit, frozenset()
    for position, part in enumerate(plain.split("/")):
        factors = [piece for piece in re.split(r"(?<!\*)\*(?!\*)|\s+|-(?=[A-Za-z])", part) if piece]
        if not factors and position:
            raise WorkingError("unit", unit_problem(text))
        for piece in factors:
            match = _FACTOR.fullmatch(piece)
            if match is None:
                raise WorkingError("unit", unit_problem(text))
            word = match["word"] if match["word"] != "1" else ""
            key = _EXACT_WORDS.get(word, word if word in _WORDS else word.lower())
            if key not in _WORDS:
                raise WorkingError("unit", unit_problem(text))
            words.add(key)
            power = int(match["power"] or 1)
            unit = unit * ureg.Unit(_WORDS[key]) ** (-power if position else power)
    return unit, frozenset(words)
