"""Room left around a conical mill, as numbers that turn negative where it collides, and the sentences made of them."""

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from calc.cutting.cone import HAIR, ConicalMill, in_mm, mm_of, require_not_negative
from calc.units import Quantity, System, plain, require_positive, show

Verdict: TypeAlias = bool | NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class EdgeClearances:
    """Room left on an edge, each a length that is negative where the tool collides; None where nothing was said of it.

    `tip_flat` from the rim of the tip flat to the wall, `shank` from the face up to the end of the flute, `far_wall`
    from the tool's widest part in the gap to the neighbouring wall, `floor` from the floor up to the tip flat.
    """

    tip_flat: Quantity
    shank: Quantity | None
    far_wall: Quantity | None
    floor: Quantity | None


@dataclass(frozen=True, slots=True)
class HoleClearances:
    """Room left in a hole, each a length that is negative where the tool collides; None where nothing was said of it.

    `tip_flat` from the rim of the tip flat to the hole's wall, `entry` left beside the tool where it enters, on the
    radius (none to spare by plunge), `shank` from the face up to the end of the flute, `bottom` from the bottom of a
    blind hole up to the tip flat.
    """

    tip_flat: Quantity
    entry: Quantity
    shank: Quantity | None
    bottom: Quantity | None


@dataclass(frozen=True, slots=True)
class Gap:
    """What stands around an edge, as `edge_chamfer` takes it; None where nothing is there or known."""

    neighbour_distance: Quantity | None = None
    neighbour_height: Quantity | None = None
    floor_depth: Quantity | None = None

    @property
    def height(self) -> Any:
        """How far the neighbouring wall stands above the face, mm; None when as high as the tool is widest."""
        return None if self.neighbour_height is None else mm_of(self.neighbour_height)

    def check(self) -> None:
        """Refuse distances that are not above zero, and a negative height."""
        for name, value in (("neighbour_distance", self.neighbour_distance), ("floor_depth", self.floor_depth)):
            if value is not None:
                require_positive(name, value)
        if self.neighbour_height is not None:
            require_not_negative("neighbour_height", self.height)


def room_of(millimetres: Any) -> Quantity:
    """A clearance, in which what rounding alone left counts as touching.

    Parameters
    ----------
    millimetres : number or array, negative where something collides

    Returns
    -------
    the length

    >>> room_of(-1e-15).magnitude, room_of(-0.1).magnitude
    (0.0, -0.1)

    Source: [plane-geometry]
    """
    return in_mm(np.where(np.abs(millimetres) <= HAIR, 0.0, millimetres)[()])


def all_clear(*clearances: Quantity | None) -> Verdict:
    """Whether nothing collides; a clearance of which nothing is known does not count.

    Parameters
    ----------
    clearances : lengths, negative where something collides, or None

    Returns
    -------
    yes or no; of arrays an array

    >>> all_clear(in_mm(0), None, in_mm(2.5)), all_clear(in_mm(1), in_mm(-0.1))
    (True, False)

    Source: [plane-geometry]
    """
    clear: Any = np.True_
    for each in clearances:
        if each is not None:
            clear = np.logical_and(clear, mm_of(each) >= 0)
    verdict: Verdict = plain(clear)
    return verdict


def reach_in_the_gap(mill: ConicalMill, depth: Any, height: Any | None) -> Any:
    """Widest radius of the tool below the top of a neighbouring wall.

    Parameters
    ----------
    mill : the tool
    depth : z of the tip flat below the face, mm
    height : of the wall's top above the face, mm; None when the wall is as high as the tool is widest

    Returns
    -------
    radius in mm; of a tool whose largest diameter is not known, at least its radius at the face

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> mill = conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(9), in_mm(12))
    >>> [float(reach_in_the_gap(mill, 1.5, height)) for height in (0, 3, None)]
    [2.0, 6.0, 6.0]

    Source: [plane-geometry]
    """
    flute = mill.flute_height
    if height is None:
        return np.maximum(mill.radius_at(np.minimum(depth, flute)), mill.widest_radius)
    top = depth + height
    return np.where(top > flute + HAIR, mill.widest_radius, mill.radius_at(np.minimum(top, flute)))[()]


