"""Drilling and tapping."""

from collections.abc import Callable

from calc.cutting import drilling, force, tapping
from calc.cutting.speed import surface_speed, time_in_cut
from calc.cutting.threads import thread
from calc.errors import WorkingError
from calc.units import Quantity, in_unit
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step, Working
from calc.workings.shared import (
    CAPPED_BY,
    GEOMETRY,
    KINEMATICS,
    LOAD,
    LOAD_RESULTS,
    MACHINE,
    MACHINE_INPUTS,
    MATERIAL_GROUP,
    NEEDS_MATERIAL,
    REACH,
    SPEED_GROUP,
    TOOL,
    cutting_constants,
    force_steps,
    held_back,
    in_feed,
    length,
    limit_inputs,
    material_inputs,
    power_steps,
    speed_inputs,
    speed_step,
    spindle_step,
    wanted_speed,
    warn_of_reach,
    warn_of_speed,
)

CLEARANCE = 1.0


def _drill(given: Given) -> Found:
    found = Found()
    show, diameter, angle = given.show, given.quantity("diameter"), given.quantity("point_angle")
    speed = wanted_speed(given, diameter)
    found.working.append(speed_step(given, speed, diameter))
    constants = cutting_constants(given)
    held = held_back(given, found, speed, given.quantity("feed"), _drill_power(given, constants))
    rate, point = in_feed(held), drilling.point_length(diameter, angle)
    removed, turned = drilling.removal_rate(diameter, rate), surface_speed(held.spindle_speed, diameter)
    found.results |= {
        "spindle_speed": held.spindle_speed, "surface_speed": turned, "feed_rate": rate, "point_length": point,
        "removal_rate": removed,
    }  # fmt: skip
    warn_of_speed(given, found, turned, slow_too=False)
    warn_of_reach(given, found, diameter)
    found.working += [
        Step("Feed rate", "vf = f · n", f"{show(held.feed)} · {show(held.spindle_speed)}", show(rate), KINEMATICS),
        Step("Point length", "(DC / 2) / tan(σ / 2)", f"({show(diameter)} / 2) / tan({show(angle)} / 2)", show(point),
             GEOMETRY),
        Step("Removal rate", "Q = π · DC² / 4 · vf", f"π · ({show(diameter)})² / 4 · {show(rate)}", show(removed),
             LOAD),
    ]  # fmt: skip
    if "depth" in given:
        _drill_time(given, found, rate, point)
    if constants is not None:
        _drill_load(given, found, held.feed, constants)
    return found


def _drill_power(
    given: Given, constants: tuple[Quantity, float] | None
) -> Callable[[Quantity, Quantity], Quantity] | None:
    """Spindle power at a speed and a feed per turn, where the material is known."""
    if constants is None:
        return None
    diameter, angle = given.quantity("diameter"), given.quantity("point_angle")

    def power_at(speed: Quantity, feed: Quantity) -> Quantity:
        kc = force.specific_cutting_force(drilling.chip_thickness(feed, angle), *constants)
        power = force.cutting_power(drilling.removal_rate(diameter, in_unit(feed * speed, "mm/min")), kc)
        return force.spindle_power(power, given.quantity("efficiency").magnitude)

    return power_at


def _drill_load(given: Given, found: Found, feed: Quantity, constants: tuple[Quantity, float]) -> None:
    """Power, torque and thrust by the chip at each lip."""
    show, diameter, angle = given.show, given.quantity("diameter"), given.quantity("point_angle")
    thickness = drilling.chip_thickness(feed, angle)
    numbers = f"{show(feed)} / 2 · sin({show(angle)} / 2)"
    found.working.append(Step("Chip at each lip", "h = f / 2 · sin(σ / 2)", numbers, show(thickness), GEOMETRY))
    kc = force.specific_cutting_force(thickness, *constants)
    force_steps(given, found, thickness, kc, constants)
    power, torque = power_steps(
        given, found, found.results["removal_rate"], kc, found.results["spindle_speed"]
    )  # fmt: skip
    thrust = drilling.thrust(diameter, feed, kc, angle)
    found.results |= {"specific_cutting_force": kc, "cutting_power": power, "torque": torque, "thrust": thrust}
    numbers = f"0.5 · {show(kc)} · {show(diameter)} · {show(feed)} / 2 · sin({show(angle)} / 2)"
    found.working.append(
        Step("Thrust, without the chisel edge", "F = 0.5 · kc · DC · f / 2 · sin(σ / 2)", numbers, show(thrust),
             "handbook-thrust (m)")
    )  # fmt: skip
    spindle_step(given, found, power)


