"""Holes in section: the drill at its deepest, and the tap in its thread."""

from __future__ import annotations

import math

from django.utils.safestring import SafeString

from calc.cutting.threads import Thread, thread
from crib.web.charts.svg import Coordinate
from crib.web.drawings.geometry import Window, rectangle
from crib.web.drawings.paper import EDGE, WIDTH, Sheet, View
from crib.web.drawings.reading import Known, TooLittle

HIGHEST = 340.0
MOST_PECKS = 60
SMALLEST_PITCH = 3.0  # on the paper; finer threads are drawn as two lines
CHAMFER_THREADS = 2.0  # of a bottoming tap, where nothing is said: common practice, no source


def drilling(known: Known) -> SafeString:
    """A section through the hole with the drill at its deepest; without a depth, the drill's point alone."""
    radius, point = known.given("diameter") / 2, known.number("point_length")
    sheet = Sheet()
    if known.has("travel", "depth"):
        says = _drilled(sheet, known, radius, point)
    else:
        says = _point_alone(sheet, known, radius, point)
    return sheet.drawn("The hole", says)


def _drilled(sheet: Sheet, known: Known, radius: float, point: float) -> str:
    depth, travel = known.given("depth"), known.number("travel")
    through = known.yes("through")
    # A through hole's plate is as thick as the hole is deep; under a blind one some metal is left.
    bottom = -depth if through else -travel - 0.9 * radius
    lowest = min(bottom, -travel) - 0.25 * radius
    sheet.heading("The hole in section")
    top = max(2 * radius, 0.12 * travel)
    window = Window(-3.2 * radius, 3.2 * radius, lowest, top)
    view = sheet.view(window, left=EDGE + 110, top=sheet.bottom + 34, width=WIDTH - 2 * EDGE - 220, height=HIGHEST)
    far = 9 * radius
    view.metal(rectangle(-far, far, bottom, 0))
    drill = [(-radius, top + far), (-radius, -depth), (0.0, -travel), (radius, -depth), (radius, top + far)]
    view.outline(drill, "tool", data_name="drill")
    view.stroke([(0, top), (0, lowest)], "axis-line")
    _pecks(view, known, radius, travel)
    view.stroke([(-radius, -depth), (0, -travel), (radius, -depth)], "band")
    view.across(-radius, radius, view.top - 8, f"DC {known.given_text('diameter')}", name="dc", start=(top, top))
    words = f"depth {known.given_text('depth')}"
    view.down(0, -depth, view.left - 10, words, name="depth", start=(-far, -radius), left=True)
    view.down(0, -travel, view.right + 10, f"travel {known.text('travel')}", name="travel", start=(far, 0))
    words = f"point {known.text('point_length')}"
    view.leader(radius * 0.5, -depth - point / 2, (view.right + 10, view.at(0, lowest)[1] + 14), words)
    sheet.legend([("metal", "the work"), ("tool", "the drill"), ("band", "the lips"), *_peck_legend(known)])
    kind = "through" if through else "blind"
    return (
        f"Section of the {kind} hole: {known.given_text('depth')} deep, {known.given_text('diameter')} across; the "
        f"drill travels {known.text('travel')}, its point is {known.text('point_length')} long."
    )


def _pecks(view: View, known: Known, radius: float, travel: float) -> None:
    """The levels at which the drill is drawn back."""
    peck = known.maybe("peck_depth")
    if peck is None or not 0 < peck < travel or travel / peck > MOST_PECKS:
        return
    for place in range(1, math.ceil(travel / peck - 1e-9)):
        view.stroke([(-1.5 * radius, -place * peck), (1.5 * radius, -place * peck)], "hidden-line", data_name="peck")


def _peck_legend(known: Known) -> list[tuple[str, str]]:
    return (
        [("hidden-line stroke", f"drawn back every {known.given_text('peck_depth')}")]
        if known.has("peck_depth")
        else []
    )


def _point_alone(sheet: Sheet, known: Known, radius: float, point: float) -> str:
    sheet.heading("The drill's point")
    high = max(2 * point, 1.2 * radius)
    window = Window(-1.5 * radius, 1.5 * radius, -0.1 * radius, high)
    view = sheet.view(window, left=EDGE + 70, top=sheet.bottom + 34, width=WIDTH - 2 * EDGE - 230, height=240)
    shape = [(-radius, high * 2), (-radius, point), (0.0, 0.0), (radius, point), (radius, high * 2)]
    view.outline(shape, "tool", data_name="drill")
    view.stroke([(0, high), (0, -0.1 * radius)], "axis-line")
    view.stroke([(-radius, point), (0.0, 0.0), (radius, point)], "band")
    view.across(-radius, radius, view.top - 8, f"DC {known.given_text('diameter')}", name="dc", start=(high, high))
    words = f"point {known.text('point_length')}"
    view.down(point, 0, view.right + 6, words, name="point", start=(radius, 0))
    view.words(f"σ {known.given_text('point_angle')}", 0, max(0.55 * high, 1.2 * point))
    return (
        f"A drill of {known.given_text('diameter')} with a point of {known.given_text('point_angle')}, "
        f"{known.text('point_length')} long. Give the depth to see the hole."
    )


