"""Bands of a chamfer mill's flute: which are worn, which are whole, and where the next chamfer spares the flute most.

A chamfer of the width w needs a band of the height b = w / tan(σ/2). Placed with its lowest contact at h it uses the
flute from h to h + b. Wear is a step function of the height: the amounts of all the bands that lie over one height add
up. All heights are counted along the axis from the tip flat upward.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from calc.cutting.clearance import Gap, Verdict, highest_in_gap
from calc.cutting.cone import HAIR, ConicalMill, in_mm, mm_of, require_not_negative
from calc.errors import WorkingError
from calc.life.flute_wear import TOUCH, WearProfile, profile
from calc.units import Quantity, System, check_dimension, plain, require, require_positive, show, takes

MARGIN = 0.1  # mm kept between bands and at both ends of the flute, unless told otherwise
Span: TypeAlias = tuple[Quantity, Quantity]


@dataclass(frozen=True, slots=True)
class WornBand:
    """A stretch of flute already used, and by how much: a share of its life or minutes, the same for all bands."""

    low: Quantity
    high: Quantity
    amount: float


@dataclass(frozen=True, slots=True)
class LeastWorn:
    """The place on the flute that spares it most.

    Where `found` is false the heights and the wear are not numbers (nan). `free_after` lists the whole unworn bands
    that stay after it, and `why_not` says why there is no place; of arrays both are empty.
    """

    contact_low: Quantity
    contact_high: Quantity
    worst_wear: Any
    found: Verdict
    free_after: tuple[Span, ...]
    why_not: str


def wear_profile(worn: Iterable[WornBand]) -> WearProfile:
    """Add worn bands up into wear over height, as `calc.life.flute_wear.profile` does.

    Parameters
    ----------
    worn : bands already used, heights above the tip flat; their amounts all shares of life, or all minutes

    Returns
    -------
    the breaks in mm, and the wear between them in the amounts' own measure

    Raises
    ------
    WorkingError : when a band does not end above its beginning, or an amount is negative or not finite

    >>> done = wear_profile([WornBand(in_mm(0), in_mm(1), 0.5), WornBand(in_mm(0.5), in_mm(2), 0.25)])
    >>> done.breaks.tolist(), done.levels.tolist()
    ([0.0, 0.5, 1.0, 2.0], [0.5, 0.75, 0.25])

    Source: [plane-geometry]
    """
    low, high, amount = np.array([_in_numbers(each) for each in worn], dtype=float).reshape(-1, 3).T
    require("worn", (low >= 0) & (high > low) & (high < np.inf), "A worn band must end above where it begins.")
    require("worn", (amount >= 0) & (amount < np.inf), "The wear of a band cannot be negative.")
    return profile(low, high, amount)


def _in_numbers(band: WornBand) -> tuple[float, float, float]:
    for end in (band.low, band.high):
        check_dimension("worn", end, "mm")
    return mm_of(band.low), mm_of(band.high), band.amount


@takes(chamfer_width="mm", neighbour_distance="mm", neighbour_height="mm", floor_depth="mm")
def edge_range(
    mill: ConicalMill,
    chamfer_width: Quantity,
    *,
    neighbour_distance: Quantity | None = None,
    neighbour_height: Quantity | None = None,
    floor_depth: Quantity | None = None,
) -> Span:
    """Lowest contacts h at which a chamfer on an edge collides with nothing, solved from the clearances.

    With b = w / t and H the height of the flute: h >= 0 keeps the tip flat off the wall, h <= H - b the shank off the
    face, h <= floor - b the tip flat off the floor. Across a gap g the axis leaves g - d0/2 - h · t; the tool needs its
    widest radius R once h + b + (the wall's height) passes H, and d0/2 + (h + b + that height) · t before.

    Parameters
    ----------
    mill : the tool
    chamfer_width : w along the face, length
    neighbour_distance : g from the wall to a neighbouring wall, length
    neighbour_height : how far that wall stands above the face, length; when None, as high as the tool is widest
    floor_depth : from the face down to a floor under the tool, length

    Returns
    -------
    the lowest and the highest such contact in mm, the latter below the former when none fits and without end when
    nothing limits it

    Raises
    ------
    WorkingError : when the width or a distance is not above zero

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> mill = conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(9))
    >>> [end.magnitude for end in edge_range(mill, in_mm(0.5), neighbour_distance=in_mm(7))]
    [0.0, 2.0]

    Source: [plane-geometry]
    """
    require_positive("chamfer_width", chamfer_width)
    gap = Gap(neighbour_distance, neighbour_height, floor_depth)
    gap.check()
    height = mm_of(chamfer_width) / mill.slope
    highest = mill.flute_height - height
    if floor_depth is not None:
        highest = np.minimum(highest, mm_of(floor_depth) - height)
    if neighbour_distance is not None:
        room = mm_of(neighbour_distance) - mill.tip_radius
        highest = np.minimum(highest, highest_in_gap(mill, height, room, gap.height))
    return in_mm(0.0), in_mm(highest)


@takes(hole_diameter="mm", chamfer_diameter="mm", hole_depth="mm")
def circle_range(
    mill: ConicalMill, hole_diameter: Quantity, chamfer_diameter: Quantity, *, hole_depth: Quantity | None = None
) -> Span:
    """Lowest contacts h at which circling in a hole collides with nothing, solved from the clearances.

    With b = (Dchamfer - Dhole) / (2 · t): h <= (Dhole - d0) / (2 · t) lets the tool enter, h <= H - b keeps the shank
    off the face, h <= depth - b the tip flat off the bottom.

    Parameters
    ----------
    mill : the tool
    hole_diameter : of the hole, length
    chamfer_diameter : at the face, length
    hole_depth : of a blind hole, from the face down to where its full diameter ends, length

    Returns
    -------
    the lowest and the highest such contact in mm, the latter below the former when none fits

    Raises
    ------
    WorkingError : when the chamfer is not larger than the hole, or a length is not above zero

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> mill = conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(9))
    >>> [end.magnitude for end in circle_range(mill, in_mm(8), in_mm(9), hole_depth=in_mm(3))]
    [0.0, 2.5]

    Source: [plane-geometry]
    """
    require_positive("hole_diameter", hole_diameter)
    hole, mouth = mm_of(hole_diameter) / 2, mm_of(chamfer_diameter) / 2
    require("chamfer_diameter", (mouth > hole) & (mouth < np.inf), "Chamfer diameter must be larger than the hole.")
    height = (mouth - hole) / mill.slope
    highest = np.minimum(mill.flute_height - height, (hole - mill.tip_radius) / mill.slope)
    if hole_depth is not None:
        require_positive("hole_depth", hole_depth)
        highest = np.minimum(highest, mm_of(hole_depth) - height)
    return in_mm(0.0), in_mm(highest)


@dataclass(frozen=True, slots=True)
class _Room:
    """Height of a band, margin, and the lowest and highest place for it, in mm."""

    height: Any
    margin: Any
    first: Any
    last: Any


def _room(mill: ConicalMill, chamfer_width: Quantity, margin: Quantity | None, fits: Span | None) -> _Room:
    require_positive("chamfer_width", chamfer_width)
    if mill.max_diameter is None:
        raise WorkingError("max_diameter", "Max diameter is needed to know where the flute ends.")
    gap = MARGIN if margin is None else mm_of(margin)
    require_not_negative("margin", gap)
    height = mm_of(chamfer_width) / mill.slope
    first, last = gap, mill.flute_height - gap - height
    if fits is not None:
        first, last = np.maximum(first, mm_of(fits[0])), np.minimum(last, mm_of(fits[1]))
    return _Room(height, gap, first, last)


@takes(chamfer_width="mm", margin="mm")
def least_worn_band(
    mill: ConicalMill,
    chamfer_width: Quantity,
    worn: Sequence[WornBand] = (),
    margin: Quantity | None = None,
    fits: Span | None = None,
    *,
    system: System = "metric",
) -> LeastWorn:
    """Find where on the flute a chamfer of this width spares it most.

    The best place has the least worst wear over its own height; among equals, the least worst wear within the margin
    below and above it, so that it keeps off what is worn more; among equals, the one nearest the tip. Unworn places
    are thus used up from the tip upward, each set against the last one: a band set flush at the end of a stretch takes
    one whole band from it and never two, so as many whole bands as can be stay for later.

    The worst wear changes only where an end of the band passes a break of the wear, and it is lowest on closed
    stretches whose lower ends are the lowest place of all, an upper end of a worn piece, or that plus the margin:
    looking at these is exact.

    Parameters
    ----------
    mill : the tool, with its largest diameter
    chamfer_width : w along the face, length
    worn : bands already used, all with shares of life or all with minutes
    margin : kept at both ends of the flute and, where it can be, to bands that are worn more, length (0.1 mm when not
        given)
    fits : lowest and highest contact that collide with nothing, such as `edge_range` gives; None when all do
    system : "metric" or "inch", for the lengths in sentences

    Returns
    -------
    the band in mm, its worst wear, the whole unworn bands left after it, or why there is no place

    Raises
    ------
    WorkingError : when the width is not above zero, the margin is negative, a worn band is not one, or the mill's
        largest diameter is not known

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> mill = conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(5))
    >>> best = least_worn_band(mill, in_mm(0.5), [WornBand(in_mm(0), in_mm(0.6), 0.8)])
    >>> f"{best.contact_low:.1f~P} to {best.contact_high:.1f~P}, worn {best.worst_wear:g}, {len(best.free_after)} left"
    '0.7 mm to 1.2 mm, worn 0, 1 left'

    Source: [plane-geometry]
    """
    room, done = _room(mill, chamfer_width, margin, fits), wear_profile(worn)
    height, gap, first, last = (each[..., None] for each in np.broadcast_arrays(*_values(room)))
    ends = done.worn_pieces[1]
    places = np.concatenate([first, ends + 0 * gap, ends + gap], axis=-1)
    possible = (places >= first - HAIR) & (places <= last + HAIR)
    wear = np.where(possible, done.worst(places, places + height), np.inf)
    beside = done.worst(places - gap, places + height + gap)
    best = np.lexsort((places, beside, wear), axis=-1)[..., :1]
    place, worst = (np.take_along_axis(each, best, axis=-1)[..., 0][()] for each in (places, wear))
    found: Verdict = plain(np.isfinite(worst))
    low = np.where(found, place, np.nan)[()]
    answer = (in_mm(low), in_mm(low + room.height), plain(np.where(found, worst, np.nan)[()]), found)
    if found is False:
        return LeastWorn(*answer, (), _why_no_place(mill, room, system))
    after = _free(room, wear_profile([*worn, WornBand(answer[0], answer[1], 1.0)])) if found is True else ()
    return LeastWorn(*answer, tuple(after), "")


def _values(room: _Room) -> tuple[Any, ...]:
    return tuple(np.asarray(each, dtype=float) for each in (room.height, room.margin, room.first, room.last))


def _why_no_place(mill: ConicalMill, room: _Room, system: System) -> str:
    height, margin = show(in_mm(room.height), system), show(in_mm(room.margin), system)
    if mill.flute_height < room.height + 2 * room.margin - HAIR:
        return (
            f"The flute is {show(in_mm(mill.flute_height), system)} high and has no place for a band of {height} with "
            f"{margin} kept at both ends: take a larger tool, or make the chamfer narrower."
        )
    return (
        f"No place for a band of {height} with {margin} kept at both ends of the flute stays clear of everything "
        "around: take a smaller tool, or make the chamfer narrower."
    )


@takes(chamfer_width="mm", margin="mm")
def free_bands(
    mill: ConicalMill,
    chamfer_width: Quantity,
    worn: Sequence[WornBand] = (),
    margin: Quantity | None = None,
    most: int = 24,
    *,
    fits: Span | None = None,
) -> list[Span]:
    """Bands of the flute, from the tip upward, that can cut a chamfer of this width and are not worn yet.

    Working higher on the flute cuts faster at the same spindle speed and spreads the wear. Of single values only.

    Parameters
    ----------
    mill : the tool, with its largest diameter
    chamfer_width : w along the face, length
    worn : bands already used
    margin : kept between bands and at both ends of the flute, length (0.1 mm when not given)
    most : bands to name, counted from the tip
    fits : lowest and highest contact that collide with nothing, such as `edge_range` gives; None when all do

    Returns
    -------
    low and high of each free band in mm

    Raises
    ------
    WorkingError : when the width is not above zero, the margin is negative, a worn band is not one, or the mill's
        largest diameter is not known

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> mill = conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(5))
    >>> [f"{low:.1f~P}" for low, high in free_bands(mill, in_mm(0.5), [WornBand(in_mm(0), in_mm(0.6), 0.3)])]
    ['0.7 mm', '1.3 mm']

    Source: [plane-geometry]
    """
    return _free(_room(mill, chamfer_width, margin, fits), wear_profile(worn), most)


def _free(room: _Room, done: WearProfile, most: int = 24) -> list[Span]:
    """Fill each unworn stretch from its lower end."""
    start, end, _ = done.worn_pieces
    low = np.maximum(np.concatenate([[room.first], end + room.margin]), room.first)
    high = np.minimum(np.concatenate([start - room.margin, [room.last + room.height]]), room.last + room.height)
    pitch, slack = room.height + room.margin, np.append(np.full(len(start), TOUCH), HAIR)
    counts = np.clip(np.floor((high - low + room.margin + slack) / pitch), 0, most).astype(int)
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    lows = (np.repeat(low, counts) + within * pitch)[:most]
    return [(in_mm(each), in_mm(each + room.height)) for each in lows.tolist()]
