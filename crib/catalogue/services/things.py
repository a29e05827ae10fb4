"""Create, change and retire designs, materials, machines, suppliers, offers and jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from typing import Any, TypedDict, Unpack

from django.db import transaction

from crib.catalogue import checks, keeping, selectors
from crib.catalogue.models import Design, Job, Machine, MachineShift, Offer, PriceBreak, Supplier, WorkMaterial
from crib.catalogue.services.looked_through import keep_search_text, text_to_search
from crib.core.errors import BadInput, NotFound
from crib.people.models import Person
from crib.people.services import record_change


class DesignFields(TypedDict, total=False):
    """What a design may be given; lengths in mm, angles in degrees, speeds in 1/min, torque in N·m."""

    description: str
    family: str
    makers_number: str
    unit_cost: Decimal
    pack_size: int
    returnable: bool
    return_days: int | None
    regrinds_allowed: int
    regrind_cost: Decimal
    carbide_mass_g: float | None
    edges: int
    seats: int
    diameter_mm: float | None
    tip_flat_mm: float | None
    teeth: int | None
    included_angle_deg: float | None
    lead_angle_deg: float | None
    corner_radius_mm: float | None
    max_depth_mm: float | None
    point_angle_deg: float | None
    pitch_mm: float | None
    shank_mm: float | None
    length_mm: float | None
    max_spindle_speed: float | None
    hone_mm: float | None
    max_chip_mm: float | None
    clamp_torque_nm: float | None
    balance_note: str
    machine_side_system: str
    machine_side_size: str
    work_side_system: str
    work_side_size: str


class MaterialFields(TypedDict, total=False):
    """What a work material may be given; kc1.1 in N/mm², speeds in m/min."""

    iso_group: str
    hardness: str
    kc11: float
    kc11_source: str
    mc: float
    mc_source: str
    taylor_n: float | None
    taylor_n_source: str
    speed_low: float | None
    speed_high: float | None
    speed_source: str


class MachineFields(TypedDict, total=False):
    """What a machine may be given; speeds in 1/min, feeds in mm/min, power in kW, its curve as [[1/min, kW], …]."""

    name: str
    nose_system: str
    nose_size: str
    pockets: int
    max_spindle_speed: float | None
    max_feed_rate: float | None
    max_power_kw: float | None
    power_curve: list[list[float]]
    efficiency: float
    stop_minutes: float
    hourly_rate: Decimal
    feed: str


class SupplierFields(TypedDict, total=False):
    email: str
    free_freight_from: Decimal | None


class OfferFields(TypedDict, total=False):
    suppliers_number: str
    pack: int
    minimum: int
    lead_days: float
    lead_days_sd: float


class JobFields(TypedDict, total=False):
    part: str
    quantity: int
    made: int
    state: str
    due: date | None


@dataclass(frozen=True)
class ShiftTimes:
    """One shift of the week: Monday is 0; one that ends before it starts ends on the next day."""

    weekday: int
    starts: time
    ends: time


def _tidy(code: str) -> str:
    return code.strip().upper()


@transaction.atomic
def create_design(*, code: str, kind: str, who: Person, **fields: Unpack[DesignFields]) -> Design:
    """Add a kind of tip, insert, body, holder, drill, tap, solid mill or accessory to the catalogue.

    Bodies and holders come back to the crib unless `returnable` says otherwise.
    """
    given = dict(fields)
    if kind in (Design.Kind.BODY, Design.Kind.HOLDER):
        given.setdefault("returnable", True)
    design = Design(code=_tidy(code), kind=kind, **given)
    design.search_text = text_to_search(design=design, suppliers_numbers=[])
    return keeping.create(
        design, checks.check_design, who=who, what="design", which=design.code, fields={"kind": kind} | given
    )


@transaction.atomic
def change_design(*, design: Design, who: Person, **fields: Unpack[DesignFields]) -> Design:
    """Write the given fields of a design; its code and kind stay, since labels and stock go by them."""
    keeping.change(design, checks.check_design, who=who, what="design", which=design.code, fields=dict(fields))
    return keep_search_text(design=design)


@transaction.atomic
def retire_design(*, design: Design, who: Person) -> Design:
    """Hand it out no longer; what is left can still be brought back, counted and moved."""
    return keeping.retire(design, who=who, what="design", which=design.code)


@transaction.atomic
def reinstate_design(*, design: Design, who: Person) -> Design:
    """Bring a retired design into use again."""
    return keeping.reinstate(design, who=who, what="design", which=design.code)


@transaction.atomic
def create_material(*, name: str, who: Person, **fields: Unpack[MaterialFields]) -> WorkMaterial:
    """Add a metal that the shop cuts; each figure keeps its source or the word “assumed”."""
    material = WorkMaterial(name=name.strip(), **fields)
    return keeping.create(
        material, checks.check_material, who=who, what="material", which=material.name, fields=dict(fields)
    )


@transaction.atomic
def change_material(*, material: WorkMaterial, who: Person, **fields: Unpack[MaterialFields]) -> WorkMaterial:
    """Write the given figures of a material; a new figure takes a source of its own."""
    checks.check_sources(material, fields)
    return keeping.change(
        material, checks.check_material, who=who, what="material", which=material.name, fields=dict(fields)
    )


@transaction.atomic
def retire_material(*, material: WorkMaterial, who: Person) -> WorkMaterial:
    """Offer it no longer for new operations."""
    return keeping.retire(material, who=who, what="material", which=material.name)


@transaction.atomic
def create_machine(*, code: str, who: Person, **fields: Unpack[MachineFields]) -> Machine:
    """Add a machine with its spindle nose, pockets and limits."""
    machine = Machine(code=_tidy(code), **fields)
    return keeping.create(
        machine, checks.check_machine, who=who, what="machine", which=machine.code, fields=dict(fields)
    )


@transaction.atomic
def change_machine(*, machine: Machine, who: Person, **fields: Unpack[MachineFields]) -> Machine:
    """Write the given fields of a machine; its code stays."""
    return keeping.change(
        machine, checks.check_machine, who=who, what="machine", which=machine.code, fields=dict(fields)
    )


@transaction.atomic
def retire_machine(*, machine: Machine, who: Person) -> Machine:
    """Take a machine out of use; its runs stay."""
    return keeping.retire(machine, who=who, what="machine", which=machine.code)


@transaction.atomic
def set_shifts(*, machine: Machine, shifts: Sequence[ShiftTimes], who: Person) -> list[MachineShift]:
    """Replace a machine's week by these shifts."""
    rows = []
    seen: set[tuple[int, time]] = set()
    for shift in shifts:
        if not 0 <= shift.weekday <= 6:
            raise BadInput("shifts", "A weekday is a number from 0 (Monday) to 6 (Sunday).")
        if shift.starts == shift.ends:
            raise BadInput("shifts", "A shift that starts and ends at the same time has no length.")
        if (shift.weekday, shift.starts) in seen:
            raise BadInput("shifts", f"Two shifts start at {shift.starts:%H:%M} on the same day.")
        seen.add((shift.weekday, shift.starts))
        rows.append(MachineShift(machine=machine, weekday=shift.weekday, starts=shift.starts, ends=shift.ends))
    before = set(machine.shifts.values_list("weekday", "starts", "ends"))
    if before != {(row.weekday, row.starts, row.ends) for row in rows}:
        machine.shifts.all().delete()
        MachineShift.objects.bulk_create(rows)
        said = [f"{row.weekday} {row.starts:%H:%M}-{row.ends:%H:%M}" for row in rows]
        record_change(who=who, what="machine", which=machine.code, act="set shifts", details={"shifts": said})
    return list(machine.shifts.all())


