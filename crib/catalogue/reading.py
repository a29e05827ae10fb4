"""Reads prices, shifts and cells as people write them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime, time
from decimal import Decimal, InvalidOperation

from calc.errors import WorkingError
from calc.units import read_quantity
from crib.catalogue.models import MachineShift, PriceBreak
from crib.core.errors import BadInput

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
YES, NO = ("yes", "true", "1"), ("no", "false", "0")
_PRICE = re.compile(r"\A(\d{1,9})\s*:\s*(\d{1,9}(?:\.\d{1,2})?)\Z")
_SHIFT = re.compile(r"\A(\w{3})(?:\s*-\s*(\w{3}))?\s+(\d{1,2}:\d{2})\s*-\s*(\d{1,2}:\d{2})\Z")


def read_prices(text: str) -> dict[int, Decimal]:
    """Unit prices by the quantity they begin at, from “1: 24.50; 50: 22.00”."""
    prices: dict[int, Decimal] = {}
    for line in _lines(text):
        found = _PRICE.match(line)
        if found is None:
            raise BadInput("prices", f"“{line[:40]}” is no price. Write the quantity, a colon and the price: 50: 22.00")
        start = int(found[1])
        if start in prices:
            raise BadInput("prices", f"Two prices begin at {start}.")
        prices[start] = Decimal(found[2])
    return prices


def show_prices(prices: Iterable[PriceBreak]) -> str:
    """The text that `read_prices` reads."""
    return "\n".join(f"{price.from_quantity}: {price.unit_price}" for price in prices)


def read_shifts(text: str) -> list[tuple[int, time, time]]:
    """Weekday (Monday is 0), start and end of each shift, from “Mon-Fri 06:00-14:00; Sat 06:00-12:00”."""
    shifts = []
    for line in _lines(text):
        found = _SHIFT.match(line)
        days = _days(found[1], found[2] or found[1]) if found else None
        if found is None or days is None:
            raise BadInput("shifts", f"“{line[:40]}” is no shift. Write it as: Mon-Fri 06:00-14:00")
        shifts += [(day, _time(found[3]), _time(found[4])) for day in days]
    return shifts


def show_shifts(shifts: Iterable[MachineShift]) -> str:
    """The text that `read_shifts` reads."""
    return "\n".join(f"{DAYS[shift.weekday]} {shift.starts:%H:%M}-{shift.ends:%H:%M}" for shift in shifts)


def read_curve(text: str) -> list[list[float]]:
    """Speed in 1/min and power in kW of each point: “1500; 15” to a line, or “1500: 15; 6000: 15” in one.

    Either may carry a unit: “1500 rpm; 20 hp”.
    """
    points = []
    for line in _lines(text) if ":" in text else text.splitlines():
        cells = [cell.strip() for cell in re.split(r"[:;\t]", line) if cell.strip()]
        if not cells:
            continue
        if len(cells) != 2:
            raise BadInput("power_curve", f"“{line[:40]}” is no point of the curve. Write speed and power: 1500; 15")
        points.append([read_measure("power_curve", cells[0], "1/min"), read_measure("power_curve", cells[1], "kW")])
    return points


def show_curve(curve: Iterable[Iterable[float]]) -> str:
    """The text that `read_curve` reads."""
    return "\n".join(f"{speed:.6g}; {power:.6g} kW" for speed, power in curve)


def read_whole(column: str, text: str) -> int:
    if not re.fullmatch(r"\d{1,9}", text):
        raise BadInput(column, f"“{text[:40]}” is no whole number.")
    return int(text)


def read_measure(column: str, text: str, unit: str) -> float:
    """A number in `unit`, or a text with a unit of its own."""
    try:
        return float(read_quantity(column, text, unit).magnitude)
    except WorkingError as unread:
        raise BadInput(column, unread.sentence) from unread


def read_number(column: str, text: str) -> float:
    try:
        return float(text)
    except ValueError as unread:
        raise BadInput(column, f"“{text[:40]}” is no number.") from unread


def read_money(column: str, text: str) -> Decimal:
    try:
        amount = Decimal(text)
    except InvalidOperation as unread:
        raise BadInput(column, f"“{text[:40]}” is no amount of money. Write it as 24.50") from unread
    if not amount.is_finite():
        raise BadInput(column, f"“{text[:40]}” is no amount of money. Write it as 24.50")
    return amount


def read_yes(column: str, text: str) -> bool:
    word = text.lower()
    if word not in YES + NO:
        raise BadInput(column, f"“{text[:40]}” is neither yes nor no.")
    return word in YES


def _days(first: str, last: str) -> range | None:
    names = {name.lower(): number for number, name in enumerate(DAYS)}
    start, end = names.get(first.lower()), names.get(last.lower())
    return None if start is None or end is None or end < start else range(start, end + 1)


def _time(text: str) -> time:
    try:
        return datetime.strptime(text, "%H:%M").time()  # noqa: DTZ007  # a time of day alone
    except ValueError as unread:
        raise BadInput("shifts", f"“{text}” is a time that no clock shows.") from unread


def _lines(text: str) -> list[str]:
    return [line.strip() for line in re.split(r"[\n;]", text) if line.strip()]
