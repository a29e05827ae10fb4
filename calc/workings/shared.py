"""Inputs, results and steps that the cutting workings have in common."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from calc.cutting import force
from calc.cutting.limits import Held, Limits, hold
from calc.cutting.speed import spindle_speed, surface_speed
from calc.units import Quantity, in_unit, ureg
from calc.workings.declaration import Found, Given, Group, Input, Kind, Result, Step

GEOMETRY = "plane-geometry"
KINEMATICS = "iso-3002-3 (m)"
LOAD = "iso-3002-4 (m)"

NEEDS_MATERIAL = "Give a work material, or kc1.1 with mc."
LIMIT_WORDS = {
    "max_spindle_speed": "the highest spindle speed",
    "max_feed_rate": "the highest feed rate",
    "max_power": "the spindle's power",
}
LIMIT_RULES = {
    "max_spindle_speed": "n lowered to the limit, same feed per turn",
    "max_feed_rate": "vf lowered to the limit, same n",
    "max_power": "n lowered by limit / power, same feed per turn",
}


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
            name="max_spindle_speed", label="Highest spindle speed", unit="1/min", above=0,
            hint="Of the machine or the tool, whichever is lower.",
        ),
        "max_feed_rate": Input(name="max_feed_rate", label="Highest feed rate", unit="mm/min", above=0),
        "max_power": Input(name="max_power", label="Spindle power", unit="kW", above=0),
    }  # fmt: skip
    return tuple(known[name] for name in names)


EFFICIENCY = Input(
    name="efficiency", label="Efficiency of the drive", symbol="η", unit="", above=0, highest=1, default=0.8,
    assumed="The drive passes on 0.8 of the motor's power (common practice, no source).",
)  # fmt: skip
LEAD_ANGLE = Input(
    name="lead_angle", label="Lead angle", symbol="κr", unit="deg", above=0, highest=179, default=90,
    assumed="The lead angle κr is 90 degrees.",
)  # fmt: skip
CAPPED_BY = Result(name="capped_by", label="Held back by", kind=Kind.LIST)


def limits_of(given: Given) -> Limits:
    """The limits that were given."""
    return Limits(*(given.quantity_or_none(name) for name in LIMIT_WORDS))


def cutting_constants(given: Given) -> tuple[Quantity, float] | None:
    """kc1.1 and mc, from the material or as given; None when neither was."""
    if given.material is not None:
        return ureg.Quantity(given.material.kc11, "N/mm^2"), given.material.mc
    if "kc11" in given:
        return given.quantity("kc11"), given.number("mc")
    return None


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
    found.results["capped_by"] = list(held.capped_by)
    found.texts["capped_by"] = ", ".join(LIMIT_WORDS[name] for name in held.capped_by) or "nothing"
    before = speed, feed
    for cap in held.caps:
        now = cap.spindle_speed, None if feed is None else cap.feed
        numbers = f"{_conditions(given, *before)}; limit {given.show(given.quantity(cap.name))}"
        says = f"Held back by {LIMIT_WORDS[cap.name]}"
        found.working.append(Step(says, LIMIT_RULES[cap.name], numbers, _conditions(given, *now), "own-limits"))
        before = now
    if "max_power" in given and power_at is None:
        found.assumed.append(f"The power limit was not checked. {NEEDS_MATERIAL}")
    return held


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
    """Kienzle's law with the numbers put in, and whence kc1.1 and mc are."""
    kc11, mc = constants
    numbers = f"{given.show(kc11)} · {chip.m_as('mm'):.4g}^(−{mc:g})"
    found.working.append(
        Step("Specific cutting force", "kc = kc1.1 · h^(−mc), h in mm", numbers, given.show(kc), "kienzle-1952 (m)")
    )
    if given.material is not None:
        found.assumed.append(
            f"{given.material.name}: kc1.1 {given.material.kc11:g} N/mm² and mc {given.material.mc:g} "
            f"({given.material.source})."
        )


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