def highest_in_gap(mill: ConicalMill, band: Any, room: Any, wall: Any | None) -> Any:
    """Highest lowest contact at which the tool stays off a neighbouring wall, in closed form.

    With the slope t the axis leaves room - h · t. The tool needs its widest radius R once h + band + wall passes the
    flute, and d0/2 + (h + band + wall) · t before. The need grows with h and jumps where the shank dips below the
    wall's top, so the contacts that fit end once.

    Parameters
    ----------
    mill : the tool
    band : height of the chamfer along the axis, mm
    room : from the wall of the edge to the neighbouring wall, less half the tip flat, mm
    wall : height of the neighbouring wall above the face, mm; None when it is as high as the tool is widest

    Returns
    -------
    h in mm, below zero when the tool does not fit into the gap

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> mill = conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(9))
    >>> float(highest_in_gap(mill, 0.5, 6.5, None))
    2.0

    Source: [plane-geometry]
    """
    slope, over_tip = mill.slope, mill.tip_radius + (band + (0.0 if wall is None else wall)) * mill.slope
    by_cone = (room - over_tip) / (2 * slope)
    by_body = (room - mill.widest_radius) / slope
    if wall is None:
        # A tool whose largest diameter is not known needs at least its radius at the face.
        return by_body if mill.max_diameter is not None else np.minimum(by_cone, by_body)
    dips = mill.flute_height - band - wall
    return np.where(by_cone < dips, by_cone, np.maximum(dips, by_body))[()]


def around_the_edge(mill: ConicalMill, x: Any, z: Any, gap: Gap) -> EdgeClearances:
    """Room around a tool that chamfers an edge.

    Parameters
    ----------
    mill : the tool
    x : axis offset from the wall, mm
    z : depth of the tip flat below the face, mm
    gap : what stands around the edge

    Returns
    -------
    the clearances

    Raises
    ------
    WorkingError : when a distance of the gap is not above zero

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> mill = conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(9))
    >>> around_the_edge(mill, 1.5, 1.5, Gap(neighbour_distance=in_mm(5))).far_wall.magnitude
    -1.0

    Source: [plane-geometry]
    """
    gap.check()
    wall, floor = gap.neighbour_distance, gap.floor_depth
    return EdgeClearances(
        tip_flat=room_of(x - mill.tip_radius),
        shank=None if mill.max_diameter is None else room_of(mill.flute_height - z),
        far_wall=None if wall is None else room_of(mm_of(wall) - x - reach_in_the_gap(mill, z, gap.height)),
        floor=None if floor is None else room_of(mm_of(floor) - z),
    )


def past_the_flute(mill: ConicalMill, high: float, what: str, system: System) -> str:
    """Say that the flute ends below the highest contact, by how much, and what comes of it.

    Parameters
    ----------
    mill : the tool, with its largest diameter
    high : highest contact above the tip flat, mm
    what : the shank would meet
    system : "metric" or "inch", for the lengths

    Returns
    -------
    the sentence without its end

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> past_the_flute(conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(5)), 3, "the edge", "metric")
    'The flute ends 2 mm above the tip, but the chamfer reaches 3 mm up, and the shank would meet the edge'

    Source: [plane-geometry]
    """
    flute, reached = show(in_mm(mill.flute_height), system), show(in_mm(high), system)
    thin = mill.shank_diameter is not None and mill.shank_diameter < mill.max_diameter
    end = f"the shank is thinner, so {what} would stay uncut" if thin else f"the shank would meet {what}"
    return f"The flute ends {flute} above the tip, but the chamfer reaches {reached} up, and {end}"


