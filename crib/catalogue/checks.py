"""What must hold of a catalogue entry, each refusal naming the field and the way out."""

from __future__ import annotations

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
)
# Beyond this no tool of any shop reaches; a slip of a decimal point does.
LONGEST_MM = 10_000.0
MOST_EDGES = 200


def check_design(design: Design) -> None:
    """Refuse what no tool can be."""
    for name in ABOVE_ZERO:
        _above_zero(design, name, most=LONGEST_MM if name.endswith("_mm") else None)
    for name in ANGLES:
        _above_zero(design, name, most=180.0)
    if design.corner_radius_mm is not None and not 0 <= design.corner_radius_mm <= LONGEST_MM:
        raise BadInput("corner_radius_mm", "A corner radius is 0 or more, in mm.")
    for name in ("unit_cost", "regrind_cost"):
        if getattr(design, name) < 0:
            raise BadInput(name, "A cost is not below zero.")
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


def check_machine(machine: Machine) -> None:
    """Refuse limits that no machine has."""
    for name in ("max_spindle_speed", "max_feed_rate", "max_power_kw"):
        _above_zero(machine, name, most=None)
    if not 0 < machine.efficiency <= 1:
        raise BadInput("efficiency", "Efficiency is a share above 0 and up to 1, such as 0.8.")
    if machine.hourly_rate < 0:
        raise BadInput("hourly_rate", "An hourly rate is not below zero.")


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
