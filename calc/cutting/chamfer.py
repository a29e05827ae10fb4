"""Chamfers by a conical mill along an edge: where its axis stands, which band of it cuts, and whether it fits.

Heights run along the axis from the tip flat upward; σ is the included angle, d0 the tip flat. A point of the flute at
height h has the radius d0/2 + h · tan(σ/2), and everything here follows from that line.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calc.cutting.chip import half_angle_slope
from calc.errors import WorkingError
from calc.units import Quantity, System, require_positive, show, takes, ureg

HAIR = 1e-9  # mm; rounding must not turn a tool that just fits into one that does not


@dataclass(frozen=True, slots=True)
class ConicalMill:
    """A chamfer mill: σ, d0, and the diameter at the top of its flute where that is known."""

    included_angle: Quantity
    tip_diameter: Quantity
    max_diameter: Quantity | None = None

    @property
    def slope(self) -> float:
        """Radius gained per height, tan(σ/2)."""
        return half_angle_slope(self.included_angle)

    @property
    def tip_radius(self) -> float:
        """Half the tip flat, mm."""
        return float(self.tip_diameter.m_as("mm")) / 2

    @property
    def flute_height(self) -> float:
        """Height of the conical flute above the tip flat, mm; without end when the largest diameter is not known."""
        if self.max_diameter is None:
            return math.inf
        return (float(self.max_diameter.m_as("mm")) / 2 - self.tip_radius) / self.slope

    def diameter_at(self, height: float) -> Quantity:
        """Diameter at a height in mm above the tip flat."""
        return in_mm(2 * (self.tip_radius + height * self.slope))


@takes(included_angle="deg", tip_diameter="mm", max_diameter="mm")
def conical_mill(included_angle: Quantity, tip_diameter: Quantity, max_diameter: Quantity | None = None) -> ConicalMill:
    """Describe a chamfer mill.

    Parameters
    ----------
    included_angle : σ between opposite flutes, angle
    tip_diameter : d0 of the flat at the tip, length, zero for a sharp point
    max_diameter : at the top of the conical flute, length; None when not known

    Returns
    -------
    the mill

    Raises
    ------
    WorkingError : when σ lies outside (0, 180) degrees, or the diameters are not 0 <= tip < max

    >>> q = ureg.Quantity
    >>> conical_mill(q(90, "deg"), q(1, "mm"), q(9, "mm")).flute_height
    4.0

    Source: [plane-geometry]
    """
    half_angle_slope(included_angle)
    if tip_diameter.m_as("mm") < 0:
        raise WorkingError("tip_diameter", "Tip diameter cannot be negative; give 0 for a sharp point.")
    if max_diameter is not None and max_diameter <= tip_diameter:
        raise WorkingError("max_diameter", "Max diameter must be larger than the tip diameter.")
    return ConicalMill(included_angle, tip_diameter, max_diameter)


@dataclass(frozen=True, slots=True)
class EdgeChamfer:
    """A chamfer along an edge, the tool outside the material; `why_not` is empty when it fits."""

    axis_offset: Quantity
    depth_below_face: Quantity
    chamfer_width: Quantity
    chamfer_depth: Quantity
    contact_low: Quantity
    contact_high: Quantity
    effective_diameter: Quantity
    smallest_diameter: Quantity
    program_diameter: Quantity
    gouge: Quantity
    cut_area: Quantity
    why_not: str

    @property
    def fits(self) -> bool:
        """Whether the tool can cut this chamfer and nothing else."""
        return not self.why_not


@takes(chamfer_width="mm", contact_low="mm", axis_offset="mm", depth_below_face="mm", neighbour_distance="mm")
def edge_chamfer(
    mill: ConicalMill,
    *,
    chamfer_width: Quantity | None = None,
    contact_low: Quantity | None = None,
    axis_offset: Quantity | None = None,
    depth_below_face: Quantity | None = None,
    neighbour_distance: Quantity | None = None,
    system: System = "metric",
) -> EdgeChamfer:
    """Place a conical mill on an edge, from any two of width, lowest contact, axis offset and depth.

    With slope t = tan(σ/2): width w = d0/2 + z · t - x, lowest contact h = (x - d0/2) / t, highest contact z.

    Parameters
    ----------
    mill : the tool
    chamfer_width : w along the face, length
    contact_low : h, lowest point of the flute that cuts, above the tip flat, length
    axis_offset : x from the wall to the axis, outside the material, length
    depth_below_face : z from the face down to the tip flat, length
    neighbour_distance : from the wall to a neighbouring wall across the gap in which the tool stands, length
    system : "metric" or "inch", for the lengths in sentences

    Returns
    -------
    the chamfer, the band that cuts, its diameters, and why it does not fit if so

    Raises
    ------
    WorkingError : when not exactly two are given, both say the same, or no chamfer comes of them

    >>> q = ureg.Quantity
    >>> mill = conical_mill(q(90, "deg"), q(1, "mm"), q(10, "mm"))
    >>> cut = edge_chamfer(mill, axis_offset=q(1.5, "mm"), depth_below_face=q(1.5, "mm"))
    >>> f"{cut.chamfer_width:~P}, from {cut.contact_low:~P} to {cut.contact_high:~P}, {cut.fits}"
    '0.5 mm, from 1.0 mm to 1.5 mm, True'

    Source: [plane-geometry]
    """
    x, z = _axis_and_depth(mill, chamfer_width, contact_low, axis_offset, depth_below_face)
    width = mill.tip_radius + z * mill.slope - x
    if width <= HAIR:
        least = (x - mill.tip_radius) / mill.slope
        raise WorkingError(
            "depth_below_face" if depth_below_face is not None else "axis_offset",
            f"The flute does not reach the edge: go deeper than {show(in_mm(least), system)} below the face, or nearer "
            "the wall.",
        )
    gouge = max(0.0, mill.tip_radius - x)
    low = max(0.0, (x - mill.tip_radius) / mill.slope)
    leg = z - low
    return EdgeChamfer(
        axis_offset=in_mm(x),
        depth_below_face=in_mm(z),
        chamfer_width=in_mm(width),
        chamfer_depth=in_mm(leg),
        contact_low=in_mm(low),
        contact_high=in_mm(z),
        effective_diameter=mill.diameter_at(z),
        smallest_diameter=mill.diameter_at(low),
        program_diameter=in_mm(2 * x),
        gouge=in_mm(gouge),
        cut_area=ureg.Quantity((gouge + width) / 2 * leg, "mm^2"),
        why_not=_why_not_on_edge(mill, x, z, neighbour_distance, system),
    )


def in_mm(value: float) -> Quantity:
    """A length of so many millimetres.

    Parameters
    ----------
    value : number

    Returns
    -------
    the length

    >>> in_mm(3.0).magnitude
    3.0

    Source: [plane-geometry]
    """
    return ureg.Quantity(value, "mm")


def _axis_and_depth(
    mill: ConicalMill,
    chamfer_width: Quantity | None,
    contact_low: Quantity | None,
    axis_offset: Quantity | None,
    depth_below_face: Quantity | None,
) -> tuple[float, float]:
    """Axis offset x and depth z in mm, whichever two were said."""
    given = {
        name: value.m_as("mm")
        for name, value in (
            ("chamfer_width", chamfer_width),
            ("contact_low", contact_low),
            ("axis_offset", axis_offset),
            ("depth_below_face", depth_below_face),
        )
        if value is not None
    }
    if len(given) != 2:
        raise WorkingError(
            "chamfer_width", "Give exactly two of chamfer width, contact low, axis offset and depth below face."
        )
    for name in ("chamfer_width", "depth_below_face"):
        if name in given:
            require_positive(name, given[name])
    for name in ("contact_low", "axis_offset"):
        if name in given and given[name] < 0:
            raise WorkingError(name, f"{name.replace('_', ' ').capitalize()} cannot be negative.")
    return _solve(mill.tip_radius, mill.slope, given)


def _solve(tip: float, slope: float, given: dict[str, float]) -> tuple[float, float]:
    if "contact_low" in given and "axis_offset" in given:
        raise WorkingError(
            "contact_low",
            "Contact low and axis offset say the same thing; give one of them with the width or the depth.",
        )
    if "chamfer_width" not in given:
        z = given["depth_below_face"]
        return given.get("axis_offset", tip + given.get("contact_low", 0.0) * slope), z
    width = given["chamfer_width"]
    if "depth_below_face" in given:
        z = given["depth_below_face"]
        return tip + z * slope - width, z
    x = given.get("axis_offset", tip + given.get("contact_low", 0.0) * slope)
    return x, (x - tip + width) / slope


def past_the_flute(mill: ConicalMill, high: float, what: str, system: System) -> str:
    """Say that the shank would meet the work, where the highest contact lies above the flute.

    Parameters
    ----------
    mill : the tool
    high : highest contact above the tip flat, mm
    what : the shank would meet
    system : "metric" or "inch", for the lengths

    Returns
    -------
    the sentence; empty when the flute is long enough

    >>> past_the_flute(conical_mill(ureg.Quantity(90, "deg"), in_mm(1), in_mm(5)), 1.5, "the edge", "metric")
    ''

    Source: [plane-geometry]
    """
    if high <= mill.flute_height + HAIR:
        return ""
    flute, reached = show(in_mm(mill.flute_height), system), show(in_mm(high), system)
    return f"The flute ends {flute} above the tip, but the chamfer reaches {reached} up: the shank would meet {what}."


def _why_not_on_edge(mill: ConicalMill, x: float, z: float, neighbour_distance: Quantity | None, system: System) -> str:
    if x < mill.tip_radius - HAIR:
        return (
            f"The tip flat would cut {show(in_mm(mill.tip_radius - x), system)} into the wall: keep the axis at least "
            f"{show(in_mm(mill.tip_radius), system)} from it, which puts the contact higher on the flute."
        )
    if past := past_the_flute(mill, z, "the edge", system):
        return f"{past} Work lower on the flute, or take a larger tool."
    if neighbour_distance is not None:
        reach = mill.diameter_at(min(z, mill.flute_height)) if mill.max_diameter is None else mill.max_diameter
        room = neighbour_distance.m_as("mm") - x
        if reach.m_as("mm") / 2 > room + HAIR:
            return (
                f"The tool needs {show(reach / 2, system)} beside its axis, but the neighbouring wall leaves "
                f"{show(in_mm(room), system)}: work lower on the flute, or take a smaller tool."
            )
    return ""


@takes(chamfer_width="mm", margin="mm")
def free_bands(
    mill: ConicalMill,
    chamfer_width: Quantity,
    worn: Sequence[tuple[Quantity, Quantity]] = (),
    margin: Quantity | None = None,
    most: int = 24,
) -> list[tuple[Quantity, Quantity]]:
    """Bands of the flute, from the tip upward, that can cut a chamfer of this width and are not worn yet.

    Working higher on the flute cuts faster at the same spindle speed and spreads the wear.

    Parameters
    ----------
    mill : the tool, with its largest diameter
    chamfer_width : w along the face, length
    worn : bands already used, each from low to high above the tip flat, lengths
    margin : kept between bands and at both ends of the flute, length (0.1 mm when not given)
    most : bands to name, counted from the tip

    Returns
    -------
    low and high of each free band in mm

    Raises
    ------
    WorkingError : when the width is not above zero, or the mill's largest diameter is not known

    >>> q = ureg.Quantity
    >>> mill = conical_mill(q(90, "deg"), q(1, "mm"), q(5, "mm"))
    >>> [f"{low:.1f~P}" for low, high in free_bands(mill, q(0.5, "mm"), [(q(0, "mm"), q(0.6, "mm"))])]
    ['0.7 mm', '1.3 mm']

    Source: [plane-geometry]
    """
    require_positive("chamfer_width", chamfer_width)
    if mill.max_diameter is None:
        raise WorkingError("max_diameter", "Max diameter is needed to know where the flute ends.")
    gap = 0.1 if margin is None else margin.m_as("mm")
    height = chamfer_width.m_as("mm") / mill.slope
    used = sorted((low.m_as("mm"), high.m_as("mm")) for low, high in worn)
    found: list[tuple[Quantity, Quantity]] = []
    low = gap
    while len(found) < most and low + height <= mill.flute_height - gap + HAIR:
        clash = next((end for start, end in used if start < low + height + gap - HAIR and end > low - gap + HAIR), None)
        if clash is None:
            found.append((in_mm(low), in_mm(low + height)))
            low += height + gap
        else:
            low = clash + gap
    return found
