"""What the forecasts say in words, at the bench."""

from __future__ import annotations

import math

from crib.life.models import LifeModel

CAUTION = (
    "A forecast is a probability, never a promise: it does not replace inspection of safety-critical parts. The tool "
    "maker's limits and the shop's own safety rules come first."
)
NO_OPERATION = "It is not known what this edge works at. Load its tool in a pocket, or log a run on it."
CANNOT_WORK_OUT = "The figures of its operation cannot be worked with; check its costs and duty."
NO_MINUTES_PER_PART = "Add the minutes in cut per part to the operation, and the parts left are shown too."


def evidence(model: LifeModel) -> str:
    """What stands behind a forecast: ends seen, or the starting value and where it comes from."""
    seen = _seen(model)
    if model.standing == LifeModel.Standing.FALLBACK:
        return f"Starting value ({model.prior_source}); {model.reason}"[:200]
    if model.standing == LifeModel.Standing.PRIOR:
        return f"Starting value ({model.prior_source}); {seen or 'no edge has ended here yet'}"[:200]
    return f"Fitted from {seen}"[:200]


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
