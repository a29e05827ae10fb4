"""Drills as a shop stocks them: metric, fractional, numbered and lettered, and the nearest to a wanted hole."""

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache

import numpy as np

from calc.errors import WorkingError
from calc.units import Quantity, plain, read_quantity, require_positive, takes, unit_named, ureg

# Decimal inches. Source: [drill-gauges]; the fourth decimals are the gauge's own, from memory.
_LETTERS = {
    "A": 0.234, "B": 0.238, "C": 0.242, "D": 0.246, "E": 0.250, "F": 0.257, "G": 0.261, "H": 0.266, "I": 0.272,
    "J": 0.277, "K": 0.281, "L": 0.290, "M": 0.295, "N": 0.302, "O": 0.316, "P": 0.323, "Q": 0.332, "R": 0.339,
    "S": 0.348, "T": 0.358, "U": 0.368, "V": 0.377, "W": 0.386, "X": 0.397, "Y": 0.404, "Z": 0.413,
}  # fmt: skip
_NUMBERS = (
    0.2280, 0.2210, 0.2130, 0.2090, 0.2055, 0.2040, 0.2010, 0.1990, 0.1960, 0.1935, 0.1910, 0.1890, 0.1850, 0.1820,
    0.1800, 0.1770, 0.1730, 0.1695, 0.1660, 0.1610, 0.1590, 0.1570, 0.1540, 0.1520, 0.1495, 0.1470, 0.1440, 0.1405,
    0.1360, 0.1285, 0.1200, 0.1160, 0.1130, 0.1110, 0.1100, 0.1065, 0.1040, 0.1015, 0.0995, 0.0980, 0.0960, 0.0935,
    0.0890, 0.0860, 0.0820, 0.0810, 0.0785, 0.0760, 0.0730, 0.0700, 0.0670, 0.0635, 0.0595, 0.0550, 0.0520, 0.0465,
    0.0430, 0.0420, 0.0410, 0.0400, 0.0390, 0.0380, 0.0370, 0.0360, 0.0350, 0.0330, 0.0320, 0.0310, 0.0292, 0.0280,
    0.0260, 0.0250, 0.0240, 0.0225, 0.0210, 0.0200, 0.0180, 0.0160, 0.0145, 0.0135,
)  # fmt: skip
# From, to, step in hundredths of a millimetre. Source: [iso-235 (m)], the preferred sizes.
_METRIC_STEPS = ((20, 300, 5), (310, 1400, 10), (1425, 3200, 25), (3250, 6000, 50), (6100, 10000, 100))

_MM = unit_named("mm")


@dataclass(frozen=True, slots=True, order=True)
class Drill:
    """A stocked drill: diameter in mm, and the name it is asked for by."""

    size: float
    name: str

    @property
    def diameter(self) -> Quantity:
        """DC as a quantity."""
        return ureg.Quantity(self.size, _MM)


@cache
def metric_drills() -> tuple[Drill, ...]:
    """Metric drills of the preferred sizes, smallest first.

    Returns
    -------
    the drills, named by their millimetres

    >>> [drill.name for drill in metric_drills() if 8.4 < drill.size < 8.7]
    ['8.5', '8.6']

    Source: [iso-235 (m)]
    """
    sizes = (size for first, last, step in _METRIC_STEPS for size in range(first, last + 1, step))
    return tuple(Drill(size / 100, f"{size / 100:g}") for size in sizes)


@cache
def inch_drills() -> tuple[Drill, ...]:
    """Number, letter and fractional drills (by 1/64 to 3 in, by 1/16 to 4 in), smallest first.

    Returns
    -------
    the drills, named "#7", "F", "27/64"

    >>> [drill.name for drill in inch_drills() if 0.25 <= drill.size / 25.4 < 0.27]
    ['1/4', 'E', 'F', 'G', '17/64', 'H']

    Source: [drill-gauges]
    """
    found = [Drill(round(inches * 25.4, 6), f"#{number}") for number, inches in enumerate(_NUMBERS, start=1)]
    found += [Drill(round(inches * 25.4, 6), letter) for letter, inches in _LETTERS.items()]
    found += [
        Drill(sixty_fourths / 64 * 25.4, _fraction_name(Fraction(sixty_fourths, 64)))
        for sixty_fourths in (*range(1, 193), *range(196, 257, 4))
    ]
    return tuple(sorted(found))


