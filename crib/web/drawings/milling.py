"""The mill in its work from above and from the side, and the chip that a tooth takes, drawn thicker than it is."""

from __future__ import annotations

import math

from django.utils.safestring import SafeString

from calc.cutting import chip
from crib.web.charts.svg import Coordinate
from crib.web.drawings.geometry import Window, arc, circle, rectangle, round_factor
from crib.web.drawings.paper import EDGE, LINE, WIDTH, Sheet, View, text_width
from crib.web.drawings.reading import Known, TooLittle

TALLEST = 300.0
SIDE_BY_SIDE = 5.4  # radii that both windows are wide together
CHIP_WIDE, CHIP_HIGH = 330.0, 150.0
MOST_TEETH = 48
THICK = 0.28  # of the chip's length, as which it is drawn at the most


def milling(known: Known) -> SafeString:
    """The cutter seen along its axis and along the feed, and the chip of one tooth."""
    radius, teeth = known.given("diameter") / 2, known.given("teeth")
    sheet = Sheet()
    says = []
    if known.has("engagement_angle", "radial_depth"):
        says.append(_cutter_at_work(sheet, known, radius, teeth))
        says.append(_chip_of(sheet, known))
        sheet.legend([("metal", "the work"), ("tool", "the mill"), ("band", "where a tooth cuts")])
    else:
        says.append(_cutter_alone(sheet, known, radius, teeth))
    return sheet.drawn("The mill at its work", " ".join(says))


def _cutter_at_work(sheet: Sheet, known: Known, radius: float, teeth: float) -> str:
    """Both views at one scale, side by side."""
    radial, axial = known.given("radial_depth"), known.maybe("axial_depth")
    engaged = math.radians(known.number("engagement_angle"))
    above = Window(-1.15 * radius, 1.55 * radius, -1.35 * radius, 1.06 * radius)
    words = f"ae {known.given_text('radial_depth')}"
    room = text_width(words) + text_width(f"ap {known.given_text('axial_depth')}") + 50
    scale = min((WIDTH - 2 * EDGE - room) / (SIDE_BY_SIDE * radius), TALLEST / above.height)
    side = None
    if axial is not None:
        tall = max(1.3 * axial, axial + 0.5 * radius)
        side = Window(-1.6 * radius, 1.1 * radius, -0.35 * radius, tall)
        scale = min(scale, TALLEST / side.height)
    else:
        scale = min((WIDTH - 2 * EDGE - 110) / above.width, TALLEST / above.height)
    if not scale > 0:
        raise TooLittle("no size to draw")
    title = sheet.bottom + LINE
    sheet.heading("Along the axis", y=title)
    top = sheet.bottom + 6
    view = View(sheet, above, scale, left=EDGE + (6 if side else 90), top=top)
    _from_above(view, known, radius, (teeth, radial, engaged))
    level = view.right + 8
    view.down(radial - radius, -radius, level, words, name="ae", start=(above.right, 0.0))
    says = (
        f"Seen along the axis: each tooth is in the work over {known.text('engagement_angle')} of a turn, "
        f"{known.given_text('radial_depth')} deep."
    )
    if side is None or axial is None:
        return says
    right = View(sheet, side, scale, left=WIDTH - EDGE - side.width * scale - 6, top=top)
    sheet.heading("Along the feed", right.left, title)
    _from_the_side(right, known, radius, radial, axial)
    return f"{says} Seen along the feed: the cut is {known.given_text('axial_depth')} high."


def _from_above(view: View, known: Known, radius: float, cut: tuple[float, float, float]) -> None:
    teeth, radial, engaged = cut
    # The finished wall is the cutter's lowest line; the stock still to come stands on the right.
    bow = arc(0, 0, radius, -math.pi / 2, -math.pi / 2 + engaged)
    far = 9 * radius
    view.metal([(-far, -radius), *bow, (far, radial - radius), (far, -far), (-far, -far)])
    _cutter(view, radius, teeth)
    view.stroke(bow, "band", data_name="band")
    view.words(f"θe {known.text('engagement_angle')}", 0, 0)


def _cutter(view: View, radius: float, teeth: float) -> None:
    view.outline(circle(0, 0, radius), "tool see-through", data_name="cutter")
    if teeth > MOST_TEETH:
        return
    for tooth in range(int(teeth)):
        angle = math.tau * tooth / teeth
        tips = [(share * radius * math.cos(angle), share * radius * math.sin(angle)) for share in (0.78, 1.0)]
        view.stroke(tips, "tooth")


def _from_the_side(view: View, known: Known, radius: float, radial: float, axial: float) -> None:
    """The feed goes into the paper: the wall that is left stands on the left."""
    far, window = 9 * radius, view.window
    view.metal([(-far, -far), (far, -far), (far, 0), (-radius, 0), (-radius, axial), (-far, axial)])
    view.outline(rectangle(-radius, radial - radius, 0, axial), "taken", data_name="taken")
    view.outline(rectangle(-radius, radius, 0, window.top + radius), "tool see-through")
    view.stroke([(0, window.top), (0, window.bottom)], "axis-line")
    view.stroke([(-radius, 0), (-radius, axial)], "band")
    words = f"ap {known.given_text('axial_depth')}"
    view.down(axial, 0, view.left - 8, words, name="ap", start=(window.left, window.left), left=True)


