"""Chamfers on an edge and on a hole, with the band of the flute that cuts them."""

from calc.cutting.bands import free_bands
from calc.cutting.chamfer import ConicalMill, conical_mill, edge_chamfer
from calc.cutting.hole_chamfer import HoleChamfer, interpolate, plunge
from calc.cutting.speed import spindle_speed
from calc.cutting.threads import thread
from calc.errors import WorkingError
from calc.units import Quantity, in_unit, show_number, ureg
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step, Working
from calc.workings.shared import (
    CAPPED_BY,
    GEOMETRY,
    KINEMATICS,
    held_back,
    in_feed,
    length,
    limit_inputs,
    speed_step,
)

THREAD_FACTOR = 1.10
MOST_BANDS = 8
TOOL = (
    Input(name="included_angle", label="Included angle", symbol="σ", unit="deg", required=True, above=0, highest=179,
          example=90),
    length("tip_diameter", "Tip flat", "d0", required=True, above=None, lowest=0, example=1,
           hint="Diameter of the flat at the tip; 0 for a sharp point."),
    length("max_diameter", "Largest diameter of the flute", "DC", example=16),
)  # fmt: skip
CONDITIONS = (
    Input(name="teeth", label="Teeth", symbol="ZEFP", kind=Kind.COUNT, group="feed", way="feed", lowest=1, highest=200,
          example=4),
    Input(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min", above=0, example=60,
          hint="At the largest diameter in contact."),
    length("feed_per_tooth", "Feed per tooth", "fz", group="feed", way="feed", example=0.05),
    *limit_inputs("max_spindle_speed", "max_feed_rate"),
)  # fmt: skip
FEED_GROUP = Group(name="feed", label="the feed", required=False)
CONDITION_RESULTS = (
    Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min", needs="Give the surface speed."),
    Result(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min",
           needs="Give surface speed, teeth and feed per tooth."),
    Result(name="fits", label="Fits", kind=Kind.BOOL),
    Result(name="why_not", label="Why not", kind=Kind.TEXT),
    CAPPED_BY,
)  # fmt: skip


def _tool(given: Given, found: Found) -> ConicalMill:
    if "max_diameter" not in given:
        found.assumed.append("The largest diameter is not known: whether the shank stays clear was not checked.")
    return conical_mill(
        given.quantity("included_angle"), given.quantity("tip_diameter"), given.quantity_or_none("max_diameter")
    )


def _conditions(given: Given, found: Found, effective: Quantity) -> None:
    """Speed at the largest diameter in contact, and the feed at the edge; either may be left out."""
    if "surface_speed" not in given:
        return
    show = given.show
    speed = spindle_speed(given.quantity("surface_speed"), effective)
    found.working.append(speed_step(given, speed, effective, "largest contact"))
    if "feed_per_tooth" not in given:
        found.results["spindle_speed"] = held_back(given, found, speed, None).spindle_speed
        return
    teeth = given.count("teeth")
    held = held_back(given, found, speed, in_unit(given.quantity("feed_per_tooth") * teeth, "mm"))
    found.results |= {"spindle_speed": held.spindle_speed, "feed_rate": in_feed(held)}
    numbers = f"{show(in_unit(held.feed / teeth, 'mm'))} · {teeth} · {show(held.spindle_speed)}"
    found.working.append(Step("Feed rate at the edge", "vf = fz · z · n", numbers, show(in_feed(held)), KINEMATICS))


def _verdict(found: Found, why_not: str) -> None:
    found.results |= {"fits": not why_not, "why_not": why_not}
    if why_not:
        found.cautions.append(why_not)


