"""Sets the demo shop up: its people, its catalogue, its places and its jobs, each through the services."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from crib.catalogue import services as catalogue
from crib.catalogue.models import Design, Job, Machine, Supplier, WorkMaterial
from crib.catalogue.reading import read_curve
from crib.floor import services as floor
from crib.floor.models import Operation
from crib.management.demo.calendar import shifts_between
from crib.management.demo.scenario import Batch, Part, Row, Scenario, Step
from crib.people.models import Person
from crib.people.services import take_on_person
from crib.stock import services as stock
from crib.stock.models import Place

WHOLE = ("pack_size", "regrinds_allowed", "edges", "seats", "teeth", "pockets", "minimum", "pack")
MONEY = ("unit_cost", "regrind_cost", "hourly_rate", "free_freight_from")
TEXT = (
    "code", "name", "description", "kind", "family", "makers_number", "machine_side_system", "machine_side_size",
    "work_side_system", "work_side_size", "nose_system", "nose_size", "feed", "iso_group", "hardness", "kc11_source",
    "mc_source", "taylor_n_source", "speed_source", "email", "suppliers_number", "balance_note",
)  # fmt: skip


@dataclass(slots=True)
class Shop:
    """What has been set up so far, by code or name, for the stages that build on it."""

    now: datetime
    people: dict[str, Person] = field(default_factory=dict)
    passwords: dict[str, str] = field(default_factory=dict)
    materials: dict[str, WorkMaterial] = field(default_factory=dict)
    designs: dict[str, Design] = field(default_factory=dict)
    machines: dict[str, Machine] = field(default_factory=dict)
    suppliers: dict[str, Supplier] = field(default_factory=dict)
    regrind: Place | None = None
    bins: dict[str, Place] = field(default_factory=dict)
    homes: dict[str, Place] = field(default_factory=dict)
    jobs: dict[str, Job] = field(default_factory=dict)
    operations: dict[tuple[str, int], Operation] = field(default_factory=dict)

    @property
    def lead(self) -> Person:
        return self.people["lead"]

    @property
    def engineer(self) -> Person:
        return self.people["engineer"]

    @property
    def attendant(self) -> Person:
        return self.people["attendant"]

    @property
    def planner(self) -> Person:
        return self.people["planner"]


def fields_of(row: Row, *, without: tuple[str, ...] = ()) -> dict[str, Any]:
    """A row's filled columns as the services take them."""
    return {name: _value(name, text) for name, text in row.items() if text != "" and name not in without}


def _value(name: str, text: str) -> Any:
    if name in TEXT:
        return text
    if name in WHOLE:
        return int(text)
    if name in MONEY:
        return Decimal(text)
    if text in ("yes", "no"):
        return text == "yes"
    return float(text)


def take_on_people(scenario: Scenario, shop: Shop, passwords: Mapping[str, str]) -> None:
    """Take on everybody; a password that is not given is made up and handed back with the others."""
    for row in scenario.people:
        person, secret = take_on_person(
            username=row["username"],
            first_name=row["first_name"],
            last_name=row["last_name"],
            role=row["role"],
            who=shop.people.get("lead"),
            password=passwords.get(row["username"]),
            is_counter=row["role"] == "",
        )
        shop.people[person.username] = person
        shop.passwords[person.username] = secret


def fill_catalogue(scenario: Scenario, shop: Shop) -> None:
    """Materials, designs, machines with their shifts, suppliers and what they ask."""
    who = shop.engineer
    shop.materials = {material.name: material for material in catalogue.load_starting_materials(who=who).added}
    for row in scenario.designs:
        given = fields_of(row, without=("code", "kind"))
        shop.designs[row["code"]] = catalogue.create_design(code=row["code"], kind=row["kind"], who=who, **given)
    for row in scenario.machines:
        given = fields_of(row, without=("code", "shifts", "power_curve"))
        curve = read_curve(row["power_curve"])
        machine = catalogue.create_machine(code=row["code"], who=who, power_curve=curve, **given)
        times = [
            catalogue.ShiftTimes(day, shift.starts, shift.ends)
            for shift in scenario.shifts
            if shift.pattern == row["shifts"]
            for day in shift.weekdays
        ]
        catalogue.set_shifts(machine=machine, shifts=times, who=who)
        shop.machines[row["code"]] = machine
    _add_suppliers(scenario, shop)