def _drill_time(given: Given, found: Found, rate: Quantity, point: Quantity) -> None:
    show, depth, holes = given.show, given.quantity("depth"), given.count("holes")
    way = drilling.travel(given.quantity("diameter"), depth, given.quantity("point_angle"))
    time = time_in_cut(way * holes, rate)
    found.results |= {"travel": way, "time_in_cut": time}
    says = "Travel, until the point is through" if given.yes("through") else "Travel, to full diameter at the depth"
    found.working += [
        Step(says, "depth + point length", f"{show(depth)} + {show(point)}", show(way), GEOMETRY),
        Step("Time in cut", "t = travel · holes / vf", f"{show(way)} · {show(holes)} / {show(rate)}", show(time),
             KINEMATICS),
    ]  # fmt: skip
    if not given.yes("through"):
        found.assumed.append(f"The hole is blind: its point reaches {show(way)} below the face.")
    if "peck_depth" in given:
        _pecks(given, found, way, rate)


def _pecks(given: Given, found: Found, way: Quantity, rate: Quantity) -> None:
    """How often the drill comes out, and how long that takes where the rapid is known."""
    show, peck, holes = given.show, given.quantity("peck_depth"), given.count("holes")
    count = drilling.pecks(way, peck)
    found.results["pecks"] = count
    numbers = f"{show(way)} / {show(peck)}, rounded up"
    found.working.append(Step("Pecks in each hole", "travel / peck depth", numbers, show(count), GEOMETRY))
    if "rapid_rate" not in given:
        found.assumed.append("The rapids between pecks are cycle time, not time in cut.")
        return
    rapid, clearance = given.quantity("rapid_rate"), given.quantity("clearance")
    cycle = in_unit(drilling.peck_cycle_time(way, peck, rate, rapid, clearance) * holes, "min")
    found.results["cycle_time"] = cycle
    numbers = f"{show(count)} pecks, rapid {show(rapid)}, clearance {show(clearance)}, {show(holes)} holes"
    found.working.append(
        Step("Time of the peck cycle, with full retracts", "cut / vf + ways out and back / rapid", numbers,
             show(cycle), GEOMETRY)
    )  # fmt: skip


