"""Inputs, results and steps that the cutting workings have in common."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from calc.cutting import force
from calc.cutting.limits import Held, Limits, hold
from calc.cutting.speed import spindle_speed, surface_speed
from calc.cutting.spindle import SpindleCurve, available_power, spindle_curve
from calc.units import Quantity, in_unit, plain, ureg
from calc.workings.declaration import Found, Given, Group, Input, Kind, Mark, Result, Step

GEOMETRY = "plane-geometry"
KINEMATICS = "iso-3002-3 (m)"
LOAD = "iso-3002-4 (m)"

NEEDS_MATERIAL = "Give a work material, or kc1.1 with mc."
LIMIT_WORDS = {
    "max_spindle_speed": "the highest spindle speed",
    "max_feed_rate": "the highest feed rate",
    "max_power": "the spindle's power",
    "power_curve": "the spindle's power at its speed",
}
LIMIT_RULES = {
    "max_spindle_speed": "n lowered to the limit, same feed per turn",
    "max_feed_rate": "vf lowered to the limit, same n",
    "max_power": "n lowered by limit / power, same feed per turn",
    "power_curve": "n lowered until the curve carries the torque, same feed per turn",
}
LONGEST_REACH = 4.0


def length(name: str, label: str, symbol: str = "", **more: Any) -> Input:
    """A length in mm above zero."""
    return Input(name=name, label=label, symbol=symbol, unit="mm", **{"above": 0, **more})


def speed_inputs(example: float = 60, required: bool = True) -> tuple[Input, ...]:
    """Surface speed or spindle speed, one of the two."""
    return (
        Input(
            name="surface_speed",
            label="Surface speed",
            symbol="vc",
            unit="m/min",
            group="speed",
            above=0,
            example=example,
        ),
        Input(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min", group="speed", above=0),
    )


SPEED_GROUP = Group(name="speed", label="the speed")


def material_inputs() -> tuple[Input, ...]:
    """A work material by name, or its two numbers; may be left out."""
    return (
        Input(
            name="material", label="Work material", kind=Kind.TEXT, group="material",
            hint="By its name in the catalogue; brings kc1.1 and mc.",
        ),
        Input(
            name="kc11", label="Specific cutting force at 1 mm", symbol="kc1.1", unit="N/mm²", group="material",
            way="force", above=0, example=2000,
        ),
        Input(
            name="mc", label="Fall with chip thickness", symbol="mc", kind=Kind.NUMBER, group="material", way="force",
            lowest=0, highest=0.99, example=0.25,
        ),
    )  # fmt: skip


MATERIAL_GROUP = Group(name="material", label="the work material", required=False)


def limit_inputs(*names: str) -> tuple[Input, ...]:
    """What machine and tool can do; each may be left out."""
    known = {
        "max_spindle_speed": Input(
            name="max_spindle_speed", label="Highest spindle speed", unit="1/min", above=0, limit=True,
            hint="Of the machine or the tool, whichever is lower.",
        ),
        "max_feed_rate": Input(name="max_feed_rate", label="Highest feed rate", unit="mm/min", above=0, limit=True),
        "max_power": Input(name="max_power", label="Spindle power", unit="kW", above=0, limit=True),
        "power_curve": Input(
            name="power_curve", label="Spindle power at its speeds", kind=Kind.LIST,
            fields=(
                Input(name="speed", label="Speed", symbol="n", unit="1/min", above=0, required=True),
                Input(name="power", label="Power", symbol="P", unit="kW", above=0, required=True),
            ),
        ),
    }  # fmt: skip
    return tuple(known[name] for name in names)


TOOL = Input(
    name="tool", label="Tool", kind=Kind.TEXT,
    hint="A design of the catalogue by its code; brings its sizes and limits.",
)  # fmt: skip
MACHINE = Input(
    name="machine", label="Machine", kind=Kind.TEXT, hint="By its code in the catalogue; brings its limits.",
)  # fmt: skip
RAKE_ANGLE = Input(
    name="rake_angle", label="Rake angle", symbol="γ", unit="deg", lowest=-34, highest=46,
    hint="Corrects kc by 1 % for each degree from 6°, a rule of thumb.",
)  # fmt: skip
CHIP_LIMITS = (
    length("hone", "Hone of the edge", hint="A chip thinner than the hone rubs instead of cutting."),
    length("max_chip", "Thickest chip allowed", hint="The tool maker's limit."),
)
MAX_DEPTH = length("max_depth", "Largest depth of the edge", "APMX", limit=True)
REACH = (
    length("stick_out", "Stick-out from the holder", "LF", hint="To warn of a tool that reaches too far to be stiff."),
    Input(name="longest_reach", label="Longest stick-out, in diameters", kind=Kind.NUMBER, above=0, highest=50,
          default=LONGEST_REACH,
          assumed="A stick-out of more than 4 diameters is called long (common practice, no source)."),
)  # fmt: skip


EFFICIENCY = Input(
    name="efficiency", label="Efficiency of the drive", symbol="η", unit="", above=0, highest=1, default=0.8,
    assumed="The drive passes on 0.8 of the motor's power (common practice, no source).",
)  # fmt: skip
LEAD_ANGLE = Input(
    name="lead_angle", label="Lead angle", symbol="κr", unit="deg", above=0, highest=179, default=90,
    assumed="The lead angle κr is 90 degrees.",
)  # fmt: skip
CAPPED_BY = Result(name="capped_by", label="Held back by", kind=Kind.LIST)
POWER_AVAILABLE = Result(
    name="power_available", label="Power the spindle gives", unit="kW", needs="Give the spindle's power at its speeds."
)


def limits_of(given: Given) -> Limits:
    """The limits that were given."""
    speed, rate, power = (given.quantity_or_none(f"max_{name}") for name in ("spindle_speed", "feed_rate", "power"))
    return Limits(speed, rate, power, curve_of(given))


def curve_of(given: Given) -> SpindleCurve | None:
    """The spindle's curve, where its points were given."""
    points = given.rows("power_curve")
    return spindle_curve([(point["speed"], point["power"]) for point in points]) if points else None


