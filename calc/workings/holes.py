"""Drilling and tapping."""

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
    MATERIAL_GROUP,
    NEEDS_MATERIAL,
    SPEED_GROUP,
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
    wanted_speed,
)


def _drill(given: Given) -> Found:
    found = Found()
    show, diameter, angle = given.show, given.quantity("diameter"), given.quantity("point_angle")
    speed = wanted_speed(given, diameter)
    found.working.append(speed_step(given, speed, diameter))
    constants = cutting_constants(given)

    held = held_back(given, found, speed, given.quantity("feed"))
    rate, point = in_feed(held), drilling.point_length(diameter, angle)
    removed = drilling.removal_rate(diameter, rate)
    found.results |= {
        "spindle_speed": held.spindle_speed, "surface_speed": surface_speed(held.spindle_speed, diameter),
        "feed_rate": rate, "point_length": point, "removal_rate": removed,
    }  # fmt: skip
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
        thickness = drilling.chip_thickness(held.feed, angle)
        numbers = f"{show(held.feed)} / 2 · sin({show(angle)} / 2)"
        found.working.append(Step("Chip at each lip", "h = f / 2 · sin(σ / 2)", numbers, show(thickness), GEOMETRY))
        kc = force.specific_cutting_force(thickness, *constants)
        force_steps(given, found, thickness, kc, constants)
        power, torque = power_steps(given, found, removed, kc, held.spindle_speed)
        found.results |= {"cutting_power": power, "torque": torque}
    return found


def _drill_time(given: Given, found: Found, rate: Quantity, point: Quantity) -> None:
    show, depth, holes = given.show, given.quantity("depth"), given.count("holes")
    way = drilling.travel(given.quantity("diameter"), depth, given.quantity("point_angle"))
    time = time_in_cut(way * holes, rate)
    found.results |= {"travel": way, "time_in_cut": time}
    says = "Travel, until the point is through" if given.yes("through") else "Travel, to full diameter at the depth"
    found.working += [
        Step(says, "depth + point length", f"{show(depth)} + {show(point)}", show(way), GEOMETRY),
        Step("Time in cut", "t = travel · holes / vf", f"{show(way)} · {holes} / {show(rate)}", show(time), KINEMATICS),
    ]
    if not given.yes("through"):
        found.assumed.append(f"The hole is blind: its point reaches {show(way)} below the face.")
    if "peck_depth" in given:
        count = drilling.pecks(way, given.quantity("peck_depth"))
        numbers = f"{show(way)} / {show(given.quantity('peck_depth'))}, rounded up"
        found.working.append(Step("Pecks in each hole", "travel / peck depth", numbers, str(count), GEOMETRY))
        found.assumed.append("The rapids between pecks are cycle time, not time in cut.")