DRILLING = Working(
    name="drilling", title="Drilling", says="Speed, feed, point, power and time in cut of a drill in solid metal.",
    inputs=(
        TOOL, length("diameter", "Diameter", "DC", required=True, example=8.5),
        *speed_inputs(example=40),
        length("feed", "Feed per revolution", "f", required=True, example=0.15),
        length("depth", "Depth at full diameter, or plate thickness", example=30),
        Input(name="point_angle", label="Point angle", symbol="σ", unit="deg", above=0, highest=180, default=118,
              assumed="The point angle is 118 degrees."),
        Input(name="through", label="Through hole", kind=Kind.BOOL, default=False),
        Input(name="holes", label="Holes", kind=Kind.COUNT, lowest=1, highest=100000, default=1),
        length("peck_depth", "Peck depth"),
        Input(name="rapid_rate", label="Rapid out and back", unit="mm/min", above=0),
        length("clearance", "Clearance of the rapid", default=CLEARANCE,
               assumed="The rapid keeps 1 mm clear of the face and of the bottom (common practice, no source)."),
        *REACH, *material_inputs(), *MACHINE_INPUTS,
    ),
    groups=(SPEED_GROUP, MATERIAL_GROUP),
    results=(
        Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min"),
        Result(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min"),
        Result(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min"),
        Result(name="point_length", label="Point length", unit="mm"),
        Result(name="travel", label="Travel", unit="mm", needs="Give the depth."),
        Result(name="removal_rate", label="Removal rate", symbol="Q", unit="cm³/min"),
        *LOAD_RESULTS,
        Result(name="thrust", label="Thrust", symbol="F", unit="N", needs=NEEDS_MATERIAL),
        Result(name="time_in_cut", label="Time in cut", unit="min", needs="Give the depth."),
        Result(name="pecks", label="Pecks in each hole", kind=Kind.COUNT, needs="Give depth and peck depth."),
        Result(name="cycle_time", label="Time of the peck cycles", unit="min",
               needs="Give depth, peck depth and the rapid."),
        CAPPED_BY,
    ),
    headline=("spindle_speed", "feed_rate", "travel", "time_in_cut"),
    compute=_drill,
    takes_arrays=True,
    sources=("iso-3002-3 (m)", "iso-3002-4 (m)", "kienzle-1952 (m)", "handbook-thrust (m)", "plane-geometry"),
)  # fmt: skip


def _tap(given: Given) -> Found:
    found, show = Found(), given.show
    diameter, pitch = _tapped(given, found)
    starts, speed = given.count("starts"), wanted_speed(given, diameter)
    found.working.append(speed_step(given, speed, diameter, "D"))
    held = held_back(given, found, speed, in_unit(pitch * starts, "mm"))
    rate, turned = tapping.feed_rate(pitch, held.spindle_speed, starts), surface_speed(held.spindle_speed, diameter)
    found.results |= {"spindle_speed": held.spindle_speed, "surface_speed": turned, "feed_rate": rate}
    warn_of_speed(given, found, turned, slow_too=False)
    numbers = f"{show(pitch)} · {show(starts)} · {show(held.spindle_speed)}"
    found.working.append(Step("Feed rate", "vf = P · starts · n", numbers, show(rate), "iso-5408 (m)"))
    found.cautions.append("If the control rounds the spindle speed, the feed must follow the rounded speed exactly.")
    if given.text("form") == "form":
        found.cautions.append("A form tap needs a larger hole than a cut tap, good lubrication and a ductile metal.")
    if "depth" in given:
        _tap_depth(given, found, rate, pitch)
    if "kc11" in given and given.text("form") == "cut":
        kc = force.specific_cutting_force(in_unit(pitch / 2, "mm"), given.quantity("kc11"), given.number("mc"))
        torque = tapping.torque(kc, pitch, diameter, starts)
        found.results["torque"] = torque
        formula, numbers = "M = kc · P² · D / 8", f"{show(kc)} · ({show(pitch)})² · {show(diameter)} / 8"
        if given.many or starts > 1:
            formula, numbers = f"{formula} · starts", f"{numbers} · {show(starts)}"
        found.working.append(
            Step("Torque of a sharp tap, kc at a chip of half the pitch", formula, numbers, show(torque),
                 "handbook-tap-torque")
        )  # fmt: skip
        found.cautions.append("A worn tap asks for twice the torque and more; published rules differ by a fifth.")
    return found


def _tapped(given: Given, found: Found) -> tuple[Quantity, Quantity]:
    """Nominal diameter and pitch, by the thread's name or as given."""
    if "thread" not in given:
        return given.quantity("diameter"), given.quantity("pitch")
    named = thread(given.text("thread"))
    diameter, pitch = in_unit(named.diameter, "mm"), in_unit(named.pitch, "mm")
    numbers = f"{named.name}: D {given.show(diameter)}, P {given.show(pitch)}"
    found.working.append(Step("Thread", "D and P by its name", numbers, named.name, named.source))
    if named.family == "R":
        raise WorkingError("thread", f"{named.name} is an outside thread and is not tapped: write Rc or Rp.")
    if named.left:
        found.cautions.append("Left-hand thread: the spindle turns backward going in and forward coming out.")
    if named.taper:
        found.cautions.append(
            f"{named.name} tapers by 1:16: the torque rises all the way in, so stop at the gauge plane and do not "
            "force it; D is the diameter there."
        )
    return diameter, pitch


def _tap_depth(given: Given, found: Found, rate: Quantity, pitch: Quantity) -> None:
    """Time in the thread, and the depth to drill before a blind one."""
    show, way, ratio = given.show, given.quantity("depth"), given.number("retract_ratio")
    if "chamfer_threads" in given:
        way = _below_full_thread(given, found, pitch)
    else:
        found.assumed.append(
            "The depth is how far the tap goes in, and its chamfer leaves no full thread at the end. To have full "
            "thread to that depth, give the threads on the tap's chamfer."
        )
    time = tapping.tapping_time(way, rate, ratio)
    found.results |= {"travel": way, "time_in_cut": time}
    numbers = f"{show(way)} / {show(rate)} · (1 + 1 / {show(ratio)})"
    found.working.append(
        Step("Time in the thread, in and out", "t = travel / vf · (1 + 1 / ratio)", numbers, show(time), GEOMETRY)
    )


def _below_full_thread(given: Given, found: Found, pitch: Quantity) -> Quantity:
    """Travel of a tap that leaves full thread to the depth, and the depth to drill for it."""
    show, depth, lead = given.show, given.quantity("depth"), given.number("chamfer_threads")
    way, drilled = tapping.travel(depth, pitch, lead), tapping.drilled_depth(depth, pitch, lead)
    found.results["drilled_depth"] = drilled
    found.working += [
        Step("Travel, for full thread to the depth", "depth + chamfer threads · P",
             f"{show(depth)} + {show(lead)} · {show(pitch)}", show(way), "common-practice"),
        Step("Depth to drill, with room for chips", "depth + (chamfer threads + 1) · P",
             f"{show(depth)} + ({show(lead)} + 1) · {show(pitch)}", show(drilled), "common-practice"),
    ]  # fmt: skip
    return way


TAPPING = Working(
    name="tapping", title="Tapping", says="Speed, synchronous feed and time of a tap.",
    inputs=(
        TOOL,
        Input(name="thread", label="Thread", kind=Kind.TEXT, group="thread", example="M10x1.5",
              hint="Such as M10, M10x1.25, 5/16-18 UNC, G 1/2 or 1/2-14 NPT."),
        length("diameter", "Nominal diameter", "D", group="thread", way="sizes"),
        length("pitch", "Pitch", "P", group="thread", way="sizes"),
        *speed_inputs(example=15),
        length("depth", "Depth of the thread", example=20,
               hint="Of full thread, where the threads on the tap's chamfer are given; else how far the tap goes in."),
        Input(name="starts", label="Starts", kind=Kind.COUNT, lowest=1, highest=20, default=1),
        Input(name="form", label="Tap", kind=Kind.CHOICE, choices=("cut", "form"), default="cut"),
        Input(name="retract_ratio", label="Speed out over speed in", kind=Kind.NUMBER, above=0, highest=20, default=1,
              assumed="The tap comes out at the speed it goes in."),
        Input(name="chamfer_threads", label="Threads on the tap's chamfer", kind=Kind.NUMBER, lowest=0, highest=20,
              hint="About 2 bottoming, 4 plug, 8 taper; they go in below the full thread."),
        *material_inputs(), MACHINE, *limit_inputs("max_spindle_speed"),
    ),
    groups=(Group(name="thread", label="the thread"), SPEED_GROUP, MATERIAL_GROUP),
    results=(
        Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min"),
        Result(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min"),
        Result(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min"),
        Result(name="travel", label="Travel of the tap", unit="mm", needs="Give the depth."),
        Result(name="time_in_cut", label="Time in the thread", unit="min", needs="Give the depth."),
        Result(name="drilled_depth", label="Depth to drill", unit="mm", needs="Give depth and chamfer threads."),
        Result(name="torque", label="Torque", symbol="M", unit="N·m", needs=f"Only of a cut tap. {NEEDS_MATERIAL}"),
        CAPPED_BY,
    ),
    headline=("spindle_speed", "feed_rate", "time_in_cut"),
    compute=_tap,
    takes_arrays=True,
    sources=("iso-3002-3 (m)", "iso-5408 (m)", "handbook-tap-torque", "common-practice", "iso-68-1 (m)", "iso-261",
             "asme-b1.1 (m)", "iso-228-1", "iso-7-1", "asme-b1.20.1"),
)  # fmt: skip