def cutting_constants(given: Given) -> tuple[Quantity, float] | None:
    """kc1.1 and mc, from the material or as given; None when neither was."""
    return (given.quantity("kc11"), given.number("mc")) if "kc11" in given and "mc" in given else None


def cutting_force(given: Given, thickness: Quantity, constants: tuple[Quantity, float]) -> Quantity:
    """Specific cutting force at a chip thickness, with the rake where the working asks for it."""
    return force.specific_cutting_force(thickness, *constants, given.quantity_or_none("rake_angle"))


def wanted_speed(given: Given, diameter: Quantity) -> Quantity:
    """Spindle speed asked for, whichever way it was said."""
    if "spindle_speed" in given:
        return given.quantity("spindle_speed")
    return spindle_speed(given.quantity("surface_speed"), diameter)


def held_back(
    given: Given,
    found: Found,
    speed: Quantity,
    feed: Quantity | None,
    power_at: Callable[[Quantity, Quantity], Quantity] | None = None,
) -> Held:
    """Apply the limits, and say in the answer which took hold and what they changed; without a feed, to the speed."""
    limits = limits_of(given)
    if feed is None:
        limits = replace(limits, max_feed_rate=None)
    held = hold(speed, ureg.Quantity(1, "mm") if feed is None else feed, limits, power_at)
    found.marks += [Mark(cap.name, f"held back by {LIMIT_WORDS[cap.name]}", cap.where) for cap in held.caps]
    if limits.power_curve is not None:
        _say_power(given, found, limits.power_curve, held, power_at)
    if given.many:
        return held
    found.results["capped_by"] = list(held.capped_by)
    found.texts["capped_by"] = ", ".join(LIMIT_WORDS[name] for name in held.capped_by) or "nothing"
    before = speed, feed
    for cap in held.caps:
        now = cap.spindle_speed, None if feed is None else cap.feed
        limit = "the curve" if cap.name == "power_curve" else given.show(given.quantity(cap.name))
        numbers = f"{_conditions(given, *before)}; limit {limit}"
        says = f"Held back by {LIMIT_WORDS[cap.name]}"
        found.working.append(Step(says, LIMIT_RULES[cap.name], numbers, _conditions(given, *now), "own-limits"))
        before = now
    if power_at is None and ("max_power" in given or "power_curve" in given):
        found.assumed.append(f"The power limit was not checked. {NEEDS_MATERIAL}")
    return held


