"""The mouth of a hole chamfered by a conical mill, plunged on the axis or circled.

Heights run along the tool's axis from the tip flat upward, as in `calc.cutting.chamfer`.
"""

import math
from dataclasses import dataclass

from calc.cutting.chamfer import HAIR, ConicalMill, in_mm, past_the_flute
from calc.errors import WorkingError
from calc.units import Quantity, System, require_positive, show, takes, ureg


@dataclass(frozen=True, slots=True)
class HoleChamfer:
    """A chamfer on the mouth of a hole; `interpolation_radius` is zero for a plunge."""

    chamfer_diameter: Quantity
    chamfer_depth: Quantity
    depth_below_face: Quantity
    contact_low: Quantity
    contact_high: Quantity
    interpolation_radius: Quantity
    effective_diameter: Quantity
    removed_volume: Quantity
    why_not: str

    @property
    def fits(self) -> bool:
        """Whether the tool can cut this chamfer and nothing else."""
        return not self.why_not


def _hole_radii(hole_diameter: Quantity, chamfer_diameter: Quantity) -> tuple[float, float]:
    require_positive("hole_diameter", hole_diameter)
    require_positive("chamfer_diameter", chamfer_diameter)
    hole, mouth = hole_diameter.m_as("mm") / 2, chamfer_diameter.m_as("mm") / 2
    if mouth <= hole:
        raise WorkingError("chamfer_diameter", "Chamfer diameter must be larger than the hole.")
    return hole, mouth


def _ring_volume(hole: float, mouth: float, height: float) -> Quantity:
    """Frustum less the cylinder that was air already."""
    frustum = math.pi * height / 3 * (mouth**2 + mouth * hole + hole**2)
    return ureg.Quantity(frustum - math.pi * hole**2 * height, "mm^3")


@takes(hole_diameter="mm", chamfer_diameter="mm")
def plunge(
    mill: ConicalMill, hole_diameter: Quantity, chamfer_diameter: Quantity, system: System = "metric"
) -> HoleChamfer:
    """Chamfer a hole by plunging on its axis, to the depth z = (Dchamfer - d0) / (2 · tan(σ/2)).

    Parameters
    ----------
    mill : the tool
    hole_diameter : of the hole, length
    chamfer_diameter : at the face, length
    system : "metric" or "inch", for the lengths in sentences

    Returns
    -------
    depth below the face of the tip flat, height of the conical wall, and the band that cuts

    Raises
    ------
    WorkingError : when the chamfer is not larger than the hole, or the tip flat does not enter the hole

    >>> q = ureg.Quantity
    >>> from calc.cutting.chamfer import conical_mill
    >>> cut = plunge(conical_mill(q(90, "deg"), q(1, "mm")), q(6.8, "mm"), q(8.8, "mm"))
    >>> f"{cut.depth_below_face:.4g~P}, cone {cut.chamfer_depth:.4g~P}"
    '3.9 mm, cone 1 mm'

    Source: [plane-geometry]
    """
    hole, mouth = _hole_radii(hole_diameter, chamfer_diameter)
    if hole <= mill.tip_radius + HAIR:
        raise WorkingError(
            "hole_diameter",
            f"The tip flat of {show(mill.tip_diameter, system)} does not enter a hole of "
            f"{show(hole_diameter, system)}: take a tool with a smaller tip flat.",
        )
    low, high = (hole - mill.tip_radius) / mill.slope, (mouth - mill.tip_radius) / mill.slope
    return _hole_chamfer(mill, hole, mouth, (low, high), _why_not_plunged(mill, high, system))


@takes(hole_diameter="mm", chamfer_diameter="mm", contact_low="mm")
def interpolate(
    mill: ConicalMill,
    hole_diameter: Quantity,
    chamfer_diameter: Quantity,
    contact_low: Quantity | None = None,
    system: System = "metric",
) -> HoleChamfer:
    """Chamfer a hole by circling in it, the axis on the radius hole/2 - r(contact_low).

    Parameters
    ----------
    mill : the tool
    hole_diameter : of the hole, length
    chamfer_diameter : at the face, length
    contact_low : lowest point of the flute that cuts, above the tip flat, length; when None, a tenth of the room the
        flute and the hole leave, so that the rim of the tip flat stays off the wall
    system : "metric" or "inch", for the lengths in sentences

    Returns
    -------
    depth below the face of the tip flat, height of the conical wall, band that cuts, and radius of the circle

    Raises
    ------
    WorkingError : when the chamfer is not larger than the hole, or contact_low is negative

    >>> q = ureg.Quantity
    >>> from calc.cutting.chamfer import conical_mill
    >>> mill = conical_mill(q(90, "deg"), q(1, "mm"), q(8, "mm"))
    >>> cut = interpolate(mill, q(20, "mm"), q(22, "mm"), q(1, "mm"))
    >>> f"z {cut.depth_below_face:~P}, radius {cut.interpolation_radius:~P}, cuts at {cut.effective_diameter:~P}"
    'z 2.0 mm, radius 8.5 mm, cuts at 5.0 mm'

    Source: [plane-geometry]
    """
    hole, mouth = _hole_radii(hole_diameter, chamfer_diameter)
    height = (mouth - hole) / mill.slope
    if contact_low is None:
        room = min(mill.flute_height - height, (hole - mill.tip_radius) / mill.slope)
        low = max(0.0, room / 10)
    else:
        low = contact_low.m_as("mm")
        if low < 0:
            raise WorkingError("contact_low", "Contact low cannot be negative.")
    return _hole_chamfer(
        mill, hole, mouth, (low, low + height), _why_not_circled(mill, hole, low, low + height, system)
    )


def _hole_chamfer(mill: ConicalMill, hole: float, mouth: float, band: tuple[float, float], why_not: str) -> HoleChamfer:
    low, high = band
    circle = _circle(mill, hole, low)
    return HoleChamfer(
        chamfer_diameter=in_mm(2 * mouth),
        chamfer_depth=in_mm(high - low),
        depth_below_face=in_mm(high),
        contact_low=in_mm(low),
        contact_high=in_mm(high),
        interpolation_radius=in_mm(0.0 if abs(circle) < HAIR else circle),
        effective_diameter=mill.diameter_at(high),
        removed_volume=_ring_volume(hole, mouth, high - low),
        why_not=why_not,
    )


def _circle(mill: ConicalMill, hole: float, low: float) -> float:
    """Radius on which the axis runs when the height `low` touches the hole; below zero when it does not enter."""
    return hole - mill.tip_radius - low * mill.slope


def _why_not_plunged(mill: ConicalMill, high: float, system: System) -> str:
    past = past_the_flute(mill, high, "the face", system)
    return past and f"{past} Take a larger tool, or circle with this one."


def _why_not_circled(mill: ConicalMill, hole: float, low: float, high: float, system: System) -> str:
    if _circle(mill, hole, low) < -HAIR:
        wide = show(mill.diameter_at(low), system)
        return (
            f"At {show(in_mm(low), system)} above its tip the tool is {wide} wide and does not enter the hole: "
            "work lower on the flute, or take a smaller tool."
        )
    past = past_the_flute(mill, high, "the face", system)
    return past and f"{past} Work lower on the flute, or take a larger tool."
