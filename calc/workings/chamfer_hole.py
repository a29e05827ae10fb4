"""A chamfer on the mouth of a hole: how deep to go, by plunging or by circling, and whether the tool fits."""

import math
from typing import Any

import numpy as np
import pint

from calc.cutting.bands import Span, circle_range
from calc.cutting.cone import HAIR, ConicalMill, in_mm, mm_of
from calc.cutting.hole_chamfer import HoleChamfer, interpolate, plunge
from calc.cutting.speed import time_in_cut
from calc.cutting.threads import thread
from calc.errors import WorkingError
from calc.units import Quantity, choose, in_unit, plain, ureg
from calc.workings.chamfer_shared import (
    ACROSS_RESULTS,
    CONDITIONS,
    CONTACT_RESULTS,
    FEED_OR_NONE,
    FIT_RESULTS,
    MILL_INPUTS,
    NEEDS_FEED,
    NEEDS_WEAR,
    PROPOSED_DEPTH,
    PROPOSED_PROGRAM,
    SPEED_OR_NONE,
    SPEED_RESULTS,
    VERDICT,
    WEAR_INPUTS,
    WEAR_RESULTS,
    Proposal,
    Wear,
    mill_of,
    propose,
    say_conditions,
    say_fit,
    say_free_bands,
    say_proposal,
    say_verdict,
    warn_of_wear,
    wear_of,
)
from calc.workings.declaration import Found, Given, Group, Input, Kind, Mark, Result, Step, Working
from calc.workings.shared import GEOMETRY, KINEMATICS, length

THREAD_FACTOR = 1.10
NOT_BY_PLUNGE = "It is known for circling only; choose that."


def _hole(given: Given) -> Found:
    found = Found()
    mill, wear = mill_of(given, found), wear_of(given, found)
    hole, mouth = given.quantity("hole_diameter"), _chamfer_diameter(given, found)
    circled = given.text("how") == "interpolate"
    if not circled and "contact_low" in given:
        raise WorkingError("contact_low", "Contact low can be chosen only by interpolation; a plunge leaves no choice.")
    shut = plain(mm_of(hole) / 2 <= mill.tip_radius + HAIR) if not circled else False
    if shut is True and not given.many:
        say_verdict(found, f"The tip flat of {given.show(mill.tip_diameter)} does not enter a hole of "
                    f"{given.show(hole)}: take a tool with a smaller tip flat.")  # fmt: skip
        found.results["chamfer_diameter"] = mouth
        return found
    width = in_unit((mouth - hole) / 2, "mm")
    fits = circle_range(mill, hole, mouth, hole_depth=given.quantity_or_none("hole_depth"))
    proposal = propose(given, mill, width, wear, fits)
    cut = _circle(given, found, mill, mouth, proposal) if circled else _plunge(given, mill, mouth, shut)
    _say_place(given, found, mill, cut, circled)
    rooms = cut.clearances
    say_fit(
        given, found, mill,
        {"clearance_tip": rooms.tip_flat, "clearance_entry": rooms.entry, "clearance_shank": rooms.shank,
         "clearance_bottom": rooms.bottom},
        cut.why_not,
    )  # fmt: skip
    say_free_bands(given, found, mill, width, wear, fits)
    _say_where(given, found, proposal, hole)
    _warn_of_wear(given, found, proposal, wear, (cut.contact_low, cut.contact_high))
    say_conditions(given, found, cut, "Feed rate at the edge" if circled else "Feed rate down the axis")
    if "feed_rate" in found.results:
        (_say_circle if circled else _say_plunge)(given, found, cut)
    if np.any(shut):
        _blank(found, shut)
    return found


def _chamfer_diameter(given: Given, found: Found) -> Quantity:
    if "chamfer_diameter" in given:
        return given.quantity("chamfer_diameter")
    named, factor = thread(given.text("thread")), given.number("factor")
    diameter = in_unit(named.diameter * factor, "mm")
    numbers = f"{given.show(factor)} · {given.show(in_unit(named.diameter, 'mm'))}"
    found.working.append(
        Step("Chamfer diameter for the thread", "factor · D", numbers, given.show(diameter), "common-practice")
    )
    if not np.all(mm_of(diameter) > mm_of(given.quantity("hole_diameter"))):
        raise WorkingError(
            "thread",
            f"Thread: its chamfer of {given.show(diameter)} is not larger than the hole; check the thread, the factor "
            "and the hole diameter.",
        )
    return diameter


def _circle(given: Given, found: Found, mill: ConicalMill, mouth: Quantity, proposal: Proposal | None) -> HoleChamfer:
    """By circling: at the contact asked for, else on the least worn band, else a tenth up the room."""
    hole, deep, low = (given.quantity_or_none(name) for name in ("hole_diameter", "hole_depth", "contact_low"))
    assert hole is not None  # it is required
    cut = interpolate(mill, hole, mouth, low, given.system, hole_depth=deep)
    if low is not None:
        return cut
    if proposal is None or proposal.found is False:
        found.assumed.append("The contact begins a tenth of the room up the flute, to keep the tip off the wall.")
        return cut
    found.assumed.append("The contact begins where the least worn band that fits does, as no contact was given.")
    return interpolate(mill, hole, mouth, proposal.contact_or(cut.contact_low), given.system, hole_depth=deep)