def tapping(known: Known) -> SafeString:
    """A section through the thread: finished on the left of the axis, the tap in it on the right."""
    named = _thread_of(known)
    pitch, major = float(named.pitch.m_as("mm")), float(named.diameter.m_as("mm")) / 2
    minor, depth = float(named.minor_diameter.m_as("mm")) / 2, known.maybe("travel")
    if not 0 < minor < major:
        raise TooLittle("thread")
    reach = depth if depth is not None else 8 * pitch
    said = known.maybe("chamfer_threads")
    threads = CHAMFER_THREADS if said is None else said
    lead = min(threads * pitch, reach)
    bottom = max(known.maybe("drilled_depth") or reach + pitch, reach)
    sheet = Sheet()
    sheet.heading("The thread in section")
    lowest, top = -bottom - 0.5 * pitch - 0.3 * major, 1.2 * major
    window = Window(-2.6 * major, 2.6 * major, lowest, top)
    view = sheet.view(window, left=EDGE + 100, top=sheet.bottom + 34, width=WIDTH - 2 * EDGE - 250, height=HIGHEST)
    far, full = 9 * major, -reach + lead
    view.metal(rectangle(-far, far, lowest - far, 0))
    view.outline(rectangle(-minor, minor, -bottom, 0), "air", data_name="hole")
    _cut_thread(view, (minor, major, pitch), full)
    _half_a_tap(view, (minor, major), reach, lead, top)
    view.stroke([(0, top), (0, lowest)], "axis-line")
    view.across(-major, major, view.top - 8, f"D {known.length(2 * major)}", name="major", start=(0.0, top))
    words = f"P {known.length(pitch)}"
    starts = known.maybe("starts") or 1.0
    if starts > 1:
        words += f", {starts:.0f} starts"
    view.leader(-major, -3 / 8 * pitch, (view.left - 8, view.at(0, 0)[1] + 24), words, anchor="end")
    level = view.bottom + 18
    view.across(-minor, minor, level, f"D1 {known.length(2 * minor)}", name="minor", start=(lowest, lowest))
    sheet.bottom = level + 8
    says = (
        f"A thread of {known.length(2 * major)} with a pitch of {known.length(pitch)}, its minor diameter "
        f"{known.length(2 * minor)}. " + _depths(view, known, (minor, reach, lead, bottom))
    )
    chamfer = f"the tap's chamfer, {threads:g} threads taken: no full thread there"
    sheet.legend([("metal", "the work"), ("tool", "the tap"), ("band", chamfer)])
    return sheet.drawn("The thread", says)


def _depths(view: View, known: Known, sizes: tuple[float, float, float, float]) -> str:
    """How deep the tap goes and the hole is, drawn and in words."""
    minor, reach, lead, bottom = sizes
    if not known.has("travel"):
        return "Give the depth to see how far the tap goes."
    words = f"travel {known.text('travel')}"
    view.down(0, -reach, view.right + 10, words, name="travel", start=(view.window.right, minor))
    view.leader(minor, -reach + lead / 2, (view.right + 10, view.at(0, -reach)[1] + 24), "tap's chamfer")
    says = f"The tap goes {known.text('travel')} deep; along its chamfer, {known.length(lead)}, it is not full."
    if not known.has("drilled_depth"):
        return says
    words = f"drilled {known.text('drilled_depth')}"
    view.down(0, -bottom, view.left - 10, words, name="drilled", start=(view.window.left, -minor), left=True)
    return f"{says} Drill {known.text('drilled_depth')} deep before."


def _thread_of(known: Known) -> Thread:
    if known.word("thread"):
        return thread(known.word("thread"))
    return Thread("", known.quantity("diameter", "mm"), known.quantity("pitch", "mm"), inch=False)


def _cut_thread(view: View, sizes: tuple[float, float, float], full: float) -> None:
    """The finished thread in the left wall; a fine one as the line of its roots."""
    minor, major, pitch = sizes
    view.stroke([(-minor, 0.0), (-minor, full)], "hidden-line")
    if pitch * view.scale < SMALLEST_PITCH:
        view.stroke([(-major, 0.0), (-major, full)], "edge-line", data_name="root")
        return
    # Basic profile: flat roots of P/8 and flat crests of P/4 with flanks between them. [iso-68-1 (m)]
    points: list[Coordinate] = [(0.0, 0.0)]
    for turn in range(max(1, int(-full / pitch))):
        for share, radius in ((0.0, minor), (5 / 16, major), (7 / 16, major), (3 / 4, minor)):
            points.append((-radius, -(turn + share) * pitch))
    view.outline([*points, (0.0, points[-1][1])], "air", data_name="thread")


def _half_a_tap(view: View, radii: tuple[float, float], reach: float, lead: float, top: float) -> None:
    """The tap at its deepest, on the right of the axis."""
    minor, major = radii
    tip = 0.92 * minor
    flank = [(tip, -reach), (major, -reach + lead)]
    view.outline([(0.0, -reach), *flank, (major, top * 2), (0.0, top * 2)], "tool", data_name="tap")
    view.stroke(flank, "band", data_name="chamfer")
