"""Drilling: point, travel, pecks, load."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.cutting.force import cutting_power, specific_cutting_force, torque
from calc.units import Quantity, in_unit, plain, require, require_positive, takes, ureg


@takes(diameter="mm", point_angle="deg")
def point_length(diameter: Quantity, point_angle: Quantity) -> Quantity:
    """Height of a drill's point, (DC/2) / tan(σ/2), as of a sharp cone; 180 degrees is a flat end.

    Parameters
    ----------
    diameter : DC, length
    point_angle : σ (SIG), angle

    Returns
    -------
    length in mm; a real point is a little shorter by its chisel edge

    Raises
    ------
    WorkingError : when the diameter is not above zero, or σ lies outside (0, 180] degrees

    >>> q = ureg.Quantity
    >>> round(point_length(q(10, "mm"), q(118, "deg")).magnitude, 4)
    3.0043

    Source: [plane-geometry]
    """
    require_positive("diameter", diameter)
    degrees = point_angle.m_as("deg")
    sensible = (degrees > 0) & (degrees <= 180)
    require("point_angle", sensible, "Point angle must be above 0 and at most 180 degrees, such as 118 or 140.")
    # The cotangent of half the angle, which is nothing for a flat bottom; rounded as the tangent of a cone is.
    return in_unit(diameter / 2 * np.round(1 / np.tan(np.radians(degrees / 2)), 15), "mm")


@takes(diameter="mm", depth="mm", point_angle="deg")
def travel(diameter: Quantity, depth: Quantity, point_angle: Quantity) -> Quantity:
    """Way of a drill in the work: the depth at full diameter, or the plate's thickness, and the point beyond it.

    Parameters
    ----------
    diameter : DC, length
    depth : depth to which the hole has its full diameter, length
    point_angle : σ, angle

    Returns
    -------
    travel in mm

    Raises
    ------
    WorkingError : when a length is not above zero, or σ lies outside (0, 180] degrees

    >>> q = ureg.Quantity
    >>> round(travel(q(10, "mm"), q(60, "mm"), q(118, "deg")).magnitude, 4)
    63.0043

    Source: [plane-geometry]
    """
    require_positive("depth", depth)
    return in_unit(depth + point_length(diameter, point_angle), "mm")


@takes(diameter="mm", feed_rate="mm/min")
def removal_rate(diameter: Quantity, feed_rate: Quantity) -> Quantity:
    """Volume a drill removes from solid, Q = π · DC² / 4 · vf.

    Parameters
    ----------
    diameter : DC, length
    feed_rate : vf, length per time

    Returns
    -------
    Q in cm³/min

    Raises
    ------
    WorkingError : when either is not above zero

    >>> q = ureg.Quantity
    >>> round(removal_rate(q(10, "mm"), q(238.7324, "mm/min")).magnitude, 3)
    18.75

    Source: [iso-3002-4 (m)]
    """
    require_positive("diameter", diameter)
    require_positive("feed_rate", feed_rate)
    return in_unit(math.pi * diameter**2 / 4 * feed_rate, "cm^3/min")


@takes(feed="mm", point_angle="deg")
def chip_thickness(feed: Quantity, point_angle: Quantity) -> Quantity:
    """Chip thickness at each of two lips, h = f/2 · sin(σ/2).

    Parameters
    ----------
    feed : f per revolution, length
    point_angle : σ, angle

    Returns
    -------
    h in mm

    Raises
    ------
    WorkingError : when the feed is not above zero

    >>> q = ureg.Quantity
    >>> round(chip_thickness(q(0.2, "mm"), q(118, "deg")).magnitude, 5)
    0.08572

    Source: [plane-geometry]
    """
    require_positive("feed", feed)
    return in_unit(feed / 2 * np.sin(point_angle.m_as("rad") / 2), "mm")


@dataclass(frozen=True, slots=True)
class DrillingLoad:
    """What a drill asks of the spindle."""

    removal_rate: Quantity
    specific_force: Quantity
    power: Quantity
    torque: Quantity
    thrust: Quantity


@takes(diameter="mm", feed="mm", spindle_speed="1/min", kc11="N/mm²", point_angle="deg")
def drilling_load(
    diameter: Quantity,
    feed: Quantity,
    spindle_speed: Quantity,
    kc11: Quantity,
    mc: float,
    point_angle: Quantity | None = None,
) -> DrillingLoad:
    """Power, torque and thrust of a twist drill in solid material, by Kienzle's specific cutting force.

    Parameters
    ----------
    diameter : DC, length
    feed : f per revolution of both lips, length
    spindle_speed : n, plain frequency
    kc11 : specific cutting force at 1 mm chip thickness, pressure
    mc : fall of that force with chip thickness, dimensionless, 0 <= mc < 1
    point_angle : σ, angle (118 degrees when not given)

    Returns
    -------
    removal rate in cm³/min, kc in N/mm², net power in kW, torque in N·m, thrust in N

    Raises
    ------
    WorkingError : when a length, speed or pressure is not above zero, or mc lies outside [0, 1)

    >>> q = ureg.Quantity
    >>> load = drilling_load(q(10, "mm"), q(0.2, "mm"), q(1000, "1/min"), q(2000, "N/mm^2"), 0.25)
    >>> f"{load.power:.3f~P}, {load.torque.magnitude:.2f} N·m"
    '0.968 kW, 9.24 N·m'

    Source: [kienzle-1952 (m)], with the chip thickness f/2 · sin(σ/2).
    """
    angle = ureg.Quantity(118, "deg") if point_angle is None else point_angle
    require_positive("spindle_speed", spindle_speed)
    kc = specific_cutting_force(chip_thickness(feed, angle), kc11, mc)
    rate = removal_rate(diameter, (feed * spindle_speed).to("mm/min"))
    power = cutting_power(rate, kc)
    return DrillingLoad(rate, kc, power, torque(power, spindle_speed), thrust(diameter, feed, kc, angle))


@takes(diameter="mm", feed="mm", kc="N/mm²", point_angle="deg")
def thrust(diameter: Quantity, feed: Quantity, kc: Quantity, point_angle: Quantity, share: float = 0.5) -> Quantity:
    """Axial force of a drill, a share of kc · (DC · f / 2) · sin(σ/2).

    An empirical convention: shares between 0.5 and 0.7 are in use, and the chisel edge is left out.

    Parameters
    ----------
    diameter : DC, length
    feed : f per revolution, length
    kc : specific cutting force, pressure
    point_angle : σ, angle
    share : of the feed force in the cutting force, dimensionless

    Returns
    -------
    force in N

    Raises
    ------
    WorkingError : when any is not above zero

    >>> q = ureg.Quantity
    >>> round(thrust(q(12, "mm"), q(0.2, "mm"), q(2000, "N/mm^2"), q(118, "deg")).magnitude, 1)
    1028.6

    Source: [handbook-thrust (m)]
    """
    for name, value in (("diameter", diameter), ("feed", feed), ("kc", kc), ("share", share)):
        require_positive(name, value)
    return in_unit(share * kc * diameter * feed / 2 * np.sin(point_angle.m_as("rad") / 2), "N")


@takes(travel="mm", peck_depth="mm")
def pecks(travel: Quantity, peck_depth: Quantity) -> Any:
    """Number of pecks that make a travel.

    Parameters
    ----------
    travel : whole way in the work, length
    peck_depth : of each peck, length

    Returns
    -------
    the number, the last one may be short

    Raises
    ------
    WorkingError : when either is not above zero

    >>> q = ureg.Quantity
    >>> pecks(q(63, "mm"), q(10, "mm"))
    7

    Source: [plane-geometry]
    """
    require_positive("travel", travel)
    require_positive("peck_depth", peck_depth)
    # A hair of rounding must not cost a whole peck: 3 x 0.1 is a little more than 0.3.
    count = np.maximum(1, np.ceil((travel / peck_depth).m_as("") - 1e-9)).astype(int)
    return plain(count)


@takes(travel="mm", peck_depth="mm", feed_rate="mm/min", rapid_rate="mm/min", clearance="mm")
def peck_cycle_time(
    travel: Quantity, peck_depth: Quantity, feed_rate: Quantity, rapid_rate: Quantity, clearance: Quantity
) -> Quantity:
    """Time of a peck cycle that clears the hole after each peck: cutting, and the rapids out and back between pecks.

    Parameters
    ----------
    travel : whole way in the work, length
    peck_depth : of each peck, length
    feed_rate : vf, length per time
    rapid_rate : of the way out and back, length per time
    clearance : above the face to which the drill returns, and short of the bottom where the feed takes over, length

    Returns
    -------
    time in min; only travel / vf of it is in the cut

    Raises
    ------
    WorkingError : when any is not above zero

    >>> q = ureg.Quantity
    >>> t = peck_cycle_time(q(20, "mm"), q(10, "mm"), q(100, "mm/min"), q(10, "m/min"), q(1, "mm"))
    >>> round(t.magnitude, 4)
    0.2142

    Source: [plane-geometry]; machines differ in their peck cycles, this is the full retract.
    """
    for name, value in (("feed_rate", feed_rate), ("rapid_rate", rapid_rate), ("clearance", clearance)):
        require_positive(name, value)
    count = pecks(travel, peck_depth)
    # After peck i the drill leaves from i pecks deep to the clearance plane and comes back to a clearance short.
    out_and_back = (count - 1) * (count * peck_depth + clearance)
    recut = (count - 1) * clearance
    last = travel + clearance
    return in_unit((travel + recut) / feed_rate + (out_and_back + last) / rapid_rate, "min")