def _cutter_alone(sheet: Sheet, known: Known, radius: float, teeth: float) -> str:
    """Without a radial depth there is only the cutter, and how far it goes in a tooth and in a turn."""
    sheet.heading("Along the axis")
    window = Window(-1.1 * radius, 1.1 * radius, -1.1 * radius, 1.1 * radius)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 6, width=WIDTH - 2 * EDGE, height=200)
    _cutter(view, radius, teeth)
    view.across(-radius, radius, view.bottom + 16, f"DC {known.given_text('diameter')}", name="dc", start=(0.0, 0.0))
    sheet.bottom += 24
    sheet.words(f"fz {known.text('feed_per_tooth')} for each of {teeth:.0f} teeth", WIDTH / 2, sheet.bottom + 18)
    return (
        f"The cutter seen along its axis, {known.given_text('diameter')} across, with {teeth:.0f} teeth. Give the "
        "radial depth to see it in the work."
    )


def _chip_of(sheet: Sheet, known: Known) -> str:
    """The chip of one tooth, enlarged."""
    thickest, mean = known.text("max_chip_thickness"), known.text("mean_chip_thickness")
    engaged = math.radians(known.number("engagement_angle"))
    factor = draw_chip(
        sheet, known.given("diameter") / 2, engaged, known.number("max_chip_thickness"), f"hmax {thickest}"
    )
    sheet.words(f"mean chip hm {mean}", EDGE, sheet.bottom + 14, anchor="start")
    return f"The chip is {thickest} at its thickest and {mean} in the mean; it is drawn {factor:g} times thicker."


def draw_chip(sheet: Sheet, radius: float, engaged: float, thickest: float, words: str) -> float:
    """The sickle between the paths of two teeth; returns how many times too thick it is drawn."""
    factor = round_factor(THICK * radius * min(engaged, 1.6) / thickest)
    widest = min(engaged, math.pi / 2)

    def outer(angle: float) -> Coordinate:
        reach = radius + factor * thickest * math.sin(angle) / math.sin(widest)
        return reach * math.sin(angle), -reach * math.cos(angle)

    inner = arc(0, 0, radius, -math.pi / 2, -math.pi / 2 + engaged)
    outside = [outer(engaged * i / 64) for i in range(65)]
    xs, ys = [x for x, _ in inner + outside], [y for _, y in inner + outside]
    pad = 0.04 * (max(xs) - min(xs))
    window = Window(min(xs) - pad, max(xs) + pad, min(ys) - pad, max(ys) + pad)
    sheet.heading(f"The chip of one tooth, drawn {factor:g} times thicker", y=sheet.bottom + 32)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 8, width=CHIP_WIDE, height=CHIP_HIGH)
    view.outline([*inner, *reversed(outside)], "chip", data_name="chip")
    view.stroke(inner, "band")
    near = (radius * math.sin(widest), -radius * math.cos(widest))
    view.between(near, outer(widest), words, name="hmax")
    return factor


def chip_thinning(known: Known) -> SafeString:
    """The light cut from above, its chip enlarged, and feed and chip as bars at one scale."""
    radius, radial = known.given("diameter") / 2, known.given("radial_depth")
    diameter, depth = known.quantity("diameter", "mm"), known.quantity("radial_depth", "mm")
    angle, feed = known.quantity("lead_angle", "deg"), known.quantity("feed_per_tooth", "mm")
    engaged = float(chip.engagement_angle(depth, diameter).m_as("rad"))
    thickest = float(chip.max_chip_thickness(feed, depth, diameter, angle).m_as("mm"))
    mean = float(chip.mean_chip_thickness(feed, depth, diameter, angle).m_as("mm"))
    if not (engaged > 0 and thickest > 0):
        raise TooLittle("chip")
    sheet = Sheet()
    sheet.heading("Along the axis")
    window = Window(-1.35 * radius, 1.75 * radius, -1.4 * radius, 1.08 * radius)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 6, width=WIDTH - 2 * EDGE - 200, height=190)
    bow = arc(0, 0, radius, -math.pi / 2, -math.pi / 2 + engaged)
    far = 9 * radius
    view.metal([(-far, -radius), *bow, (far, radial - radius), (far, -far), (-far, -far)])
    view.outline(circle(0, 0, radius), "tool see-through")
    view.stroke(bow, "band", data_name="band")
    view.words(f"Ø {known.given_text('diameter')}", 0, 0)
    words = f"ae {known.given_text('radial_depth')}"
    view.down(radial - radius, -radius, view.right + 8, words, name="ae", start=(1.75 * radius, 0.0))
    factor = draw_chip(sheet, radius, engaged, thickest, f"hmax {known.length(thickest)}")
    _bars(sheet, known, thickest, mean)
    wanted = "thickest" if known.has("max_chip_thickness") else "mean"
    return sheet.drawn(
        "The chip that thins",
        f"With {known.given_text('radial_depth')} of radial depth a feed per tooth of {known.text('feed_per_tooth')} "
        f"gives a chip of {known.length(thickest)} at its thickest and {known.length(mean)} in the mean; the "
        f"{wanted} one was asked for. The feed is {known.text('factor')} times it. The chip is drawn {factor:g} times "
        "thicker.",
    )


def _bars(sheet: Sheet, known: Known, thickest: float, mean: float) -> None:
    """Feed per tooth beside the chip it gives, at one scale."""
    feed = known.number("feed_per_tooth")
    rows = [
        (feed, f"fz {known.text('feed_per_tooth')}", "part-2", "fz"),
        (thickest, f"hmax {known.length(thickest)}", "chip", "hmax-bar"),
        (mean, f"hm {known.length(mean)}", "chip", "hm-bar"),
    ]
    sheet.heading("Feed per tooth and chip, at one scale", y=sheet.bottom + 32)
    sheet.bars(rows, room=170)
