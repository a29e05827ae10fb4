"""The profile of a thread, many times enlarged, with what the drill leaves of it."""

from __future__ import annotations

import math
from itertools import pairwise

from django.utils.safestring import SafeString

from calc.cutting.thread_profile import TAPER, Thread
from calc.cutting.threads import thread
from crib.web.charts.svg import Coordinate
from crib.web.drawings.geometry import Window, spread
from crib.web.drawings.paper import EDGE, LINE, WIDTH, Sheet, View
from crib.web.drawings.reading import Known, TooLittle

TURNS = 2
ROUNDING = 0.137329  # of a 55 degree profile's crests and roots, in pitches [iso-228-1]
ROOT_SHARE = {"metric": 1 / 3, "unified": 1 / 3}  # of both flats: P/8 at the root, P/4 at the crest [iso-68-1 (m)]


def profile(known: Known) -> SafeString:
    """The wall of the hole over the axis: two teeth of the nut thread, cut off where the drill has been."""
    named = thread(known.word("thread"))
    pitch, height = known.number("pitch"), known.number("thread_height")
    major, minor = float(named.diameter.m_as("mm")), known.number("minor_diameter")
    drill = _drill(known)
    if not (0 < minor < major and pitch > 0):
        raise TooLittle("thread")
    # Levels above the minor diameter's, on the radius; the axis lies far below the picture.
    bore = 0.0 if drill is None else (drill - minor) / 2
    if drill is not None and abs(bore) > 2 * pitch:
        raise TooLittle("drill")
    sheet = Sheet()
    sheet.heading("The profile in section, enlarged")
    low, top = min(0.0, bore) - 0.35 * pitch, max(height, bore) + 0.4 * pitch
    window = Window(-0.2 * pitch, (TURNS + 0.1) * pitch, low, top)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 36, width=WIDTH - 2 * EDGE - 190, height=250)
    teeth = _tapered(_teeth(named, pitch, height), named, pitch)
    far = 9 * pitch
    left = [(x, max(y, bore)) for x, y in _dense(teeth, bore)] if drill is not None else teeth
    view.metal([(-far, far), (-far, left[0][1]), *left, (far, left[-1][1]), (far, far)])
    view.stroke(teeth, "hidden-line", data_name="profile")
    if drill is not None:
        view.stroke([(-far, bore), (far, bore)], "band", data_name="drill")
    if named.taper:
        view.stroke(_tapered([(-far, height), (far, height)], named, pitch), "axis-line", data_name="taper")
    view.across(0.5 * pitch, 1.5 * pitch, view.top - 8, f"P {known.text('pitch')}", name="pitch", start=(0.0, 0.0))
    view.down(height, 0, view.left + 12, f"depth {known.text('thread_height')}", name="height")
    marks = [(height, f"D {known.length(major)}"), (0.0, f"D1 {known.text('minor_diameter')}")]
    marks.append(((known.number("pitch_diameter") - minor) / 2, f"D2 {known.text('pitch_diameter')}"))
    if drill is not None:
        marks.append((bore, f"drill {known.length(drill)}"))
    _levels(view, marks)
    sheet.legend(_legend(known, named, drill))
    return sheet.drawn("The profile of the thread", _says(known, named, drill))


def _percent(known: Known) -> str:
    percent = known.text("percent_of_handbook") or known.text("percent_of_profile")
    return f"{percent} of thread" if percent else ""


def _legend(known: Known, named: Thread, drill: float | None) -> list[tuple[str, str]]:
    percent = _percent(known)
    left = "the wall before the tap forms it" if known.word("form") == "form" else "what is left of the wall"
    entries = [("metal", left), ("hidden-line stroke", "the basic profile")]
    if drill is not None:
        entries.append(("band", f"the drilled hole{f': {percent}' if percent else ''}"))
    if named.taper:
        entries.append(("axis-line stroke", f"the taper, 1 in {TAPER} on the diameter"))
    return entries


def _says(known: Known, named: Thread, drill: float | None) -> str:
    says = [
        f"{named.name}: major diameter {known.length(float(named.diameter.m_as('mm')))}, pitch diameter "
        f"{known.text('pitch_diameter')}, minor diameter {known.text('minor_diameter')}, pitch {known.text('pitch')}, "
        f"{known.text('thread_height')} deep."
    ]
    percent = _percent(known)
    if drill is not None:
        says.append(f"The drill is {known.length(drill)}{f' and leaves {percent}' if percent else ''}.")
    if named.taper:
        says.append(f"It tapers 1 in {TAPER} on the diameter; the sizes are those at its gauge plane.")
    return " ".join(says)


def _drill(known: Known) -> float | None:
    """The drill's diameter, or that of the exact hole where no drill is named; None for a thread that has neither."""
    size = known.mapping("drill").get("mm")
    if isinstance(size, int | float) and math.isfinite(size) and size > 0:
        return float(size)
    return known.maybe("drill_diameter")


def _teeth(named: Thread, pitch: float, height: float) -> list[Coordinate]:
    """The line of the teeth, crests of the nut thread at 0 and roots at the height."""
    flank = height * math.tan(math.radians(float(named.angle.m_as("deg")) / 2))
    flats = pitch - 2 * flank
    points: list[Coordinate] = []
    for turn in range(-1, TURNS + 2):
        middle = (turn + 0.5) * pitch
        if float(named.angle.m_as("deg")) == 55.0:
            points += _round(middle, 0.0, pitch, up=False) + _round(middle + pitch / 2, height, pitch, up=True)
            continue
        root = flats * ROOT_SHARE.get(named.family, 1 / 2)
        crest = flats - root
        points += [(middle - crest / 2, 0.0), (middle + crest / 2, 0.0)]
        points += [(middle + pitch / 2 - root / 2, height), (middle + pitch / 2 + root / 2, height)]
    return points


def _round(x: float, level: float, pitch: float, *, up: bool) -> list[Coordinate]:
    """The rounded crest or root of a 55 degree profile, tangent to its flanks."""
    radius, side = ROUNDING * pitch, 1 if up else -1
    reach = math.radians(62.5)
    turns = [reach * (i / 6 - 1) for i in range(13)]
    return [(x + radius * math.sin(turn), level - side * radius * (1 - math.cos(turn))) for turn in turns]


def _tapered(points: list[Coordinate], named: Thread, pitch: float) -> list[Coordinate]:
    """The line leaning by the taper about the middle of the picture; a parallel thread as it is."""
    if not named.taper:
        return points
    return [(x, y - (x - TURNS * pitch / 2) / (2 * TAPER)) for x, y in points]


def _dense(points: list[Coordinate], level: float) -> list[Coordinate]:
    """The same line with a point wherever it crosses a level."""
    found = [points[0]]
    for (x1, y1), (x2, y2) in pairwise(points):
        if (y1 - level) * (y2 - level) < 0:
            found.append((x1 + (level - y1) / (y2 - y1) * (x2 - x1), level))
        found.append((x2, y2))
    return found


def _levels(view: View, marks: list[tuple[float, str]]) -> None:
    """The diameters beside the profile, each with a line to its level."""
    levels = spread([view.at(0, level)[1] for level, _ in marks], view.top, view.bottom + 10, LINE + 1)
    for (level, words), at in zip(marks, levels, strict=True):
        view.stroke([(view.window.left, level), (view.window.right, level)], "level-line")
        view.leader(view.window.right, level, (view.right + 16, at), words)
