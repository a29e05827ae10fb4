"""The paper of a drawing: views to scale, dimensions with arrows, a legend, and words that never lie on each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from django.utils.safestring import SafeString

from crib.web.charts.svg import Coordinate, path, picture, tag, together
from crib.web.drawings.geometry import Points, Window, area, clip, clip_line
from crib.web.drawings.reading import TooLittle

WIDTH = 540
EDGE = 8.0  # kept free all round
SIZE = 15.0  # of the words, as workings.css sets it
LINE = 18.0
ARROW = 8.0
LARGEST = 1e9
NEAREST = [LINE * ((step + 1) // 2) * (1 if step % 2 else -1) for step in range(400)]
RISING = [-LINE * step for step in range(12)] + NEAREST

Anchor = Literal["start", "middle", "end"]

# Shares of the text size that letters take, after a wide sans serif, so that narrower ones fit as well.
_NARROW = dict.fromkeys("iljI|.,:;'’ ·!", 0.33) | dict.fromkeys("ftr()-/–−", 0.43)
_WIDE = dict.fromkeys("mMW%", 0.98) | dict.fromkeys("wØ×≥", 0.84)


def text_width(words: str, size: float = SIZE) -> float:
    """About how wide the words come out, rather too wide than too narrow."""
    return size * sum(_NARROW.get(one) or _WIDE.get(one) or (0.7 if one.isupper() else 0.63) for one in words)


@dataclass(frozen=True)
class Box:
    """A place that words take."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )


@dataclass
class Sheet:
    """A drawing in the making: shapes lie below dimension lines, and these below the words."""

    width: int = WIDTH
    bottom: float = EDGE
    shapes: list[SafeString] = field(default_factory=list)
    lines: list[SafeString] = field(default_factory=list)
    texts: list[SafeString] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)

    def words(
        self,
        words: str,
        x: float,
        y: float,
        *,
        anchor: Anchor = "middle",
        class_: str | None = None,
        bold: bool = False,
        rise: bool = False,
    ) -> Box:
        """Words on the base line y, moved within the paper and off words that stand there already.

        They move to the nearest free line; those that `rise` go upward as long as there is room.
        """
        width = text_width(words) * (1.08 if bold else 1.0)
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
        left = max(EDGE / 2, min(left, self.width - EDGE / 2 - width))
        for down in RISING if rise else NEAREST:
            box = Box(left, y + down - 0.8 * SIZE, left + width, y + down + 0.25 * SIZE)
            if box.top >= 0 and not any(box.meets(other) for other in self.boxes):
                break
        self.boxes.append(box)
        self.bottom = max(self.bottom, box.bottom + EDGE / 2)
        at = left + {"start": 0.0, "middle": width / 2, "end": width}[anchor]
        self.texts.append(tag("text", words, class_=class_, x=at, y=box.bottom - 0.25 * SIZE, text_anchor=anchor))
        return box

    def heading(self, words: str, x: float = EDGE, y: float | None = None) -> None:
        """What a view shows, above it."""
        self.words(words, x, self.bottom + LINE if y is None else y, anchor="start", class_="view-title", bold=True)

    def view(self, window: Window, *, left: float, top: float, width: float, height: float) -> View:
        """A window as large as the place allows, in the middle of its width."""
        return View(self, window, scale_for(window, width, height), left=left, top=top, width=width)

    def bars(self, rows: Sequence[tuple[float, str, str, str]], *, room: float) -> None:
        """Lengths to compare at one scale: each with its words, class and name; `room` is kept for the words."""
        most = max(length for length, *_ in rows)
        if not 0 < most < math.inf:
            raise TooLittle("no size to draw")
        for length, words, class_, name in rows:
            top, width = self.bottom + 6, length / most * (self.width - 2 * EDGE - room)
            self.rectangle(EDGE, top, width, 16, class_, data_name=name)
            self.bottom = top + 18
            self.words(words, EDGE + width + 8, top + 13, anchor="start")

    def rectangle(self, left: float, top: float, width: float, height: float, class_: str, **more: object) -> None:
        """A bar on the paper, in its own measure."""
        right, low = left + width, top + height
        shape = path([(left, top), (right, top), (right, low), (left, low)], close=True)
        self.shapes.append(tag("path", class_=class_, d=shape, **more))

    def legend(self, entries: Iterable[tuple[str, str]]) -> None:
        """What each kind of mark means: class of the mark, and words."""
        x, y = EDGE, self.bottom + LINE + 4
        for class_, words in entries:
            rows = _rows(words, self.width - 2 * EDGE - 30)
            if len(rows) > 1 and x > EDGE:
                x, y = EDGE, y + LINE + 3
            for first, row in rows:
                needed = 30 + text_width(row)
                if x > EDGE and x + needed > self.width - EDGE:
                    x, y = EDGE, y + LINE + 3
                if first:
                    self.lines.append(_swatch(class_, x, y - 5))
                self.words(row, x + 30, y, anchor="start")
                x += needed + 14 if len(rows) == 1 else self.width
        self.bottom = max(self.bottom, y + 6)

    def drawn(self, title: str, says: str, *, class_: str = "drawing") -> SafeString:
        """The finished picture."""
        height = math.ceil(self.bottom + EDGE)
        content = [_hatches(), *self.shapes, *self.lines, *self.texts]
        return picture(self.width, height, content, title=title, says=says, class_=class_)


