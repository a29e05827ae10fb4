"""The paper of a chart: axes with their labels, a key above, and marks that stand upright in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.safestring import SafeString

from crib.web.charts.model import Mark
from crib.web.charts.scale import Scale, day_ticks, share_text, tick_text, ticks
from crib.web.charts.shapes import LOOKS, point_shape
from crib.web.charts.svg import picture, tag, together
from crib.web.formats import day as day_text

WIDTH, HEIGHT = 720, 320
RIGHT, BOTTOM, TOP = 16, 46, 44
CHAR = 7.0  # an upper bound on the mean width of a letter at the text size of the charts


@dataclass(frozen=True)
class Frame:
    """Where the plot lies, and the scales into it."""

    x: Scale
    y: Scale
    left: float
    right: float
    top: float
    bottom: float
    height: int
    axes: SafeString

    def marks(self, marks: Sequence[Mark]) -> SafeString:
        """Upright lines with their words at the top, one below the other, and on the side where no other line is."""
        drawn = []
        ordered = sorted(marks, key=lambda one: one.x)
        lines = [self.left, *(self.x.clamp(mark.x) for mark in ordered), self.right]
        for row, mark in enumerate(ordered):
            before, at, after = lines[row : row + 3]
            width = len(mark.words) * CHAR + 8
            left_of = at + width > self.right or (at + width > after and at - width > before)
            level = self.top + 13 + 15 * (row % 4)
            drawn.append(tag("line", class_=f"mark mark-{mark.tone}", x1=at, x2=at, y1=self.top, y2=self.bottom))
            drawn.append(
                tag(
                    "text",
                    mark.words,
                    class_=f"mark-words mark-{mark.tone}",
                    x=at - 5 if left_of else at + 5,
                    y=float(level),
                    text_anchor="end" if left_of else "start",
                )
            )
        return together(drawn)


@dataclass(frozen=True)
class Key:
    """What one kind of stroke means."""

    words: str
    shape: str
    class_: str


def value_frame(
    xs: Sequence[float], ys: Sequence[float], *, x_label: str, y_label: str, y_share: bool = False, zero: bool = True
) -> Frame:
    """Axes for values over values; the vertical one starts at nothing when `zero`."""
    x_ticks = ticks(min(xs), max(xs), 6)
    x_step = x_ticks[1] - x_ticks[0]
    return _frame(
        x_low=x_ticks[0],
        x_high=x_ticks[-1],
        x_labels=[(at, tick_text(at, step=x_step)) for at in x_ticks],
        ys=[0.0, *ys] if zero else ys,
        x_label=x_label,
        y_label=y_label,
        y_text=share_text if y_share else tick_text,
    )


def day_frame(days: Sequence[date], ys: Sequence[float], *, y_label: str, between: bool) -> Frame:
    """Axes for values over days, counted from the first; `between` leaves a day's width for each."""
    first = days[0]
    labels = [((at - first).days + (0.5 if between else 0.0), day_text(at)) for at in day_ticks(days)]
    return _frame(
        x_low=0.0,
        x_high=float((days[-1] - first).days + 1),
        x_labels=labels,
        ys=[0.0, *ys],
        x_label="",
        y_label=y_label,
        y_text=tick_text,
    )


def _frame(
    *,
    x_low: float,
    x_high: float,
    x_labels: Sequence[tuple[float, str]],
    ys: Sequence[float],
    x_label: str,
    y_label: str,
    y_text: Callable[..., str],
) -> Frame:
    y_ticks = ticks(min(ys), max(ys), 5)
    texts = [(at, y_text(at, step=y_ticks[1] - y_ticks[0])) for at in y_ticks]
    return paper((x_low, x_high), x_labels, texts, x_label=x_label, y_label=y_label)


def paper(
    across: tuple[float, float],
    x_labels: Sequence[tuple[float, str]],
    texts: Sequence[tuple[float, str]],
    *,
    x_label: str,
    y_label: str,
    scale: type[Scale] = Scale,
) -> Frame:
    """Axes with their labels, the vertical one from its first to its last."""
    left = 16 + CHAR * max(len(text) for _, text in texts)
    x = scale(*across, left, WIDTH - RIGHT)
    y = scale(texts[0][0], texts[-1][0], HEIGHT - BOTTOM, TOP)
    strokes = []
    for at, text in texts:
        zero = " grid-zero" if at == 0 else ""
        strokes.append(tag("line", class_=f"grid{zero}", x1=left, x2=float(WIDTH - RIGHT), y1=y(at), y2=y(at)))
        strokes.append(tag("text", text, class_="tick", x=left - 8, y=y(at) + 4, text_anchor="end"))
    for at, text in x_labels:
        strokes.append(tag("line", class_="tick-line", x1=x(at), x2=x(at), y1=y.start, y2=y.start + 5))
        half = len(text) * CHAR / 2
        anchor = "end" if x(at) + half > WIDTH else "middle"
        place = min(x(at), float(WIDTH) - 2) if anchor == "end" else x(at)
        strokes.append(tag("text", text, class_="tick", x=place, y=y.start + 19, text_anchor=anchor))
    height = HEIGHT if x_label else HEIGHT - 20
    if x_label:
        strokes.append(
            tag("text", x_label, class_="axis", x=float(WIDTH - RIGHT), y=float(HEIGHT - 6), text_anchor="end")
        )
    if y_label:
        strokes.append(tag("text", y_label, class_="axis", x=2.0, y=float(TOP - 12)))
    return Frame(x, y, left, float(WIDTH - RIGHT), float(TOP), y.start, height, together(strokes))


def keys(entries: Sequence[Key], *, after: str) -> SafeString:
    """The key in the line above the plot, right of the vertical axis's own words; a long one has a line more."""
    drawn = []
    beside = max(2 + (len(after) + 3) * CHAR, 60.0)
    x, y = (beside, TOP - 16.0) if beside + sum(map(_key_width, entries)) <= WIDTH else (2.0, 10.0)
    for entry in entries:
        if x + _key_width(entry) > WIDTH and y < TOP - 16:
            x, y = beside, TOP - 16.0
        drawn.append(_key_shape(entry, x, y))
        drawn.append(tag("text", entry.words, class_="key", x=x + 28, y=y + 4))
        x += _key_width(entry)
    return together(drawn)


def _key_width(entry: Key) -> float:
    return 30 + (len(entry.words) + 2) * CHAR


def _key_shape(entry: Key, x: float, y: float) -> SafeString:
    if entry.shape == "line":
        return tag("line", class_=entry.class_, x1=x, x2=x + 22, y1=y, y2=y)
    if entry.shape in LOOKS:
        return point_shape(x + 14, y, entry.shape)
    return tag("rect", class_=entry.class_, x=x, y=y - 6, width="22", height="12")


def chart(frame: Frame, strokes: Sequence[SafeString], *, title: str, says: str) -> SafeString:
    """Axes first, so that what is drawn lies over them."""
    return picture(WIDTH, frame.height, [frame.axes, *strokes], title=title, says=says, class_="chart")


def nothing_yet(title: str, **_: Any) -> SafeString:
    """A chart without data says so, at the size it will have later."""
    words = tag("text", "Nothing to draw yet", class_="empty-words", x=WIDTH / 2, y=60.0, text_anchor="middle")
    return picture(WIDTH, 120, [words], title=title, says="Nothing to draw yet", class_="chart chart--empty")
