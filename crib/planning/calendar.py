"""Months, days and which of them a machine works."""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from crib.catalogue.models import MachineShift
from crib.core.errors import BadInput

_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")
WEEKDAYS = frozenset(range(5))


@dataclass(frozen=True, slots=True)
class Days:
    """A stretch of days, both ends included."""

    first: date
    last: date

    def __len__(self) -> int:
        return (self.last - self.first).days + 1

    def __contains__(self, day: date) -> bool:
        return self.first <= day <= self.last

    @property
    def each(self) -> list[date]:
        return [self.first + timedelta(days=number) for number in range(len(self))]

    def place(self, day: date) -> int:
        """Number of the day from 0; negative or beyond the end outside the stretch."""
        return (day - self.first).days


def days_of(month: str) -> Days:
    """The days of a month written as 2026-12."""
    if not is_month(month):
        raise BadInput("month", f"“{month[:20]}” is no month. Write it as 2026-12.")
    year, number = int(month[:4]), int(month[5:])
    return Days(date(year, number, 1), date(year, number, monthrange(year, number)[1]))


def is_month(text: str) -> bool:
    """Whether a text is a month as we write it."""
    read = _MONTH.fullmatch(text)
    return read is not None and int(read[1]) >= 2000


def month_of(day: date) -> str:
    return f"{day.year:04d}-{day.month:02d}"


def month_after(month: str, count: int = 1) -> str:
    """The month so many months later, or earlier when `count` is negative."""
    first = days_of(month).first
    number = first.year * 12 + first.month - 1 + count
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


def working_weekdays(machines: Collection[int]) -> dict[int, frozenset[int]]:
    """The weekdays (Monday is 0) on which each machine is manned; Monday to Friday where no shift is entered."""
    found: dict[int, set[int]] = {machine: set() for machine in machines}
    for machine, weekday in MachineShift.objects.filter(machine__in=machines).values_list("machine", "weekday"):
        found[machine].add(weekday)
    return {machine: frozenset(weekdays) or WEEKDAYS for machine, weekdays in found.items()}


def open_days(first: date, last: date, weekdays: frozenset[int]) -> list[date]:
    """The days of work between two days; all of them when the shop means to work on days off alone."""
    every = Days(first, last).each
    return [day for day in every if day.weekday() in weekdays] or every
