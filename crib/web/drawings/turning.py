"""The bar in the lathe with its tool, the tracks that the nose leaves, and the face of a facing cut."""

from __future__ import annotations

import math

from django.utils.safestring import SafeString

from crib.web.charts.svg import Coordinate
from crib.web.drawings.geometry import Window, circle, round_factor
from crib.web.drawings.paper import EDGE, WIDTH, Sheet, View
from crib.web.drawings.reading import Known

CORNER = math.radians(80)  # between the edges of the insert that is drawn
TRACKS = 3
SHARE = 0.35  # of a track's width, as which its height is drawn at the most


def turning(known: Known) -> SafeString:
    """The bar from the side with the tool at its cut, and below it the tracks of the nose, heightened."""
    sheet = Sheet()
    says = [_bar(sheet, known)]
    if known.has("roughness_rz", "nose_radius"):
        says.append(_tracks(sheet, known))
    return sheet.drawn("The bar at its cut", " ".join(says))


def _bar(sheet: Sheet, known: Known) -> str:
    radius, depth = known.given("diameter") / 2, known.maybe("depth_of_cut")
    depth = depth if depth is not None and depth < radius else None
    cut = radius - (depth or 0.0)
    length = 2.6 * radius
    sheet.heading("The bar from the side")
    window = Window(-0.75 * length, 0.75 * length, -1.15 * radius, 1.75 * radius)
    view = sheet.view(window, left=EDGE + 90, top=sheet.bottom + 6, width=WIDTH - 2 * EDGE - 200, height=260)
    far = 9 * radius
    # The chuck stands on the left; the tool has come from the right as far as 0.
    view.outline(
        [(-far, -radius), (-far, radius), (0, radius), (0, cut), (far, cut), (far, -cut), (0, -cut), (0, -radius)],
        "metal",
    )
    if depth is not None:
        view.stroke([(0, radius), (far, radius)], "hidden-line")
        view.stroke([(0, -radius), (far, -radius)], "hidden-line")
    _insert(view, known, radius, cut)
    view.stroke([(window.left, 0), (window.right, 0)], "axis-line")
    view.down(
        radius, -radius, view.left - 8, f"D {known.given_text('diameter')}", name="d", start=(-far, -far), left=True
    )
    feed = known.text("feed")
    words = f"f {feed} a turn, κr {known.given_text('lead_angle')}" if known.has("lead_angle") else f"f {feed} a turn"
    if depth is None:
        sheet.bottom += 6
        sheet.words(words, view.at(0, 0)[0], sheet.bottom + 14)
        return f"A bar of {known.given_text('diameter')}, fed {feed} a turn. Give the depth of cut to see the step."
    view.down(radius, cut, view.right + 10, f"ap {known.given_text('depth_of_cut')}", name="ap", start=(far, far))
    after = known.length(2 * cut)
    view.down(cut, -cut, view.right - 30, f"Ø {after}", name="after", start=(far, far))
    sheet.words(words, view.at(0, 0)[0], sheet.bottom + 16)
    return (
        f"A bar of {known.given_text('diameter')} turned down by {known.given_text('depth_of_cut')} on the radius to "
        f"{after}, fed {feed} a turn."
    )


def _insert(view: View, known: Known, radius: float, cut: float) -> None:
    """The tool's edge at its lead angle, leaning back from the shoulder."""
    lead = math.radians(min(max(known.maybe("lead_angle") or 90.0, 20.0), 90.0))
    size = 0.7 * radius
    leans = (math.pi - lead, math.pi - lead - CORNER)
    along, behind = ((size * math.cos(turn), size * math.sin(turn)) for turn in leans)
    tip, far = (0.0, cut), (along[0] + behind[0], cut + along[1] + behind[1])
    shape = [tip, (along[0], cut + along[1]), far, (behind[0], cut + behind[1])]
    view.outline(shape, "tool", data_name="insert")
    view.stroke([tip, (-(radius - cut) / math.tan(lead) if lead < 1.57 else 0.0, radius)], "band")


