"""How numbers and times are written for people: by their units, in the shop's zone, no finer than is known."""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal

from django.utils import timezone

from calc.units import show, unit_named, unit_sign, ureg
from crib.core import clock

NOTHING = "–"
_THIN = "\u202f"


def number(value: float | Decimal | None, *, figures: int = 4) -> str:
    """`value` to so many significant figures, without idle zeros, thousands apart by a thin space."""
    if value is None or not math.isfinite(value):
        return NOTHING
    if value == 0:
        return "0"
    before_point = math.floor(math.log10(abs(float(value)))) + 1
    decimals = max(0, figures - before_point)
    text = f"{value:,.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.replace(",", _THIN).replace("-", "−")


def unit_for(unit: str, system: str) -> str:
    """The unit in which a person of `system` reads what is kept in `unit`."""
    listed, per = _apart(unit)
    if listed == "deg":
        return listed  # beside a field a word is clearer than a small ring
    return unit_sign(listed, "inch" if system == "inch" else "metric") + per


def amount(value: float | Decimal | None, unit: str, system: str) -> str:
    """A physical value kept in `unit`, written in the person's own units."""
    if value is None or not math.isfinite(value):
        return NOTHING
    listed, per = _apart(unit)
    quantity = ureg.Quantity(float(value), unit_named(listed))
    text = show(quantity, "inch" if system == "inch" else "metric", listed)
    return text.replace(" ", "\u00a0").replace("-", "−") + per


def in_units(value: float, unit: str, system: str) -> float:
    """A value kept in `unit` as the figure that a person of `system` reads, for the axis of a chart."""
    return float(ureg.Quantity(value, unit_named(unit)).m_as(unit_named(unit_for(unit, system))))


def _apart(unit: str) -> tuple[str, str]:
    """The physical unit, and the turn or tooth that it is for; `calc` knows lengths for each as lengths."""
    listed, _, per = unit.partition("/")
    return (listed, f"/{per}") if per in ("rev", "tooth") else (unit, "")


def minutes(value: float | None) -> str:
    """Minutes: whole from ten upward, one decimal below, since nobody changes an edge to the second."""
    if value is None or not math.isfinite(value):
        return NOTHING
    if abs(value) >= 9.95:
        return f"{value:,.0f}".replace(",", _THIN).replace("-", "−")
    return f"{value:.1f}".removesuffix(".0").replace("-0", "0" if abs(value) < 0.05 else "−0").replace("-", "−")


def parts(value: float | None) -> str:
    """Whole parts, rounded down: half a part cannot be made with what is left of an edge."""
    if value is None or not math.isfinite(value):
        return NOTHING
    return f"{math.floor(value):,}".replace(",", _THIN).replace("-", "−")


def parts_said(value: int | None) -> str:
    """A count of parts with its word."""
    return f"{parts(value)} part{'' if value == 1 else 's'}"


def mean_parts(value: float | None) -> str:
    """Parts in the mean: below ten to the tenth, since half a part then matters, else the nearest whole number."""
    if value is None or not math.isfinite(value):
        return NOTHING
    return f"{value:.1f}" if value < 9.95 else parts(round(value))


def share(value: float | None) -> str:
    """A share of one as whole percent; the far ends are never rounded into certainty."""
    if value is None or not math.isfinite(value):
        return NOTHING
    percent = value * 100
    if 0 < percent < 0.5:
        return "under 1\u00a0%"
    if 99.5 < percent < 100:
        return "over 99\u00a0%"
    return f"{percent:.0f}\u00a0%".replace("-0\u00a0", "0\u00a0").replace("-", "−")


def money(value: Decimal | float | None, currency: str) -> str:
    """An amount of money to the cent, with its currency."""
    if value is None:
        return NOTHING
    cents = Decimal(str(value)).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
    return f"{cents:,.2f}\u00a0{currency}".replace(",", _THIN).replace("-", "−")


def clock_time(moment: datetime | None) -> str:
    """The time of day in the shop's zone; with the weekday and date when it is not today."""
    if moment is None:
        return NOTHING
    local = timezone.localtime(moment)
    days = (local.date() - clock.today()).days
    if days == 0:
        return f"{local:%H:%M}"
    if days == 1:
        return f"tomorrow {local:%H:%M}"
    if days == -1:
        return f"yesterday {local:%H:%M}"
    return f"{local:%a} {day(local.date())} {local:%H:%M}"


def hours(starts: datetime, ends: datetime) -> str:
    """From one moment to another, the day said once where it is one day."""
    same = timezone.localtime(starts).date() == timezone.localtime(ends).date()
    return f"{clock_time(starts)} to {f'{timezone.localtime(ends):%H:%M}' if same else clock_time(ends)}"


def day(when: date | datetime | None) -> str:
    """A date as it is said: 3 Dec, with the year when it is not this one."""
    if when is None:
        return NOTHING
    if isinstance(when, datetime):
        when = timezone.localtime(when).date()
    year = "" if when.year == clock.today().year else f" {when.year}"
    return f"{when.day} {when:%b}{year}"


def ago(moment: datetime | None) -> str:
    """How long before or after now, in the one unit that matters."""
    if moment is None:
        return NOTHING
    gap = moment - clock.now()
    words = _span(abs(gap))
    if words is None:
        return "now"
    return f"in {words}" if gap > timedelta(0) else f"{words} ago"


def _span(gap: timedelta) -> str | None:
    seconds = gap.total_seconds()
    for size, word in ((86400, "day"), (3600, "h"), (60, "min")):
        count = int(seconds // size)
        if count:
            plural = "s" if word == "day" and count > 1 else ""
            return f"{count}\u00a0{word}{plural}"
    return None
