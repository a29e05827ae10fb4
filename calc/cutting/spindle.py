"""What a spindle can give at its speeds: a power curve as points, the torque that follows, and the speed it holds."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.units import Quantity, in_unit, require, require_positive, takes, ureg

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SpindleCurve:
    """Power over speed, straight between points; below the first one the torque stays, above the last one the power.

    Parameters
    ----------
    speeds : 1/min, rising
    powers : kW, one for each speed
    """

    speeds: Floats
    powers: Floats

    @property
    def largest_torque(self) -> Quantity:
        """The largest torque the spindle gives at any speed, N·m."""
        return in_unit(ureg.Quantity(float(np.max(self.powers / self.speeds)), "kW*min") / (2 * np.pi), "N*m")


def spindle_curve(points: Sequence[tuple[Quantity, Quantity]]) -> SpindleCurve:
    """Make the curve of a spindle from points of speed and power.

    Parameters
    ----------
    points : (n, P) in any order, n a plain frequency above zero, P a power above zero

    Returns
    -------
    the curve

    Raises
    ------
    WorkingError : (argument "power_curve") when there is no point, two at one speed, or one that is not above zero

    >>> from calc.units import revolutions_per_minute as rpm
    >>> curve = spindle_curve([(rpm(1500), ureg.Quantity(15, "kW")), (rpm(6000), ureg.Quantity(15, "kW"))])
    >>> round(curve.largest_torque.magnitude, 2)
    95.49

    Source: [iso-3002-4 (m)] for torque from power; the curve itself is the machine's
    """
    ordered = sorted((float(speed.m_as("1/min")), float(power.m_as("kW"))) for speed, power in points)
    if not ordered:
        raise WorkingError("power_curve", "The power curve needs at least one point of speed and power.")
    speeds, powers = np.array(ordered).T
    fine = bool(np.all(speeds > 0) and np.all(powers > 0) and np.all(np.diff(speeds) > 0))
    require("power_curve", fine, "The power curve needs speeds and powers above zero, each speed once.")
    return SpindleCurve(speeds, powers)


@takes(spindle_speed="1/min")
def available_power(curve: SpindleCurve, spindle_speed: Quantity) -> Quantity:
    """Power the spindle gives at a speed.

    Parameters
    ----------
    curve : of the spindle
    spindle_speed : n, plain frequency, one or an array

    Returns
    -------
    P in kW

    Raises
    ------
    WorkingError : when the speed is not above zero

    >>> from calc.units import revolutions_per_minute as rpm
    >>> curve = spindle_curve([(rpm(1500), ureg.Quantity(15, "kW")), (rpm(6000), ureg.Quantity(9, "kW"))])
    >>> [round(available_power(curve, rpm(speed)).magnitude, 3) for speed in (750, 1500, 3750)]
    [7.5, 15.0, 12.0]

    Source: [plane-geometry], a straight line between the machine's own points
    """
    require_positive("spindle_speed", spindle_speed)
    speed = spindle_speed.m_as("1/min")
    power = np.interp(speed, curve.speeds, curve.powers) * np.minimum(speed / curve.speeds[0], 1.0)
    return in_unit(ureg.Quantity(power, "kW"), "kW")


@takes(torque="N*m", spindle_speed="1/min")
def fastest_within(curve: SpindleCurve, torque: Quantity, spindle_speed: Quantity) -> Quantity:
    """Highest speed, at most the one wanted, at which the spindle gives a torque.

    The torque of a cut depends on its chip and depths and not on the speed, so turning slower asks for less power.

    Parameters
    ----------
    curve : of the spindle
    torque : T asked of it at the motor's side, losses included, one or an array
    spindle_speed : n wanted, plain frequency, one or an array

    Returns
    -------
    n in 1/min; zero where the torque is beyond the spindle at every speed up to the one wanted

    Raises
    ------
    WorkingError : when torque or speed is not above zero

    >>> from calc.units import revolutions_per_minute as rpm
    >>> curve = spindle_curve([(rpm(1500), ureg.Quantity(15, "kW")), (rpm(6000), ureg.Quantity(15, "kW"))])
    >>> n = fastest_within(curve, ureg.Quantity(50, "N*m"), rpm(6000))
    >>> round(n.magnitude, 1), fastest_within(curve, ureg.Quantity(96, "N*m"), rpm(6000)).magnitude
    (2864.8, 0.0)

    Source: [iso-3002-4 (m)], the curve solved with P = 2π · n · T on each of its straight stretches
    """
    require_positive("torque", torque)
    require_positive("spindle_speed", spindle_speed)
    per_speed = in_unit(2 * np.pi * torque, "kW*min").magnitude  # kW for each 1/min
    needs, wanted = np.atleast_1d(per_speed)[:, None], np.atleast_1d(spindle_speed.m_as("1/min"))[:, None]
    # Stretches of the curve: from standstill at constant torque, between the points, and on at the last power.
    starts = np.concatenate([[0.0], curve.speeds])
    ends = np.concatenate([curve.speeds, [np.inf]])
    slopes = np.concatenate([[curve.powers[0] / curve.speeds[0]], np.diff(curve.powers) / np.diff(curve.speeds), [0.0]])
    heights = np.concatenate([[0.0], curve.powers]) - slopes * starts
    top = np.minimum(ends, wanted)
    with np.errstate(all="ignore"):
        crossing = heights / (needs - slopes)
        enough_at_top = heights + slopes * top >= needs * top * (1 - 1e-12)
        enough_at_start = heights + slopes * starts >= needs * starts * (1 - 1e-12)
        held = np.where(enough_at_top, top, np.where(enough_at_start & (starts > 0), crossing, 0.0))
    fastest = np.where(starts < wanted, held, 0.0).max(axis=1)
    alone = np.ndim(per_speed) == 0 and np.ndim(spindle_speed.magnitude) == 0
    return in_unit(ureg.Quantity(fastest[0] if alone else fastest, "1/min"), "1/min")
