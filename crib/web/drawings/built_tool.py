"""A built tool from the side: where the gauge line is, how far it stands out, and what cuts at its end."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from django.utils.safestring import SafeString

from crib.catalogue.models import Design
from crib.web.charts.svg import CannotDraw
from crib.web.drawings.geometry import Window, rectangle
from crib.web.drawings.paper import EDGE, WIDTH, Sheet, View
from crib.web.drawings.reading import TooLittle

HIGHEST = 190.0
ROOM_FOR_WORDS = 124  # beside the tip
# What is not in the catalogue is drawn in these shares, and the drawing says that it is.
HEAD_SHARE, TAPER_SHARE, NOSE_SHARE = 1.2, 0.35, 1.0

Said = Callable[[float], str]


@dataclass(frozen=True, slots=True)
class _Sizes:
    """All in mm: from the gauge line to the nose of the holder, to where the tip begins, and to its end."""

    nose: float
    tip_from: float
    end: float
    shank: float
    diameter: float
    flat: float
    holder: float


def built_tool(
    *,
    holder: Design,
    body: Design | None,
    tip: Design | None,
    gauge_length_mm: float | None,
    stick_out_mm: float | None,
    said: Said,
    diameter_mm: float | None = None,
) -> SafeString | str:
    """The tool with its gauge length and stick-out; empty where neither its lengths nor its holder's are known.

    `diameter_mm` is what it cuts, as ground; without it what the tip's design says.
    """
    diameter_mm = diameter_mm or (tip.diameter_mm if tip else None)
    sizes = _sizes(holder, body, tip, gauge_length_mm, stick_out_mm, diameter_mm)
    if sizes is None:
        return ""
    sheet = Sheet()
    reach = max(sizes.holder, sizes.diameter) * 0.62
    taper = TAPER_SHARE * sizes.end
    try:
        view = sheet.view(
            Window(-taper, sizes.end * 1.02, -reach, reach),
            left=EDGE,
            top=EDGE + 8,
            width=WIDTH - 2 * EDGE - ROOM_FOR_WORDS,
            height=HIGHEST,
        )
        _shapes(view, sizes, taper)
        says = _dimensions(view, sizes, gauge_length_mm, stick_out_mm, diameter_mm, said)
        return sheet.drawn("The built tool", says)
    except (TooLittle, CannotDraw, OverflowError):
        return ""


def _sizes(
    holder: Design,
    body: Design | None,
    tip: Design | None,
    gauge: float | None,
    stick_out: float | None,
    cuts: float | None,
) -> _Sizes | None:
    carried = body or tip
    out = stick_out or (carried.length_mm if carried else None)
    end = gauge or (holder.length_mm + out if holder.length_mm and out else None)
    if end is None:
        return None
    nose = end - out if out and out < end else (holder.length_mm or 0.6 * end)
    nose = min(nose, 0.98 * end)
    diameter = cuts or (body.diameter_mm if body else None) or 0.15 * end
    shank = (carried.shank_mm if carried else None) or 0.8 * diameter
    head = 0.0
    if body is not None and tip is not None:
        head = min((tip.length_mm or HEAD_SHARE * diameter) if body.diameter_mm is None else 0.3 * diameter, end - nose)
    flat = (tip.tip_flat_mm if tip else None) or diameter
    return _Sizes(nose, end - head, end, shank, diameter, flat, max(2 * shank, NOSE_SHARE * 0.4 * end))


def _shapes(view: View, sizes: _Sizes, taper: float) -> None:
    wide, thin = sizes.holder / 2, 0.6 * sizes.holder / 2
    view.outline([(-taper, -thin), (0, -wide), (0, wide), (-taper, thin)], "shank", data_name="taper")
    view.outline(rectangle(0, sizes.nose, -0.8 * wide, 0.8 * wide), "shank", data_name="holder")
    half, cut = sizes.shank / 2, sizes.diameter / 2
    if sizes.tip_from < sizes.end:
        view.outline(rectangle(sizes.nose, sizes.tip_from, -half, half), "tool", data_name="body")
    else:
        view.outline(rectangle(sizes.nose, sizes.end, -half, half), "tool", data_name="tool")
    start = sizes.tip_from if sizes.tip_from < sizes.end else max(sizes.nose, sizes.end - 1.5 * sizes.diameter)
    slope = min((sizes.diameter - sizes.flat) / 2, sizes.end - start)
    flat = cut - slope
    shape = [(start, -cut), (sizes.end - slope, -cut), (sizes.end, -flat)]
    shape += [(x, -y) for x, y in reversed(shape)]
    view.outline(shape, "tool", data_name="tip")
    view.stroke([(-taper, 0), (sizes.end * 1.02, 0)], "axis-line")


def _dimensions(
    view: View, sizes: _Sizes, gauge: float | None, stick_out: float | None, cuts: float | None, said: Said
) -> str:
    cut, wide = sizes.diameter / 2, sizes.holder / 2
    level, told = view.bottom + 20, []
    if stick_out:
        view.across(sizes.end - stick_out, sizes.end, level, f"stick-out {said(stick_out)}", name="stick-out",
                    start=(-0.8 * wide, -cut))  # fmt: skip
        told.append(f"it stands out {said(stick_out)}")
        level += 34
    if gauge:
        view.across(0, sizes.end, level, f"gauge length {said(gauge)}", name="gauge-length", start=(-wide, -cut))
        told.append(f"its gauge length is {said(gauge)}")
    if cuts:
        words = f"DC {said(cuts)}"
        view.down(cut, -cut, view.right + 12, words, name="dc", start=(sizes.end, sizes.end))
        told.append(f"its cutting diameter is {said(cuts)}")
    if not math.isfinite(sum((sizes.end, sizes.holder))):
        raise TooLittle("no size to draw")
    view.sheet.bottom = max(view.sheet.bottom, level + 8)
    lengths = "; ".join(told) or "no length of it was measured"
    return f"The tool from the side, its gauge line on the left: {lengths}. The holder's width is not to scale."
