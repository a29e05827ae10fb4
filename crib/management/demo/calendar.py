"""When the demo shop's machines are manned, over the months before today."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone

from crib.management.demo.scenario import ShiftRow


@dataclass(frozen=True, slots=True)
class Shift:
    """One manned stretch of a machine; `turn` says which of the day's shifts it is, counted from 0."""

    starts: datetime
    ends: datetime
    turn: int


def shifts_between(pattern: list[ShiftRow], first: datetime, last: datetime) -> Iterator[Shift]:
    """The shifts that begin from `first` on and before `last`, in order; the one under way at `last` is cut there."""
    day = timezone.localdate(first) - timedelta(days=1)
    while day <= timezone.localdate(last):
        rows = sorted((row for row in pattern if day.weekday() in row.weekdays), key=lambda row: row.starts)
        for turn, row in enumerate(rows):
            shift = _on(day, row, turn)
            if first <= shift.starts < last:
                yield Shift(shift.starts, min(shift.ends, last), turn)
        day += timedelta(days=1)


def _on(day: date, row: ShiftRow, turn: int) -> Shift:
    zone = timezone.get_current_timezone()
    ends_on = day if row.ends > row.starts else day + timedelta(days=1)
    starts = datetime.combine(day, row.starts, tzinfo=zone)
    return Shift(starts, datetime.combine(ends_on, row.ends, tzinfo=zone), turn)


def month_after(day: date) -> tuple[date, date]:
    """First and last day of the month after the one that `day` lies in."""
    first = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
    return first, (first + timedelta(days=32)).replace(day=1) - timedelta(days=1)
