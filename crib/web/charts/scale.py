"""From values to places on the paper, and the values at which the axes are labelled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from crib.web.formats import number

_SUFFIXES = ((1e12, " T"), (1e9, " G"), (1e6, " M"), (1e3, " k"))


@dataclass(frozen=True)
class Scale:
    """A straight line from [low, high] to [start, end]; `start` may lie beyond `end`, as on a vertical axis."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        if self.high == self.low:
            return (self.start + self.end) / 2
        # The share first: high - low of two huge numbers may not be finite, their halves are.
        share = (value / 2 - self.low / 2) / (self.high / 2 - self.low / 2)
        return self.start + share * (self.end - self.start)

    def clamp(self, value: float) -> float:
        """The place of `value`, or the nearer end when it lies outside."""
        return self(min(max(value, self.low), self.high))


class LogScale(Scale):
    """The same by ratios: from low to high, both above zero, each doubling is as long as the next."""

    def __call__(self, value: float) -> float:
        if self.high == self.low:
            return (self.start + self.end) / 2
        return self.start + math.log(value / self.low) / math.log(self.high / self.low) * (self.end - self.start)


def log_ticks(low: float, high: float) -> list[float]:
    """Round values by ratios that span low to high: even steps where they lie close, else 1, 2 and 5 of each power."""
    if high < 3 * low:
        even = [at for at in ticks(low, high, 6) if at > 0]
        if len(even) > 1 and even[0] <= low * (1 + 1e-9):
            return even
    first, last = math.floor(math.log10(low) + 1e-12), math.ceil(math.log10(high) - 1e-12)
    sizes = (1, 2, 5) if last - first <= 4 else (1,)
    rows = [float(f"{size * 10.0**power:.6g}") for power in range(first, last + 1) for size in sizes]
    start = max((place for place, at in enumerate(rows) if at <= low * (1 + 1e-9)), default=0)
    stop = min((place for place, at in enumerate(rows) if at >= high * (1 - 1e-9)), default=len(rows) - 1)
    return rows[start : max(stop, start + 1) + 1]


def ticks(low: float, high: float, wanted: int = 5) -> list[float]:
    """About `wanted` round values that span low to high: multiples of 1, 2 or 5 times a power of ten."""
    if low == high:
        low, high = (low - 1, high + 1) if low else (0.0, 1.0)
    rough = (high / wanted) - (low / wanted)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(size * power for size in (1, 2, 5, 10) if size * power >= rough * 0.999999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [float(f"{index * step:.12g}") for index in range(first, last + 1)]


def day_ticks(days: Sequence[date], wanted: int = 8) -> list[date]:
    """Days to label: every day, second day, week, fortnight or so many weeks, from the first day on."""
    if not days:
        return []
    span = (days[-1] - days[0]).days + 1
    step = next((size for size in (1, 2, 7, 14, 28) if span / size <= wanted), math.ceil(span / wanted / 28) * 28)
    return [days[0] + timedelta(days=offset) for offset in range(0, span, step)]


def tick_text(value: float, *, step: float) -> str:
    """The value as finely as the axis needs it, large ones with k, M, G or T."""
    if value == 0:
        return "0"
    if abs(value) >= 1e15:
        return f"{value:.0e}".replace("e+", "e").replace("-", "−")
    for size, suffix in _SUFFIXES:
        if abs(value) >= max(size, 10_000):
            return number(value / size, figures=6) + suffix
    decimals = max(0, -math.floor(math.log10(abs(step)) + 1e-9)) if step else 3
    if decimals > 6:
        return f"{value:.2g}".replace("-", "−")
    return f"{value:,.{decimals}f}".replace(",", "\u202f").replace("-", "−")


def share_text(value: float, *, step: float) -> str:
    """The value as percent."""
    return tick_text(value * 100, step=step * 100) + "\u00a0%"