def _edge(given: Given) -> Found:
    found, show = Found(), given.show
    mill = _tool(given, found)
    placed = {
        name: given.quantity_or_none(name)
        for name in ("chamfer_width", "contact_low", "axis_offset", "depth_below_face")
    }
    cut = edge_chamfer(
        mill, **placed, neighbour_distance=given.quantity_or_none("neighbour_distance"), system=given.system
    )
    found.results |= {
        "axis_offset": cut.axis_offset, "depth_below_face": cut.depth_below_face, "chamfer_width": cut.chamfer_width,
        "chamfer_depth": cut.chamfer_depth, "contact_low": cut.contact_low, "contact_high": cut.contact_high,
        "effective_diameter": cut.effective_diameter, "smallest_diameter": cut.smallest_diameter,
        "program_diameter": cut.program_diameter,
    }  # fmt: skip
    tip, slope = show(in_unit(mill.tip_diameter / 2, "mm")), show_number(mill.slope)
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
        Step("Diameter to program", "2 · x: the control then keeps the axis this far from the wall", f"2 · {offset}",
             show(cut.program_diameter), GEOMETRY),
    ]  # fmt: skip
    _verdict(found, cut.why_not)
    if mill.max_diameter is not None:
        bands = free_bands(mill, cut.chamfer_width, most=MOST_BANDS)
        text = "; ".join(f"{show(low)} to {show(high)}" for low, high in bands) or "none"
        numbers = f"bands {show(cut.chamfer_depth)} high, 0.1 mm apart, up to {show(in_unit(bands_top(mill), 'mm'))}"
        found.working.append(Step("Bands of the flute that can cut this width", "from the tip upward", numbers, text,
                                  GEOMETRY))  # fmt: skip
    _conditions(given, found, cut.effective_diameter)
    return found


def bands_top(mill: ConicalMill) -> Quantity:
    """Height of the flute as a quantity."""
    return ureg.Quantity(mill.flute_height, "mm")


CHAMFER_EDGE = Working(
    name="chamfer-edge", title="Chamfer on an edge",
    says="Where to put a chamfer mill beside an edge, which band of its flute cuts, and whether it fits.",
    inputs=(
        *TOOL,
        length("chamfer_width", "Chamfer width along the face", group="place", example=0.5),
        length("contact_low", "Lowest contact above the tip flat", group="place", above=None, lowest=0, example=1,
               hint="Higher on the flute cuts faster and spares the worn band."),
        length("axis_offset", "Axis offset from the wall", group="place", above=None, lowest=0),
        length("depth_below_face", "Depth of the tip flat below the face", group="place"),
        length("neighbour_distance", "Distance to a neighbouring wall",
               hint="Across the gap the tool stands in, from the wall of the edge."),
        *CONDITIONS,
    ),
    groups=(Group(name="place", label="the place of the tool", needs=2), FEED_GROUP),
    results=(
        Result(name="axis_offset", label="Axis offset from the wall", symbol="x", unit="mm"),
        Result(name="depth_below_face", label="Depth of the tip flat below the face", symbol="z", unit="mm"),
        Result(name="chamfer_width", label="Chamfer width along the face", symbol="w", unit="mm"),
        Result(name="chamfer_depth", label="Chamfer depth down the wall", unit="mm"),
        Result(name="contact_low", label="Lowest contact above the tip flat", unit="mm"),
        Result(name="contact_high", label="Highest contact above the tip flat", unit="mm"),
        Result(name="effective_diameter", label="Largest diameter in contact", unit="mm"),
        Result(name="smallest_diameter", label="Smallest diameter in contact", unit="mm"),
        Result(name="program_diameter", label="Diameter to program", unit="mm"),
        *CONDITION_RESULTS,
    ),
    headline=("axis_offset", "depth_below_face", "program_diameter", "spindle_speed"),
    compute=_edge,
    sources=("plane-geometry", "iso-3002-3 (m)"),
)  # fmt: skip


def _chamfer_diameter(given: Given, found: Found) -> Quantity:
    if "chamfer_diameter" in given:
        return given.quantity("chamfer_diameter")
    named, factor = thread(given.text("thread")), given.number("factor")
    diameter = in_unit(named.diameter * factor, "mm")
    numbers = f"{factor:g} · {given.show(in_unit(named.diameter, 'mm'))}"
    found.working.append(
        Step("Chamfer diameter for the thread", "factor · D", numbers, given.show(diameter), "common-practice")
    )
    return diameter


