"""The conical mill: its flute as a line of radius against height, and the speeds along it.

Heights run along the axis from the tip flat upward; σ is the included angle, d0 the tip flat. A point of the flute at
height h has the radius d0/2 + h · tan(σ/2). Quantities hold one value or a 1-D array of them.
"""

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.cutting.chip import half_angle_slope
from calc.units import Quantity, in_unit, plain, require, require_positive, said, takes, unit_named, ureg

_MM = unit_named("mm")  # once: looking a unit up by its name costs more than the geometry
HAIR = 1e-9  # mm; rounding must not turn a tool that just fits into one that does not


def in_mm(value: Any) -> Quantity:
    """A length of so many millimetres.

    Parameters
    ----------
    value : number or array

    Returns
    -------
    the length

    >>> in_mm(3.0).magnitude
    3.0

    Source: [plane-geometry]
    """
    return ureg.Quantity(plain(value), _MM)


def mm_of(length: Quantity) -> Any:
    """The number of millimetres in a length.

    Parameters
    ----------
    length : one or an array

    Returns
    -------
    number or array

    >>> mm_of(ureg.Quantity(2, "inch"))
    50.8

    Source: [plane-geometry]
    """
    return length.magnitude if length.units == _MM else length.m_as(_MM)


def require_not_negative(argument: str, millimetres: Any) -> None:
    """Refuse a length that is negative or without end.

    Parameters
    ----------
    argument : name the complaint carries
    millimetres : number or array

    Returns
    -------
    nothing

    Raises
    ------
    WorkingError : when it is negative, or not finite

    >>> require_not_negative("contact_low", 0.0)

    Source: [plane-geometry]
    """
    require(argument, (millimetres >= 0) & (millimetres < np.inf), f"{said(argument)} cannot be negative.")


@dataclass(frozen=True, slots=True)
class ConicalMill:
    """A chamfer mill: σ, d0, and the diameters at the top of its flute and of its shank where they are known."""

    included_angle: Quantity
    tip_diameter: Quantity
    max_diameter: Quantity | None = None
    shank_diameter: Quantity | None = None

    @property
    def slope(self) -> Any:
        """Radius gained per height, tan(σ/2)."""
        return half_angle_slope(self.included_angle)

    @property
    def tip_radius(self) -> Any:
        """Half the tip flat, mm."""
        return mm_of(self.tip_diameter) / 2

    @property
    def flute_height(self) -> Any:
        """Height of the conical flute above the tip flat, mm; without end when the largest diameter is not known."""
        if self.max_diameter is None:
            return np.inf
        return (mm_of(self.max_diameter) / 2 - self.tip_radius) / self.slope

    @property
    def widest_radius(self) -> Any:
        """Half the largest diameter of flute and shank as far as they are known, mm; the tip's when neither is."""
        known = [mm_of(each) / 2 for each in (self.max_diameter, self.shank_diameter) if each is not None]
        return functools.reduce(np.maximum, known, self.tip_radius)

    def radius_at(self, height: Any) -> Any:
        """Radius of the cone in mm at a height in mm above the tip flat."""
        return self.tip_radius + height * self.slope

    def diameter_at(self, height: Any) -> Quantity:
        """Diameter at a height in mm above the tip flat."""
        return in_mm(2 * self.radius_at(height))


@takes(included_angle="deg", tip_diameter="mm", max_diameter="mm", shank_diameter="mm")
def conical_mill(
    included_angle: Quantity,
    tip_diameter: Quantity,
    max_diameter: Quantity | None = None,
    shank_diameter: Quantity | None = None,
) -> ConicalMill:
    """Describe a chamfer mill.

    Parameters
    ----------
    included_angle : σ between opposite flutes, angle
    tip_diameter : d0 of the flat at the tip, length, zero for a sharp point
    max_diameter : DC at the top of the conical flute, length; None when not known
    shank_diameter : of the body over the flute, larger or smaller than DC, length; None when it is DC too

    Returns
    -------
    the mill

    Raises
    ------
    WorkingError : when σ lies outside (0, 180) degrees, the diameters are not 0 <= tip < max, or the shank is not
        above zero

    >>> q = ureg.Quantity
    >>> conical_mill(q(90, "deg"), q(1, "mm"), q(9, "mm")).flute_height
    4.0

    Source: [plane-geometry]
    """
    half_angle_slope(included_angle)
    tip = mm_of(tip_diameter)
    require("tip_diameter", (tip >= 0) & (tip < np.inf), "Tip diameter cannot be negative; give 0 for a sharp point.")
    if max_diameter is not None:
        top = mm_of(max_diameter)
        require("max_diameter", (top > tip) & (top < np.inf), "Max diameter must be larger than the tip diameter.")
    if shank_diameter is not None:
        require_positive("shank_diameter", shank_diameter)
    return ConicalMill(included_angle, tip_diameter, max_diameter, shank_diameter)


@takes(smallest_diameter="mm", effective_diameter="mm", spindle_speed="1/min")
def speeds_in_contact(
    smallest_diameter: Quantity, effective_diameter: Quantity, spindle_speed: Quantity
) -> tuple[Quantity, Quantity]:
    """Surface speeds at both ends of the band that cuts, vc = π · D · n; the tip of a sharp point stands still.

    Parameters
    ----------
    smallest_diameter : D at the lowest contact, length, may be zero
    effective_diameter : D at the highest contact, length
    spindle_speed : n, plain frequency

    Returns
    -------
    the slowest and the fastest in m/min

    Raises
    ------
    WorkingError : when the speed is not above zero

    >>> from calc.units import revolutions_per_minute
    >>> slow, fast = speeds_in_contact(in_mm(3), in_mm(4), revolutions_per_minute(5000))
    >>> f"{slow:.1f~P} to {fast:.1f~P}"
    '47.1 m/min to 62.8 m/min'

    Source: [iso-3002-3 (m)]
    """
    require_positive("spindle_speed", spindle_speed)
    slow, fast = (in_unit(np.pi * each * spindle_speed, "m/min") for each in (smallest_diameter, effective_diameter))
    return slow, fast
