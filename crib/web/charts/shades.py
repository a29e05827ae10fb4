"""Hatched stretches of the horizontal axis."""

from __future__ import annotations

from django.utils.safestring import SafeString

from crib.web.charts.frame import Frame
from crib.web.charts.model import Shade
from crib.web.charts.svg import path, tag, together


def draw_shade(frame: Frame, shade: Shade) -> SafeString:
    """A wash with slanted lines, so that it stands out in print too, and its number at the foot."""
    left, right = (frame.x.clamp(at) for at in (shade.start, shade.stop))
    step, foot, head = 9.0, frame.bottom, frame.top
    slants = []
    at = left - (foot - head)
    while at < right:
        start, stop = max(at, left), min(at + foot - head, right)
        if start < stop:
            slants.append(path([(start, foot - (start - at)), (stop, foot - (stop - at))]))
        at += step
    return together(
        [
            tag("rect", class_="shade", x=left, y=head, width=max(right - left, 0.5), height=foot - head),
            tag("path", class_="shade-lines", d="".join(slants)) if slants else SafeString(""),
            tag(
                "text", str(shade.number), class_="shade-number", x=(left + right) / 2, y=foot - 8, text_anchor="middle"
            ),
        ]
    )
