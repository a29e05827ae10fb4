"""From minutes of work to the time of day, over the shifts in which a machine is manned."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

# Beyond this nobody plans by the clock, and a machine with one short shift a week must not be searched for ever.
FURTHEST_DAYS = 60


class Shift(Protocol):
    """One stretch of a week; a shift past midnight ends on the next day."""

    weekday: int
    starts: time
    ends: time


def moment_after(*, start: datetime, minutes: float, shifts: Sequence[Shift], zone: ZoneInfo) -> datetime | None:
    """When so many clock minutes of work from `start` are over; None when that is too far off to say.

    Without shifts the machine is taken to run on without a break.
    """
    if minutes > FURTHEST_DAYS * 24 * 60:
        return None
    if not shifts:
        return start + timedelta(minutes=minutes)
    left = timedelta(minutes=minutes)
    for opens, closes in _merged(_stretches(start, shifts, zone)):
        begins = max(opens, start)
        if closes <= begins:
            continue
        if closes - begins >= left:
            return begins + left
        left -= closes - begins
    return None


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
