"""Milling: speed, feed, chip, power and time in cut."""

from collections.abc import Callable

from calc.cutting import chip, force, milling
from calc.cutting.limits import Held
from calc.cutting.speed import surface_speed, time_in_cut
from calc.units import Quantity, in_unit
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step, Working
from calc.workings.shared import (
    CAPPED_BY,
    CHIP_LIMITS,
    EFFICIENCY,
    GEOMETRY,
    KINEMATICS,
    LEAD_ANGLE,
    LOAD,
    MACHINE,
    MATERIAL_GROUP,
    MAX_DEPTH,
    NEEDS_MATERIAL,
    POWER_AVAILABLE,
    RAKE_ANGLE,
    REACH,
    SPEED_GROUP,
    TOOL,
    cutting_constants,
    cutting_force,
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
    warn_of_chip,
    warn_of_depth,
    warn_of_reach,
    warn_of_speed,
)


def _mill(given: Given) -> Found:
    found = Found()
    diameter, teeth = given.quantity("diameter"), given.count("teeth")
    speed = wanted_speed(given, diameter)
    if "feed_per_tooth" in given:
        tooth = given.quantity("feed_per_tooth")
    else:
        tooth = in_unit(given.quantity("feed_rate") / (teeth * speed), "mm")
    found.working.append(speed_step(given, speed, diameter))
    radial, axial = given.quantity_or_none("radial_depth"), given.quantity_or_none("axial_depth")
    constants = cutting_constants(given)
    if radial is not None:
        chip.engagement_angle(radial, diameter)
    held = held_back(given, found, speed, in_unit(tooth * teeth, "mm"), _mill_power(given, radial, axial, constants))
    tooth, rate = in_unit(held.feed / teeth, "mm"), in_feed(held)
    numbers = f"{given.show(tooth)} · {given.show(teeth)} · {given.show(held.spindle_speed)}"
    found.working.append(Step("Feed rate", "vf = fz · z · n", numbers, given.show(rate), KINEMATICS))
    turned = surface_speed(held.spindle_speed, diameter)
    found.results |= {
        "spindle_speed": held.spindle_speed,
        "surface_speed": turned,
        "feed_per_tooth": tooth,
        "feed_rate": rate,
    }
    warn_of_speed(given, found, turned)
    warn_of_reach(given, found, diameter)
    if axial is not None:
        warn_of_depth(given, found, axial)
    if radial is not None:
        _mill_chip(given, found, tooth, radial)
        _mill_load(given, found, radial, held, constants)
    if "length_of_cut" in given:
        _mill_time(given, found, rate)
    return found


def _mill_power(
    given: Given, radial: Quantity | None, axial: Quantity | None, constants: tuple[Quantity, float] | None
) -> Callable[[Quantity, Quantity], Quantity] | None:
    """Spindle power at a speed and a feed per turn, where depths and material are known."""
    if radial is None or axial is None or constants is None:
        return None
    diameter, teeth, angle = given.quantity("diameter"), given.count("teeth"), given.quantity("lead_angle")

    def power_at(speed: Quantity, feed: Quantity) -> Quantity:
        mean = chip.mean_chip_thickness(in_unit(feed / teeth, "mm"), radial, diameter, angle)
        rate = milling.removal_rate(axial, radial, in_unit(feed * speed, "mm/min"))
        power = force.cutting_power(rate, cutting_force(given, mean, constants))
        return force.spindle_power(power, given.quantity("efficiency").magnitude)

    return power_at


def _mill_chip(given: Given, found: Found, tooth: Quantity, radial: Quantity) -> None:
    """Engagement and chip, and warnings of a chip that rubs or overloads."""
    diameter, angle = given.quantity("diameter"), given.quantity("lead_angle")
    engaged = chip.engagement_angle(radial, diameter)
    thickest = chip.max_chip_thickness(tooth, radial, diameter, angle)
    mean = chip.mean_chip_thickness(tooth, radial, diameter, angle)
    found.results |= {"engagement_angle": engaged, "max_chip_thickness": thickest, "mean_chip_thickness": mean}
    warn_of_chip(given, found, thickest)
    if given.many:
        return
    show, below_half = given.show, radial < diameter / 2
    found.working += [
        Step("Engagement angle", "θe = arccos(1 − 2 · ae / DC)", f"arccos(1 − 2 · {show(radial)} / {show(diameter)})",
             show(engaged), GEOMETRY),
        Step("Thickest chip", "hmax = fz · sin κr · sin θe" if below_half else "hmax = fz · sin κr, as ae ≥ DC/2",
             f"{show(tooth)} · sin {show(angle)}" + (f" · sin {show(engaged)}" if below_half else ""),
             show(thickest), GEOMETRY),
        Step("Mean chip", "hm = fz · sin κr · (2 · ae / DC) / θe, θe in radians",
             f"{show(tooth)} · sin {show(angle)} · (2 · {show(radial)} / {show(diameter)}) / {engaged.m_as('rad'):.4g}",
             show(mean), GEOMETRY),
    ]  # fmt: skip