DRILLING = Working(
    name="drilling", title="Drilling", says="Speed, feed, point, power and time in cut of a drill in solid metal.",
    inputs=(
        length("diameter", "Diameter", "DC", required=True, example=8.5),
        *speed_inputs(example=40),
        length("feed", "Feed per revolution", "f", required=True, example=0.15),
        length("depth", "Depth at full diameter, or plate thickness", example=30),
        Input(name="point_angle", label="Point angle", symbol="σ", unit="deg", above=0, highest=180, default=118,
              assumed="The point angle is 118 degrees."),
        Input(name="through", label="Through hole", kind=Kind.BOOL, default=False),
        Input(name="holes", label="Holes", kind=Kind.COUNT, lowest=1, highest=100000, default=1),
        length("peck_depth", "Peck depth"),
        *material_inputs(),
        *limit_inputs("max_spindle_speed", "max_feed_rate"),
    ),
    groups=(SPEED_GROUP, MATERIAL_GROUP),
    results=(
        Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min"),
        Result(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min"),
        Result(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min"),
        Result(name="point_length", label="Point length", unit="mm"),
        Result(name="travel", label="Travel", unit="mm", needs="Give the depth."),
        Result(name="removal_rate", label="Removal rate", symbol="Q", unit="cm³/min"),
        Result(name="cutting_power", label="Cutting power", symbol="P", unit="kW", needs=NEEDS_MATERIAL),
        Result(name="torque", label="Torque", symbol="T", unit="N·m", needs=NEEDS_MATERIAL),
        Result(name="time_in_cut", label="Time in cut", unit="min", needs="Give the depth."),
        CAPPED_BY,
    ),
    headline=("spindle_speed", "feed_rate", "travel", "time_in_cut"),
    compute=_drill,
    sources=("iso-3002-3 (m)", "iso-3002-4 (m)", "kienzle-1952 (m)", "plane-geometry"),
)  # fmt: skip


def _tap(given: Given) -> Found:
    found, show = Found(), given.show
    if "thread" in given:
        named = thread(given.text("thread"))
        diameter, pitch = in_unit(named.diameter, "mm"), in_unit(named.pitch, "mm")
        numbers = f"{named.name}: D {show(diameter)}, P {show(pitch)}"
        found.working.append(Step("Thread", "D and P by its name", numbers, named.name, named.source))
        if named.family == "R":
            raise WorkingError("thread", f"{named.name} is an outside thread and is not tapped: write Rc or Rp.")
        if named.left:
            found.cautions.append("Left-hand thread: the spindle turns backward going in and forward coming out.")
        if named.taper:
            found.cautions.append(f"{named.name} tapers by 1:16: the torque rises all the way in, so stop at the gauge "
                                  "plane and do not force it; D is the diameter there.")  # fmt: skip
    else:
        diameter, pitch = given.quantity("diameter"), given.quantity("pitch")
    starts, speed = given.count("starts"), wanted_speed(given, diameter)
    found.working.append(speed_step(given, speed, diameter, "D"))
    held = held_back(given, found, speed, in_unit(pitch * starts, "mm"))
    rate = tapping.feed_rate(pitch, held.spindle_speed, starts)
    found.results |= {
        "spindle_speed": held.spindle_speed, "surface_speed": surface_speed(held.spindle_speed, diameter),
        "feed_rate": rate,
    }  # fmt: skip
    numbers = f"{show(pitch)} · {starts} · {show(held.spindle_speed)}"
    found.working.append(Step("Feed rate", "vf = P · starts · n", numbers, show(rate), "iso-5408 (m)"))
    found.cautions.append("If the control rounds the spindle speed, the feed must follow the rounded speed exactly.")
    if given.text("form") == "form":
        found.cautions.append("A form tap needs a larger hole than a cut tap, good lubrication and a ductile metal.")
    if "depth" in given:
        depth, ratio = given.quantity("depth"), given.number("retract_ratio")
        time = tapping.tapping_time(depth, rate, ratio)
        found.results |= {"travel": depth, "time_in_cut": time}
        numbers = f"{show(depth)} / {show(rate)} · (1 + 1 / {ratio:g})"
        found.working.append(
            Step("Time in the thread, in and out", "t = depth / vf · (1 + 1 / ratio)", numbers, show(time), GEOMETRY)
        )
    return found


TAPPING = Working(
    name="tapping", title="Tapping", says="Speed, synchronous feed and time of a tap.",
    inputs=(
        Input(name="thread", label="Thread", kind=Kind.TEXT, group="thread", example="M10x1.5",
              hint="Such as M10, M10x1.25, 5/16-18 UNC, G 1/2 or 1/2-14 NPT."),
        length("diameter", "Nominal diameter", "D", group="thread", way="sizes"),
        length("pitch", "Pitch", "P", group="thread", way="sizes"),
        *speed_inputs(example=15),
        length("depth", "Depth the tap goes in", example=20),
        Input(name="starts", label="Starts", kind=Kind.COUNT, lowest=1, highest=20, default=1),
        Input(name="form", label="Tap", kind=Kind.CHOICE, choices=("cut", "form"), default="cut"),
        Input(name="retract_ratio", label="Speed out over speed in", kind=Kind.NUMBER, above=0, highest=20, default=1,
              assumed="The tap comes out at the speed it goes in."),
        *limit_inputs("max_spindle_speed"),
    ),
    groups=(Group(name="thread", label="the thread"), SPEED_GROUP),
    results=(
        Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min"),
        Result(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min"),
        Result(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min"),
        Result(name="travel", label="Travel", unit="mm", needs="Give the depth."),
        Result(name="time_in_cut", label="Time in the thread", unit="min", needs="Give the depth."),
        CAPPED_BY,
    ),
    headline=("spindle_speed", "feed_rate", "time_in_cut"),
    compute=_tap,
    sources=("iso-3002-3 (m)", "iso-5408 (m)", "iso-68-1 (m)", "iso-261", "asme-b1.1 (m)", "iso-228-1", "iso-7-1",
             "asme-b1.20.1"),
)  # fmt: skip
