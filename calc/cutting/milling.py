"""Milling: feed, removal rate, run-in, corners."""

import numpy as np

from calc.units import Quantity, in_unit, plain, require, require_positive, takes, ureg


@takes(feed_per_tooth="mm", spindle_speed="1/min")
def feed_rate(feed_per_tooth: Quantity, teeth: int, spindle_speed: Quantity) -> Quantity:
    """Feed rate of a mill, vf = fz · z · n.

    Parameters
    ----------
    feed_per_tooth : fz, length
    teeth : z (ZEFP), teeth that cut
    spindle_speed : n, plain frequency

    Returns
    -------
    vf in mm/min

    Raises
    ------
    WorkingError : when any is not above zero

    >>> from calc.units import revolutions_per_minute
    >>> round(feed_rate(ureg.Quantity(0.1, "mm"), 4, revolutions_per_minute(1500)).magnitude, 6)
    600.0

    Source: [iso-3002-3 (m)]; the symbols are those of [iso-13399 (m)]
    """
    require_positive("feed_per_tooth", feed_per_tooth)
    require_positive("teeth", teeth)
    require_positive("spindle_speed", spindle_speed)
    return in_unit(feed_per_tooth * teeth * spindle_speed, "mm/min")


@takes(axial_depth="mm", radial_depth="mm", feed_rate="mm/min")
def removal_rate(axial_depth: Quantity, radial_depth: Quantity, feed_rate: Quantity) -> Quantity:
    """Volume a mill removes per time, Q = ap · ae · vf.

    Parameters
    ----------
    axial_depth : ap, length
    radial_depth : ae, or the width of the part where the cutter overhangs it, length
    feed_rate : vf, length per time

    Returns
    -------
    Q in cm³/min

    Raises
    ------
    WorkingError : when any is not above zero

    >>> q = ureg.Quantity
    >>> round(removal_rate(q(3.2, "mm"), q(100, "mm"), q(500, "mm/min")).magnitude, 6)
    160.0

    Source: [iso-3002-4 (m)]
    """
    require_positive("axial_depth", axial_depth)
    require_positive("radial_depth", radial_depth)
    require_positive("feed_rate", feed_rate)
    return in_unit(axial_depth * radial_depth * feed_rate, "cm^3/min")


@takes(radial_depth="mm", diameter="mm")
def run_in(radial_depth: Quantity, diameter: Quantity) -> Quantity:
    """Travel from the first touch to full engagement, √(ae · (DC - ae)), which slab and side cuts add to their length.

    Parameters
    ----------
    radial_depth : ae (for a slab mill, its depth of cut), length
    diameter : DC, length

    Returns
    -------
    travel in mm

    Raises
    ------
    WorkingError : when a length is not above zero, or ae is more than DC

    >>> q = ureg.Quantity
    >>> round(run_in(q(0.3, "in"), q(3.5, "in")).m_as("in"), 6)
    0.979796

    Source: [plane-geometry]
    """
    require_positive("radial_depth", radial_depth)
    require_positive("diameter", diameter)
    require("radial_depth", radial_depth <= diameter, "Radial depth cannot be more than the diameter.")
    return in_unit(ureg.Quantity(np.sqrt((radial_depth * (diameter - radial_depth)).m_as("mm^2")), "mm"), "mm")


@takes(diameter="mm", corner_radius="mm")
def corner_feed_ratio(diameter: Quantity, corner_radius: Quantity, inside: bool) -> float:
    """Share of the feed to program at the tool's centre on an arc, (R ∓ DC/2) / R, so that the edge keeps its feed.

    Parameters
    ----------
    diameter : DC, length
    corner_radius : R of the wall that is cut, length
    inside : whether the corner is an inside one (the centre runs on the smaller arc)

    Returns
    -------
    the share, below 1 inside and above 1 outside

    Raises
    ------
    WorkingError : when a length is not above zero, or the tool does not fit an inside corner

    >>> q = ureg.Quantity
    >>> corner_feed_ratio(q(10, "mm"), q(20, "mm"), inside=True)
    0.75

    Source: [plane-geometry]
    """
    require_positive("diameter", diameter)
    require_positive("corner_radius", corner_radius)
    share: float = plain((diameter / (2 * corner_radius)).m_as(""))
    if not inside:
        return 1 + share
    require(
        "corner_radius", share < 1, "An inside corner must have a larger radius than the tool; the tool stands still."
    )
    return 1 - share
