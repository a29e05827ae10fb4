"""Tapping: the feed is the lead, and nothing else will do."""

from calc.units import Quantity, in_unit, require, require_positive, said, takes


@takes(pitch="mm", spindle_speed="1/min")
def feed_rate(pitch: Quantity, spindle_speed: Quantity, starts: int = 1) -> Quantity:
    """Feed rate of a tap, vf = P · starts · n: the lead, once per turn.

    Parameters
    ----------
    pitch : P, length
    spindle_speed : n, plain frequency; if it is rounded, round it before
    starts : of the thread

    Returns
    -------
    vf in mm/min

    Raises
    ------
    WorkingError : when any is not above zero

    >>> from calc.units import ureg
    >>> q = ureg.Quantity
    >>> round(feed_rate(q(1.5, "mm"), q(400, "1/min")).magnitude, 6)
    600.0

    Source: [iso-5408 (m)], the lead as the pitch times the starts
    """
    require_positive("pitch", pitch)
    require_positive("spindle_speed", spindle_speed)
    require_positive("starts", starts)
    return in_unit(pitch * starts * spindle_speed, "mm/min")


@takes(travel="mm", feed_rate="mm/min")
def tapping_time(travel: Quantity, feed_rate: Quantity, retract_ratio: float = 1.0) -> Quantity:
    """Time a tap is in the thread: in at its feed, and back out at the same lead and a multiple of the speed.

    Parameters
    ----------
    travel : way in, length
    feed_rate : vf going in, length per time
    retract_ratio : speed going out over speed going in

    Returns
    -------
    time in min

    Raises
    ------
    WorkingError : when any is not above zero

    >>> from calc.units import ureg
    >>> q = ureg.Quantity
    >>> round(tapping_time(q(20, "mm"), q(600, "mm/min"), 2).magnitude, 6)
    0.05

    Source: [plane-geometry]
    """
    require_positive("travel", travel)
    require_positive("feed_rate", feed_rate)
    require_positive("retract_ratio", retract_ratio)
    return in_unit(travel / feed_rate * (1 + 1 / retract_ratio), "min")


@takes(kc="N/mm²", pitch="mm", diameter="mm")
def torque(kc: Quantity, pitch: Quantity, diameter: Quantity, starts: int = 1) -> Quantity:
    """Torque of a sharp tap, M = kc · P² · D / 8, once for each start.

    Parameters
    ----------
    kc : specific cutting force, pressure
    pitch : P, length
    diameter : D, nominal, length
    starts : of the thread, each of which cuts a groove of its own

    Returns
    -------
    M in N·m; published rules differ by a fifth and more, and a worn tap asks for twice as much

    Raises
    ------
    WorkingError : when any is not above zero

    >>> from calc.units import ureg
    >>> q = ureg.Quantity
    >>> torque(q(2500, "N/mm^2"), q(1.5, "mm"), q(10, "mm")).magnitude
    7.03125

    Source: [handbook-tap-torque]
    """
    for name, value in (("kc", kc), ("pitch", pitch), ("diameter", diameter), ("starts", starts)):
        require_positive(name, value)
    return in_unit(kc * pitch**2 * diameter / 8 * starts, "N*m")


@takes(thread_depth="mm", pitch="mm")
def travel(thread_depth: Quantity, pitch: Quantity, chamfer_threads: float) -> Quantity:
    """Way of a tap into the work for a depth of full thread: its chamfer threads go in below it.

    Parameters
    ----------
    thread_depth : of full thread, length
    pitch : P, length
    chamfer_threads : threads on the tap's chamfer (about 2 bottoming, 4 plug, 8 taper)

    Returns
    -------
    travel of the tap's end below the face in mm

    Raises
    ------
    WorkingError : when a length is not above zero, or the count is negative

    >>> from calc.units import ureg
    >>> q = ureg.Quantity
    >>> travel(q(20, "mm"), q(1.5, "mm"), 4).magnitude
    26.0

    Source: [common-practice]
    """
    return drilled_depth(thread_depth, pitch, chamfer_threads, spare_threads=0.0)


@takes(thread_depth="mm", pitch="mm")
def drilled_depth(
    thread_depth: Quantity, pitch: Quantity, chamfer_threads: float, spare_threads: float = 1.0
) -> Quantity:
    """Depth a blind hole needs for a thread depth: the tap's chamfer threads below it, and some room for chips.

    Parameters
    ----------
    thread_depth : of full thread, length
    pitch : P, length
    chamfer_threads : threads on the tap's chamfer (about 2 bottoming, 4 plug, 8 taper)
    spare_threads : room below the tap

    Returns
    -------
    depth at full diameter in mm

    Raises
    ------
    WorkingError : when a length is not above zero, or a count is negative

    >>> from calc.units import ureg
    >>> q = ureg.Quantity
    >>> drilled_depth(q(20, "mm"), q(1.5, "mm"), 3).magnitude
    26.0

    Source: [common-practice]
    """
    require_positive("thread_depth", thread_depth)
    require_positive("pitch", pitch)
    for name, value in (("chamfer_threads", chamfer_threads), ("spare_threads", spare_threads)):
        require(name, value >= 0, f"{said(name)} cannot be negative.")
    return in_unit(thread_depth + (chamfer_threads + spare_threads) * pitch, "mm")
