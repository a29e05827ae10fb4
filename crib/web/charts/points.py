"""Edges as points, told apart by their shape: ended, broken, still good when last seen, excused."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.safestring import SafeString

from crib.web.charts.frame import Frame, Key
from crib.web.charts.model import Point
from crib.web.charts.shapes import point_shape
from crib.web.charts.svg import finite

WORDS = {"broken": "chipped or broken", "excused": "does not count"}


def look_of(point: Point) -> str:
    return point.look or ("ended" if point.ended else "open")


def checked_points(points: Sequence[Point]) -> list[tuple[float, float, str]]:
    """The points as places with their look; refused when one is not a finite number."""
    places = [(finite("points", (point.x, point.y)), look_of(point)) for point in points]
    return [(x, y, look) for (x, y), look in places]


def draw_points(frame: Frame, points: Sequence[tuple[float, float, str]]) -> list[SafeString]:
    return [point_shape(frame.x(x), frame.y(y), look) for x, y, look in points]


def point_keys(points: Sequence[tuple[float, float, str]], words: tuple[str, str]) -> list[Key]:
    """What each look means, of those that are there."""
    said = {"ended": words[0], "broken": WORDS["broken"], "open": words[1], "excused": WORDS["excused"]}
    there = {look for *_, look in points}
    return [Key(text, look, f"point point-{look}") for look, text in said.items() if look in there]
