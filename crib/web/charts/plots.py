"""The large charts: curves with bands, stock by day, bars by day, and lines to compare."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import pairwise

from django.utils.safestring import SafeString

from crib.web.charts.frame import Frame, Key, chart, day_frame, keys, nothing_yet, value_frame
from crib.web.charts.model import Mark, Point, Series, Shade
from crib.web.charts.points import checked_points, draw_points, point_keys
from crib.web.charts.shades import draw_shade
from crib.web.charts.svg import CannotDraw, Coordinate, finite, path, same_length, tag
from crib.web.formats import day as day_text

Band = tuple[Sequence[float], Sequence[float]]
MOST_LINES = 3


def bands(
    xs: Sequence[float],
    *,
    middle: Sequence[float],
    title: str,
    says: str,
    x_label: str,
    y_label: str,
    bands: Sequence[Band] = (),
    points: Sequence[Point] = (),
    marks: Sequence[Mark] = (),
    middle_words: str = "middle",
    band_words: Sequence[str] = (),
    point_words: tuple[str, str] = ("ended", "still good when last seen"),
    y_share: bool = False,
    also: Sequence[Series] = (),
    shades: Sequence[Shade] = (),
    zero: bool = True,
) -> SafeString:
    """A curve with its bands, the widest first, further lines beside it, over hatched stretches, and the edges seen."""
    across, line = finite("xs", xs), finite("middle", middle)
    same_length("xs", across, "middle", line)
    drawn_bands = [_checked_band(across, band) for band in bands]
    beside = [(one.name, finite("xs", one.xs), finite("ys", one.ys)) for one in also]
    seen = checked_points(points)
    finite("marks", (mark.x for mark in marks))
    if not across and not seen:
        return nothing_yet(title)
    frame = value_frame(
        [*across, *(x for x, *_ in seen), *(mark.x for mark in marks), *(x for _, xs, _ in beside for x in xs)],
        [*line, *(y for band in drawn_bands for side in band for y in side), *(y for _, y, _ in seen)],
        x_label=x_label,
        y_label=y_label,
        y_share=y_share,
        zero=zero,
    )
    strokes = [draw_shade(frame, shade) for shade in shades]
    strokes += [
        tag("path", class_=f"band band-{2 if place == 0 and len(drawn_bands) > 1 else 1}", d=area(frame, across, band))
        for place, band in enumerate(drawn_bands)
    ]
    strokes.append(
        tag("path", class_="line line-1", d=path([(frame.x(x), frame.y(y)) for x, y in zip(across, line, strict=True)]))
    )
    strokes += [
        tag(
            "path", class_=f"line line-{place}", d=path([(frame.x(x), frame.y(y)) for x, y in zip(xs, ys, strict=True)])
        )
        for place, (_, xs, ys) in enumerate(beside, start=2)
    ]
    strokes += draw_points(frame, seen)
    entries = [Key(middle_words, "line", "line line-1")]
    entries += [
        Key(words, "area", f"band band-{2 if place == 0 and len(drawn_bands) > 1 else 1}")
        for place, words in enumerate(band_words[: len(drawn_bands)])
    ]
    entries += [Key(name, "line", f"line line-{place}") for place, (name, *_) in enumerate(beside, start=2)]
    entries += point_keys(seen, point_words)
    strokes += [frame.marks(marks), keys(entries, after=y_label)]
    return chart(frame, strokes, title=title, says=says)


def steps(
    days: Sequence[date],
    levels: Sequence[float],
    *,
    title: str,
    says: str,
    y_label: str,
    threshold: float | None = None,
    threshold_words: str = "order below this",
    band: Band | None = None,
    shortage: date | None = None,
    level_words: str = "expected",
    band_words: str = "10–90 %",
) -> SafeString:
    """Stock by day: a level for each day, the line below which to order, and the first day that falls short."""
    line = finite("levels", levels)
    same_length("days", days, "levels", line)
    if not days:
        return nothing_yet(title)
    _require_rising(days)
    sides = _checked_band(line, band) if band else None
    also = [threshold] if threshold is not None else []
    heights = [*line, *finite("threshold", also), *(y for side in sides or () for y in side)]
    frame = day_frame(days, heights, y_label=y_label, between=False)
    offsets = [(day - days[0]).days for day in days]
    strokes: list[SafeString] = []
    if sides:
        low, high = (_stairs(frame, offsets, side) for side in sides)
        strokes.append(tag("path", class_="band band-1", d=path([*low, *reversed(high)], close=True)))
    if frame.y.low < 0:
        below = frame.bottom - frame.y(0)
        strokes.append(
            tag("rect", class_="short-zone", x=frame.left, y=frame.y(0), width=frame.right - frame.left, height=below)
        )
    strokes.append(tag("path", class_="line line-1", d=path(_stairs(frame, offsets, line))))
    entries = [Key(level_words, "line", "line line-1")]
    if sides:
        entries.append(Key(band_words, "area", "band band-1"))
    if threshold is not None:
        at = frame.y(threshold)
        strokes.append(tag("line", class_="threshold", x1=frame.left, x2=frame.right, y1=at, y2=at))
        entries.append(Key(threshold_words, "line", "threshold"))
    if shortage is not None:
        words = f"short from {day_text(shortage)}"
        strokes.append(frame.marks([Mark((shortage - days[0]).days, words, tone="bad")]))
    strokes.append(keys(entries, after=y_label))
    return chart(frame, strokes, title=title, says=says)


def day_bars(
    days: Sequence[date],
    values: Sequence[float],
    *,
    title: str,
    says: str,
    y_label: str,
    ranges: Sequence[tuple[float, float]] | None = None,
    value_words: str = "expected",
    range_words: str = "10–90 %",
) -> SafeString:
    """One bar for each day, with a whisker for its range where there is one."""
    heights = finite("values", values)
    same_length("days", days, "values", heights)
    if not days:
        return nothing_yet(title)
    _require_rising(days)
    whiskers = [finite("ranges", pair) for pair in ranges or ()]
    if ranges is not None:
        same_length("days", days, "ranges", whiskers)
    frame = day_frame(days, [*heights, *(y for pair in whiskers for y in pair)], y_label=y_label, between=True)
    slot = frame.x(1) - frame.x(0)
    strokes: list[SafeString] = []
    for place, (day, height) in enumerate(zip(days, heights, strict=True)):
        centre = frame.x((day - days[0]).days + 0.5)
        strokes.append(_bar(frame, centre, min(slot * 0.7, 46.0), height))
        if whiskers:
            low, high = (frame.y(value) for value in whiskers[place])
            reach = min(slot * 0.18, 6.0)
            strokes.append(
                tag(
                    "path",
                    class_="whisker",
                    d=path([(centre, low), (centre, high)])
                    + path([(centre - reach, low), (centre + reach, low)])
                    + path([(centre - reach, high), (centre + reach, high)]),
                )
            )
    entries = [Key(value_words, "area", "bar")]
    if whiskers:
        entries.append(Key(range_words, "line", "whisker"))
    strokes.append(keys(entries, after=y_label))
    return chart(frame, strokes, title=title, says=says)


def lines(
    series: Sequence[Series],
    *,
    title: str,
    says: str,
    x_label: str,
    y_label: str,
    marks: Sequence[Mark] = (),
    shades: Sequence[Shade] = (),
    zero: bool = True,
) -> SafeString:
    """Up to three lines to compare, told apart by their dashes as well as their colours, over hatched stretches."""
    if len(series) > MOST_LINES:
        raise CannotDraw(f"{len(series)} lines in one chart cannot be told apart; draw {MOST_LINES} at most")
    checked = []
    for one in series:
        xs, ys = finite(f"xs of {one.name}", one.xs), finite(f"ys of {one.name}", one.ys)
        same_length(f"xs of {one.name}", xs, "ys", ys)
        checked.append((one.name, xs, ys))
    finite("marks", (mark.x for mark in marks))
    if not any(xs for _, xs, _ in checked):
        return nothing_yet(title)
    frame = value_frame(
        [x for _, xs, _ in checked for x in xs] + [mark.x for mark in marks],
        [y for _, _, ys in checked for y in ys],
        x_label=x_label,
        y_label=y_label,
        zero=zero,
    )
    strokes = [
        tag(
            "path", class_=f"line line-{place}", d=path([(frame.x(x), frame.y(y)) for x, y in zip(xs, ys, strict=True)])
        )
        for place, (_, xs, ys) in enumerate(checked, start=1)
    ]
    entries = [Key(name, "line", f"line line-{place}") for place, (name, _, _) in enumerate(checked, start=1)]
    below = [draw_shade(frame, shade) for shade in shades]
    return chart(frame, [*below, *strokes, frame.marks(marks), keys(entries, after=y_label)], title=title, says=says)


def _checked_band(across: Sequence[float], band: Band) -> tuple[list[float], list[float]]:
    low, high = finite("the band's lower side", band[0]), finite("the band's upper side", band[1])
    same_length("the band's lower side", low, "the line", across)
    same_length("the band's upper side", high, "the line", across)
    return low, high


def area(frame: Frame, xs: Sequence[float], band: tuple[Sequence[float], Sequence[float]]) -> str:
    low, high = band
    there = [(frame.x(x), frame.y(y)) for x, y in zip(xs, low, strict=True)]
    back = [(frame.x(x), frame.y(y)) for x, y in zip(xs, high, strict=True)]
    return path([*there, *reversed(back)], close=True)


def _stairs(frame: Frame, offsets: Sequence[int], levels: Sequence[float]) -> list[Coordinate]:
    """Each level holds through its whole day."""
    points: list[Coordinate] = []
    for place, (offset, level) in enumerate(zip(offsets, levels, strict=True)):
        until = offsets[place + 1] if place + 1 < len(offsets) else offset + 1
        points += [(frame.x(offset), frame.y(level)), (frame.x(until), frame.y(level))]
    return points


def _bar(frame: Frame, centre: float, width: float, height: float) -> SafeString:
    top, foot = sorted((frame.y(height), frame.y(0)))
    return tag("rect", class_="bar", x=centre - width / 2, y=top, width=width, height=foot - top)


def _require_rising(days: Sequence[date]) -> None:
    if any(later <= earlier for earlier, later in pairwise(days)):
        raise CannotDraw("the days must follow each other")
