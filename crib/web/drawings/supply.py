"""What to buy: how many changes a stretch of work takes, and the stock between two orders."""

from __future__ import annotations

import math

import numpy as np
from django.utils.safestring import SafeString

from calc.supply.renewal import renewal_count
from calc.units import show_number
from crib.web.drawings.paper import Sheet
from crib.web.drawings.plot import Plot
from crib.web.drawings.reading import Known, TooLittle

MOST_BARS = 60
SEEN = 1e-3
CYCLES = 3


def renewals(known: Known) -> SafeString:
    """The chance of each number of changes, with the numbers that are enough at each chance."""
    count = renewal_count(
        known.number("shape"), known.number("scale"), known.number("horizon"), known.maybe("used") or 0.0,
        known.maybe("change_at") or math.inf,
    )  # fmt: skip
    chances = np.asarray(count.chances)
    seen = np.flatnonzero(chances >= SEEN * chances.max())
    first, last = int(seen[0]), int(seen[-1])
    quantiles = {key: int(value) for key, value in known.mapping("quantiles").items()}
    last = max(last, *quantiles.values())
    first = max(0, min(first, *quantiles.values()))
    sheet = Sheet()
    plot = Plot(
        sheet, [first - 0.5, last + 0.5], [0.0, float(chances.max())], x_label="changes in the stretch",
        y_label="chance of so many", share=True, marks=len(set(quantiles.values())),
    )  # fmt: skip
    together = math.ceil((last - first + 1) / MOST_BARS)
    for low in range(first, last + 1, together):
        high = min(low + together, last + 1)
        chance = float(chances[low:high].sum()) / together
        plot.bar(low - 0.4, high - 0.6, 0.0, chance, "bar", data_name=f"bar-{low}")
    for value in sorted(set(quantiles.values())):
        keys = ", ".join(key for key, enough in quantiles.items() if enough == value)
        plot.mark(value, f"{keys} %: {value}")
    sheet.legend([("bar", f"chance of that number; {known.text('mean')} in the mean")])
    says = (
        f"Chance of each number of changes in {known.text('horizon')} of cutting: {known.text('mean')} in the mean. "
        f"Enough with a chance of {known.text('quantiles')}."
    )
    return sheet.drawn("Changes to expect", says, class_="chart drawing")


def reorder(known: Known) -> SafeString:
    """The expected stock over the days: down to the reorder point, on to the safety stock, and up by the order."""
    point, safety = known.number("reorder_point"), known.number("safety_stock")
    daily, lead = _mean(known, "daily_demand"), _mean(known, "lead_time")
    if daily <= 0:
        raise TooLittle("daily_demand")
    order = known.maybe("order_quantity") or max(2 * daily * lead, point, 1.0)
    days, stock = _cycles(known, point, daily, lead, order)
    sheet = Sheet()
    plot = Plot(
        sheet, days, [0.0, max(stock), point, safety], x_label="days from now", y_label="expected stock", marks=2
    )
    plot.area([days[0], days[-1]], [0.0, 0.0], [safety, safety], "band-1")
    plot.level(point, "", "threshold")
    plot.line(days, stock, "line line-1")
    start = days[1] if len(days) > 1 else 0.0
    if lead > 0 and start + lead <= plot.x.high:
        plot.mark(start, "order" if start > 0 else "order now", tone="bad" if start <= 0 else "plain")
        plot.mark(start + lead, "arrives")
    whole = known.text("reorder_point")
    coming = " with what is on order" if known.maybe("on_order") else ""
    entries = [
        ("line line-1", f"expected stock{coming}, {show_number(daily)} used a day"),
        ("threshold", f"reorder point {whole}"),
        ("band-1", f"safety stock {known.text('safety_stock')}"),
    ]
    sheet.legend(entries)
    says = (
        f"Expected stock over the days. Order at {whole}; {known.text('safety_stock')} of it is safety stock. The "
        f"order arrives {show_number(lead)} days later."
    )
    if known.has("order_quantity"):
        says += f" Order {known.text('order_quantity')} at a time."
    else:
        says += " The quantity drawn is an example: give price, order cost and holding rate for the best one."
    gone = next((day for day, level in zip(days, stock, strict=True) if level <= 0), None)
    if gone is not None and gone < start + lead:
        says += f" At this rate it runs out after {show_number(gone)} days, before the order is there."
    if "order_now" in known.answer.results:
        says += " The order is due now." if known.yes("order_now") else " No order is due yet."
    return sheet.drawn("When to order", says, class_="chart drawing")


def _cycles(known: Known, point: float, daily: float, lead: float, order: float) -> tuple[list[float], list[float]]:
    """Corners of the expected stock for some cycles; what is on order arrives after one lead time."""
    hand = known.maybe("on_hand")
    coming = known.maybe("on_order") or 0.0
    level = hand + coming if hand is not None else point + order * 0.5
    days, stock = [0.0], [level]
    day = max(0.0, (level - point) / daily)
    for _ in range(CYCLES):
        days.append(day)
        at_order = min(point, level) if day == 0 else point
        stock.append(at_order)
        left = max(at_order - daily * lead, 0.0)
        if at_order < daily * lead:  # it runs out, and stays so until the order comes
            days.append(day + at_order / daily)
            stock.append(0.0)
        days += [day + lead, day + lead]
        stock += [left, left + order]
        level = left + order
        day = day + lead + max(0.0, (level - point) / daily)
    return days, stock


def _mean(known: Known, name: str) -> float:
    both = known.mapping(name)
    if both:
        return float(both.get("mean") or 0.0)
    return known.number(f"{name}_mean")
