"""Turning along a diameter, and facing."""

from collections.abc import Callable
from dataclasses import replace

from calc.cutting import force, turning
from calc.cutting.limits import Held
from calc.cutting.speed import surface_speed, time_in_cut
from calc.units import Quantity
from calc.workings.declaration import Found, Given, Input, Result, Step, Working
from calc.workings.shared import (
    CAPPED_BY,
    CHIP_LIMITS,
    GEOMETRY,
    KINEMATICS,
    LEAD_ANGLE,
    LOAD,
    LOAD_RESULTS,
    MACHINE,
    MACHINE_INPUTS,
    MATERIAL_GROUP,
    MAX_DEPTH,
    RAKE_ANGLE,
    SPEED_GROUP,
    TOOL,
    cutting_constants,
    cutting_force,
    force_steps,
    held_back,
    in_feed,
    length,
    material_inputs,
    power_steps,
    speed_inputs,
    speed_step,
    spindle_step,
    wanted_speed,
    warn_of_chip,
    warn_of_depth,
    warn_of_speed,
)


def _turn(given: Given) -> Found:
    found = Found()
    show, diameter, angle = given.show, given.quantity("diameter"), given.quantity("lead_angle")
    speed = wanted_speed(given, diameter)
    found.working.append(speed_step(given, speed, diameter, "D"))
    held = held_back(given, found, speed, given.quantity("feed"), _turn_power(given))
    rate, thickness = in_feed(held), turning.chip_thickness(held.feed, angle)
    turned = surface_speed(held.spindle_speed, diameter)
    found.results |= {
        "spindle_speed": held.spindle_speed, "surface_speed": turned, "feed_rate": rate, "chip_thickness": thickness,
    }  # fmt: skip
    found.working += [
        Step("Feed rate", "vf = f · n", f"{show(held.feed)} · {show(held.spindle_speed)}", show(rate), KINEMATICS),
        Step("Chip thickness", "h = f · sin κr", f"{show(held.feed)} · sin {show(angle)}", show(thickness), GEOMETRY),
    ]
    warn_of_speed(given, found, turned)
    warn_of_chip(given, found, thickness)
    if "depth_of_cut" in given:
        _turn_load(given, found, turned, held, thickness)
    if "nose_radius" in given:
        _turn_finish(given, found, held.feed)
    if "length_of_cut" in given:
        way = given.quantity("length_of_cut")
        time = time_in_cut(way, rate)
        found.results["time_in_cut"] = time
        found.working.append(
            Step("Time in cut", "t = length / vf", f"{show(way)} / {show(rate)}", show(time), KINEMATICS)
        )
    return found


def _turn_power(given: Given) -> Callable[[Quantity, Quantity], Quantity] | None:
    """Spindle power at a speed and a feed per turn, where depth and material are known."""
    constants, depth = cutting_constants(given), given.quantity_or_none("depth_of_cut")
    if constants is None or depth is None:
        return None
    diameter, angle = given.quantity("diameter"), given.quantity("lead_angle")

    def power_at(speed: Quantity, feed: Quantity) -> Quantity:
        kc = cutting_force(given, turning.chip_thickness(feed, angle), constants)
        power = force.cutting_power(turning.removal_rate(surface_speed(speed, diameter), depth, feed), kc)
        return force.spindle_power(power, given.quantity("efficiency").magnitude)

    return power_at


def _turn_load(given: Given, found: Found, turned: Quantity, held: Held, thickness: Quantity) -> None:
    show, depth, diameter = given.show, given.quantity("depth_of_cut"), given.quantity("diameter")
    warn_of_depth(given, found, depth)
    found.warn(
        "depth", "deeper than half the diameter", depth > diameter / 2,
        lambda: "The depth of cut is more than half the diameter: check which diameter was meant.",
    )  # fmt: skip
    removed = turning.removal_rate(turned, depth, held.feed)
    found.results["removal_rate"] = removed
    numbers = f"{show(turned)} · {show(depth)} · {show(held.feed)}"
    found.working.append(Step("Removal rate, at the outer diameter", "Q = vc · ap · f", numbers, show(removed), LOAD))
    constants = cutting_constants(given)
    if constants is None:
        return
    kc = cutting_force(given, thickness, constants)
    force_steps(given, found, thickness, kc, constants)
    power, torque = power_steps(given, found, removed, kc, held.spindle_speed)
    found.results |= {"specific_cutting_force": kc, "cutting_power": power, "torque": torque}
    spindle_step(given, found, power)