def _say_power(
    given: Given,
    found: Found,
    curve: SpindleCurve,
    held: Held,
    power_at: Callable[[Quantity, Quantity], Quantity] | None,
) -> None:
    """What the spindle gives at the speed, and the warning where its torque is not enough at any."""
    found.results["power_available"] = available_power(curve, held.spindle_speed)
    if power_at is None:
        return

    def sentence() -> str:
        asked = force.torque(power_at(held.spindle_speed, held.feed), held.spindle_speed)
        return (
            f"The cut asks for {given.show(asked)} of the spindle, which gives {given.show(curve.largest_torque)} at "
            "most and none the more by turning slower: take a smaller depth or feed, or another machine."
        )

    found.warn("torque", "more torque than the spindle has", held.overloaded, sentence)


def warn_of_chip(given: Given, found: Found, thickest: Quantity) -> None:
    """A chip under the hone rubs, one over the maker's limit breaks the edge."""
    if (hone := given.quantity_or_none("hone")) is not None:
        found.warn(
            "hone", "chip thinner than the hone", thickest < hone,
            lambda: f"The thickest chip of {given.show(thickest)} is thinner than the hone of {given.show(hone)}: the "
            "edge rubs and work-hardens the metal. Feed more, or cut wider.",
        )  # fmt: skip
    if (most := given.quantity_or_none("max_chip")) is not None:
        found.warn(
            "max_chip", "chip thicker than allowed", thickest > most,
            lambda: f"The thickest chip of {given.show(thickest)} is over the {given.show(most)} that the edge may "
            "take. Feed less.",
        )  # fmt: skip


def warn_of_depth(given: Given, found: Found, depth: Quantity) -> None:
    """A cut deeper than the edge is long, or than its maker allows."""
    if (deepest := given.quantity_or_none("max_depth")) is None:
        return
    found.warn(
        "max_depth", "deeper than the tool may cut", depth > deepest,
        lambda: f"A depth of {given.show(depth)} is more than the {given.show(deepest)} that the tool may cut: take "
        "more passes.",
    )  # fmt: skip


def warn_of_reach(given: Given, found: Found, diameter: Quantity) -> None:
    """A long tool bends: its deflection grows with the cube of its stick-out."""
    if (out := given.quantity_or_none("stick_out")) is None:
        return
    most = given.number("longest_reach")
    share: Any = (out / diameter).m_as("")
    found.warn(
        "reach", "reaches too far to be stiff", share > most,
        lambda: f"The tool sticks out {given.show(share)} diameters, more than {given.show(most)}: it bends, and "
        "chatter is likely. Take a shorter or thicker tool, or smaller depths.",
    )  # fmt: skip


def warn_of_speed(given: Given, found: Found, speed: Quantity, slow_too: bool = True) -> None:
    """A surface speed outside what the work material is known to take.

    The speeds kept are those of turning and milling; drills and taps run slower, so of them only too fast is told.
    """
    material = given.known.get("material")
    if material is None:
        return
    low, high = material.values.get("speed_low"), material.values.get("speed_high")
    source = material.values.get("speed_source", "assumed")
    value = speed.m_as("m/min")

    def kept() -> str:
        slowest, fastest = (given.show(ureg.Quantity(end or 0.0, "m/min")) for end in (low, high))
        where = f"lies outside the {slowest} to {fastest}" if slow_too else f"is faster than the {fastest}"
        return f"{given.show(speed)} {where} kept for {material.name} ({source})."

    if low and high:
        outside = np.logical_or(value < low, value > high) if slow_too else value > high
        named = f"outside the speeds kept for {material.name}" if slow_too else f"too fast for {material.name}"
        found.warn("speed", named, plain(outside), kept)


