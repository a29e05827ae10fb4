"""A chamfer on an edge: where the tool stands, which band of its flute cuts, and whether it fits."""

from calc.cutting.bands import edge_range
from calc.cutting.chamfer import EdgeChamfer, edge_chamfer
from calc.cutting.cone import ConicalMill, in_mm, mm_of
from calc.cutting.speed import time_in_cut
from calc.errors import WorkingError
from calc.units import Quantity
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
    mill_of,
    propose,
    say_conditions,
    say_fit,
    say_free_bands,
    say_proposal,
    warn_of_wear,
    wear_of,
)
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step, Working
from calc.workings.shared import GEOMETRY, KINEMATICS, length

PLACE = ("chamfer_width", "contact_low", "axis_offset", "depth_below_face")
AROUND = ("neighbour_distance", "neighbour_height", "floor_depth")
NEIGHBOUR = "Distance to a neighbouring wall"


def _edge(given: Given) -> Found:
    found = Found()
    mill, wear, around = mill_of(given, found), wear_of(given, found), _around(given, found)
    place = {name: given.quantity(name) for name in PLACE if name in given}
    proposal = None
    if alone := len(place) == 1:  # the width with worn bands or a tip: the group lets nothing else through
        width = place["chamfer_width"]
        fits = edge_range(mill, width, **around)
        proposal = propose(given, mill, width, wear, fits)
        place["contact_low"] = _chosen(given, found, proposal)
    cut = edge_chamfer(mill, **place, **around, system=given.system)
    if not alone:
        width = cut.chamfer_width
        fits = edge_range(mill, width, **around)
        proposal = propose(given, mill, width, wear, fits)
    _say_place(given, found, mill, cut)
    rooms = cut.clearances
    say_fit(
        given, found, mill,
        {"clearance_tip": rooms.tip_flat, "clearance_shank": rooms.shank, "clearance_far_wall": rooms.far_wall,
         "clearance_floor": rooms.floor},
        cut.why_not,
    )  # fmt: skip
    say_free_bands(given, found, mill, width, wear, fits)
    _say_where(given, found, proposal, alone)
    span = cut.contact_low, cut.contact_high
    warn_of_wear(given, found, proposal, wear, span, "put the lowest contact at {low}.")
    say_conditions(given, found, cut, "Feed rate at the edge")
    if "length_of_cut" in given and "feed_rate" in found.results:
        _say_time(given, found)
    return found


def _around(given: Given, found: Found) -> dict[str, Quantity]:
    """What stands around the edge, as far as it is known."""
    around = {name: given.quantity(name) for name in AROUND if name in given}
    if "neighbour_height" in around and "neighbour_distance" not in around:
        raise WorkingError(
            "neighbour_distance", f"{NEIGHBOUR} is missing: give it with the wall's height, or leave both empty."
        )
    if "neighbour_distance" in around and "neighbour_height" not in around:
        found.assumed.append("The neighbouring wall counts as high as the tool is widest, as its height is not given.")
    return around


def _chosen(given: Given, found: Found, proposal: Proposal | None) -> Quantity:
    """The lowest contact that the working takes by itself when the width alone is said."""
    if proposal is None:
        raise WorkingError(
            "max_diameter",
            "The largest diameter of the flute is missing: the least worn band cannot be found without it. Give it, or "
            "give the place of the tool, such as its lowest contact.",
        )
    if proposal.found is True:
        found.assumed.append("The contact begins where the least worn band that fits does, as no place was given.")
    elif proposal.found is False:
        found.assumed.append(
            "No place was given and no band fits: what is shown begins a tenth of the room above the tip flat."
        )
    return proposal.contact_or(proposal.tenth_of_room())


def _say_place(given: Given, found: Found, mill: ConicalMill, cut: EdgeChamfer) -> None:
    """Where the tool stands and what of it cuts."""
    found.results |= {
        "axis_offset": cut.axis_offset, "depth_below_face": cut.depth_below_face, "chamfer_width": cut.chamfer_width,
        "chamfer_depth": cut.chamfer_depth, "contact_low": cut.contact_low, "contact_high": cut.contact_high,
        "effective_diameter": cut.effective_diameter, "smallest_diameter": cut.smallest_diameter,
        "program_diameter": cut.program_diameter,
    }  # fmt: skip
    if given.many:
        return
    show = given.show
    tip, slope = show(in_mm(mill.tip_radius)), show(mill.slope)
    offset, depth, width = show(cut.axis_offset), show(cut.depth_below_face), show(cut.chamfer_width)
    found.working += [
        Step("Radius gained per height", "tan(σ / 2)", f"tan({show(mill.included_angle)} / 2)", slope, GEOMETRY),
        Step("Chamfer width along the face", "w = d0 / 2 + z · tan(σ / 2) − x",
             f"{tip} + {depth} · {slope} − {offset}", width, GEOMETRY),
        Step("Lowest contact above the tip flat", "(x − d0 / 2) / tan(σ / 2), not below the tip",
             f"({offset} − {tip}) / {slope}", show(cut.contact_low), GEOMETRY),
        Step("Chamfer depth down the wall", "highest contact − lowest contact",
             f"{show(cut.contact_high)} − {show(cut.contact_low)}", show(cut.chamfer_depth), GEOMETRY),
        Step("Largest diameter in contact", "d0 + 2 · z · tan(σ / 2)", f"2 · ({tip} + {depth} · {slope})",
             show(cut.effective_diameter), GEOMETRY),
        Step("Smallest diameter in contact", "d0 + 2 · lowest contact · tan(σ / 2)",
             f"2 · ({tip} + {show(cut.contact_low)} · {slope})", show(cut.smallest_diameter), GEOMETRY),
        Step("Diameter to program", "2 · x: the control then keeps the axis this far from the wall", f"2 · {offset}",
             show(cut.program_diameter), GEOMETRY),
    ]  # fmt: skip