def _hole(given: Given) -> Found:
    found = Found()
    mill = _tool(given, found)
    mouth, hole = _chamfer_diameter(given, found), given.quantity("hole_diameter")
    if given.text("how") == "interpolate":
        cut = interpolate(mill, hole, mouth, given.quantity_or_none("contact_low"), given.system)
        if "contact_low" not in given:
            found.assumed.append("The contact begins a tenth of the room up the flute, to keep the tip off the wall.")
    elif "contact_low" in given:
        raise WorkingError("contact_low", "Contact low can be chosen only by interpolation; a plunge leaves no choice.")
    elif hole <= mill.tip_diameter:
        _verdict(found, f"The tip flat of {given.show(mill.tip_diameter)} does not enter a hole of {given.show(hole)}: "
                 "take a tool with a smaller tip flat.")  # fmt: skip
        found.results["chamfer_diameter"] = mouth
        return found
    else:
        cut = plunge(mill, hole, mouth, given.system)
    _hole_results(given, found, mill, cut)
    _verdict(found, cut.why_not)
    _conditions(given, found, cut.effective_diameter)
    if "feed_rate" in found.results and cut.interpolation_radius.magnitude > 0:
        centre = in_unit(found.results["feed_rate"] * cut.interpolation_radius * 2 / cut.chamfer_diameter, "mm/min")
        found.working.append(
            Step("Feed rate at the tool's centre", "vf · circle / mouth of the chamfer",
                 f"{given.show(found.results['feed_rate'])} · {given.show(cut.interpolation_radius)} / "
                 f"{given.show(in_unit(cut.chamfer_diameter / 2, 'mm'))}", given.show(centre), GEOMETRY)
        )  # fmt: skip
        found.cautions.append(
            "The feed rate is that of the edge; where the control feeds the centre, use the centre's."
        )
    return found


def _hole_results(given: Given, found: Found, mill: ConicalMill, cut: HoleChamfer) -> None:
    show = given.show
    found.results |= {
        "chamfer_diameter": cut.chamfer_diameter, "depth_below_face": cut.depth_below_face,
        "contact_low": cut.contact_low, "contact_high": cut.contact_high,
        "interpolation_radius": cut.interpolation_radius, "effective_diameter": cut.effective_diameter,
    }  # fmt: skip
    hole, mouth, slope = show(given.quantity("hole_diameter")), show(cut.chamfer_diameter), show_number(mill.slope)
    largest = show(cut.effective_diameter)
    found.working += [
        Step("Height of the chamfer", "(mouth − hole) / (2 · tan(σ / 2))", f"({mouth} − {hole}) / (2 · {slope})",
             show(cut.chamfer_depth), GEOMETRY),
        Step("Depth of the tip flat below the face", "lowest contact + height of the chamfer",
             f"{show(cut.contact_low)} + {show(cut.chamfer_depth)}", show(cut.depth_below_face), GEOMETRY),
        Step("Largest diameter in contact", "d0 + 2 · highest contact · tan(σ / 2)",
             f"{show(mill.tip_diameter)} + 2 · {show(cut.contact_high)} · {slope}", largest, GEOMETRY),
        Step("Radius of the axis' circle", "(mouth − largest contact) / 2", f"({mouth} − {largest}) / 2",
             show(cut.interpolation_radius), GEOMETRY),
    ]  # fmt: skip


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
        *TOOL,
        Input(name="how", label="How", kind=Kind.CHOICE, choices=("plunge", "interpolate"), default="plunge",
              assumed="By plunging on the axis of the hole."),
        length("contact_low", "Lowest contact above the tip flat, when circling", above=None, lowest=0),
        *CONDITIONS,
    ),
    groups=(Group(name="mouth", label="the mouth of the chamfer"), FEED_GROUP),
    results=(
        Result(name="chamfer_diameter", label="Chamfer diameter at the face", unit="mm"),
        Result(name="depth_below_face", label="Depth of the tip flat below the face", symbol="z", unit="mm"),
        Result(name="contact_low", label="Lowest contact above the tip flat", unit="mm"),
        Result(name="contact_high", label="Highest contact above the tip flat", unit="mm"),
        Result(name="interpolation_radius", label="Radius of the axis' circle", unit="mm"),
        Result(name="effective_diameter", label="Largest diameter in contact", unit="mm"),
        *CONDITION_RESULTS,
    ),
    headline=("depth_below_face", "interpolation_radius", "spindle_speed", "feed_rate"),
    compute=_hole,
    sources=("plane-geometry", "iso-3002-3 (m)", "common-practice"),
)  # fmt: skip