@transaction.atomic
def keep_machine(
    *, machine: Machine | None, who: Person, shifts: Sequence[ShiftTimes] | None = None, **fields: Any
) -> Machine:
    """Write a machine, new when None, together with its week of shifts: both or neither."""
    if machine is None:
        kept = create_machine(who=who, **fields)
    else:
        fields.pop("code", None)
        kept = change_machine(machine=machine, who=who, **fields)
    if shifts is not None:
        set_shifts(machine=kept, shifts=shifts, who=who)
    return kept


@transaction.atomic
def create_supplier(*, name: str, who: Person, **fields: Unpack[SupplierFields]) -> Supplier:
    """Add somebody the shop buys from."""
    supplier = Supplier(name=name.strip(), **fields)
    return keeping.create(
        supplier, checks.check_supplier, who=who, what="supplier", which=supplier.name, fields=dict(fields)
    )


@transaction.atomic
def change_supplier(*, supplier: Supplier, who: Person, **fields: Unpack[SupplierFields]) -> Supplier:
    """Write the given fields of a supplier."""
    return keeping.change(
        supplier, checks.check_supplier, who=who, what="supplier", which=supplier.name, fields=dict(fields)
    )


@transaction.atomic
def retire_supplier(*, supplier: Supplier, who: Person) -> Supplier:
    """Buy from them no longer; their offers stay for the record."""
    return keeping.retire(supplier, who=who, what="supplier", which=supplier.name)


