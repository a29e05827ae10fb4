"""What must hold of a catalogue entry, each refusal naming the field and the way out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from crib.catalogue.models import Design, Job, Machine, Offer, Supplier, WorkMaterial
from crib.core.errors import BadInput, Refused

ANGLES = ("included_angle_deg", "lead_angle_deg", "point_angle_deg")
ABOVE_ZERO = (
    "diameter_mm",
    "tip_flat_mm",
    "max_depth_mm",
    "pitch_mm",
    "shank_mm",
    "length_mm",
    "max_spindle_speed",
    "carbide_mass_g",
    "hone_mm",
    "max_chip_mm",
    "clamp_torque_nm",
)
# Beyond this no tool of any shop reaches; a slip of a decimal point does.
LONGEST_MM = 10_000.0
HIGHEST_TORQUE_NM = 2_000.0
LONGEST_LOAN_DAYS = 3_650
MOST_EDGES = 200
THICKEST_CHIP_MM = 5.0
FEWEST_POINTS, MOST_POINTS = 2, 30
FASTEST, STRONGEST_KW = 500_000.0, 1_000.0
# What a spindle may give for a short time, over its rated power; common practice, no source.
OVERLOAD = 1.5


def check_design(design: Design) -> None:
    """Refuse what no tool can be."""
    for name in ABOVE_ZERO:
        _above_zero(design, name, most=_largest(name))
    _check_chip(design)
    for name in ANGLES:
        _above_zero(design, name, most=180.0)
    if design.corner_radius_mm is not None and not 0 <= design.corner_radius_mm <= LONGEST_MM:
        raise BadInput("corner_radius_mm", "A corner radius is 0 or more, in mm.")
    for name in ("unit_cost", "regrind_cost"):
        if getattr(design, name) < 0:
            raise BadInput(name, "A cost is not below zero.")
    if design.return_days is not None and not 1 <= design.return_days <= LONGEST_LOAN_DAYS:
        raise BadInput(
            "return_days",
            f"Give 1 to {LONGEST_LOAN_DAYS} days after which it is overdue, or leave it empty for the house's own.",
        )
    if design.pack_size < 1:
        raise BadInput("pack_size", "A pack holds at least 1.")
    if design.teeth == 0:
        raise BadInput("teeth", "A cutting tool has at least one tooth. Leave it empty for what does not cut.")
    if design.edges < 0 or design.edges > MOST_EDGES:
        raise BadInput("edges", f"Corners or bands are a number from 0 to {MOST_EDGES}.")
    if design.kind in (Design.Kind.TIP, Design.Kind.INSERT) and design.edges < 1:
        raise BadInput("edges", "A tip or insert has at least one edge: its corners or bands.")
    if design.kind == Design.Kind.BODY and design.seats < 1:
        raise BadInput("seats", "A body takes at least one tip.")
    flat, diameter = design.tip_flat_mm, design.diameter_mm
    if flat is not None and diameter is not None and flat >= diameter:
        raise BadInput("tip_flat_mm", "The tip flat is smaller than the cutting diameter.")
    for side in ("machine_side", "work_side"):
        if getattr(design, f"{side}_size") and not getattr(design, f"{side}_system"):
            raise BadInput(f"{side}_system", "Name the system of the coupling, not only its size.")


def _largest(name: str) -> float | None:
    if name == "clamp_torque_nm":
        return HIGHEST_TORQUE_NM
    return LONGEST_MM if name.endswith("_mm") else None


def _check_chip(design: Design) -> None:
    for name in ("hone_mm", "max_chip_mm"):
        _above_zero(design, name, most=THICKEST_CHIP_MM)
    if design.hone_mm and design.max_chip_mm and design.hone_mm >= design.max_chip_mm:
        raise BadInput("hone_mm", "The hone is smaller than the thickest chip: a chip must be thicker than the hone.")


def check_material(material: WorkMaterial) -> None:
    """Refuse figures that no metal has."""
    _above_zero(material, "kc11", most=20_000.0)
    if not 0 <= material.mc < 1:
        raise BadInput("mc", "The exponent mc lies from 0 to below 1.")
    if material.taylor_n is not None and not 0 < material.taylor_n < 1:
        raise BadInput("taylor_n", "Taylor's exponent n lies between 0 and 1.")
    _above_zero(material, "speed_low", most=None)
    _above_zero(material, "speed_high", most=None)
    if material.speed_low and material.speed_high and material.speed_low > material.speed_high:
        raise BadInput("speed_low", "The lower speed is above the higher one.")


# Each figure of a material with the source that stands beside it.
SOURCE_OF = {
    "kc11": "kc11_source",
    "mc": "mc_source",
    "taylor_n": "taylor_n_source",
    "speed_low": "speed_source",
    "speed_high": "speed_source",
}
FIGURE = {"kc11": "kc1.1", "mc": "mc", "taylor_n": "n", "speed_low": "the speed", "speed_high": "the speed"}
ASSUMED = "assumed"
# Minutes.
LONGEST_STOP = 1440.0


def check_sources(material: WorkMaterial, fields: Mapping[str, Any]) -> None:
    """Refuse a new figure under a source that spoke of the old one; what was assumed may stay so."""
    for name, source in SOURCE_OF.items():
        if name not in fields or source in fields or fields[name] is None or fields[name] == getattr(material, name):
            continue
        said = getattr(material, source)
        if said != ASSUMED:
            raise BadInput(
                source,
                f"You changed {FIGURE[name]}, but its source still says “{said}”. Say where the new figure comes from, "
                f"or “{ASSUMED}”.",
            )


def check_machine(machine: Machine) -> None:
    """Refuse limits that no machine has."""
    for name in ("max_spindle_speed", "max_feed_rate", "max_power_kw"):
        _above_zero(machine, name, most=None)
    if not 0 < machine.efficiency <= 1:
        raise BadInput("efficiency", "Efficiency is a share above 0 and up to 1, such as 0.8.")
    if not 0 <= machine.stop_minutes <= LONGEST_STOP:
        said = "A stop costs no less than no time and no more than a day; give its minutes, such as 1.5."
        raise BadInput("stop_minutes", said)
    if machine.hourly_rate < 0:
        raise BadInput("hourly_rate", "An hourly rate is not below zero.")
    check_power_curve(machine)


def check_power_curve(machine: Machine) -> None:
    """Refuse a spindle's power over its speed that no spindle has; no curve at all is allowed."""
    curve = machine.power_curve
    if not curve:
        return
    if not FEWEST_POINTS <= len(curve) <= MOST_POINTS:
        said = f"A power curve has {FEWEST_POINTS} to {MOST_POINTS} points of speed and power; this has {len(curve)}."
        raise BadInput("power_curve", said)
    before = 0.0
    for speed, power in curve:
        if not (math.isfinite(speed) and math.isfinite(power) and speed > 0 and power > 0):
            raise BadInput("power_curve", f"Speed and power are above zero, not {speed:g} 1/min and {power:g} kW.")
        if speed <= before:
            raise BadInput("power_curve", f"The speeds rise from point to point; {speed:g} does not follow {before:g}.")
        before = speed
        if speed > FASTEST or power > STRONGEST_KW:
            raise BadInput(
                "power_curve",
                f"No spindle gives {power:g} kW at {speed:g} 1/min. Check the decimal point and the unit.",
            )
    highest = max(power for _, power in curve)
    if machine.max_power_kw and highest > OVERLOAD * machine.max_power_kw:
        raise BadInput(
            "power_curve",
            f"The curve reaches {highest:g} kW, far above the machine's largest power of {machine.max_power_kw:g} kW. "
            "Correct the one or the other.",
        )


