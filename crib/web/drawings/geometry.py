"""Shapes in the plane, in millimetres, y upward: windows, arcs, what of a shape a window shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from crib.web.charts.svg import Coordinate

Points = Sequence[Coordinate]


@dataclass(frozen=True)
class Window:
    """A part of the work, in millimetres, y upward."""

    left: float
    right: float
    bottom: float
    top: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.top - self.bottom


def arc(x: float, y: float, radius: float, start: float, end: float, steps: int = 64) -> list[Coordinate]:
    """Points of an arc between two angles in radians, counted from the right, anticlockwise."""
    return [
        (
            x + radius * math.cos(start + (end - start) * i / steps),
            y + radius * math.sin(start + (end - start) * i / steps),
        )
        for i in range(steps + 1)
    ]


def circle(x: float, y: float, radius: float) -> list[Coordinate]:
    return arc(x, y, radius, 0, math.tau, 96)[:-1]


def rectangle(left: float, right: float, bottom: float, top: float) -> list[Coordinate]:
    return [(left, bottom), (right, bottom), (right, top), (left, top)]


def area(points: Points) -> float:
    """What a closed shape covers."""
    turned = [*points[1:], *points[:1]]
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(points, turned, strict=True))) / 2


def clip(points: Points, window: Window) -> list[Coordinate]:
    """The part of a closed shape within a window."""
    kept = list(points)
    for axis, bound, side in ((0, window.left, 1), (0, window.right, -1), (1, window.bottom, 1), (1, window.top, -1)):
        before, kept = kept, []
        for place, point in enumerate(before):
            last = before[place - 1]
            inside, was = side * (point[axis] - bound) >= 0, side * (last[axis] - bound) >= 0
            if inside != was:
                kept.append(_meet(last, point, axis, bound))
            if inside:
                kept.append(point)
    return kept


def clip_line(points: Points, window: Window) -> list[list[Coordinate]]:
    """The parts of an open line within a window."""
    pieces: list[list[Coordinate]] = []
    for one, other in pairwise(points):
        part = _within(one, other, window)
        if part is None:
            continue
        if pieces and pieces[-1][-1] == part[0]:
            pieces[-1].append(part[1])
        else:
            pieces.append([part[0], part[1]])
    return pieces


def _within(one: Coordinate, other: Coordinate, window: Window) -> tuple[Coordinate, Coordinate] | None:
    for axis, bound, side in ((0, window.left, 1), (0, window.right, -1), (1, window.bottom, 1), (1, window.top, -1)):
        first, second = side * (one[axis] - bound) >= 0, side * (other[axis] - bound) >= 0
        if not (first or second):
            return None
        if not first:
            one = _meet(one, other, axis, bound)
        elif not second:
            other = _meet(one, other, axis, bound)
    return one, other


def _meet(one: Coordinate, other: Coordinate, axis: int, bound: float) -> Coordinate:
    share = (bound - one[axis]) / (other[axis] - one[axis])
    across = one[1 - axis] + share * (other[1 - axis] - one[1 - axis])
    return (bound, across) if axis == 0 else (across, bound)


def spread(levels: Sequence[float], low: float, high: float, gap: float) -> list[float]:
    """Levels moved apart so that words on them stand clear, in their order and near their places."""
    order = sorted(range(len(levels)), key=lambda i: levels[i])
    placed: list[float] = []
    for i in order:
        placed.append(max(levels[i], low, placed[-1] + gap if placed else low))
    for place in range(len(placed) - 1, -1, -1):
        most = high if place == len(placed) - 1 else placed[place + 1] - gap
        placed[place] = min(placed[place], most)
    found = [0.0] * len(levels)
    for i, level in zip(order, placed, strict=True):
        found[i] = level
    return found


def round_factor(most: float) -> float:
    """The largest of 1, 2, 5, 10, 20 … that is not above `most`; 1 at the least."""
    if most <= 1:
        return 1.0
    power = 10.0 ** math.floor(math.log10(most))
    return next(size * power for size in (5, 2, 1) if size * power <= most * 1.000001)
