"""Turning speed and surface into each other, and the time a feed takes."""

import math

from calc.units import Quantity, in_unit, require_positive, takes


@takes(surface_speed="m/min", diameter="mm")
def spindle_speed(surface_speed: Quantity, diameter: Quantity) -> Quantity:
    """Spindle speed for a surface speed at a diameter, n = vc / (π · D).

    Parameters
    ----------
    surface_speed : vc, length per time
    diameter : the diameter that cuts (DC, or the largest in contact), length

    Returns
    -------
    n in 1/min, as a plain frequency

    Raises
    ------
    WorkingError : when either is not above zero

    >>> from calc.units import ureg
    >>> n = spindle_speed(ureg.Quantity(120, "ft/min"), ureg.Quantity(0.625, "in"))
    >>> round(n.magnitude, 1)
    733.4

    Source: [iso-3002-3 (m)]
    """
    require_positive("surface_speed", surface_speed)
    require_positive("diameter", diameter)
    return in_unit(surface_speed / (math.pi * diameter), "1/min")


@takes(spindle_speed="1/min", diameter="mm")
def surface_speed(spindle_speed: Quantity, diameter: Quantity) -> Quantity:
    """Surface speed of a diameter that turns, vc = π · D · n.

    Parameters
    ----------
    spindle_speed : n, plain frequency
    diameter : D, length

    Returns
    -------
    vc in m/min

    Raises
    ------
    WorkingError : when either is not above zero

    >>> from calc.units import revolutions_per_minute, ureg
    >>> round(surface_speed(revolutions_per_minute(1000), ureg.Quantity(10, "mm")).magnitude, 4)
    31.4159

    Source: [iso-3002-3 (m)]
    """
    require_positive("spindle_speed", spindle_speed)
    require_positive("diameter", diameter)
    return in_unit(math.pi * diameter * spindle_speed, "m/min")


@takes(feed="mm", spindle_speed="1/min")
def feed_rate(feed: Quantity, spindle_speed: Quantity) -> Quantity:
    """Feed rate of a feed per revolution, vf = f · n.

    Parameters
    ----------
    feed : f, length per revolution (for a mill, feed per tooth times teeth)
    spindle_speed : n, plain frequency

    Returns
    -------
    vf in mm/min

    Raises
    ------
    WorkingError : when either is not above zero

    >>> from calc.units import revolutions_per_minute, ureg
    >>> round(feed_rate(ureg.Quantity(0.25, "mm"), revolutions_per_minute(1000)).magnitude, 6)
    250.0

    Source: [iso-3002-3 (m)]
    """
    require_positive("feed", feed)
    require_positive("spindle_speed", spindle_speed)
    return in_unit(feed * spindle_speed, "mm/min")


@takes(length="mm", feed_rate="mm/min")
def time_in_cut(length: Quantity, feed_rate: Quantity) -> Quantity:
    """Time to travel a length at a feed rate.

    Parameters
    ----------
    length : all that is travelled in the cut, with run-in and run-out if they are meant to count, length
    feed_rate : vf, length per time

    Returns
    -------
    time in min

    Raises
    ------
    WorkingError : when either is not above zero

    >>> from calc.units import ureg
    >>> round(time_in_cut(ureg.Quantity(300, "mm"), ureg.Quantity(500, "mm/min")).magnitude, 6)
    0.6

    Source: [iso-3002-3 (m)]
    """
    require_positive("length", length)
    require_positive("feed_rate", feed_rate)
    return in_unit(length / feed_rate, "min")