def _turn_finish(given: Given, found: Found, feed: Quantity) -> None:
    show, nose = given.show, given.quantity("nose_radius")
    height, mean = turning.roughness_rz(feed, nose), turning.roughness_ra(feed, nose)
    found.results |= {"roughness_rz": height, "roughness_ra": mean}
    found.working += [
        Step("Height between tracks", "Rz = f² / (8 · rε)", f"({show(feed)})² / (8 · {show(nose)})", show(height),
             "handbook-finish (m)"),
        Step("Mean roughness", "Ra = f² / (32 · rε)", f"({show(feed)})² / (32 · {show(nose)})", show(mean),
             "handbook-finish (m)"),
    ]  # fmt: skip
    found.assumed.append("The finish is that of an ideal cut; a real one is rougher.")


TURNING = Working(
    name="turning", title="Turning", says="Speed, feed, chip, finish, power and time in cut along a diameter.",
    inputs=(
        TOOL, length("diameter", "Diameter of the work", "D", required=True, example=80, from_lookup=False),
        *speed_inputs(example=120),
        length("feed", "Feed per revolution", "f", required=True, example=0.2),
        length("depth_of_cut", "Depth of cut, on the radius", "ap", example=2),
        MAX_DEPTH,
        length("length_of_cut", "Length of cut", example=150),
        length("nose_radius", "Nose radius", "rε", example=0.8),
        LEAD_ANGLE,
        *CHIP_LIMITS, *material_inputs(), RAKE_ANGLE, *MACHINE_INPUTS,
    ),
    groups=(SPEED_GROUP, MATERIAL_GROUP),
    results=(
        Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min"),
        Result(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min"),
        Result(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min"),
        Result(name="removal_rate", label="Removal rate", symbol="Q", unit="cm³/min", needs="Give the depth of cut."),
        Result(name="chip_thickness", label="Chip thickness", symbol="h", unit="mm"),
        *(replace(result, needs=f"Give the depth of cut. {result.needs}") for result in LOAD_RESULTS),
        Result(name="roughness_ra", label="Roughness", symbol="Ra", unit="µm", needs="Give the nose radius."),
        Result(name="roughness_rz", label="Roughness", symbol="Rz", unit="µm", needs="Give the nose radius."),
        Result(name="time_in_cut", label="Time in cut", unit="min", needs="Give the length of cut."),
        CAPPED_BY,
    ),
    headline=("spindle_speed", "feed_rate", "roughness_ra", "time_in_cut"),
    compute=_turn,
    takes_arrays=True,
    sources=("iso-3002-3 (m)", "iso-3002-4 (m)", "kienzle-1952 (m)", "handbook-finish (m)"),
)  # fmt: skip


def _face(given: Given) -> Found:
    show = given.show
    outer, inner, speed = (given.quantity(name) for name in ("outer_diameter", "inner_diameter", "surface_speed"))
    feed, limit = given.quantity("feed"), given.quantity("max_spindle_speed")
    cut = turning.facing(outer, inner, speed, feed, limit)
    found = Found(results={"time_in_cut": cut.time_in_cut, "speed_cap_diameter": cut.speed_cap_diameter})
    steady, limited = cut.time_at_surface_speed, cut.time_at_limit
    if given.many:
        return found
    turn = min(max(cut.speed_cap_diameter, inner), outer)
    found.working.append(
        Step("Below this diameter the spindle turns at its limit", "Dc = vc / (π · nmax)",
             f"{show(speed)} / (π · {show(limit)})", show(cut.speed_cap_diameter), KINEMATICS)
    )  # fmt: skip
    if steady.magnitude > 0:
        numbers = f"π · (({show(outer / 2)})² − ({show(turn / 2)})²) / ({show(feed)} · {show(speed)})"
        found.working.append(
            Step("At constant surface speed", "π · (ro² − rc²) / (f · vc)", numbers, show(steady), GEOMETRY)
        )
    if limited.magnitude > 0:
        numbers = f"({show(turn / 2)} − {show(inner / 2)}) / ({show(feed)} · {show(limit)})"
        found.working.append(
            Step("At the highest spindle speed", "(rc − ri) / (f · nmax)", numbers, show(limited), GEOMETRY)
        )
    return found


FACING = Working(
    name="facing", title="Facing", says="Time in cut of a facing pass at constant surface speed with a spindle limit.",
    inputs=(
        length("outer_diameter", "Outer diameter", required=True, example=100),
        length("inner_diameter", "Inner diameter", above=None, lowest=0, default=0,
               assumed="The cut runs to the centre."),
        Input(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min", required=True, above=0,
              example=200),
        length("feed", "Feed per revolution", "f", required=True, example=0.2),
        MACHINE,
        Input(name="max_spindle_speed", label="Highest spindle speed", symbol="nmax", unit="1/min", required=True,
              above=0, example=2000, limit=True, hint="Without one the spindle runs away toward the centre."),
    ),
    results=(
        Result(name="time_in_cut", label="Time in cut", unit="min"),
        Result(name="speed_cap_diameter", label="Speed held back below", symbol="Dc", unit="mm"),
    ),
    compute=_face,
    takes_arrays=True,
    sources=("iso-3002-3 (m)", "plane-geometry"),
)  # fmt: skip
