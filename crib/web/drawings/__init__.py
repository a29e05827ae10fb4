"""Drawings to scale beside a calculator's answer: the tool, the work and what of it cuts, or the curve behind it."""

from __future__ import annotations

from collections.abc import Callable

import numpy
from django.utils.safestring import SafeString

from calc.errors import WorkingError
from calc.workings import Answer
from crib.web.charts.svg import CannotDraw
from crib.web.drawings import chamfer_edge, chamfer_hole, contact, holes, life, milling, money, supply, threads, turning
from crib.web.drawings.reading import Known, TooLittle

__all__ = ["drawing_of"]


def drawing_of(answer: Answer) -> SafeString | str:
    """The drawing of an answer; empty for a working without one, or when too little is known to draw."""
    draw = _DRAWINGS.get(answer.working.name)
    if draw is None:
        return ""
    try:
        # What overflows in a curve is found when it is drawn, and refused there.
        with numpy.errstate(all="ignore"):
            return draw(Known(answer))
    except (TooLittle, CannotDraw, WorkingError, OverflowError, ZeroDivisionError):
        return ""  # the answer stands without its picture


_DRAWINGS: dict[str, Callable[[Known], SafeString | str]] = {
    "milling": milling.milling,
    "drilling": holes.drilling,
    "turning": turning.turning,
    "facing": turning.facing,
    "tapping": holes.tapping,
    "thread": threads.profile,
    "chamfer-edge": chamfer_edge.edge,
    "chamfer-hole": chamfer_hole.hole,
    "effective-diameter": contact.effective_diameter,
    "chip-thinning": milling.chip_thinning,
    "corner-feed": contact.corner_feed,
    "tool-life": life.taylor,
    "life-fit": life.fitted,
    "change-interval": life.change_interval,
    "remaining-life": life.remaining,
    "economics": money.economics,
    "cost-compare": money.compare,
    "renewal-demand": supply.renewals,
    "reorder": supply.reorder,
}
