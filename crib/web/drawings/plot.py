"""Curves on the paper of the drawings: axes in round numbers, lines, areas, points and marks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from crib.web.charts.scale import Scale, share_text, tick_text, ticks
from crib.web.charts.svg import CannotDraw, Coordinate, finite, path, tag
from crib.web.drawings.paper import EDGE, LINE, Sheet, text_width

HEIGHT = 250.0
MOST = 1e30
Values = Iterable[float]


class Plot:
    """Axes over the width of a sheet; what lies beyond them is cut off."""

    def __init__(
        self,
        sheet: Sheet,
        xs: Values,
        ys: Values,
        *,
        x_label: str,
        y_label: str,
        share: bool = False,
        height: float = HEIGHT,
        marks: int = 0,
    ) -> None:
        self.sheet = sheet
        low, high = _span("xs", xs)
        across, up = ticks(low, high, 6), ticks(*_span("ys", ys), 5)
        words = [(share_text if share else tick_text)(at, step=up[1] - up[0]) for at in up]
        top = sheet.bottom + LINE
        sheet.words(y_label, EDGE, top + 2, anchor="start")
        top += 16 + LINE * marks
        left = EDGE + max(text_width(one) for one in words) + 8
        self.left, self.right, self.top, self.bottom = left, sheet.width - 2 * EDGE, top, top + height
        self.x = Scale(low, high, self.left, self.right)
        self.y = Scale(up[0], up[-1], self.bottom, self.top)
        for at, text in zip(up, words, strict=True):
            level = self.y(at)
            zero = " grid-zero" if at == 0 else ""
            sheet.shapes.append(tag("path", class_=f"grid{zero}", d=path([(left, level), (self.right, level)])))
            sheet.words(text, left - 7, level + 5, anchor="end")
        step = across[1] - across[0]
        self._below([at for at in across if low - 1e-9 * step <= at <= high + 1e-9 * step], step, x_label)

    def _below(self, across: Sequence[float], step: float, label: str) -> None:
        texts = [(at, tick_text(at, step=step)) for at in across]
        widest = max((text_width(text) for _, text in texts), default=0.0) + 10
        every = 1
        while any(self.x(b) - self.x(a) < widest for (a, _), (b, _) in pairwise(texts[::every])):
            every += 1
        for at, text in texts[::every]:
            x = self.x(at)
            self.sheet.shapes.append(tag("path", class_="tick-line", d=path([(x, self.bottom), (x, self.bottom + 5)])))
            self.sheet.words(text, x, self.bottom + 23)
        self.sheet.words(label, self.right, self.bottom + 43, anchor="end")

    def points(self, xs: Values, ys: Values) -> list[Coordinate]:
        return [(self.x.clamp(x), self.y.clamp(y)) for x, y in zip(finite("xs", xs), finite("ys", ys), strict=True)]

    def line(self, xs: Values, ys: Values, class_: str) -> None:
        """A curve; its parts beyond the axes are left out."""
        inside: list[Coordinate] = []
        for x, y in zip(finite("xs", xs), finite("ys", ys), strict=True):
            if self.x.low <= x <= self.x.high and self.y.low <= y <= self.y.high:
                inside.append((self.x(x), self.y(y)))
            elif inside:
                break
        if len(inside) > 1:
            self.sheet.shapes.append(tag("path", class_=class_, d=path(inside)))

    def area(self, xs: Values, low: Values, high: Values, class_: str) -> None:
        there, back = self.points(xs, low), self.points(xs, high)
        self.sheet.shapes.append(tag("path", class_=class_, d=path([*there, *reversed(back)], close=True)))

    def bar(self, left: float, right: float, low: float, high: float, class_: str, **more: object) -> None:
        (x1, y1), (x2, y2) = self.points((left, right), (low, high))
        shape = path([(x1, y1), (x2, y1), (x2, y2), (x1, y2)], close=True)
        self.sheet.shapes.append(tag("path", class_=class_, d=shape, **more))

    def point(self, x: float, y: float, class_: str) -> None:
        ((across, level),) = self.points((x,), (y,))
        self.sheet.shapes.append(tag("circle", class_=class_, cx=across, cy=level, r="4.5"))

    def mark(self, x: float, words: str, *, tone: str = "plain") -> None:
        """An upright line with its words above it, in the rows that `marks` kept free."""
        (at,) = finite("marks", (x,))
        across = self.x.clamp(at)
        box = self.sheet.words(words, across, self.top - 12, rise=True)
        self.sheet.lines.append(
            tag("path", class_=f"mark mark-{tone}", d=path([(across, box.bottom), (across, self.bottom)]))
        )

    def level(self, y: float, words: str, class_: str) -> None:
        """A line across with its words on it, at the right."""
        (at,) = finite("levels", (y,))
        level = self.y.clamp(at)
        self.sheet.shapes.append(tag("path", class_=class_, d=path([(self.left, level), (self.right, level)])))
        if words:
            self.sheet.words(words, self.right - 4, level - 5, anchor="end")


def _span(name: str, values: Values) -> tuple[float, float]:
    """From the smallest to the largest, a little wider when they are one."""
    checked = finite(name, values)
    low, high = min(checked), max(checked)
    if max(abs(low), abs(high)) > MOST or (high != 0 and 0 < high - low < 1e-9 * abs(high)):
        raise CannotDraw(f"{name} cannot be drawn on one axis")
    if low == high:
        return (min(0.0, low), high) if high > 0 else (low, 0.0) if low < 0 else (0.0, 1.0)
    return low, high