def why_not_on_edge(
    mill: ConicalMill, around: EdgeClearances, x: float, band: tuple[float, float], gap: Gap, system: System
) -> str:
    """Say everything that the tool would hit beside an edge, each with the way out.

    Parameters
    ----------
    mill : the tool
    around : the room left around it, of one value
    x : axis offset from the wall, mm
    band : from (x - d0/2) / tan(σ/2), below zero where the tip flat meets the wall, to the highest contact, mm
    gap : what stands around the edge
    system : "metric" or "inch", for the lengths

    Returns
    -------
    the sentences; empty when nothing collides

    >>> from calc.cutting.cone import conical_mill
    >>> from calc.units import ureg
    >>> mill, gap = conical_mill(ureg.Quantity(90, "deg"), in_mm(1)), Gap(floor_depth=in_mm(1.2))
    >>> why_not_on_edge(mill, around_the_edge(mill, 1.5, 1.5, gap), 1.5, (1, 1.5), gap, "metric")
    'The tip flat would cut 0.3 mm into the floor: keep the lowest contact within 0.7 mm of the tip flat, or \
make the chamfer narrower.'

    Source: [plane-geometry]
    """

    def says(value: Any) -> str:
        return show(in_mm(value), system)

    high = band[1]
    limits = _highest_contacts(mill, around, band, gap)
    nowhere = min(limits) < -HAIR  # then no place is named that only leads into the next collision

    def way_out(limit: float, otherwise: str) -> str:
        return keep_within(-np.inf if nowhere else limit, otherwise, system)

    sentences = []
    if not all_clear(around.tip_flat):
        sentences.append(
            f"The tip flat would cut {says(mill.tip_radius - x)} into the wall: keep the axis at least "
            f"{says(mill.tip_radius)} from it, which puts the contact higher on the flute."
        )
    if not all_clear(around.shank):
        past = past_the_flute(mill, high, "the edge", system)
        sentences.append(f"{past}: {way_out(limits[0], 'take a larger tool')}")
    if around.far_wall is not None and not all_clear(around.far_wall):
        reach = reach_in_the_gap(mill, high, gap.height)
        sentences.append(
            f"The tool needs {says(reach)} beside its axis, but the neighbouring wall leaves "
            f"{says(mm_of(around.far_wall) + reach)}: {way_out(limits[1], 'take a smaller tool')}"
        )
    if around.floor is not None and not all_clear(around.floor):
        deeper = says(-mm_of(around.floor))
        sentences.append(
            f"The tip flat would cut {deeper} into the floor: {way_out(limits[2], 'make the chamfer narrower')}"
        )
    return " ".join(sentences)


def _highest_contacts(
    mill: ConicalMill, around: EdgeClearances, band: tuple[float, float], gap: Gap
) -> tuple[float, float, float]:
    """The highest lowest contact that shank, neighbouring wall and floor allow, for the chamfer as wide as it is."""
    low, high = band
    by_wall = by_floor = np.inf
    if gap.neighbour_distance is not None:
        room = mm_of(gap.neighbour_distance) - mill.tip_radius
        by_wall = highest_in_gap(mill, high - low, room, gap.height)
    if around.floor is not None:
        by_floor = low + mm_of(around.floor)
    return mill.flute_height - (high - low), by_wall, by_floor


def keep_within(limit: float, otherwise: str, system: System) -> str:
    """Say how far up the flute the contact may begin, or what else to do.

    Parameters
    ----------
    limit : highest lowest contact, mm above the tip flat; below zero when no place of the flute will do
    otherwise : what else helps
    system : "metric" or "inch", for the lengths

    Returns
    -------
    the end of a sentence

    >>> keep_within(0.7, "take a smaller tool", "metric"), keep_within(-0.1, "take a smaller tool", "metric")
    ('keep the lowest contact within 0.7 mm of the tip flat, or take a smaller tool.', 'take a smaller tool.')

    Source: [plane-geometry]
    """
    if limit < -HAIR:
        return f"{otherwise}."
    where = "at" if limit <= HAIR else f"within {show(in_mm(limit), system)} of"
    return f"keep the lowest contact {where} the tip flat, or {otherwise}."