def _say_where(given: Given, found: Found, proposal: Proposal | None, alone: bool) -> None:
    """The proposed band, and where it puts the tool."""
    if proposal is None:
        return
    (low, high), mill, show = proposal.span, proposal.mill, given.show
    offset = in_mm(mill.radius_at(mm_of(low)))
    diameter = mill.diameter_at(mm_of(low))
    places = {"proposed_axis_offset": offset, "proposed_depth_below_face": high, "proposed_program_diameter": diameter}
    say_proposal(given, found, proposal, places)
    if alone or given.many or not proposal.found:
        return  # the steps of the place itself say the same, or there is none
    tip, slope = show(in_mm(mill.tip_radius)), show(mill.slope)
    found.working += [
        Step("Axis offset for that band", "d0 / 2 + its lowest contact · tan(σ / 2)", f"{tip} + {show(low)} · {slope}",
             show(offset), GEOMETRY),
        Step("Depth of the tip flat for that band", "its highest contact", show(high), show(high), GEOMETRY),
        Step("Diameter to program for that band", "2 · its axis offset", f"2 · {show(offset)}", show(diameter),
             GEOMETRY),
    ]  # fmt: skip


def _say_time(given: Given, found: Found) -> None:
    way, passes, rate = given.quantity("length_of_cut"), given.count("passes"), found.results["feed_rate"]
    time = found.results["time_in_cut"] = time_in_cut(way * passes, rate)
    numbers = f"{given.show(way)} · {given.show(passes)} / {given.show(rate)}"
    found.working.append(Step("Time in cut", "t = length · passes / vf", numbers, given.show(time), KINEMATICS))
    found.assumed.append(
        "The length of cut is all that is travelled in the cut; run-in and run-out are not added to it."
    )


CHAMFER_EDGE = Working(
    name="chamfer-edge", title="Chamfer on an edge",
    says="Where to put a chamfer mill beside an edge, which band of its flute cuts, and whether it fits.",
    inputs=(
        *MILL_INPUTS,
        length("chamfer_width", "Chamfer width along the face", group="place", example=0.5),
        length("contact_low", "Lowest contact above the tip flat", group="place", above=None, lowest=0, example=1,
               hint="Higher on the flute cuts faster and spares the worn band."),
        length("axis_offset", "Axis offset from the wall", group="place", above=None, lowest=0),
        length("depth_below_face", "Depth of the tip flat below the face", group="place"),
        *WEAR_INPUTS,
        length("neighbour_distance", NEIGHBOUR,
               hint="Across the gap the tool stands in, from the wall of the edge."),
        length("neighbour_height", "Height of that wall above the face", above=None, lowest=0,
               hint="0 when it is level with the face or lower; left out, it counts as high as the tool is widest."),
        length("floor_depth", "Depth of a floor below the face", hint="Under the tip of the tool."),
        *CONDITIONS,
        length("length_of_cut", "Length of cut", hint="Along the edge, for the time in cut."),
        Input(name="passes", label="Passes", kind=Kind.COUNT, lowest=1, highest=100000, default=1),
    ),
    groups=(
        Group(name="place", label="the place of the tool", needs=2,
              enough=(("chamfer_width", "worn"), ("chamfer_width", "item"))),
        SPEED_OR_NONE, FEED_OR_NONE,
    ),
    results=(
        Result(name="axis_offset", label="Axis offset from the wall", symbol="x", unit="mm"),
        Result(name="depth_below_face", label="Depth of the tip flat below the face", symbol="z", unit="mm"),
        Result(name="chamfer_width", label="Chamfer width along the face", symbol="w", unit="mm"),
        Result(name="chamfer_depth", label="Chamfer depth down the wall", unit="mm"),
        *CONTACT_RESULTS,
        *ACROSS_RESULTS,
        Result(name="program_diameter", label="Diameter to program", unit="mm"),
        *SPEED_RESULTS,
        Result(name="time_in_cut", label="Time in cut", unit="min", needs=f"Give the length of cut. {NEEDS_FEED}"),
        *WEAR_RESULTS,
        Result(name="proposed_axis_offset", label="Axis offset for the least worn band", unit="mm", needs=NEEDS_WEAR),
        PROPOSED_DEPTH,
        PROPOSED_PROGRAM,
        *FIT_RESULTS,
        Result(name="clearance_far_wall", label="Clearance to the neighbouring wall", unit="mm",
               needs="Give the distance to the neighbouring wall."),
        Result(name="clearance_floor", label="Clearance of the tip flat over the floor", unit="mm",
               needs="Give the depth of the floor."),
        *VERDICT,
    ),
    headline=("axis_offset", "depth_below_face", "program_diameter", "spindle_speed"),
    compute=_edge,
    takes_arrays=True,
    sources=("plane-geometry", "iso-3002-3 (m)"),
)  # fmt: skip
