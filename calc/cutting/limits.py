"""Keeping a cut inside what machine and tool can do, and naming what held it back."""

from collections.abc import Callable
from dataclasses import dataclass

from calc.units import Quantity, require_positive, takes


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of machine and tool; the smaller of the two speeds counts. None is "no limit known"."""

    max_spindle_speed: Quantity | None = None
    max_feed_rate: Quantity | None = None
    max_power: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Cap:
    """A limit that took hold, with the speed and the feed per turn after it."""

    name: str
    spindle_speed: Quantity
    feed: Quantity


@dataclass(frozen=True, slots=True)
class Held:
    """Speed and feed per turn after the limits, and the limits that took hold, in the order they did."""

    spindle_speed: Quantity
    feed: Quantity
    caps: tuple[Cap, ...]

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
    deeper than was asked. A feed rate past its limit lowers the feed per turn. A power past its limit lowers the speed
    at the same feed per turn, because power is proportional to it and a thinner chip would rub in hard metals.

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
    for name in ("max_spindle_speed", "max_feed_rate", "max_power"):
        if getattr(limits, name) is not None:
            require_positive(name, getattr(limits, name))
    if limits.max_spindle_speed is not None and spindle_speed > limits.max_spindle_speed:
        spindle_speed = limits.max_spindle_speed.to("1/min")
        caps.append(Cap("max_spindle_speed", spindle_speed, feed))
    if limits.max_feed_rate is not None and feed * spindle_speed > limits.max_feed_rate:
        feed = (limits.max_feed_rate / spindle_speed).to("mm")
        caps.append(Cap("max_feed_rate", spindle_speed, feed))
    if limits.max_power is not None and power_at is not None:
        power = power_at(spindle_speed, feed)
        if power > limits.max_power:
            spindle_speed = (spindle_speed * limits.max_power / power).to("1/min")
            caps.append(Cap("max_power", spindle_speed, feed))
    return Held(spindle_speed, feed, tuple(caps))