def _conditions(given: Given, speed: Quantity, feed: Quantity | None) -> str:
    """Speed, and the feed rate where there is a feed."""
    return given.show(speed) + ("" if feed is None else f", {given.show(in_unit(feed * speed, 'mm/min'))}")


def in_feed(held: Held) -> Quantity:
    """Feed rate of what can be run."""
    return in_unit(held.feed * held.spindle_speed, "mm/min")


def speed_step(given: Given, speed: Quantity, diameter: Quantity, symbol: str = "DC") -> Step:
    """How spindle speed and surface speed hang together, in the direction that was asked."""
    if "surface_speed" in given:
        numbers = f"{given.show(given.quantity('surface_speed'))} / (π · {given.show(diameter)})"
        return Step("Spindle speed", f"n = vc / (π · {symbol})", numbers, given.show(speed), KINEMATICS)
    numbers = f"π · {given.show(diameter)} · {given.show(speed)}"
    return Step(
        "Surface speed", f"vc = π · {symbol} · n", numbers, given.show(surface_speed(speed, diameter)), KINEMATICS
    )


def force_steps(given: Given, found: Found, chip: Quantity, kc: Quantity, constants: tuple[Quantity, float]) -> None:
    """Kienzle's law with the numbers put in."""
    kc11, mc = constants
    thickness = given.show(chip.m_as("mm"))
    formula, numbers = "kc = kc1.1 · h^(−mc), h in mm", f"{given.show(kc11)} · {thickness}^(−{given.show(mc)})"
    if (rake := given.quantity_or_none("rake_angle")) is not None:
        formula, numbers = f"{formula} · (1 − (γ − 6°) / 100)", f"{numbers} · (1 − ({given.show(rake)} − 6°) / 100)"
    found.working.append(Step("Specific cutting force", formula, numbers, given.show(kc), "kienzle-1952 (m)"))


LOAD_RESULTS = (
    Result(name="specific_cutting_force", label="Specific cutting force", symbol="kc", unit="N/mm²",
           needs=NEEDS_MATERIAL),
    Result(name="cutting_power", label="Cutting power", symbol="P", unit="kW", needs=NEEDS_MATERIAL),
    Result(name="spindle_power", label="Spindle power", unit="kW", needs=NEEDS_MATERIAL),
    POWER_AVAILABLE,
    Result(name="torque", label="Torque", symbol="T", unit="N·m", needs=NEEDS_MATERIAL),
)  # fmt: skip
MACHINE_INPUTS = (
    MACHINE, EFFICIENCY, *limit_inputs("max_spindle_speed", "max_feed_rate", "max_power", "power_curve"),
)  # fmt: skip


def power_steps(given: Given, found: Found, rate: Quantity, kc: Quantity, speed: Quantity) -> tuple[Quantity, Quantity]:
    """Cutting power and torque, with their steps."""
    power = force.cutting_power(rate, kc)
    torque = force.torque(power, speed)
    found.working.append(
        Step("Cutting power", "P = Q · kc", f"{given.show(rate)} · {given.show(kc)}", given.show(power), LOAD)
    )
    found.working.append(
        Step(
            "Torque", "T = P / (2π · n)", f"{given.show(power)} / (2π · {given.show(speed)})", given.show(torque), LOAD
        )
    )
    return power, torque


def spindle_step(given: Given, found: Found, power: Quantity) -> None:
    """Power at the motor's side of the drive."""
    efficiency = given.quantity("efficiency").magnitude
    spindle = force.spindle_power(power, efficiency)
    found.results["spindle_power"] = spindle
    numbers = f"{given.show(power)} / {given.show(efficiency)}"
    found.working.append(Step("Spindle power", "P / η", numbers, given.show(spindle), LOAD))