def _mill_load(
    given: Given, found: Found, radial: Quantity, held: Held, constants: tuple[Quantity, float] | None
) -> None:
    """Removal rate and power, as far as depth and material allow."""
    if "axial_depth" not in given:
        return
    show, axial, rate = given.show, given.quantity("axial_depth"), found.results["feed_rate"]
    removed = milling.removal_rate(axial, radial, rate)
    found.results["removal_rate"] = removed
    numbers = f"{show(axial)} · {show(radial)} · {show(rate)}"
    found.working.append(Step("Removal rate", "Q = ap · ae · vf", numbers, show(removed), LOAD))
    if constants is None:
        return
    mean = found.results["mean_chip_thickness"]
    kc = cutting_force(given, mean, constants)
    force_steps(given, found, mean, kc, constants)
    power, torque = power_steps(given, found, removed, kc, held.spindle_speed)
    found.results |= {"specific_cutting_force": kc, "cutting_power": power, "torque": torque}
    spindle_step(given, found, power)


def _mill_time(given: Given, found: Found, rate: Quantity) -> None:
    way, passes = given.quantity("length_of_cut"), given.count("passes")
    time = time_in_cut(way * passes, rate)
    found.results["time_in_cut"] = time
    numbers = f"{given.show(way)} · {given.show(passes)} / {given.show(rate)}"
    found.working.append(Step("Time in cut", "t = length · passes / vf", numbers, given.show(time), KINEMATICS))
    found.assumed.append(
        "The length of cut is all that is travelled in the cut; run-in and run-out are not added to it."
    )


MILLING = Working(
    name="milling", title="Milling", says="Speed, feed, chip, power and time in cut of a mill.",
    inputs=(
        TOOL,
        length("diameter", "Diameter", "DC", required=True, example=16,
               hint="The diameter that cuts; for a ball or cone, the largest in contact."),
        Input(name="teeth", label="Teeth", symbol="ZEFP", kind=Kind.COUNT, required=True, lowest=1, highest=200,
              example=4),
        *speed_inputs(example=60),
        length("feed_per_tooth", "Feed per tooth", "fz", group="feed", example=0.08),
        Input(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min", group="feed", above=0),
        length("axial_depth", "Axial depth", "ap", example=8),
        length("radial_depth", "Radial depth", "ae", example=1.6),
        MAX_DEPTH,
        LEAD_ANGLE,
        length("length_of_cut", "Length of cut", example=300),
        Input(name="passes", label="Passes", kind=Kind.COUNT, lowest=1, highest=100000, default=1),
        *CHIP_LIMITS, *REACH,
        *material_inputs(), RAKE_ANGLE, MACHINE, EFFICIENCY,
        *limit_inputs("max_spindle_speed", "max_feed_rate", "max_power", "power_curve"),
    ),
    groups=(SPEED_GROUP, Group(name="feed", label="the feed"), MATERIAL_GROUP),
    results=(
        Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min"),
        Result(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min"),
        Result(name="feed_per_tooth", label="Feed per tooth", symbol="fz", unit="mm"),
        Result(name="feed_rate", label="Feed rate", symbol="vf", unit="mm/min"),
        Result(name="engagement_angle", label="Engagement angle", symbol="θe", unit="deg",
               needs="Give the radial depth."),
        Result(name="max_chip_thickness", label="Thickest chip", symbol="hmax", unit="mm",
               needs="Give the radial depth."),
        Result(name="mean_chip_thickness", label="Mean chip", symbol="hm", unit="mm", needs="Give the radial depth."),
        Result(name="removal_rate", label="Removal rate", symbol="Q", unit="cm³/min", needs="Give both depths."),
        Result(name="specific_cutting_force", label="Specific cutting force", symbol="kc", unit="N/mm²",
               needs=f"Give both depths. {NEEDS_MATERIAL}"),
        Result(name="cutting_power", label="Cutting power", symbol="P", unit="kW",
               needs=f"Give both depths. {NEEDS_MATERIAL}"),
        Result(name="spindle_power", label="Spindle power", unit="kW", needs=f"Give both depths. {NEEDS_MATERIAL}"),
        POWER_AVAILABLE,
        Result(name="torque", label="Torque", symbol="T", unit="N·m", needs=f"Give both depths. {NEEDS_MATERIAL}"),
        Result(name="time_in_cut", label="Time in cut", unit="min", needs="Give the length of cut."),
        CAPPED_BY,
    ),
    headline=("spindle_speed", "feed_rate", "max_chip_thickness", "spindle_power"),
    compute=_mill,
    takes_arrays=True,
    sources=("iso-3002-3 (m)", "iso-3002-4 (m)", "kienzle-1952 (m)", "handbook-rake (m)", "plane-geometry"),
)  # fmt: skip