def _plunge(given: Given, mill: ConicalMill, mouth: Quantity, shut: Any) -> HoleChamfer:
    """On the axis; of a sweep, `shut` tells where the tip flat does not enter, which is blanked afterwards."""
    hole, deep = given.quantity("hole_diameter"), given.quantity_or_none("hole_depth")
    if np.any(shut):  # with a sharp point those can be worked out like the rest
        sharp = choose(shut, in_mm(0.0), mill.tip_diameter, "mm")
        mill = ConicalMill(mill.included_angle, sharp, mill.max_diameter, mill.shank_diameter)
    return plunge(mill, hole, mouth, given.system, hole_depth=deep)


def _blank(found: Found, shut: Any) -> None:
    """Take away what a tool that does not enter has no answer to, and mark it."""
    for name, value in found.results.items():
        if isinstance(value, pint.Quantity) and name not in ("chamfer_diameter", "flute_height"):
            found.results[name] = ureg.Quantity(np.where(shut, np.nan, value.magnitude), value.units)
    found.marks.append(Mark("tip_flat", "the tip flat does not enter the hole", shut))


def _say_place(given: Given, found: Found, mill: ConicalMill, cut: HoleChamfer, circled: bool) -> None:
    """Where the tool stands and what of it cuts."""
    found.results |= {
        "chamfer_diameter": cut.chamfer_diameter, "depth_below_face": cut.depth_below_face,
        "chamfer_depth": cut.chamfer_depth, "contact_low": cut.contact_low, "contact_high": cut.contact_high,
        "interpolation_radius": cut.interpolation_radius, "effective_diameter": cut.effective_diameter,
        "smallest_diameter": cut.smallest_diameter,
    }  # fmt: skip
    if circled:
        found.results["program_diameter"] = cut.program_diameter
    if given.many:
        return
    show = given.show
    hole, mouth, slope = show(given.quantity("hole_diameter")), show(cut.chamfer_diameter), show(mill.slope)
    low, high, tip = show(cut.contact_low), show(cut.contact_high), show(mill.tip_diameter)
    smallest, largest = show(cut.smallest_diameter), show(cut.effective_diameter)
    found.working += [
        Step("Height of the chamfer", "(mouth − hole) / (2 · tan(σ / 2))", f"({mouth} − {hole}) / (2 · {slope})",
             show(cut.chamfer_depth), GEOMETRY),
        Step("Depth of the tip flat below the face", "lowest contact + height of the chamfer",
             f"{low} + {show(cut.chamfer_depth)}", show(cut.depth_below_face), GEOMETRY),
        Step("Largest diameter in contact", "d0 + 2 · highest contact · tan(σ / 2)",
             f"{tip} + 2 · {high} · {slope}", largest, GEOMETRY),
        Step("Smallest diameter in contact", "d0 + 2 · lowest contact · tan(σ / 2)",
             f"{tip} + 2 · {low} · {slope}", smallest, GEOMETRY),
        Step("Radius of the axis' circle", "(mouth − largest contact) / 2", f"({mouth} − {largest}) / 2",
             show(cut.interpolation_radius), GEOMETRY),
    ]  # fmt: skip
    if circled:
        found.working.append(
            Step("Diameter to program", "smallest contact: the control then runs the axis on that circle when it "
                 "follows the wall of the hole", smallest, show(cut.program_diameter), GEOMETRY)
        )  # fmt: skip


def _say_where(given: Given, found: Found, proposal: Proposal | None, hole: Quantity) -> None:
    """The proposed band for circling, and where it puts the tool."""
    if proposal is None:
        return
    low, high = proposal.span
    diameter = proposal.mill.diameter_at(mm_of(low))
    circle = in_mm((mm_of(hole) - mm_of(diameter)) / 2)
    say_proposal(given, found, proposal, {
        "proposed_depth_below_face": high, "proposed_interpolation_radius": circle,
        "proposed_program_diameter": diameter,
    })  # fmt: skip
    if given.many or not proposal.found:
        return
    show, slope = given.show, given.show(proposal.mill.slope)
    numbers = f"({show(hole)} − {show(proposal.mill.tip_diameter)}) / 2 − {show(low)} · {slope}"
    found.working.append(
        Step("Radius of the axis' circle for that band", "(hole − d0) / 2 − its lowest contact · tan(σ / 2)", numbers,
             show(circle), GEOMETRY)
    )  # fmt: skip


def _warn_of_wear(given: Given, found: Found, proposal: Proposal | None, wear: Wear | None, span: Span) -> None:
    circled = given.text("how") == "interpolate"
    way_out = "put the lowest contact at {low}." if circled else (
        "a plunge leaves no choice, so circle (how: interpolate) with the lowest contact at {low}."
    )  # fmt: skip
    warn_of_wear(given, found, proposal, wear, span, way_out)


