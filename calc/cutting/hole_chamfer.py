"""The mouth of a hole chamfered by a conical mill, plunged on the axis or circled.

Heights run along the tool's axis from the tip flat upward, as in `calc.cutting.cone`. Quantities hold one value or a
1-D array of them; the sentences are made for one value only.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.cutting.clearance import (
    HoleClearances,
    Verdict,
    all_clear,
    keep_within,
    past_the_flute,
    room_of,
)
from calc.cutting.cone import HAIR, ConicalMill, in_mm, mm_of, require_not_negative
from calc.units import Quantity, System, in_unit, require, require_positive, show, takes, ureg


@dataclass(frozen=True, slots=True)
class HoleChamfer:
    """A chamfer on the mouth of a hole; `interpolation_radius` is zero for a plunge.

    A control that corrects for the tool's radius runs the axis on that circle when it follows the hole's wall with the
    `program_diameter`. `why_not` is empty when it fits, and for arrays, where `fits` and the clearances tell.
    """

    chamfer_diameter: Quantity
    chamfer_depth: Quantity
    depth_below_face: Quantity
    contact_low: Quantity
    contact_high: Quantity
    interpolation_radius: Quantity
    effective_diameter: Quantity
    smallest_diameter: Quantity
    program_diameter: Quantity
    removed_volume: Quantity
    clearances: HoleClearances
    fits: Verdict
    why_not: str


def _hole_radii(hole_diameter: Quantity, chamfer_diameter: Quantity, hole_depth: Quantity | None) -> tuple[Any, Any]:
    require_positive("hole_diameter", hole_diameter)
    require_positive("chamfer_diameter", chamfer_diameter)
    if hole_depth is not None:
        require_positive("hole_depth", hole_depth)
    hole, mouth = mm_of(hole_diameter) / 2, mm_of(chamfer_diameter) / 2
    require("chamfer_diameter", mouth > hole, "Chamfer diameter must be larger than the hole.")
    return hole, mouth


def _ring_volume(hole: Any, mouth: Any, height: Any) -> Quantity:
    """Frustum less the cylinder that was air already."""
    frustum = math.pi * height / 3 * (mouth**2 + mouth * hole + hole**2)
    return in_unit(ureg.Quantity(frustum - math.pi * hole**2 * height, "mm^3"), "mm^3")


@takes(hole_diameter="mm", chamfer_diameter="mm", hole_depth="mm")
def plunge(
    mill: ConicalMill,
    hole_diameter: Quantity,
    chamfer_diameter: Quantity,
    system: System = "metric",
    *,
    hole_depth: Quantity | None = None,
) -> HoleChamfer:
    """Chamfer a hole by plunging on its axis, to the depth z = (Dchamfer - d0) / (2 · tan(σ/2)).

    Parameters
    ----------
    mill : the tool
    hole_diameter : of the hole, length
    chamfer_diameter : at the face, length
    system : "metric" or "inch", for the lengths in sentences
    hole_depth : of a blind hole, from the face down to where its full diameter ends, length

    Returns
    -------
    depth below the face of the tip flat, height of the conical wall, the band that cuts, the room left around the tool

    Raises
    ------
    WorkingError : when the chamfer is not larger than the hole, the tip flat does not enter the hole, or a length is
        not above zero

    >>> q = ureg.Quantity
    >>> from calc.cutting.cone import conical_mill
    >>> cut = plunge(conical_mill(q(90, "deg"), q(1, "mm")), q(6.8, "mm"), q(8.8, "mm"))
    >>> f"{cut.depth_below_face:.4g~P}, cone {cut.chamfer_depth:.4g~P}"
    '3.9 mm, cone 1 mm'

    Source: [plane-geometry]
    """
    hole, mouth = _hole_radii(hole_diameter, chamfer_diameter, hole_depth)
    tip, smallest = in_mm(np.max(2 * mill.tip_radius)), in_mm(np.min(2 * hole))
    require(
        "hole_diameter",
        hole > mill.tip_radius + HAIR,
        f"The tip flat of {show(tip, system)} does not enter a hole of {show(smallest, system)}: take a tool with a "
        "smaller tip flat.",
    )
    low = (hole - mill.tip_radius) / mill.slope
    return _hole_chamfer(mill, (hole, mouth), low, hole_depth, system, circled=False)


@takes(hole_diameter="mm", chamfer_diameter="mm", contact_low="mm", hole_depth="mm")
def interpolate(
    mill: ConicalMill,
    hole_diameter: Quantity,
    chamfer_diameter: Quantity,
    contact_low: Quantity | None = None,
    system: System = "metric",
    *,
    hole_depth: Quantity | None = None,
) -> HoleChamfer:
    """Chamfer a hole by circling in it, the axis on the radius hole/2 - r(contact_low).

    Parameters
    ----------
    mill : the tool
    hole_diameter : of the hole, length
    chamfer_diameter : at the face, length
    contact_low : lowest point of the flute that cuts, above the tip flat, length; when None, a tenth of the room that
        flute, hole and bottom leave, so that the rim of the tip flat stays off the wall
    system : "metric" or "inch", for the lengths in sentences
    hole_depth : of a blind hole, from the face down to where its full diameter ends, length

    Returns
    -------
    depth below the face of the tip flat, height of the conical wall, band that cuts, radius of the circle, and the
    room left around the tool

    Raises
    ------
    WorkingError : when the chamfer is not larger than the hole, contact_low is negative, or a length is not above zero

    >>> q = ureg.Quantity
    >>> from calc.cutting.cone import conical_mill
    >>> mill = conical_mill(q(90, "deg"), q(1, "mm"), q(8, "mm"))
    >>> cut = interpolate(mill, q(20, "mm"), q(22, "mm"), q(1, "mm"))
    >>> f"z {cut.depth_below_face:~P}, radius {cut.interpolation_radius:~P}, cuts at {cut.effective_diameter:~P}"
    'z 2.0 mm, radius 8.5 mm, cuts at 5.0 mm'

    Source: [plane-geometry]
    """
    hole, mouth = _hole_radii(hole_diameter, chamfer_diameter, hole_depth)
    if contact_low is None:
        height, bottom = (mouth - hole) / mill.slope, math.inf if hole_depth is None else mm_of(hole_depth)
        room = np.minimum(np.minimum(mill.flute_height, bottom) - height, (hole - mill.tip_radius) / mill.slope)
        low = np.maximum(0.0, room / 10)
    else:
        low = mm_of(contact_low)
        require_not_negative("contact_low", low)
    return _hole_chamfer(mill, (hole, mouth), low, hole_depth, system, circled=True)


def _hole_chamfer(
    mill: ConicalMill, radii: tuple[Any, Any], low: Any, hole_depth: Quantity | None, system: System, *, circled: bool
) -> HoleChamfer:
    hole, mouth = radii
    high = low + (mouth - hole) / mill.slope
    circle = room_of(hole - mill.radius_at(low))  # below zero when the tool does not enter
    around = HoleClearances(
        tip_flat=room_of(low * mill.slope),
        entry=circle,
        shank=None if mill.max_diameter is None else room_of(mill.flute_height - high),
        bottom=None if hole_depth is None else room_of(mm_of(hole_depth) - high),
    )
    fits = all_clear(around.tip_flat, around.entry, around.shank, around.bottom)
    return HoleChamfer(
        chamfer_diameter=in_mm(2 * mouth),
        chamfer_depth=in_mm(high - low),
        depth_below_face=in_mm(high),
        contact_low=in_mm(low),
        contact_high=in_mm(high),
        interpolation_radius=circle,
        effective_diameter=mill.diameter_at(high),
        smallest_diameter=mill.diameter_at(low),
        program_diameter=mill.diameter_at(low),
        removed_volume=_ring_volume(hole, mouth, high - low),
        clearances=around,
        fits=fits,
        why_not=_why_not_in_hole(mill, around, (low, high), system, circled=circled) if fits is False else "",
    )


def _why_not_in_hole(
    mill: ConicalMill, around: HoleClearances, band: tuple[float, float], system: System, *, circled: bool
) -> str:
    """Everything that the tool would hit in a hole, each with the way out."""
    low, high = band
    enters, flute = low + mm_of(around.entry) / mill.slope, mill.flute_height - (high - low)
    bottom = math.inf if around.bottom is None else low + mm_of(around.bottom)
    nowhere = min(enters, flute, bottom) < -HAIR  # then no place is named that only leads into the next collision

    def way_out(limit: float, otherwise: str) -> str:
        if circled or nowhere:
            return keep_within(-math.inf if nowhere else limit, otherwise, system)
        return f"circle with the contact lower on the flute, or {otherwise}."

    sentences = []
    if not all_clear(around.entry):
        wide = show(mill.diameter_at(low), system)
        sentences.append(
            f"At {show(in_mm(low), system)} above its tip the tool is {wide} wide and does not enter the hole: "
            f"{way_out(enters, 'take a smaller tool')}"
        )
    if not all_clear(around.shank):
        past = past_the_flute(mill, high, "the face", system)
        sentences.append(f"{past}: {way_out(flute, 'take a larger tool')}")
    if around.bottom is not None and not all_clear(around.bottom):
        deeper = show(in_mm(-mm_of(around.bottom)), system)
        otherwise = "make the chamfer narrower" if circled else "take a tool with a larger tip flat"
        sentences.append(f"The tip flat would cut {deeper} into the bottom of the hole: {way_out(bottom, otherwise)}")
    return " ".join(sentences)
