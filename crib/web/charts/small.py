"""Small charts for the rows of a table; the numbers stand beside them in words."""

from __future__ import annotations

from django.utils.safestring import SafeString

from crib.web.charts.scale import Scale
from crib.web.charts.svg import CannotDraw, finite, path, picture, tag

WIDTH, HEIGHT = 160, 24
TONES = ("good", "caution", "bad", "info", "plain")
SPARE = 1.3  # how far beyond the change-by mark the gauge reaches


def gauge(used: float, *, tone: str, says: str, change_by: float = 1.0) -> SafeString:
    """Life used on a bar with the change-by mark; what lies beyond the bar's end is drawn with an open end."""
    used, change_by = finite("gauge", (used, change_by))
    if used < 0 or change_by <= 0:
        raise CannotDraw("life used is never below nothing, and change-by lies above it")
    if tone not in TONES:
        raise CannotDraw(f"{tone} is no tone; the tones are {', '.join(TONES)}")
    scale = Scale(0, change_by * SPARE, 1, WIDTH - 1)
    end, top, foot = scale.clamp(used), 6.0, 18.0
    slant = min(5.0, end - 1)
    beyond = used > change_by * SPARE
    tip = [(end, top), (end, foot)] if beyond else [(end - slant, top), (end, top + slant), (end, foot)]
    strokes = [
        tag("rect", class_="track", x="1", y=top, width=float(WIDTH - 2), height=foot - top, rx="2"),
        tag("path", class_=f"used used-{tone}", d=path([(1, top), *tip, (1, foot)], close=True)),
    ]
    if beyond:
        strokes.append(tag("path", class_="beyond", d=path([(end - 9, 9), (end - 4, 12), (end - 9, 15)])))
    at = scale(change_by)
    strokes.append(tag("line", class_="change-by-edge", x1=at, x2=at, y1=top, y2=foot))
    strokes.append(tag("line", class_="change-by", x1=at, x2=at, y1="2", y2="22"))
    strokes.append(tag("path", class_="change-by-head", d=path([(at - 4, 0), (at + 4, 0), (at, 5)], close=True)))
    return picture(WIDTH, HEIGHT, strokes, title="", says=says, class_="gauge")


def interval(low: float, middle: float, high: float, *, top: float, says: str, unit: str = "") -> SafeString:
    """A bar from the 10 % to the 90 % value with a mark at the 50 % one, on a scale shared by the table's rows."""
    low, middle, high, top = finite("interval", (low, middle, high, top))
    if not 0 <= low <= middle <= high:
        raise CannotDraw("an interval goes from low over middle to high, and none lies below nothing")
    scale = Scale(0, max(top, high) or 1.0, 1, WIDTH - 1)
    left, centre, right = scale(low), scale(middle), scale(high)
    strokes = [
        tag("line", class_="rule", x1="1", x2=str(WIDTH - 1), y1="12", y2="12"),
        tag("rect", class_="span", x=left, y="7", width=max(right - left, 2.0), height="10", rx="2"),
        tag("line", class_="middle", x1=centre, x2=centre, y1="3", y2="21"),
    ]
    words = f"{says} {unit}".strip()
    return picture(WIDTH, HEIGHT, strokes, title="", says=words, class_="interval")
