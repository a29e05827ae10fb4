"""From minutes of work to the time of day, over the shifts in which a machine is manned."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from itertools import takewhile
from typing import NamedTuple, Protocol
from zoneinfo import ZoneInfo

# Beyond this nobody plans by the clock, and a machine with one short shift a week must not be searched for ever.
FURTHEST_DAYS = 60
# Where no shift is entered, a shift is taken to be so long.
HOURS_WITHOUT_SHIFTS = 8


class Shift(Protocol):
    """One stretch of a week; a shift past midnight ends on the next day."""

    weekday: int
    starts: time
    ends: time


class Stretch(NamedTuple):
    """From one moment to another."""

    starts: datetime
    ends: datetime


class Hours:
    """The manned hours of a machine from a moment on; without shifts it is taken to run on without a break."""

    def __init__(self, *, start: datetime, shifts: Sequence[Shift], zone: ZoneInfo) -> None:
        self.start = start
        self._endless = not shifts
        self._manned = list(_merged(_stretches(start, shifts, zone)))

    def after(self, minutes: float) -> datetime | None:
        """When so many minutes of work are over; None when that is too far off to say."""
        if minutes > FURTHEST_DAYS * 24 * 60:
            return None
        if self._endless:
            return self.start + timedelta(minutes=minutes)
        left = timedelta(minutes=minutes)
        for opens, closes in self._manned:
            begins = max(opens, self.start)
            if closes <= begins:
                continue
            if closes - begins >= left:
                return begins + left
            left -= closes - begins
        return None

    def until(self, moment: datetime) -> float:
        """Minutes of work from the start until a moment; none when it lies before."""
        stretches = [(self.start, moment)] if self._endless else self._manned
        before = takewhile(lambda stretch: stretch[0] < moment, stretches)
        worked = (min(closes, moment) - max(opens, self.start) for opens, closes in before)
        return sum(max(part.total_seconds(), 0.0) for part in worked) / 60


def moment_after(*, start: datetime, minutes: float, shifts: Sequence[Shift], zone: ZoneInfo) -> datetime | None:
    """When so many clock minutes of work from `start` are over; None when that is too far off to say.

    Without shifts the machine is taken to run on without a break.
    """
    return Hours(start=start, shifts=shifts, zone=zone).after(minutes)


def shifts_ahead(*, now: datetime, shifts: Sequence[Shift], zone: ZoneInfo) -> tuple[Stretch, Stretch]:
    """The shift that runs, or else the next to begin, and the one after; without shifts eight hours and eight more."""
    coming = sorted((closes, opens) for opens, closes in _stretches(now, shifts, zone) if closes > now)
    if not coming:
        hours = timedelta(hours=HOURS_WITHOUT_SHIFTS)
        return Stretch(now, now + hours), Stretch(now + hours, now + 2 * hours)
    ends, starts = coming[0]
    later = next((one for one in coming if one[0] > ends), coming[0])
    return Stretch(starts, ends), Stretch(max(later[1], ends), later[0])


def _stretches(start: datetime, shifts: Sequence[Shift], zone: ZoneInfo) -> list[tuple[datetime, datetime]]:
    """Manned stretches from the day before `start` on, as moments in UTC order."""
    first = start.astimezone(zone).date() - timedelta(days=1)
    found = []
    for number in range(FURTHEST_DAYS + 2):
        day = first + timedelta(days=number)
        found += [_on(day, shift, zone) for shift in shifts if shift.weekday == day.weekday()]
    return sorted(found)


def _on(day: date, shift: Shift, zone: ZoneInfo) -> tuple[datetime, datetime]:
    ends_on = day if shift.ends > shift.starts else day + timedelta(days=1)
    return datetime.combine(day, shift.starts, zone), datetime.combine(ends_on, shift.ends, zone)


def _merged(stretches: Iterable[tuple[datetime, datetime]]) -> Iterator[tuple[datetime, datetime]]:
    """Shifts that overlap count once."""
    current: tuple[datetime, datetime] | None = None
    for opens, closes in stretches:
        if current is not None and opens <= current[1]:
            current = (current[0], max(current[1], closes))
            continue
        if current is not None:
            yield current
        current = (opens, closes)
    if current is not None:
        yield current
