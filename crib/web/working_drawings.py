"""Drawings to scale beside a calculator's answer: where the tool stands, and what of it cuts."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from django.utils.safestring import SafeString

from calc.workings import Answer
from crib.web.charts.svg import Coordinate, path, picture, tag

WIDTH = 540
HIGHEST = 400
PAD = 48
DEEPEST = 12  # a hole deeper than so many diameters would be drawn as a hair


@dataclass(frozen=True)
class Paper:
    """Millimetres, y upward, onto the picture."""

    left: float
    top: float
    scale: float
    offset: float

    def at(self, x: float, y: float) -> Coordinate:
        """Where a point of the work lies on the picture."""
        return self.offset + (x - self.left) * self.scale, PAD + (self.top - y) * self.scale

    def outline(self, points: list[Coordinate], class_: str) -> SafeString:
        """A closed shape."""
        return tag("path", class_=class_, d=path([self.at(x, y) for x, y in points], close=True))

    def stroke(self, points: list[Coordinate], class_: str) -> SafeString:
        """An open line."""
        return tag("path", class_=class_, d=path([self.at(x, y) for x, y in points]))

    def across(self, x1: float, x2: float, y: float, words: str, *, above: bool = True) -> list[SafeString]:
        """A dimension along the face, its words in the middle above or below it."""
        (left, level), (right, _) = self.at(min(x1, x2), y), self.at(max(x1, x2), y)
        middle = min(max((left + right) / 2, len(words) * 4.2), WIDTH - len(words) * 4.2)
        return [
            tag("path", class_="dim", d=path([(left, level), (right, level)])),
            tag("path", class_="dim", d=path([(left, level - 6), (left, level + 6)])),
            tag("path", class_="dim", d=path([(right, level - 6), (right, level + 6)])),
            tag("text", words, x=middle, y=level - 9 if above else level + 19, text_anchor="middle"),
        ]

    def down(self, x: float, y1: float, y2: float, words: str, *, left: bool = False) -> list[SafeString]:
        """A dimension along the axis, its words beside it."""
        (level, low), (_, high) = self.at(x, min(y1, y2)), self.at(x, max(y1, y2))
        return [
            tag("path", class_="dim", d=path([(level, high), (level, low)])),
            tag("path", class_="dim", d=path([(level - 6, high), (level + 6, high)])),
            tag("path", class_="dim", d=path([(level - 6, low), (level + 6, low)])),
            tag(
                "text",
                words,
                x=level - 10 if left else level + 10,
                y=(high + low) / 2 + 5,
                text_anchor="end" if left else "start",
            ),
        ]


def _paper(left: float, right: float, bottom: float, top: float) -> tuple[Paper, int]:
    """The largest scale at which the window fits, and the height of the picture then."""
    scale = min((WIDTH - 2 * PAD) / (right - left), (HIGHEST - 2 * PAD) / (top - bottom))
    offset = (WIDTH - (right - left) * scale) / 2
    return Paper(left, top, scale, offset), round((top - bottom) * scale + 2 * PAD)


def drawing_of(answer: Answer) -> SafeString | str:
    """The drawing of an answer; empty for a working without one, or when too little is known to draw."""
    draw = _DRAWINGS.get(answer.working.name)
    return draw(answer) if draw is not None else ""


def _given(answer: Answer, name: str) -> float:
    return float(answer.inputs[name].value)


def _found(answer: Answer, name: str) -> float:
    return float(answer.results[name].value)


def _text(answer: Answer, name: str) -> str:
    return answer.results[name].text


def _milling(answer: Answer) -> SafeString | str:
    """From above: the cutter, the stock, and the arc over which a tooth is in it."""
    if "engagement_angle" not in answer.results:
        return ""
    radius, depth = _given(answer, "diameter") / 2, _given(answer, "radial_depth")
    engaged = math.radians(_found(answer, "engagement_angle"))
    paper, height = _paper(-1.7 * radius, 2.5 * radius, -1.55 * radius, 1.05 * radius)
    # The finished wall is the cutter's lowest line; the stock still to come stands on the right.
    arc = [(radius * math.sin(engaged * i / 48), -radius * math.cos(engaged * i / 48)) for i in range(49)]
    stock = [(-1.7 * radius, -radius), *arc, (2.5 * radius, depth - radius), (2.5 * radius, -1.55 * radius)]
    cutter = [(radius * math.cos(math.tau * i / 96), radius * math.sin(math.tau * i / 96)) for i in range(96)]
    teeth = int(answer.inputs["teeth"].value)
    marks = []
    for tooth in range(teeth):
        angle = math.tau * tooth / teeth
        inner, outer = 0.8 * radius, radius
        marks.append(
            paper.stroke(
                [
                    (inner * math.cos(angle), inner * math.sin(angle)),
                    (outer * math.cos(angle), outer * math.sin(angle)),
                ],
                "tooth",
            )
        )
    words, angle_words = answer.inputs["radial_depth"].text, _text(answer, "engagement_angle")
    _, centre = paper.at(0, 0)
    shapes = [
        paper.outline([*stock, (-1.7 * radius, -1.55 * radius)], "metal"),
        paper.outline(cutter, "tool see-through"),
        *marks,
        paper.stroke(arc, "band"),
        paper.stroke([(radius * 0.05, -radius), (2.05 * radius, -radius)], "dim"),
        *paper.down(1.6 * radius, -radius, depth - radius, f"ae {words}"),
        tag("text", f"θe {angle_words}", x=paper.at(0, 0)[0], y=centre, text_anchor="middle"),
    ]
    says = f"Seen along the axis: each tooth is in the work over {angle_words} of a turn, {words} deep."
    return picture(WIDTH, height, shapes, title="Engagement of the mill", says=says, class_="drawing")


def _drilling(answer: Answer) -> SafeString | str:
    """A section through the hole with the drill at its deepest."""
    if "travel" not in answer.results:
        return ""
    radius, depth = _given(answer, "diameter") / 2, _given(answer, "depth")
    travel = _found(answer, "travel")
    if travel > DEEPEST * 2 * radius:
        return ""
    through = answer.inputs["through"].value is True
    bottom = -depth if through else -travel - 0.8 * radius
    lowest = min(bottom, -travel)
    paper, height = _paper(-5 * radius, 5 * radius, lowest - 0.2 * radius, 2 * radius)
    drill = [(-radius, 2 * radius), (-radius, -depth), (0.0, -travel), (radius, -depth), (radius, 2 * radius)]
    block = [(-3 * radius, 0.0), (3 * radius, 0.0), (3 * radius, bottom), (-3 * radius, bottom)]
    shapes = [
        paper.outline(block, "metal"),
        paper.outline(drill, "tool"),
        paper.stroke([(0, 2 * radius), (0, lowest - 0.2 * radius)], "axis-line"),
        paper.stroke([(-radius, -depth), (0, -travel), (radius, -depth)], "band"),
        paper.stroke([(-radius, -depth), (-3.7 * radius, -depth)], "dim"),
        paper.stroke([(0, -travel), (3.7 * radius, -travel)], "dim"),
        *paper.across(-radius, radius, 2 * radius, answer.inputs["diameter"].text),
        *paper.down(-3.5 * radius, 0, -depth, answer.inputs["depth"].text, left=True),
        *paper.down(3.5 * radius, 0, -travel, _text(answer, "travel")),
    ]
    kind = "through" if through else "blind"
    says = (
        f"Section of the {kind} hole: {answer.inputs['depth'].text} deep, the drill travels {_text(answer, 'travel')}."
    )
    return picture(WIDTH, height, shapes, title="The hole", says=says, class_="drawing")


@dataclass(frozen=True)
class _Cone:
    """A chamfer mill for drawing: tip radius, slope, height of the flute and of what is drawn above it."""

    tip: float
    slope: float
    flute: float
    shank: float

    def radius(self, height: float) -> float:
        return self.tip + min(height, self.flute) * self.slope

    def outline(self, x: float, tip_at: float) -> list[Coordinate]:
        """Its section, the axis at x and the tip flat at the level tip_at."""
        heights = [0.0, self.flute, self.flute + self.shank]
        left = [(x - self.radius(height), tip_at + height) for height in heights]
        right = [(x + self.radius(height), tip_at + height) for height in reversed(heights)]
        return left + right

    @property
    def top(self) -> float:
        return self.flute + self.shank


def _cone(answer: Answer, reach: float) -> _Cone:
    """The tool as far up as is known; without its largest diameter, a little above the contact."""
    tip = _given(answer, "tip_diameter") / 2
    slope = math.tan(math.radians(_given(answer, "included_angle") / 2))
    if "max_diameter" not in answer.inputs:
        return _Cone(tip, slope, reach * 1.5, 0.0)
    flute = (_given(answer, "max_diameter") / 2 - tip) / slope
    # Far above the contact there is nothing to see: a long flute is drawn only so far, to keep the scale.
    if flute > 4 * reach:
        return _Cone(tip, slope, 4 * reach, 0.0)
    return _Cone(tip, slope, flute, max(0.25 * flute, reach - flute + 0.25 * flute))


def _chamfer_edge(answer: Answer) -> SafeString | str:
    """A section across the edge: the tool beside the wall, the band of its flute that cuts."""
    x, z = _found(answer, "axis_offset"), _found(answer, "depth_below_face")
    width, low = _found(answer, "chamfer_width"), _found(answer, "contact_low")
    cone = _cone(answer, z)
    reach = cone.radius(cone.top)
    gouge = max(0.0, cone.tip - x)
    left, right = min(x - reach, -3 * width) - 0.15 * reach, x + reach + 0.5 * reach
    bottom, top = -z - 0.5 * max(z, width), cone.top - z
    paper, height = _paper(left, right, bottom, top)
    shapes = [
        paper.outline([(left, 0), (0, 0), (0, bottom), (left, bottom)], "metal"),
        paper.outline(cone.outline(x, -z), "tool see-through"),
        paper.outline([(-width, 0), (0, 0), (0, low - z), (-gouge, low - z)], "taken"),
        paper.stroke([(x, top), (x, bottom)], "axis-line"),
        paper.stroke([(-width, 0), (-gouge, low - z)], "band"),
        *paper.across(0, x, bottom, f"x {_text(answer, 'axis_offset')}", above=False),
        paper.stroke([(0, 0), (x + 1.2 * reach, 0)], "dim"),
        paper.stroke([(x + cone.tip, -z), (x + 1.2 * reach, -z)], "dim"),
        *paper.down(x + 1.15 * reach, 0, -z, f"z {_text(answer, 'depth_below_face')}"),
        *paper.across(-width, 0, top, f"w {_text(answer, 'chamfer_width')}"),
        paper.stroke([(-width, top), (-width, 0)], "dim"),
        paper.stroke([(0, top), (0, 0)], "dim"),
    ]
    says = (
        f"Section across the edge: the axis {_text(answer, 'axis_offset')} from the wall, the tip flat "
        f"{_text(answer, 'depth_below_face')} below the face. The flute cuts from {_text(answer, 'contact_low')} to "
        f"{_text(answer, 'contact_high')} above the tip flat."
    )
    return picture(WIDTH, height, shapes, title="The tool on the edge", says=says, class_="drawing")


def _chamfer_hole(answer: Answer) -> SafeString | str:
    """A section through the hole: the tool at its depth, the band of its flute that cuts."""
    if "depth_below_face" not in answer.results:
        return ""
    hole, mouth = _given(answer, "hole_diameter") / 2, _found(answer, "chamfer_diameter") / 2
    z, circle = _found(answer, "depth_below_face"), _found(answer, "interpolation_radius")
    leg = z - _found(answer, "contact_low")
    cone = _cone(answer, z)
    reach = max(mouth * 1.6, circle + cone.radius(cone.top))
    bottom, top = -max(z, leg) - 0.35 * mouth, cone.top - z
    paper, height = _paper(-1.4 * reach, reach, bottom, top)
    shapes = []
    for side in (-1, 1):
        wall = [(side * hole, 0.0), (side * reach, 0.0), (side * reach, bottom), (side * hole, bottom)]
        shapes.append(paper.outline(wall, "metal"))
        shapes.append(paper.outline([(side * hole, 0.0), (side * mouth, 0.0), (side * hole, -leg)], "taken"))
    shapes.append(paper.outline(cone.outline(circle, -z), "tool see-through"))
    shapes.append(paper.stroke([(0, top), (0, bottom)], "axis-line"))
    if circle > 0:
        shapes.append(paper.stroke([(circle, top), (circle, bottom)], "axis-line"))
        shapes += paper.across(0, circle, bottom, f"radius {_text(answer, 'interpolation_radius')}", above=False)
    for side in (1,) if circle > 0 else (-1, 1):
        shapes.append(paper.stroke([(side * mouth, 0), (side * hole, -leg)], "band"))
    shapes += [paper.stroke([(side * mouth, top), (side * mouth, 0)], "dim") for side in (-1, 1)]
    shapes.append(paper.stroke([(circle - cone.tip, -z), (-1.15 * reach, -z)], "dim"))
    shapes += paper.across(-mouth, mouth, top, f"mouth {_text(answer, 'chamfer_diameter')}")
    shapes += paper.down(-1.1 * reach, 0, -z, f"z {_text(answer, 'depth_below_face')}", left=True)
    says = (
        f"Section of the hole: the tip flat {_text(answer, 'depth_below_face')} below the face. The flute cuts from "
        f"{_text(answer, 'contact_low')} to {_text(answer, 'contact_high')} above the tip flat."
    )
    return picture(WIDTH, height, shapes, title="The tool in the hole", says=says, class_="drawing")


_DRAWINGS: dict[str, Callable[[Answer], SafeString | str]] = {
    "milling": _milling,
    "drilling": _drilling,
    "chamfer-edge": _chamfer_edge,
    "chamfer-hole": _chamfer_hole,
}