def check_offer(offer: Offer) -> None:
    """Refuse terms that nobody offers."""
    for name in ("lead_days", "lead_days_sd"):
        if not 0 <= getattr(offer, name) <= 3650:
            raise BadInput(name, "A lead time is from 0 to 3650 days.")
    for name in ("pack", "minimum"):
        if getattr(offer, name) < 1:
            raise BadInput(name, "This is 1 or more.")
    if offer.design.retired or offer.supplier.retired:
        which = offer.design.code if offer.design.retired else offer.supplier.name
        raise Refused(f"{which} is retired. Bring it back into use first, or offer another.", field="design")


def check_prices(prices: Mapping[int, Decimal]) -> None:
    """Refuse prices that nobody asks."""
    if not prices:
        raise BadInput("prices", "Give at least one price, such as 1: 24.50.")
    for start, price in prices.items():
        if start < 1:
            raise BadInput("prices", "A price begins at a quantity of 1 or more.")
        if not price.is_finite() or price < 0 or price >= Decimal("1e10"):
            raise BadInput("prices", f"{price} is no price. Give an amount of money that is not below zero.")


def check_supplier(supplier: Supplier) -> None:
    """Refuse terms that nobody has."""
    if supplier.free_freight_from is not None and supplier.free_freight_from < 0:
        raise BadInput("free_freight_from", "An amount is not below zero.")


def check_job(job: Job) -> None:
    """Refuse a job of nothing."""
    if job.quantity < 1:
        raise BadInput("quantity", "A job makes at least one part.")


def _above_zero(thing: Any, name: str, *, most: float | None) -> None:
    value = getattr(thing, name)
    if value is None:
        return
    if not value > 0:
        raise BadInput(name, "This must be above zero. Leave it empty when it is not known.")
    if most is not None and value > most:
        raise BadInput(name, f"This is more than {most:g}. Check the decimal point and the unit.")