def _say_plunge(given: Given, found: Found, cut: HoleChamfer) -> None:
    """The time of plunging: from the first touch down to the depth, in every hole."""
    show, holes, rate = given.show, given.count("holes"), found.results["feed_rate"]
    time = found.results["time_in_cut"] = time_in_cut(cut.chamfer_depth * holes, rate)
    numbers = f"{show(cut.chamfer_depth)} · {show(holes)} / {show(rate)}"
    found.working.append(Step("Time in cut", "t = height of the chamfer · holes / vf", numbers, show(time), KINEMATICS))
    found.assumed.append("The time in cut is from the first touch to the depth; a dwell there is not added to it.")


def _say_circle(given: Given, found: Found, cut: HoleChamfer) -> None:
    """The feed of the tool's centre, and the time of one turn in every hole."""
    circle, mouth, rate, show = cut.interpolation_radius, cut.chamfer_diameter, found.results["feed_rate"], given.show
    enters = plain(mm_of(circle) > 0)
    if enters is False:
        return
    per_edge = choose(enters, circle, in_mm(math.nan), "mm") * 2 / mouth
    centre = found.results["centre_feed_rate"] = in_unit(rate * per_edge, "mm/min")
    holes, turn = given.count("holes"), 2 * math.pi * circle
    time = in_unit(turn * holes / centre, "min")
    found.results["time_in_cut"] = time
    found.working += [
        Step("Feed rate at the tool's centre", "vf · circle / mouth of the chamfer",
             f"{show(rate)} · {show(circle)} / {show(in_unit(mouth / 2, 'mm'))}", show(centre), GEOMETRY),
        Step("Time in cut", "t = 2π · circle · holes / vf of the centre",
             f"2π · {show(circle)} · {show(holes)} / {show(centre)}", show(time), KINEMATICS),
    ]  # fmt: skip
    found.assumed.append("The time in cut is one whole turn in each hole; going in and out is not added to it.")
    found.cautions.append("The feed rate is that of the edge; where the control feeds the centre, use the centre's.")


CHAMFER_HOLE = Working(
    name="chamfer-hole", title="Chamfer on a hole",
    says="How deep to go to chamfer a hole, by plunging or by circling, and whether the tool fits.",
    inputs=(
        length("hole_diameter", "Hole diameter", required=True, example=8.5),
        length("chamfer_diameter", "Chamfer diameter at the face", group="mouth", example=11),
        Input(name="thread", label="For a thread", kind=Kind.TEXT, group="mouth", hint="Such as M10; the mouth is the "
              "factor times its diameter."),
        Input(name="factor", label="Times the thread's diameter", kind=Kind.NUMBER, lowest=1, highest=3,
              default=THREAD_FACTOR),
        *MILL_INPUTS,
        Input(name="how", label="How", kind=Kind.CHOICE, choices=("plunge", "interpolate"), default="plunge",
              assumed="By plunging on the axis of the hole."),
        length("contact_low", "Lowest contact above the tip flat, when circling", above=None, lowest=0),
        *WEAR_INPUTS,
        length("hole_depth", "Depth of a blind hole", hint="From the face to where its full diameter ends."),
        *CONDITIONS,
        Input(name="holes", label="Holes", kind=Kind.COUNT, lowest=1, highest=100000, default=1),
    ),
    groups=(Group(name="mouth", label="the mouth of the chamfer"), SPEED_OR_NONE, FEED_OR_NONE),
    results=(
        Result(name="chamfer_diameter", label="Chamfer diameter at the face", unit="mm"),
        Result(name="depth_below_face", label="Depth of the tip flat below the face", symbol="z", unit="mm"),
        Result(name="chamfer_depth", label="Height of the chamfer", unit="mm"),
        *CONTACT_RESULTS,
        Result(name="interpolation_radius", label="Radius of the axis' circle", unit="mm"),
        *ACROSS_RESULTS,
        Result(name="program_diameter", label="Diameter to program", unit="mm", needs=NOT_BY_PLUNGE),
        *SPEED_RESULTS,
        Result(name="centre_feed_rate", label="Feed rate at the tool's centre", unit="mm/min",
               needs=f"{NOT_BY_PLUNGE} {NEEDS_FEED}"),
        Result(name="time_in_cut", label="Time in cut", unit="min", needs=NEEDS_FEED),
        *WEAR_RESULTS,
        PROPOSED_DEPTH,
        Result(name="proposed_interpolation_radius", label="Circle for the least worn band", unit="mm",
               needs=NEEDS_WEAR),
        PROPOSED_PROGRAM,
        *FIT_RESULTS,
        Result(name="clearance_entry", label="Clearance beside the tool where it enters", unit="mm",
               needs="The tip flat does not enter the hole."),
        Result(name="clearance_bottom", label="Clearance of the tip flat over the bottom", unit="mm",
               needs="Give the depth of the blind hole."),
        *VERDICT,
    ),
    headline=("depth_below_face", "interpolation_radius", "spindle_speed", "feed_rate"),
    compute=_hole,
    takes_arrays=True,
    sources=("plane-geometry", "iso-3002-3 (m)", "common-practice"),
)  # fmt: skip
