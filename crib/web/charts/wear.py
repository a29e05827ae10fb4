"""Wear land over minutes: readings, the growth through them, the criterion, and when it may be crossed."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.safestring import SafeString

from crib.web.charts.frame import Key, chart, keys, value_frame
from crib.web.charts.model import Mark, Point
from crib.web.charts.shapes import point_shape
from crib.web.charts.svg import finite, path, same_length, tag

REACH = 7.0
FARTHEST = 2.0


def wear_plot(
    xs: Sequence[float],
    *,
    middle: Sequence[float],
    band: tuple[Sequence[float], Sequence[float]],
    points: Sequence[Point],
    limit: float,
    crossing: tuple[float, float, float] | None,
    marks: Sequence[Mark] = (),
    title: str,
    says: str,
    x_label: str,
    y_label: str,
) -> SafeString:
    """Readings that count are filled, others open; the whisker on the criterion is where it may be crossed."""
    across, line = finite("xs", xs), finite("middle", middle)
    low, high = finite("the band's lower side", band[0]), finite("the band's upper side", band[1])
    for name, values in (("middle", line), ("lower side", low), ("upper side", high)):
        same_length("xs", across, name, values)
    seen = [(*finite("points", (point.x, point.y)), point.ended) for point in points]
    reach = list(finite("crossing", crossing or ()))
    (criterion,) = finite("limit", (limit,))
    # The late side of a crossing that hardly anything is known of must not press all else into a corner.
    late = min(reach[2], FARTHEST * reach[1]) if reach else 0.0
    furthest = max([*across, *(x for x, _, _ in seen), *(mark.x for mark in marks), late, 1e-9])
    frame = value_frame(
        [0.0, furthest], [*high, *(y for _, y, _ in seen), 1.05 * criterion], x_label=x_label, y_label=y_label
    )
    entries = []
    strokes: list[SafeString] = []
    if across:
        there = [(frame.x(x), frame.y(y)) for x, y in zip(across, low, strict=True)]
        back = [(frame.x(x), frame.y(y)) for x, y in zip(across, high, strict=True)]
        strokes.append(tag("path", class_="band band-1", d=path([*there, *reversed(back)], close=True)))
        drawn = path([(frame.x(x), frame.y(y)) for x, y in zip(across, line, strict=True)])
        strokes.append(tag("path", class_="line line-1", d=drawn))
        entries += [Key("growth", "line", "line line-1"), Key("10–90 %", "area", "band band-1")]
    at = frame.y(criterion)
    strokes.append(tag("line", class_="threshold", x1=frame.left, x2=frame.right, y1=at, y2=at))
    entries.append(Key("criterion", "line", "threshold"))
    if reach:
        left, middle_at, right = (frame.x.clamp(x) for x in reach)
        bars = [[(left, at), (right, at)]]
        bars += [[(x, at - REACH), (x, at + REACH)] for x in (left, middle_at, right)]
        strokes.append(tag("path", class_="whisker", d="".join(path(bar) for bar in bars)))
        entries.append(Key("crossing", "line", "whisker"))
    for x, y, counts in seen:
        strokes.append(point_shape(frame.x(x), frame.y(y), "ended" if counts else "open"))
    entries.append(Key("read", "ended", ""))
    if not all(counts for _, _, counts in seen):
        entries.append(Key("set aside", "open", ""))
    strokes += [frame.marks(marks), keys(entries, after=y_label)]
    return chart(frame, strokes, title=title, says=says)
