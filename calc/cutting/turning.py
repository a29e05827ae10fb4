"""Turning and facing: chips, finish, time."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.cutting.chip import require_lead_angle
from calc.units import Quantity, in_unit, plain, require, require_positive, takes, ureg


@takes(feed="mm", lead_angle="deg")
def chip_thickness(feed: Quantity, lead_angle: Quantity) -> Quantity:
    """Chip thickness in turning, h = f · sin κr.

    Parameters
    ----------
    feed : f per revolution, length
    lead_angle : κr (KAPR), angle

    Returns
    -------
    h in mm

    Raises
    ------
    WorkingError : when the feed is not above zero, or κr lies outside (0, 180) degrees

    >>> q = ureg.Quantity
    >>> round(chip_thickness(q(0.2, "mm"), q(95, "deg")).magnitude, 6)
    0.199239

    Source: [iso-3002-3 (m)]
    """
    require_positive("feed", feed)
    require_lead_angle(lead_angle)
    return in_unit(feed * np.sin(lead_angle.m_as("rad")), "mm")


@takes(surface_speed="m/min", depth_of_cut="mm", feed="mm")
def removal_rate(surface_speed: Quantity, depth_of_cut: Quantity, feed: Quantity) -> Quantity:
    """Volume removed in turning, Q = vc · ap · f.

    Parameters
    ----------
    surface_speed : vc at the diameter one means: the outer by habit, the mean for the exact volume, length per time
    depth_of_cut : ap on the radius, length
    feed : f per revolution, length

    Returns
    -------
    Q in cm³/min

    Raises
    ------
    WorkingError : when any is not above zero

    >>> q = ureg.Quantity
    >>> round(removal_rate(q(2.3, "m/s"), q(1.8, "mm"), q(0.32, "mm")).m_as("mm^3/s"), 1)
    1324.8

    Source: [iso-3002-4 (m)]
    """
    require_positive("surface_speed", surface_speed)
    require_positive("depth_of_cut", depth_of_cut)
    require_positive("feed", feed)
    return in_unit(surface_speed * depth_of_cut * feed, "cm^3/min")


@takes(feed="mm", nose_radius="mm")
def roughness_rz(feed: Quantity, nose_radius: Quantity) -> Quantity:
    """Height a round nose leaves between its tracks, Rz = f² / (8 · rε), the arc taken as a parabola.

    Parameters
    ----------
    feed : f per revolution, length
    nose_radius : rε (RE), length

    Returns
    -------
    Rz in µm, of the ideal cut; a real one is rougher

    Raises
    ------
    WorkingError : when either is not above zero, or the feed is more than twice the nose radius

    >>> q = ureg.Quantity
    >>> round(roughness_rz(q(0.2, "mm"), q(0.8, "mm")).magnitude, 6)
    6.25

    Source: [handbook-finish (m)]
    """
    require_positive("feed", feed)
    require_positive("nose_radius", nose_radius)
    meet = feed <= 2 * nose_radius
    require("feed", meet, "Feed is more than twice the nose radius: the tracks no longer meet on the nose.")
    return in_unit(feed**2 / (8 * nose_radius), "um")


@takes(feed="mm", nose_radius="mm")
def roughness_ra(feed: Quantity, nose_radius: Quantity) -> Quantity:
    """Mean roughness by the shop rule Ra = f² / (32 · rε).

    Parameters
    ----------
    feed : f per revolution, length
    nose_radius : rε (RE), length

    Returns
    -------
    Ra in µm, of the ideal cut; the true mean deviation of the parabola is 2.6 % more

    Raises
    ------
    WorkingError : when either is not above zero, or the feed is more than twice the nose radius

    >>> q = ureg.Quantity
    >>> round(roughness_ra(q(0.2, "mm"), q(0.8, "mm")).magnitude, 6)
    1.5625

    Source: [handbook-finish (m)]
    """
    return in_unit(roughness_rz(feed, nose_radius) / 4, "um")


@dataclass(frozen=True, slots=True)
class Facing:
    """Time of a facing cut and the diameter below which the spindle turns at its limit."""

    time_in_cut: Quantity
    speed_cap_diameter: Quantity
    time_at_surface_speed: Quantity
    time_at_limit: Quantity


@takes(outer_diameter="mm", inner_diameter="mm", surface_speed="m/min", feed="mm", max_spindle_speed="1/min")
def facing(
    outer_diameter: Quantity,
    inner_diameter: Quantity,
    surface_speed: Quantity,
    feed: Quantity,
    max_spindle_speed: Quantity,
) -> Facing:
    """Facing at constant surface speed until the spindle reaches its limit, then at that limit.

    Outside the cap diameter Dc = vc / (π · nmax): π · (ro² - rc²) / (f · vc). Inside it: (rc - ri) / (f · nmax).

    Parameters
    ----------
    outer_diameter : where the cut begins, length
    inner_diameter : where it ends, length, zero to the centre
    surface_speed : vc, length per time
    feed : f per revolution, length
    max_spindle_speed : nmax the control may turn, plain frequency

    Returns
    -------
    minutes in cut, the cap diameter, and the minutes in either zone

    Raises
    ------
    WorkingError : when any but the inner diameter is not above zero, or the inner is not inside the outer

    >>> q = ureg.Quantity
    >>> cut = facing(q(100, "mm"), q(0, "mm"), q(200, "m/min"), q(0.2, "mm"), q(2000, "1/min"))
    >>> f"{cut.time_in_cut:.4f~P}, {cut.speed_cap_diameter:.3f~P}"
    '0.2162 min, 31.831 mm'

    Source: [plane-geometry], the integral of dr / (f · n(r))
    """
    for name, value in (
        ("outer_diameter", outer_diameter),
        ("surface_speed", surface_speed),
        ("feed", feed),
        ("max_spindle_speed", max_spindle_speed),
    ):
        require_positive(name, value)
    outer, inner = outer_diameter.m_as("mm") / 2, inner_diameter.m_as("mm") / 2
    inside = (inner >= 0) & (inner < outer)
    require("inner_diameter", inside, "Inner diameter must be smaller than the outer, and cannot be negative.")
    speed, limit, step = surface_speed.m_as("mm/min"), max_spindle_speed.m_as("1/min"), feed.m_as("mm")
    cap = speed / (math.pi * limit)
    turn = np.minimum(np.maximum(cap / 2, inner), outer)
    steady = math.pi * (outer**2 - turn**2) / (step * speed)
    limited = (turn - inner) / (step * limit)

    def time(minutes: Any) -> Quantity:
        return ureg.Quantity(plain(minutes), "min")

    return Facing(time(steady + limited), ureg.Quantity(plain(cap), "mm"), time(steady), time(limited))