@transaction.atomic
def create_offer(
    *,
    design: Design,
    supplier: Supplier,
    prices: Mapping[int, Decimal],
    who: Person,
    **fields: Unpack[OfferFields],
) -> Offer:
    """Write down what a supplier asks for a design: `prices` are unit prices by the quantity they begin at."""
    offer = Offer(design=design, supplier=supplier, **fields)
    checks.check_prices(prices)
    said = dict(fields) | {"prices": {str(start): price for start, price in prices.items()}}
    keeping.create(offer, checks.check_offer, who=who, what="offer", which=str(offer), fields=said)
    PriceBreak.objects.bulk_create(
        [PriceBreak(offer=offer, from_quantity=start, unit_price=price) for start, price in sorted(prices.items())]
    )
    keep_search_text(design=design)
    return offer


@transaction.atomic
def change_offer(
    *, offer: Offer, who: Person, prices: Mapping[int, Decimal] | None = None, **fields: Unpack[OfferFields]
) -> Offer:
    """Write the given terms of an offer; `prices`, when given, replace all of its prices."""
    keeping.change(offer, checks.check_offer, who=who, what="offer", which=str(offer), fields=dict(fields))
    if "suppliers_number" in fields:
        keep_search_text(design=offer.design)
    if prices is not None:
        checks.check_prices(prices)
        before = dict(offer.prices.values_list("from_quantity", "unit_price"))
        if before != dict(prices):
            offer.prices.all().delete()
            PriceBreak.objects.bulk_create(
                [
                    PriceBreak(offer=offer, from_quantity=start, unit_price=price)
                    for start, price in sorted(prices.items())
                ]
            )
            record_change(
                who=who, what="offer", which=str(offer), act="changed", details={"prices": [before, dict(prices)]}
            )
    return offer


@transaction.atomic
def retire_offer(*, offer: Offer, who: Person) -> Offer:
    """Order by it no longer."""
    return keeping.retire(offer, who=who, what="offer", which=str(offer))


@transaction.atomic
def retire_entry(*, what: str, number: int, who: Person) -> None:
    """Retire the material, machine, supplier or offer with this number."""
    thing = _entry(what, number)
    keeping.retire(thing, who=who, what=what, which=str(thing))


@transaction.atomic
def reinstate_entry(*, what: str, number: int, who: Person) -> None:
    """Bring the retired material, machine, supplier or offer with this number into use again."""
    thing = _entry(what, number)
    if isinstance(thing, Offer):
        checks.check_offer(thing)
    keeping.reinstate(thing, who=who, what=what, which=str(thing))


def _entry(what: str, number: int) -> WorkMaterial | Machine | Supplier | Offer:
    match what:
        case "material":
            return selectors.material_with(number=number)
        case "machine":
            return selectors.machine_with(number=number)
        case "supplier":
            return selectors.supplier_with(number=number)
        case "offer":
            return selectors.offer_with(number=number)
        case _:
            raise NotFound("There is no such entry in the catalogue.")


@transaction.atomic
def create_job(*, code: str, who: Person, **fields: Unpack[JobFields]) -> Job:
    """Add a batch of one part that the shop makes."""
    job = Job(code=_tidy(code), **fields)
    return keeping.create(job, checks.check_job, who=who, what="job", which=job.code, fields=dict(fields))


@transaction.atomic
def change_job(*, job: Job, who: Person, **fields: Unpack[JobFields]) -> Job:
    """Write the given fields of a job; its code stays."""
    return keeping.change(job, checks.check_job, who=who, what="job", which=job.code, fields=dict(fields))


@transaction.atomic
def retire_job(*, job: Job, who: Person) -> Job:
    """Close a job; what was moved and run for it stays."""
    return keeping.retire(job, who=who, what="job", which=job.code)
