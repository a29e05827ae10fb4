"""Life over speed and the like: points and lines on axes by ratios, on which a power law is straight."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.safestring import SafeString

from crib.web.charts.frame import Frame, Key, chart, keys, nothing_yet, paper
from crib.web.charts.model import Mark, Point, Range, Series, Shade
from crib.web.charts.plots import area
from crib.web.charts.points import checked_points, draw_points, point_keys
from crib.web.charts.scale import LogScale, log_ticks, tick_text
from crib.web.charts.shades import draw_shade
from crib.web.charts.svg import CannotDraw, finite, path, same_length, tag

WIDEST = 1e6


def log_scatter(
    points: Sequence[Point],
    *,
    title: str,
    says: str,
    x_label: str,
    y_label: str,
    lines: Sequence[Series] = (),
    ranges: Sequence[Range] = (),
    marks: Sequence[Mark] = (),
    shades: Sequence[Shade] = (),
    point_words: tuple[str, str] = ("ended", "still good when last seen"),
) -> SafeString:
    """Points with up to three lines and their bands, the widest first; everything lies above zero on both axes.

    The points and lines set the axes; a band that reaches beyond is cut off at them.
    """
    seen = checked_points(points)
    drawn = [(one.name, _above_zero(f"xs of {one.name}", one.xs), _above_zero(one.name, one.ys)) for one in lines]
    for name, xs, ys in drawn:
        same_length(f"xs of {name}", xs, "ys", ys)
    if not seen and not any(xs for _, xs, _ in drawn):
        return nothing_yet(title)
    xs_all = [*_above_zero("points", (x for x, *_ in seen)), *(x for _, xs, _ in drawn for x in xs)]
    ys_all = [*_above_zero("points", (y for _, y, _ in seen)), *(y for _, _, ys in drawn for y in ys)]
    frame = _log_frame(xs_all, ys_all, x_label=x_label, y_label=y_label)
    across = drawn[0][1] if drawn else []
    strokes = [draw_shade(frame, shade) for shade in shades]
    entries = [Key(name, "line", f"line line-{place}") for place, (name, *_) in enumerate(drawn, start=1)]
    for place, one in enumerate(ranges):
        class_ = f"band band-{2 if place == 0 and len(ranges) > 1 else 1}"
        sides = [_inside(frame, _above_zero(one.name, side)) for side in (one.low, one.high)]
        for side in sides:
            same_length(one.name, side, "the first line", across)
        strokes.append(tag("path", class_=class_, d=area(frame, across, (sides[0], sides[1]))))
        entries.append(Key(one.name, "area", class_))
    for place, (_, xs, ys) in enumerate(drawn, start=1):
        there = [(frame.x(x), frame.y(y)) for x, y in zip(xs, ys, strict=True)]
        strokes.append(tag("path", class_=f"line line-{place}", d=path(there)))
    strokes += draw_points(frame, seen)
    entries += point_keys(seen, point_words)
    return chart(frame, [*strokes, frame.marks(marks), keys(entries, after=y_label)], title=title, says=says)


def _log_frame(xs: Sequence[float], ys: Sequence[float], *, x_label: str, y_label: str) -> Frame:
    across, up = _ends(xs), log_ticks(*_ends(ys))
    labels = [at for at in log_ticks(*across) if across[0] * 0.999 <= at <= across[1] * 1.001]
    return paper(
        across,
        [(at, tick_text(at, step=at)) for at in labels],
        [(at, tick_text(at, step=at)) for at in up],
        x_label=x_label,
        y_label=y_label,
        scale=LogScale,
    )


def _ends(values: Sequence[float]) -> tuple[float, float]:
    """From the least to the greatest with a little room; no further apart than anybody can read."""
    high = max(values)
    low = max(min(values), high / WIDEST)
    return low / 1.05, high * 1.05


def _inside(frame: Frame, heights: Sequence[float]) -> list[float]:
    return [min(max(at, frame.y.low), frame.y.high) for at in heights]


def _above_zero(name: str, values: object) -> list[float]:
    checked = finite(name, values)  # type: ignore[arg-type]  # any row of numbers
    if any(value <= 0 for value in checked):
        raise CannotDraw(f"{name} holds a value that is not above zero, which has no place on an axis by ratios")
    return checked
