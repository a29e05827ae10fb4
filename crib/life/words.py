"""What the forecasts say in words, at the bench."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from django.conf import settings

from crib.life.models import LifeModel

CAUTION = (
    "A forecast is a probability, never a promise: it does not replace inspection of safety-critical parts. The tool "
    "maker's limits and the shop's own safety rules come first."
)
NO_OPERATION = "It is not known what this edge works at. Load its tool in a pocket, or log a run on it."
CANNOT_WORK_OUT = "The figures of its operation cannot be worked with; check its costs and duty."
NO_MINUTES_PER_PART = "Add the minutes in cut per part to the operation, and the parts left are shown too."
# Less than a twentieth of the weight is not worth a word.
LEAST_WEIGHT = 0.05


def evidence(model: LifeModel) -> str:
    """What stands behind a forecast: ends seen, or the starting value and where it comes from."""
    seen = _seen(model)
    if model.standing == LifeModel.Standing.FALLBACK:
        return f"Starting value ({model.prior_source}); {model.reason}"[:200]
    if model.reground and model.standing == LifeModel.Standing.PRIOR:
        ends = seen or "none has ended here"
        return f"As its new edges{_of_new(model)}; {ends} after a regrind{_leaning(model)}"[:200]
    if model.standing == LifeModel.Standing.PRIOR:
        return f"Starting value ({model.prior_source}); {seen or 'no edge has ended here yet'}{_leaning(model)}"[:200]
    after = f" after a regrind, upon its new edges{_of_new(model)}" if model.reground else ""
    return f"Fitted from {seen}{after}{_leaning(model)}"[:200]


def _of_new(model: LifeModel) -> str:
    """How many new edges stand behind what reground ones begin from, once a refit has said it."""
    worn = model.parameters.get("pooled", {}).get("new", {}).get("worn")
    return "" if worn is None else f" ({worn} worn)"


def _leaning(model: LifeModel) -> str:
    """On whom the fit leans, where that carries weight: ended edges of its family, else of its group of materials."""
    pooled = model.parameters.get("pooled", {})
    if pooled.get("relatives", 0.0) < LEAST_WEIGHT:
        return ""
    family, others = pooled["family"]["worn"], pooled["material_group"]["worn"]
    if family:
        return f"; leans on {family} ended {'edge' if family == 1 else 'edges'} of its family"
    if others:
        return f"; leans on {others} ended {'edge' if others == 1 else 'edges'} in like materials"
    return ""


def starting_evidence(source: str) -> str:
    """What stands behind a fresh edge where none was ever used."""
    return f"Starting value ({source}); no edge has ended here yet"


def evidence_with_wear(model: LifeModel, readings: int) -> str:
    """The same, with how many wear lands of the edge itself went in."""
    taken = f"{readings} wear reading{'' if readings == 1 else 's'} taken in"
    return f"{evidence(model)[: 198 - len(taken)]}; {taken}"


def _seen(model: LifeModel) -> str:
    counts = [(model.ended, "worn"), (model.broken, "broken"), (model.censored, "off early")]
    return ", ".join(f"{count} {word}" for count, word in counts if count)


def advice(
    *, parts: int | None, minutes: float | None, to_end: bool, by_risk: bool, minutes_per_part: float | None
) -> str:
    """What to do, in one sentence."""
    if to_end:
        said = "Run to the end: changing early would not pay."
    elif parts == 0 or (parts is None and minutes is not None and minutes <= 0):
        said = "Change now." if not by_risk else "Change now: the accepted risk is reached."
    else:
        when = _when(parts, minutes)
        said = f"Change after {when}: the accepted risk asks for it." if by_risk else f"Change after {when}."
    return said if minutes_per_part else f"{said} {NO_MINUTES_PER_PART}"


def _when(parts: int | None, minutes: float | None) -> str:
    if parts is not None:
        return "1 more part" if parts == 1 else f"{parts} more parts"
    assert minutes is not None
    return f"{math.floor(minutes)} more minutes" if minutes >= 1 else "less than a minute"


def in_money(value: float) -> str:
    """Money for one part: to the cent, below ten to the tenth of a cent."""
    return f"{value:.{2 if abs(value) >= 10 else 3}f}\u00a0{settings.CURRENCY}".replace("-", "−")


class Way(NamedTuple):
    """One way of changing: its parts (none: to the end), what a part costs, and the chance of a failure before."""

    parts: int | None
    cost: float
    chance: float


def advice_in_money(
    ways: Mapping[str, Way], *, risk: float | None, cheapest: int | None, why_to_end: str, batch_left: int
) -> tuple[str, ...]:
    """How the ways of changing (ours, to_end, and today's where there is one) compare, in sentences."""
    ours, to_end = ways["ours"], ways["to_end"]
    if ours.parts is None:
        said = [f"Run to the end: {why_to_end} A part costs {in_money(ours.cost)} then."]
    else:
        because = f", since the accepted risk of {100 * risk:.3g}\u00a0% asks for it" if risk is not None else ""
        beside = _beside(to_end.cost, ours.cost)
        said = [
            f"Change after {parts_in_words(ours.parts)}{because}: a part costs {in_money(ours.cost)}; "
            f"run to the end it costs {beside}."
        ]
        if risk is not None and cheapest != ours.parts:
            said.append(
                "By cost alone changing early does not pay: a failure costs too little beside a fresh edge."
                if cheapest is None
                else f"By cost alone, changing after {parts_in_words(cheapest)} would be cheapest."
            )
    if "today" in ways:
        said.append(_today(ways["today"], ours, batch_left))
    return tuple(said)


def _beside(cost: float, other: float) -> str:
    """How a cost stands beside another, where a difference can be seen."""
    more = cost - other
    if in_money(cost) == in_money(other):
        return "as much"
    return f"{in_money(abs(more))} {'more' if more > 0 else 'less'}"


def _today(today: Way, ours: Way, batch_left: int) -> str:
    count = parts_in_words(today.parts or 0)
    if today.parts == ours.parts:
        return f"Today's count of {count} is the same."
    more = today.cost - ours.cost
    batch = f", {in_money(abs(more) * batch_left)} on the rest of the batch" if batch_left else ""
    fails = f" {100 * today.chance:.0f}\u00a0% of the edges fail before it, as advised {100 * ours.chance:.0f}\u00a0%."
    return f"Today's count of {count} costs {_beside(today.cost, ours.cost)} a part{batch}.{fails}"


def parts_in_words(count: int) -> str:
    """A count of parts as it is said."""
    return "1 part" if count == 1 else f"{count} parts"