def scale_for(window: Window, width: float, height: float) -> float:
    """Pixels for a millimetre at which the window fits the place."""
    if not (0 < window.width < LARGEST and 0 < window.height < LARGEST):
        raise TooLittle("no size to draw")
    scale = min(width / window.width, height / window.height)
    if not 0 < scale < LARGEST:
        raise TooLittle("no size to draw")
    return scale


class View:
    """A window on the work at one scale in both directions; what lies outside the window is cut off."""

    def __init__(
        self, sheet: Sheet, window: Window, scale: float, *, left: float, top: float, width: float = 0.0
    ) -> None:
        self.sheet, self.window, self.scale = sheet, window, scale
        self.left = left + max(0.0, (width - window.width * scale) / 2)
        self.top = top
        self.right = self.left + window.width * scale
        self.bottom = top + window.height * scale
        sheet.bottom = max(sheet.bottom, self.bottom)

    def at(self, x: float, y: float) -> Coordinate:
        """Where a point of the work lies on the paper."""
        return self.left + (x - self.window.left) * self.scale, self.top + (self.window.top - y) * self.scale

    def outline(self, points: Points, class_: str, *, hatch: str = "", **more: object) -> None:
        """A closed shape; `hatch` names what it is made of, for eyes and prints that tell no colours apart."""
        inside = clip(points, self.window)
        if len(inside) < 3:
            return
        d = path([self.at(x, y) for x, y in inside], close=True)
        cut = inside != list(points)
        self.sheet.shapes.append(tag("path", class_=f"{class_} cut-off" if cut else class_, d=d, **more))
        if hatch:
            self.sheet.shapes.append(tag("path", class_="hatched", fill=f"url(#hatch-{hatch})", d=d))
        if cut:  # where the window ends there is no edge of the thing
            self.stroke([*points, points[0]], f"{class_} line-only")

    def metal(self, points: Points) -> None:
        """Work that is cut through."""
        self.outline(points, "metal", hatch="metal")

    def clash(self, points: Points) -> bool:
        """Where something meets that must not; says whether anything of it is seen."""
        if area(clip(points, self.window)) <= 0:
            return False
        self.outline(points, "clash", hatch="clash")
        return True

    def stroke(self, points: Points, class_: str, **more: object) -> None:
        """An open line."""
        for piece in clip_line(points, self.window):
            d = path([self.at(x, y) for x, y in piece])
            self.sheet.shapes.append(tag("path", class_=class_, d=d, **more))

    def words(self, words: str, x: float, y: float, *, anchor: Anchor = "middle", class_: str | None = None) -> None:
        across, level = self.at(x, y)
        self.sheet.words(words, across, level + 5, anchor=anchor, class_=class_)

    def across(
        self, x1: float, x2: float, level: float, words: str, *, name: str, start: tuple[float, float] | None = None
    ) -> None:
        """A dimension along the face at a level of the paper; `start` is where its extension lines leave the work."""
        (left, low), (right, high) = self.at(min(x1, x2), 0), self.at(max(x1, x2), 0)
        if start is not None:
            ys = start if x1 <= x2 else (start[1], start[0])
            low, high = (min(max(self.at(0, y)[1], self.top), self.bottom) for y in ys)
            over = math.copysign(4, level - low)
            self._extend([(left, low), (left, level + over)])
            self._extend([(right, high), (right, level + over)])
        self._dimension((left, level), (right, level), name)
        if right - left >= text_width(words) + 2 * ARROW:
            self.sheet.words(words, (left + right) / 2, level - 5)
        elif right + 3 * ARROW + text_width(words) < self.sheet.width:
            self.sheet.words(words, right + 2.4 * ARROW, level + 5, anchor="start")
        else:
            self.sheet.words(words, left - 2.4 * ARROW, level + 5, anchor="end")

    def down(
        self,
        y1: float,
        y2: float,
        level: float,
        words: str,
        *,
        name: str,
        start: tuple[float, float] | None = None,
        left: bool = False,
    ) -> None:
        """A dimension along the axis, its words to the right or `left` of it."""
        (_, high), (_, low) = self.at(0, max(y1, y2)), self.at(0, min(y1, y2))
        if start is not None:
            xs = start if y1 >= y2 else (start[1], start[0])
            first, second = (min(max(self.at(x, 0)[0], self.left), self.right) for x in xs)
            for x, y in ((first, high), (second, low)):
                self._extend([(x, y), (level + math.copysign(4, level - x), y)])
        self._dimension((level, high), (level, low), name)
        # Beside a short line the words would lie on its ends: they stand above it then.
        middle = (high + low) / 2 + 5 if low - high > LINE + 2 else high - 9
        self.sheet.words(words, level - 7 if left else level + 7, middle, anchor="end" if left else "start")

    def between(self, one: Coordinate, other: Coordinate, words: str, *, name: str, anchor: Anchor = "start") -> None:
        """A dimension between two points of the work, its words beside the second."""
        first, second = self.at(*one), self.at(*other)
        self._dimension(first, second, name)
        away = {"start": 10, "middle": 0, "end": -10}[anchor]
        self.sheet.words(words, second[0] + away, second[1] + 5, anchor=anchor)

    def leader(self, x: float, y: float, to: Coordinate, words: str, *, anchor: Anchor = "start") -> None:
        """Words on the paper with a line to the point they speak of."""
        self.sheet.lines.append(tag("path", class_="leader", d=path([self.at(x, y), to])))
        away = 4 if anchor == "start" else -4
        self.sheet.words(words, to[0] + away, to[1] + 5, anchor=anchor)

    def _held(self, x: float) -> float:
        """The nearest place across that is on the paper."""
        return min(max(x, 0.0), float(self.sheet.width))

    def _extend(self, points: Points) -> None:
        self.sheet.lines.append(tag("path", class_="extension", d=path(points)))

    def _dimension(self, one: Coordinate, other: Coordinate, name: str) -> None:
        """The line with its arrows; on a short one they press from outside."""
        length = math.dist(one, other)
        if length <= 0:
            return
        along = ((other[0] - one[0]) / length, (other[1] - one[1]) / length)
        short = length < 3 * ARROW
        tails = 2 * ARROW if short else 0.0
        ends = [
            (self._held(one[0] - tails * along[0]), one[1] - tails * along[1]),
            (self._held(other[0] + tails * along[0]), other[1] + tails * along[1]),
        ]
        self.sheet.lines.append(tag("path", class_="dim", data_dim=name, d=path([one, other])))
        if short:
            self.sheet.lines += [tag("path", class_="dim", d=path(pair)) for pair in ((ends[0], one), (other, ends[1]))]
        turn = -1 if short else 1
        self.sheet.lines.append(_arrow(one, (along[0] * turn, along[1] * turn)))
        self.sheet.lines.append(_arrow(other, (-along[0] * turn, -along[1] * turn)))


