"""The few strokes of SVG that the charts need; whatever text comes in, markup never comes out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from django.utils.html import conditional_escape, escape, format_html
from django.utils.safestring import SafeString, mark_safe

Coordinate = tuple[float, float]


class CannotDraw(ValueError):
    """A number that has no place on a chart, or series that do not belong together."""


def finite(name: str, values: Iterable[float]) -> list[float]:
    """The values as floats; refused when one is not a finite number, since a gap drawn as zero would lie."""
    checked = [float(value) for value in values]
    for value in checked:
        if not math.isfinite(value):
            raise CannotDraw(f"{name} holds {value}, which cannot be drawn")
    return checked


def same_length(name: str, values: Sequence[object], other_name: str, others: Sequence[object]) -> None:
    if len(values) != len(others):
        raise CannotDraw(f"{name} has {len(values)} values and {other_name} has {len(others)}")


def short(value: float) -> str:
    """A coordinate to a tenth of a pixel."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def tag(name: str, content: str = "", /, **attributes: object) -> SafeString:
    """An element; content and attribute values are escaped unless they are safe markup already.

    Attribute names are written with underscores: `class_`, `text_anchor`. Values that are None are left away.
    """
    written = mark_safe("")
    for key, value in attributes.items():
        if value is None:
            continue
        shown = short(value) if isinstance(value, float) else str(value)
        # Always escaped, also when it is safe markup, because markup has no place in an attribute.
        written += format_html(' {}="{}"', key.rstrip("_").replace("_", "-"), escape(shown))
    if content == "":
        return format_html("<{}{}/>", mark_safe(name), written)  # a constant of ours
    safe_name = mark_safe(name)  # a constant of ours
    return format_html("<{}{}>{}</{}>", safe_name, written, conditional_escape(content), safe_name)


def together(parts: Iterable[SafeString]) -> SafeString:
    return mark_safe("".join(parts))  # every part is safe already


def path(points: Sequence[Coordinate], *, close: bool = False) -> str:
    """The path through the points."""
    if not points:
        return ""
    steps = [f"{short(x)} {short(y)}" for x, y in points]
    return f"M{steps[0]}" + "".join(f"L{step}" for step in steps[1:]) + ("Z" if close else "")


def picture(
    width: int, height: int, content: Iterable[SafeString], *, title: str, says: str, class_: str
) -> SafeString:
    """The whole drawing, with its title and what it shows in words for whoever does not see it."""
    words = f"{title}. {says}" if title and says else title or says
    inside = together([tag("title", title or says), tag("desc", says or title), *content])
    return tag(
        "svg",
        inside,
        class_=class_,
        viewBox=f"0 0 {width} {height}",
        role="img",
        aria_label=words,
        focusable="false",
        preserveAspectRatio="xMinYMin meet",
    )