def _tracks(sheet: Sheet, known: Known) -> str:
    """The surface the nose leaves, its height drawn many times larger than its width."""
    feed, high = _feed_held(known), known.number("roughness_rz") / 1000
    factor = round_factor(SHARE * feed / high)
    tall = factor * high
    sheet.heading(f"The surface it leaves, its height drawn {factor:g} times larger", y=sheet.bottom + 34)
    window = Window(-0.25 * feed, (TRACKS + 0.25) * feed, -1.1 * tall, 1.6 * tall)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 30, width=WIDTH - 2 * EDGE - 120, height=150)
    line: list[Coordinate] = []
    for step in range(-24, (TRACKS + 1) * 24 + 1):
        # Between two tracks the arcs of the nose meet in a peak; each is as deep as Rz in its middle.
        x = step / 24 * feed
        off = (x / feed) % 1 - 0.5
        line.append((x, tall * (2 * off) ** 2))
    view.metal([(line[0][0], -9 * tall), *line, (line[-1][0], -9 * tall)])
    view.stroke(line, "band", data_name="tracks")
    view.across(feed, 2 * feed, view.top - 8, f"f {known.length(feed)}", name="feed", start=(tall, tall))
    view.down(tall, 0, view.right + 8, f"Rz {known.text('roughness_rz')}", name="rz", start=(3 * feed, 2.5 * feed))
    sheet.words(f"nose radius rε {known.given_text('nose_radius')}", EDGE, sheet.bottom + 18, anchor="start")
    return (
        f"A nose of {known.given_text('nose_radius')} leaves tracks {known.text('roughness_rz')} high; they are drawn "
        f"{factor:g} times higher."
    )


def _feed_held(known: Known) -> float:
    """The feed per turn as the answer has it: what is left of it where a limit held it back."""
    return known.number("feed_rate") / known.number("spindle_speed")


def facing(known: Known) -> SafeString:
    """The face from the front, with the part in which the spindle is at its limit."""
    outer, inner = known.given("outer_diameter") / 2, known.given("inner_diameter") / 2
    cap = known.number("speed_cap_diameter") / 2
    sheet = Sheet()
    sheet.heading("The face from the front")
    window = Window(-1.05 * outer, 1.05 * outer, -1.05 * outer, 1.05 * outer)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 6, width=WIDTH - 2 * EDGE - 180, height=300)
    view.outline(circle(0, 0, outer), "metal", data_name="outer")
    held = inner < cap
    if held:
        view.outline(circle(0, 0, min(cap, outer)), "zone", data_name="cap")
    if inner > 0:
        view.outline(circle(0, 0, inner), "air", data_name="inner")
    view.stroke([(-outer, 0), (outer, 0)], "axis-line")
    view.stroke([(0, -outer), (0, outer)], "axis-line")
    _facing_sizes(view, known, (outer, inner, cap))
    at_cap = known.text("speed_cap_diameter")
    limit = known.given_text("max_spindle_speed")
    if not held:
        words = f"the spindle stays under its limit: it would reach it only below {at_cap}"
    elif cap >= outer:
        words = f"the spindle is at its limit of {limit} over the whole face"
    else:
        words = f"below {at_cap} the spindle is at its limit of {limit} and the surface speed falls"
    steady = [("metal", "turned at constant surface speed")] if cap < outer else []
    sheet.legend([*steady, *([("zone", words)] if held else [])])
    return sheet.drawn(
        "The face",
        f"A face from {known.given_text('outer_diameter')} to {known.text('inner_diameter')}: {words}. Time in cut "
        f"{known.text('time_in_cut')}.",
    )


def _facing_sizes(view: View, known: Known, radii: tuple[float, float, float]) -> None:
    outer, inner, cap = radii
    level = view.bottom + 18
    marks = [(cap, f"Dc {known.text('speed_cap_diameter')}", "cap")] if inner < cap < outer else []
    if inner > 0:
        marks.insert(0, (inner, f"inner {known.text('inner_diameter')}", "inner"))
    for radius, words, name in [*marks, (outer, f"outer {known.given_text('outer_diameter')}", "outer")]:
        view.across(-radius, radius, level, words, name=name, start=(0.0, 0.0))
        level += 26
    view.sheet.bottom = max(view.sheet.bottom, level - 18)
