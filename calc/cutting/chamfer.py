"""Chamfers by a conical mill along an edge: where its axis stands, which band of it cuts, and whether it fits.

Heights run along the axis from the tip flat upward, as in `calc.cutting.cone`, and everything here follows from the
flute's line there. Quantities hold one value or a 1-D array of them; the sentences are made for one value only.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.cutting.clearance import EdgeClearances, Gap, Verdict, all_clear, around_the_edge, why_not_on_edge
from calc.cutting.cone import HAIR, ConicalMill, conical_mill, in_mm, mm_of, require_not_negative
from calc.errors import WorkingError
from calc.units import Quantity, System, in_unit, require, require_positive, show, takes, ureg

__all__ = ["ConicalMill", "EdgeChamfer", "conical_mill", "edge_chamfer"]


@dataclass(frozen=True, slots=True)
class EdgeChamfer:
    """A chamfer along an edge, the tool outside the material.

    `why_not` is empty when it fits, and for arrays, where `fits` and the clearances tell.
    """

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
    clearances: EdgeClearances
    fits: Verdict
    why_not: str


@takes(
    chamfer_width="mm", contact_low="mm", axis_offset="mm", depth_below_face="mm", neighbour_distance="mm",
    neighbour_height="mm", floor_depth="mm",
)  # fmt: skip
def edge_chamfer(
    mill: ConicalMill,
    *,
    chamfer_width: Quantity | None = None,
    contact_low: Quantity | None = None,
    axis_offset: Quantity | None = None,
    depth_below_face: Quantity | None = None,
    neighbour_distance: Quantity | None = None,
    neighbour_height: Quantity | None = None,
    floor_depth: Quantity | None = None,
    system: System = "metric",
) -> EdgeChamfer:
    """Place a conical mill on an edge, from any two of width, lowest contact, axis offset and depth.

    With slope t = tan(σ/2): width w = d0/2 + z · t - x, lowest contact h = (x - d0/2) / t, highest contact z. A control
    that corrects for the tool's radius puts the axis at x when it is told the program diameter 2 · x, at the depth z.

    Parameters
    ----------
    mill : the tool
    chamfer_width : w along the face, length
    contact_low : h, lowest point of the flute that cuts, above the tip flat, length
    axis_offset : x from the wall to the axis, outside the material, length
    depth_below_face : z from the face down to the tip flat, length
    neighbour_distance : from the wall to a neighbouring wall across the gap in which the tool stands, length
    neighbour_height : how far that wall stands above the face, length, zero when it is level with the face or lower;
        when None, as high as the tool is widest, which is the careful side
    floor_depth : from the face down to a floor under the tool, length
    system : "metric" or "inch", for the lengths in sentences

    Returns
    -------
    the chamfer, the band that cuts, its diameters, the room left around the tool, and why it does not fit if so

    Raises
    ------
    WorkingError : when not exactly two are given, both say the same, no chamfer comes of them, or a distance is not
        above zero

    >>> q = ureg.Quantity
    >>> mill = conical_mill(q(90, "deg"), q(1, "mm"), q(10, "mm"))
    >>> cut = edge_chamfer(mill, axis_offset=q(1.5, "mm"), depth_below_face=q(1.5, "mm"))
    >>> f"{cut.chamfer_width:~P}, from {cut.contact_low:~P} to {cut.contact_high:~P}, {cut.fits}"
    '0.5 mm, from 1.0 mm to 1.5 mm, True'
    >>> f"{cut.program_diameter:~P}, flute over the face {cut.clearances.shank:~P}"
    '3.0 mm, flute over the face 3.0 mm'

    Source: [plane-geometry]
    """
    x, z = _axis_and_depth(mill, chamfer_width, contact_low, axis_offset, depth_below_face)
    width = mill.tip_radius + z * mill.slope - x
    above_tip = (x - mill.tip_radius) / mill.slope
    require(
        "depth_below_face" if depth_below_face is not None else "axis_offset",
        width > HAIR,
        f"The flute does not reach the edge: go deeper than {show(in_mm(np.max(above_tip)), system)} below the face, "
        "or nearer the wall.",
    )
    gouge, low = np.maximum(0.0, mill.tip_radius - x), np.where(above_tip <= HAIR, 0.0, above_tip)[()]
    leg = z - low
    gap = Gap(neighbour_distance, neighbour_height, floor_depth)
    around = around_the_edge(mill, x, z, gap)
    fits = all_clear(around.tip_flat, around.shank, around.far_wall, around.floor)
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
        cut_area=in_unit(ureg.Quantity((gouge + width) / 2 * leg, "mm^2"), "mm^2"),
        clearances=around,
        fits=fits,
        why_not=why_not_on_edge(mill, around, x, (above_tip, z), gap, system) if fits is False else "",
    )


def _axis_and_depth(
    mill: ConicalMill,
    chamfer_width: Quantity | None,
    contact_low: Quantity | None,
    axis_offset: Quantity | None,
    depth_below_face: Quantity | None,
) -> tuple[Any, Any]:
    """Axis offset x and depth z in mm, whichever two were said."""
    given = {
        name: mm_of(value)
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
        if name in given:
            require_not_negative(name, given[name])
    return _solve(mill.tip_radius, mill.slope, given)


def _solve(tip: Any, slope: Any, given: dict[str, Any]) -> tuple[Any, Any]:
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