def _arrow(tip: Coordinate, along: Coordinate) -> SafeString:
    back = (tip[0] + ARROW * along[0], tip[1] + ARROW * along[1])
    side = (-along[1] * ARROW / 3, along[0] * ARROW / 3)
    points = [tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1])]
    return tag("path", class_="arrow", d=path(points, close=True))


def _swatch(class_: str, x: float, y: float) -> SafeString:
    """A sample of the mark: a stroke for what is a line, a patch for what is an area."""
    if any(word in ("stroke", "line", "threshold", "band", "proposed") for word in class_.split()):
        return tag("path", class_=class_, d=path([(x + 3, y), (x + 22, y)]))
    if "point" in class_.split():
        return tag("circle", class_=class_, cx=x + 12, cy=y, r="4.5")
    box = [(x + 1, y - 6), (x + 23, y - 6), (x + 23, y + 6), (x + 1, y + 6)]
    drawn = tag("path", class_=class_, d=path(box, close=True))
    if class_ in ("metal", "clash"):
        hatch = tag("path", class_="hatched", fill=f"url(#hatch-{class_})", d=path(box, close=True))
        return together([drawn, hatch])
    return drawn


def _rows(words: str, width: float) -> list[tuple[bool, str]]:
    """The words on as many rows as they take, the first marked as such."""
    rows = [""]
    for word in words.split(" "):
        longer = f"{rows[-1]} {word}".strip()
        if rows[-1] and text_width(longer) > width:
            rows.append(word)
        else:
            rows[-1] = longer
    return [(place == 0, row) for place, row in enumerate(rows)]


def _hatches() -> SafeString:
    """Slanted lines for metal in section, and crossed ones for what must not meet."""
    metal = tag("path", class_="hatch-metal", d="M-2 2L2 -2M0 10L10 0M8 12L12 8")
    clash = tag("path", class_="hatch-clash", d="M0 0L6 6M6 0L0 6")
    patterns = [
        tag("pattern", part, id=f"hatch-{name}", width=size, height=size, patternUnits="userSpaceOnUse")
        for name, size, part in (("metal", 10, metal), ("clash", 6, clash))
    ]
    return tag("defs", together(patterns))