def _fraction_name(inches: Fraction) -> str:
    whole, rest = divmod(inches, 1)
    return " ".join(str(part) for part in (whole, rest) if part)


def bored(hole: Quantity) -> Drill:
    """A hole that no standard drill is near, which is bored to size.

    Parameters
    ----------
    hole : length

    Returns
    -------
    its size, under the name "bored"

    >>> bored(ureg.Quantity(5, "in"))
    Drill(size=127.0, name='bored')

    Source: [common-practice]
    """
    return Drill(round(hole.m_as("mm"), 6), "bored")


def neighbours(drill: Drill, drills: tuple[Drill, ...]) -> tuple[Drill | None, Drill | None]:
    """The next smaller and the next larger drill.

    Parameters
    ----------
    drill : the drill chosen, or any size
    drills : to choose from, smallest first

    Returns
    -------
    both; None where there is none

    >>> [drill.name for drill in neighbours(read_drill("F"), inch_drills())]
    ['E', 'G']

    Source: [drill-gauges]
    """
    smaller = [other for other in drills if other.size < drill.size - 1e-6]
    larger = [other for other in drills if other.size > drill.size + 1e-6]
    return (max(smaller) if smaller else None), (min(larger) if larger else None)


@takes(wanted="mm")
def nearest_drill(wanted: Quantity, drills: tuple[Drill, ...]) -> Drill:
    """The stocked drill nearest to a wanted hole; of two as near, the larger, which spares the tap.

    Parameters
    ----------
    wanted : hole, length
    drills : to choose from

    Returns
    -------
    the drill

    Raises
    ------
    WorkingError : when the hole is not above zero, or lies past the largest or smallest drill by a tenth

    >>> nearest_drill(ureg.Quantity(0.2584, "in"), inch_drills()).name
    'F'

    Source: [common-practice]
    """
    require_positive("wanted", wanted)
    hole = wanted.m_as("mm")
    if not drills[0].size * 0.9 <= hole <= drills[-1].size * 1.1:
        raise WorkingError("drill", f"No stocked drill is near {hole:.4g} mm.")
    return min(drills, key=lambda drill: (round(abs(drill.size - hole), 9), -drill.size))


@takes(wanted="mm")
def nearest_sizes(wanted: Quantity, drills: tuple[Drill, ...]) -> Quantity:
    """The size of the drill nearest to each of several holes; of two as near, the larger.

    Parameters
    ----------
    wanted : holes, length; one or an array
    drills : to choose from, smallest first

    Returns
    -------
    sizes in mm

    >>> nearest_sizes(ureg.Quantity([8.51, 8.55], "mm"), metric_drills()).magnitude.tolist()
    [8.5, 8.6]

    Source: [common-practice]
    """
    sizes = np.array([drill.size for drill in reversed(drills)])
    off = np.abs(np.asarray(wanted.m_as("mm"))[..., np.newaxis] - sizes)
    return ureg.Quantity(plain(sizes[np.argmin(np.round(off, 9), axis=-1)]), _MM)


