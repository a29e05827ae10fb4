"""The diameter that cuts, and the path round a corner."""

from __future__ import annotations

import math

from django.utils.safestring import SafeString

from crib.web.charts.svg import Coordinate
from crib.web.drawings.geometry import Window, arc, circle, rectangle
from crib.web.drawings.paper import EDGE, WIDTH, Sheet, View
from crib.web.drawings.reading import Known, TooLittle

HIGHEST = 300.0
QUARTER = math.pi / 2


def effective_diameter(known: Known) -> SafeString:
    """The tool from the side, as deep in the work as it goes, and how wide it is at the surface."""
    radius, depth, cuts = known.given("diameter") / 2, known.given("axial_depth"), known.number("effective_diameter")
    shape = _tip(known, radius)
    top = max(y for _, y in shape)
    high = max(1.25 * top, 1.3 * depth, 0.8 * radius)
    sheet = Sheet()
    sheet.heading("The tool in the work, in section")
    window = Window(-1.7 * radius, 1.7 * radius, -0.35 * radius, high)
    view = sheet.view(window, left=EDGE + 90, top=sheet.bottom + 34, width=WIDTH - 2 * EDGE - 180, height=HIGHEST)
    far = 9 * radius
    view.metal(rectangle(-far, far, -far, depth))
    body = [*shape, (radius, high + radius), (-radius, high + radius), *[(-x, y) for x, y in reversed(shape)]]
    view.outline(body, "tool", data_name="tool")
    view.stroke([(0, high), (0, window.bottom)], "axis-line")
    sunk = [point for point in shape if point[1] <= depth]
    for side in (-1, 1):
        view.stroke([*((side * x, y) for x, y in sunk), (side * cuts / 2, min(depth, top))], "band")
    view.stroke([(-cuts / 2, depth), (cuts / 2, depth)], "hidden-line")
    level = view.top - 8
    words = f"cuts at Ø {known.text('effective_diameter')}"
    view.across(-cuts / 2, cuts / 2, level, words, name="effective", start=(depth, depth))
    view.across(-radius, radius, view.bottom + 18, f"DC {known.given_text('diameter')}", name="dc", start=(top, top))
    view.down(depth, 0, view.left - 8, f"ap {known.given_text('axial_depth')}", name="ap", start=(-far, 0.0), left=True)
    sheet.bottom = view.bottom + 26
    sheet.legend([("metal", "the work"), ("band", "what of the edge cuts")])
    return sheet.drawn(
        "The diameter that cuts",
        f"A {known.word('shape')} of {known.given_text('diameter')}, {known.given_text('axial_depth')} deep in the "
        f"work, cuts at {known.text('effective_diameter')}.",
    )


def _tip(known: Known, radius: float) -> list[Coordinate]:
    """The right half of the tool's end, from its lowest point up to where it is as wide as it gets."""
    shape = known.word("shape")
    if shape == "ball":
        return arc(0, radius, radius, -QUARTER, 0)
    if shape == "bull":
        corner = known.given("corner_radius")
        return [(0.0, 0.0), *arc(radius - corner, corner, corner, -QUARTER, 0)]
    if shape == "cone":
        tip = (known.maybe("tip_diameter") or 0.0) / 2
        slope = math.tan(math.radians(known.given("included_angle") / 2))
        return [(0.0, 0.0), (tip, 0.0), (radius, (radius - tip) / slope)]
    raise TooLittle("shape")


def corner_feed(known: Known) -> SafeString:
    """The wall's arc and the centre's from above, with both speeds as arrows at one scale."""
    radius, wall = known.given("diameter") / 2, known.given("corner_radius")
    inside = known.yes("inside")
    path_radius = wall - radius if inside else wall + radius
    if path_radius < 0:
        raise TooLittle("corner_radius")
    sheet = Sheet()
    sheet.heading("The corner from above")
    reach = max(wall, path_radius + radius) * 1.12
    low = -max(0.3 * reach, radius * 1.15)
    window = Window(low, reach, low, reach)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 6, width=WIDTH - 2 * EDGE - 150, height=360)
    bow, far = arc(0, 0, wall, 0, QUARTER), 9 * reach
    if inside:
        view.metal([(wall, -far), *bow, (-far, wall), (-far, far), (far, far), (far, -far)])
    else:
        view.metal([(wall, -far), *bow, (-far, wall), (-far, -far)])
    at = (path_radius * math.cos(math.pi / 4), path_radius * math.sin(math.pi / 4))
    view.outline(circle(*at, radius), "tool see-through", data_name="tool")
    view.stroke([(path_radius, low), *arc(0, 0, path_radius, 0, QUARTER), (low, path_radius)], "axis-line")
    view.stroke(bow, "band", data_name="wall")
    _radii(view, known, (wall, path_radius))
    _speeds(sheet, known)
    kind = "inside" if inside else "outside"
    sheet.legend([("metal", "the work"), ("band", "the wall"), ("axis-line stroke", "the path of the tool's centre")])
    return sheet.drawn(
        "Feed in a corner",
        f"An {kind} corner of {known.given_text('corner_radius')} with a tool of {known.given_text('diameter')}: the "
        f"centre runs on a radius of {known.length(path_radius)} and is fed at {known.text('feed_rate')}, "
        f"{known.text('ratio')} times the feed along the wall.",
    )


def _radii(view: View, known: Known, radii: tuple[float, float]) -> None:
    wall, path_radius = radii
    turns = (math.radians(14), math.radians(76))
    for radius, turn, words, name in (
        (wall, turns[0], f"R {known.given_text('corner_radius')}", "wall"),
        (path_radius, turns[1], f"centre {known.length(path_radius)}", "path"),
    ):
        if radius > 0:
            view.between(
                (0.0, 0.0), (radius * math.cos(turn), radius * math.sin(turn)), words, name=name, anchor="start"
            )


def _speeds(sheet: Sheet, known: Known) -> None:
    """The feed along the wall and the feed of the centre, as long as they are fast."""
    wall, centre = known.given("feed_rate"), known.number("feed_rate")
    sheet.heading("Feed rates, at one scale", y=sheet.bottom + 30)
    rows = [
        (wall, f"along the wall {known.given_text('feed_rate')}", "part-1", "wall-feed"),
        (centre, f"at the centre {known.text('feed_rate')}", "part-2", "centre-feed"),
    ]
    sheet.bars(rows, room=260)