def _add_suppliers(scenario: Scenario, shop: Shop) -> None:
    who = shop.engineer
    for row in scenario.suppliers:
        given = fields_of(row, without=("key", "name", "regrinds"))
        shop.suppliers[row["key"]] = catalogue.create_supplier(name=row["name"], who=who, **given)
    for row in scenario.offers:
        prices = dict(pair.split(":") for pair in row["prices"].split(";"))
        catalogue.create_offer(
            design=shop.designs[row["design"]],
            supplier=shop.suppliers[row["supplier"]],
            prices={int(start): Decimal(price) for start, price in prices.items()},
            who=who,
            **fields_of(row, without=("design", "supplier", "prices")),
        )


def lay_out_places(scenario: Scenario, shop: Shop) -> None:
    """The crib with its cabinets and bins, and each design's home."""
    for row in scenario.places:
        home = shop.designs.get(row["home_of"])
        place = stock.create_place(
            code=row["code"],
            name=row["name"],
            kind=row["kind"],
            who=shop.attendant,
            parent=shop.bins.get(row["parent"]),
            home_of=home,
        )
        shop.bins[row["code"]] = place
        if home is not None:
            shop.homes[home.code] = place
    regrinds = next(row["name"] for row in scenario.suppliers if row["regrinds"] == "yes")
    shop.regrind = stock.place_of(regrind=regrinds)


def enter_jobs(scenario: Scenario, shop: Shop) -> None:
    """Every job with its operations; the floor works out the minutes for each part from the duty."""
    for batch in scenario.batches:
        part = scenario.parts[batch.part]
        job = floor.create_job(
            code=batch.code,
            part=part.name,
            quantity=quantity_of(scenario, batch, shop.now),
            due=_day(shop.now, batch.to_week - 0.3),
            state=Job.State.PLANNED,
            who=shop.planner,
        )
        shop.jobs[batch.code] = job
        for step in scenario.steps[batch.part]:
            shop.operations[batch.code, step.number] = _enter_operation(shop, job, batch, part, step)


def _enter_operation(shop: Shop, job: Job, batch: Batch, part: Part, step: Step) -> Operation:
    low, high = step.band_of(1) if step.bands else (None, None)
    return floor.create_operation(
        job=job,
        number=step.number,
        name=step.name,
        machine=shop.machines[part.machine],
        tip=shop.designs[step.tip],
        body=shop.designs.get(step.body),
        material=shop.materials[part.material],
        kind_of_cut=step.kind_of_cut,
        surface_speed=round(step.surface_speed * batch.speed_factor, 1),
        feed=_feed(step, batch),
        depth=step.depth,
        width=step.width,
        length_of_cut=step.length_of_cut,
        passes=step.passes,
        work_diameter=step.work_diameter,
        coolant=step.coolant,
        contact_low=low,
        contact_high=high,
        cycle_minutes=part.cycle_minutes,
        accepted_risk=step.accepted_risk,
        cost_of_lost_part=Decimal(step.cost_of_lost_part),
        chance_part_lost=step.chance_part_lost,
        change_minutes=step.change_minutes,
        fixed_count=step.fixed_count,
        who=shop.engineer,
    )


def _feed(step: Step, batch: Batch) -> float:
    """A thread's feed is its pitch, whatever the engineer tries."""
    threads = step.kind_of_cut == "tapping" or step.tip.startswith("TT")
    return step.feed if threads else round(step.feed * batch.feed_factor, 4)


def quantity_of(scenario: Scenario, batch: Batch, now: datetime) -> int:
    """Parts of a job: what its machine makes in its weeks, in round numbers."""
    return _rounded(batch_parts(scenario, batch, now - _weeks(batch.from_week), now - _weeks(batch.to_week)))


def batch_parts(scenario: Scenario, batch: Batch, first: datetime, last: datetime) -> int:
    """Parts that the machine makes between two moments: manned hours less what shifts usually lose."""
    part = scenario.parts[batch.part]
    pattern = next(row["shifts"] for row in scenario.machines if row["code"] == part.machine)
    rows = [row for row in scenario.shifts if row.pattern == pattern]
    hours = sum((shift.ends - shift.starts).total_seconds() / 3600 for shift in shifts_between(rows, first, last))
    return max(1, int(hours * 60 * scenario.story["share_of_manned_time_worked"] / part.cycle_minutes))


def _rounded(parts: int) -> int:
    step = 10 if parts < 400 else 50
    return max(step, (parts + step // 2) // step * step)


def _weeks(weeks: float) -> timedelta:
    return timedelta(weeks=weeks)


def _day(now: datetime, weeks_back: float) -> date:
    return timezone.localdate(now - _weeks(weeks_back))
