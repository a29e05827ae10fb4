"""Force and power by Kienzle's specific cutting force."""

import math

from calc.units import Quantity, in_unit, require, require_positive, takes


@takes(chip_thickness="mm", kc11="N/mm²", rake_angle="deg", reference_rake="deg")
def specific_cutting_force(
    chip_thickness: Quantity,
    kc11: Quantity,
    mc: float,
    rake_angle: Quantity | None = None,
    reference_rake: Quantity | None = None,
) -> Quantity:
    """Specific cutting force at a chip thickness, kc = kc1.1 · h^(-mc) with h in mm.

    Parameters
    ----------
    chip_thickness : h (in milling the mean, hm), length
    kc11 : specific cutting force at 1 mm chip thickness and width, pressure
    mc : fall of that force with chip thickness, dimensionless, 0 <= mc < 1
    rake_angle : γ of the edge in use, angle; when given, 1 % per degree against the reference
    reference_rake : γ0 at which kc1.1 was measured, angle (6 degrees when not given)

    Returns
    -------
    kc in N/mm²

    Raises
    ------
    WorkingError : when a length or pressure is not above zero, mc lies outside [0, 1), or the rake is past ±40 degrees

    >>> from calc.units import ureg
    >>> kc = specific_cutting_force(ureg.Quantity(0.2, "mm"), ureg.Quantity(2000, "N/mm^2"), 0.25)
    >>> round(kc.magnitude, 1)
    2990.7

    Source: [kienzle-1952 (m)]; the rake correction is a rule of thumb, [handbook-rake (m)].
    """
    require_positive("chip_thickness", chip_thickness)
    require_positive("kc11", kc11)
    require_exponent(mc)
    correction = 1.0
    if rake_angle is not None:
        reference = 6.0 if reference_rake is None else reference_rake.m_as("deg")
        past = rake_angle.m_as("deg") - reference
        require("rake_angle", abs(past) <= 40, "Rake angle must lie within 40 degrees of the reference.")
        correction = 1 - past / 100
    return in_unit(kc11 * chip_thickness.m_as("mm") ** -mc * correction, "N/mm^2")


def require_exponent(mc: float) -> None:
    """Refuse an exponent outside [0, 1).

    Parameters
    ----------
    mc : fall of the specific cutting force with chip thickness

    Returns
    -------
    nothing

    Raises
    ------
    WorkingError : when it lies outside

    >>> require_exponent(1.2)
    Traceback (most recent call last):
        ...
    calc.errors.WorkingError: mc must be at least 0 and below 1; steels lie near 0.25.

    Source: [kienzle-1952 (m)]
    """
    require("mc", (mc >= 0) & (mc < 1), "mc must be at least 0 and below 1; steels lie near 0.25.")


@takes(removal_rate="cm³/min", kc="N/mm²")
def cutting_power(removal_rate: Quantity, kc: Quantity) -> Quantity:
    """Net power at the cutter, P = Q · kc, which is ap·ae·vf·kc, vc·ap·f·kc or f·vc·DC·kc/4 by the kind of cut.

    Parameters
    ----------
    removal_rate : Q, volume per time
    kc : specific cutting force, pressure

    Returns
    -------
    P in kW, before the losses of the spindle

    Raises
    ------
    WorkingError : when either is not above zero

    >>> from calc.units import ureg
    >>> p = cutting_power(ureg.Quantity(160, "cm^3/min"), ureg.Quantity(3000, "N/mm^2"))
    >>> round(p.magnitude, 6)
    8.0

    Source: [iso-3002-4 (m)]
    """
    require_positive("removal_rate", removal_rate)
    require_positive("kc", kc)
    return in_unit(removal_rate * kc, "kW")


def spindle_power(power: Quantity, efficiency: float) -> Quantity:
    """Power the spindle motor must give for a cutting power, P / η.

    Parameters
    ----------
    power : cutting power
    efficiency : η of the drive, above 0 and at most 1

    Returns
    -------
    power in kW

    Raises
    ------
    WorkingError : when the efficiency lies outside (0, 1]

    >>> from calc.units import ureg
    >>> spindle_power(ureg.Quantity(4, "kW"), 0.8).magnitude
    5.0

    Source: [iso-3002-4 (m)]
    """
    sensible = (efficiency > 0) & (efficiency <= 1)
    require("efficiency", sensible, "Efficiency must be above 0 and at most 1, such as 0.8.")
    return in_unit(power / efficiency, "kW")


@takes(power="kW", spindle_speed="1/min")
def torque(power: Quantity, spindle_speed: Quantity) -> Quantity:
    """Torque of a power at a spindle speed, T = P / (2π · n).

    Parameters
    ----------
    power : P
    spindle_speed : n, plain frequency

    Returns
    -------
    T in N·m

    Raises
    ------
    WorkingError : when either is not above zero

    >>> from calc.units import revolutions_per_minute, ureg
    >>> round(torque(ureg.Quantity(8, "kW"), revolutions_per_minute(100)).magnitude, 2)
    763.94

    Source: [iso-3002-4 (m)]; the exact constant is 9549.30, not 9550.
    """
    require_positive("power", power)
    require_positive("spindle_speed", spindle_speed)
    return in_unit(power / (2 * math.pi * spindle_speed), "N*m")
