"""The wear of an edge, drawn for its page in the reader's units."""

from __future__ import annotations

from django.utils.safestring import SafeString, mark_safe

from crib.life import selectors
from crib.web import charts, formats

TITLE = "Wear land over minutes in cut"


def wear_chart(growth: selectors.WearGrowth, system: str) -> SafeString:
    """Plot and table; what the plot shows is said in words as well."""
    scale, unit = (1 / 25.4, "in") if system == "inch" else (1.0, "mm")
    drawn = charts.wear_plot(
        growth.minutes,
        middle=[scale * land for land in growth.middle],
        band=([scale * land for land in growth.low], [scale * land for land in growth.high]),
        points=[charts.Point(one.minutes, scale * one.wear_land_mm, ended=one.counts) for one in growth.readings],
        limit=scale * growth.limit,
        crossing=growth.crossing,
        marks=[charts.Mark(growth.now, "came off" if growth.ended else "now", "info")],
        title=TITLE,
        says=wear_says(growth),
        x_label="minutes in cut",
        y_label=f"wear land, {unit}",
    )
    step = max(len(growth.minutes) // 10, 1)
    rows = [
        [formats.minutes(at), *(formats.amount(land, "mm", system) for land in lands)]
        for at, *lands in list(zip(growth.minutes, growth.middle, growth.low, growth.high, strict=True))[::step]
    ]
    table = charts.data_table(TITLE, ["Minutes in cut", "Growth", "Low", "High"], rows) if rows else SafeString("")
    return mark_safe(drawn + table)  # both escaped


def wear_says(growth: selectors.WearGrowth) -> str:
    """When the criterion is crossed, in a sentence."""
    if growth.crossing is None:
        return "The readings and the criterion; no growth can be told from them."
    low, middle, high = (formats.minutes(at) for at in growth.crossing)
    verb = "is likely crossed"
    if growth.ended:
        verb = "would likely have been crossed" if growth.crossing[1] > growth.now else "was likely crossed"
    return f"The criterion {verb} at about {middle} minutes in cut, eight times in ten between {low} and {high}."