def read_drill(text: str) -> Drill:
    """Read a drill by name or size: "F", "#7", "no. 7", "27/64", "8.5", "0.2 in".

    A bare fraction is in inches, as drills are; a bare decimal number is in mm.

    Parameters
    ----------
    text : as the shop writes it

    Returns
    -------
    the drill; one that is only a size carries its size as name

    Raises
    ------
    WorkingError : (argument "drill") when it is neither

    >>> read_drill("no. 7").name, round(read_drill("27/64").size, 4), read_drill("8.5").name
    ('#7', 10.7156, '8.5')

    Source: [drill-gauges]
    """
    plain = re.sub(r"\s+", " ", text.strip())
    number = re.fullmatch(r"(?:#|no\.?|number|nr\.?) ?(\d{1,2})", plain, re.IGNORECASE)
    fraction = re.fullmatch(r'(?:\d+[ -])?\d+/\d+(?: ?(?:in|"))?', plain)
    name = f"#{int(number[1])}" if number else plain.upper()
    if (number or re.fullmatch("[A-Z]", name)) and name in _by_name():
        return _by_name()[name]
    size = read_quantity("drill", plain if not fraction or plain[-1] in 'n"' else f"{plain} in", "mm")
    require_positive("drill", size)
    return Drill(size.magnitude, re.sub(r' ?(in|")$', "", plain) if fraction else f"{size.magnitude:.6g}")


@cache
def _by_name() -> dict[str, Drill]:
    return {drill.name: drill for drill in inch_drills()}


_RANGE = re.compile(r"(?P<first>.+?) to (?P<last>.+?) by (?P<step>.+)", re.IGNORECASE)
_FRACTIONS = r".*\d/\d+|\d+"
_MOST_IN_STOCK = 2000


@lru_cache(maxsize=64)
def read_stock(text: str) -> tuple[Drill, ...]:
    """Read a list of drills in stock: "8.4, 8.5, F, #7, 27/64", "1 to 13 by 0.1 mm", "metric", "letters".

    Parameters
    ----------
    text : names, sizes, ranges and whole sets (metric, numbers, letters, fractions), with commas between; with
        semicolons where decimals have commas

    Returns
    -------
    the drills, smallest first, each once

    Raises
    ------
    WorkingError : (argument "stock") naming the part that is no drill

    >>> [drill.name for drill in read_stock("F, 8 to 9 by 0.5, 27/64")]
    ['F', '8', '8.5', '9', '27/64']

    Source: [drill-gauges], [iso-235 (m)]
    """
    parts = [part.strip() for part in text.split(";" if ";" in text else ",")]
    found = sorted({drill for part in parts if part for drill in _stocked(part)})
    if not found:
        raise WorkingError("stock", "Stock names no drill; write sizes, names or ranges, like 8.5, F, 1 to 13 by 0.1.")
    return tuple(found)


def _stocked(part: str) -> tuple[Drill, ...]:
    """The drills that one part of the list stands for."""
    sets = {
        "metric": metric_drills(), "number": _set(r"#\d+"), "letter": _set("[A-Z]"), "fraction": _set(_FRACTIONS),
    }  # fmt: skip
    word = part.lower().removesuffix("s")
    if word in sets:
        return sets[word]
    try:
        if match := _RANGE.fullmatch(part):
            inches = "/" in match["step"]
            ends = (f"{end} in" if inches and end.isdigit() else end for end in (match["first"], match["last"]))
            return _range(*(read_drill(size) for size in (*ends, match["step"])))
        return (read_drill(part),)
    except WorkingError as problem:
        said = f'Stock: "{part[:40]}" cannot be read.'
        if " " in part:
            said += " Put commas between drills."
        raise WorkingError("stock", f"{said} {problem.sentence}") from None


@cache
def _set(pattern: str) -> tuple[Drill, ...]:
    return tuple(drill for drill in inch_drills() if re.fullmatch(pattern, drill.name))


def _range(first: Drill, last: Drill, step: Drill) -> tuple[Drill, ...]:
    """Evenly stepped sizes from the first to the last; in inches where the steps are a fraction."""
    count = round((last.size - first.size) / step.size, 6)
    if not 0 <= count < _MOST_IN_STOCK:
        raise WorkingError("stock", f"A range runs upward in fewer than {_MOST_IN_STOCK} steps.")
    sizes = [round(first.size + number * step.size, 6) for number in range(int(count) + 1)]
    if "/" in step.name:
        named = {round(drill.size, 6): drill for drill in _set(_FRACTIONS)}
        return tuple(named.get(size) or Drill(size, f"{size:.6g}") for size in sizes)
    return tuple(Drill(size, f"{size:.6g}") for size in sizes)
