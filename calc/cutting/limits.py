"""Keeping a cut inside what machine and tool can do, and naming what held it back."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from calc.cutting.force import torque
from calc.cutting.spindle import SpindleCurve, fastest_within
from calc.units import Quantity, choose, in_unit, plain, require_positive, takes, ureg

HAIR = 1e-9  # rounding must not read as a limit that took hold


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of machine and tool; the smaller of the two speeds counts. None is "no limit known"."""

    max_spindle_speed: Quantity | None = None
    max_feed_rate: Quantity | None = None
    max_power: Quantity | None = None
    power_curve: SpindleCurve | None = None


@dataclass(frozen=True, slots=True)
class Cap:
    """A limit that took hold, with the speed and the feed per turn after it; `where` it did, for arrays."""

    name: str
    spindle_speed: Quantity
    feed: Quantity
    where: Any = True


@dataclass(frozen=True, slots=True)
class Held:
    """Speed and feed per turn after the limits, and the limits that took hold, in the order they did.

    `overloaded` says where the torque is beyond the spindle at every speed up to the one wanted: slower does not help.
    """

    spindle_speed: Quantity
    feed: Quantity
    caps: tuple[Cap, ...]
    overloaded: Any = False

    @property
    def capped_by(self) -> tuple[str, ...]:
        """Names of the limits that took hold."""
        return tuple(cap.name for cap in self.caps)


@takes(spindle_speed="1/min", feed="mm")
def hold(
    spindle_speed: Quantity,
    feed: Quantity,
    limits: Limits,
    power_at: Callable[[Quantity, Quantity], Quantity] | None = None,
) -> Held:
    """Bring a speed and a feed per turn inside the limits.

    A speed past its limit is lowered and the feed per turn stays, so the feed rate falls with it and no tooth bites
    deeper than was asked. A power past its limit lowers the speed at the same feed per turn, because power is
    proportional to it and a thinner chip would rub in hard metals. A feed rate that is past its limit even then lowers
    the feed per turn, which asks for less power again.

    Parameters
    ----------
    spindle_speed : n asked for, plain frequency
    feed : feed per turn asked for (feed per tooth times teeth), length
    limits : what machine and tool can do
    power_at : spindle power at a speed and a feed per turn; None when the power is not known

    Returns
    -------
    what can be run, and what held it back

    Raises
    ------
    WorkingError : when a limit is not above zero

    >>> from calc.units import revolutions_per_minute as rpm, ureg
    >>> held = hold(rpm(9000), ureg.Quantity(0.5, "mm"), Limits(max_spindle_speed=rpm(6000)))
    >>> held.spindle_speed.magnitude, held.feed.magnitude, held.capped_by
    (6000, 0.5, ('max_spindle_speed',))

    Source: [own-limits]
    """
    caps: list[Cap] = []
    overloaded: Any = False
    for name in ("max_spindle_speed", "max_feed_rate", "max_power"):
        if getattr(limits, name) is not None:
            require_positive(name, getattr(limits, name))

    def cap(name: str, where: Any, slower: Quantity, smaller: Quantity) -> tuple[Quantity, Quantity]:
        if not np.any(where):
            return spindle_speed, feed
        held = choose(where, slower, spindle_speed, "1/min"), choose(where, smaller, feed, "mm")
        caps.append(Cap(name, *held, where))
        return held

    if (fastest := limits.max_spindle_speed) is not None:
        spindle_speed, feed = cap("max_spindle_speed", spindle_speed > fastest, fastest, feed)
    if power_at is not None and limits.max_power is not None:
        power = power_at(spindle_speed, feed)
        slower = in_unit(spindle_speed * limits.max_power / power, "1/min")
        spindle_speed, feed = cap("max_power", power > limits.max_power, slower, feed)
    if (quickest := limits.max_feed_rate) is not None:
        over = feed * spindle_speed > quickest * (1 + HAIR)
        spindle_speed, feed = cap("max_feed_rate", over, spindle_speed, in_unit(quickest / spindle_speed, "mm"))
    if power_at is not None and limits.power_curve is not None:
        asked = torque(power_at(spindle_speed, feed), spindle_speed)
        slower = fastest_within(limits.power_curve, asked, spindle_speed)
        overloaded = slower <= ureg.Quantity(0, "1/min")
        over = (slower < spindle_speed * (1 - HAIR)) & np.logical_not(overloaded)
        spindle_speed, feed = cap("power_curve", over, slower, feed)
    return Held(spindle_speed, feed, tuple(caps), plain(overloaded))
