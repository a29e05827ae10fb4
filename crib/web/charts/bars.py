"""Bars side by side for the classes of a histogram, with the height that each should have."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.safestring import SafeString

from crib.web.charts.frame import Key, chart, keys, nothing_yet, paper
from crib.web.charts.scale import share_text, ticks
from crib.web.charts.svg import finite, same_length, tag


def share_bars(
    names: Sequence[str],
    shares: Sequence[float | None],
    *,
    title: str,
    says: str,
    x_label: str,
    y_label: str,
    right: float,
    share_words: str = "found",
    right_words: str = "should be",
) -> SafeString:
    """One bar for each class, none where nothing is known, and a line across at the share that is right."""
    same_length("names", names, "shares", shares)
    known = [(place, *finite("shares", [share])) for place, share in enumerate(shares) if share is not None]
    if not known:
        return nothing_yet(title)
    up = ticks(0.0, max(*finite("right", [right]), *(share for _, share in known)), 5)
    labels = [(place + 0.5, name) for place, name in enumerate(names)]
    texts = [(at, share_text(at, step=up[1])) for at in up]
    frame = paper((0.0, float(len(names))), labels, texts, x_label=x_label, y_label=y_label)
    wide = (frame.x(1) - frame.x(0)) * 0.8
    strokes = [
        tag(
            "rect", class_="bar", x=frame.x(place + 0.5) - wide / 2, y=frame.y(share), width=wide,
            height=frame.y(0) - frame.y(share),
        )
        for place, share in known
    ]  # fmt: skip
    at = frame.y(right)
    strokes.append(tag("line", class_="threshold", x1=frame.left, x2=frame.right, y1=at, y2=at))
    entries = [Key(share_words, "area", "bar"), Key(right_words, "line", "threshold")]
    return chart(frame, [*strokes, keys(entries, after=y_label)], title=title, says=says)
