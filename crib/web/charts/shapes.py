"""The shapes by which points are told apart, in a plot and in its key."""

from __future__ import annotations

from django.utils.safestring import SafeString

from crib.web.charts.svg import path, tag, together

SIZE = 4.5
LOOKS = ("ended", "broken", "open", "excused")


def point_shape(x: float, y: float, look: str) -> SafeString:
    """A circle, filled or open; a filled diamond for what broke; a crossed open circle for what does not count."""
    class_ = f"point point-{look}"
    if look == "broken":
        far = SIZE + 1.5
        return tag("path", class_=class_, d=path([(x, y - far), (x + far, y), (x, y + far), (x - far, y)], close=True))
    circle = tag("circle", class_=class_, cx=x, cy=y, r=str(SIZE))
    if look != "excused":
        return circle
    far = SIZE + 1.5
    cross = path([(x - far, y - far), (x + far, y + far)]) + path([(x - far, y + far), (x + far, y - far)])
    return together([circle, tag("path", class_="point-cross", d=cross)])
