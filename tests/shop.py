"""The small named cast of the tests: one shop with its people, tools, places, a job and a supplier."""

from __future__ import annotations

import itertools
import threading
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db import close_old_connections, connections

from crib.catalogue import services as catalogue
from crib.catalogue.models import Design, Job, Machine, Offer, Supplier, WorkMaterial
from crib.core import clock
from crib.floor import services as floor
from crib.floor.models import Assembly, Edge, Operation, PocketLoad, Run
from crib.people.models import Person
from crib.people.services import sync_roles, take_on_person
from crib.stock import services as stock
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.selectors import check_ledger

PASSWORD = "a-clean-coupling-37"


class Shop:
    """Each member of the cast is made when it is first asked for, through the services, and is then the same."""

    def __init__(self) -> None:
        self._numbers = itertools.count(1)
        sync_roles()

    # --- people -------------------------------------------------------------------------------------

    def person(self, username: str, role: str, first_name: str = "", last_name: str = "") -> Person:
        person, _ = take_on_person(
            username=username,
            first_name=first_name or username.title(),
            last_name=last_name or "Test",
            role=role,
            who=None,
            password=PASSWORD,
        )
        return person

    @cached_property
    def setter(self) -> Person:
        return self.person("sela", "machinist", "Sela", "Marsh")

    @cached_property
    def other_setter(self) -> Person:
        return self.person("odd", "machinist", "Odd", "Brennan")

    @cached_property
    def attendant(self) -> Person:
        return self.person("atto", "attendant", "Atto", "Lind")

    @cached_property
    def planner(self) -> Person:
        return self.person("pia", "planner", "Pia", "Rask")

    @cached_property
    def engineer(self) -> Person:
        return self.person("enno", "engineer", "Enno", "Vale")

    @cached_property
    def lead(self) -> Person:
        return self.person("lena", "lead", "Lena", "Holt")

    @cached_property
    def tablet(self) -> Person:
        return take_on_person(
            username="tablet",
            first_name="Counter",
            last_name="tablet",
            role="",
            who=None,
            password=PASSWORD,
            is_counter=True,
        )[0]

    # --- catalogue ----------------------------------------------------------------------------------

    def design(self, code: str, kind: str = "tip", **fields: Any) -> Design:
        given: dict[str, Any] = {"description": f"{kind} {code}", "unit_cost": Decimal("24.50")}
        if kind in ("tip", "insert"):
            given["edges"] = 2
        if kind == "body":
            given["seats"] = 1
        return catalogue.create_design(code=code, kind=kind, who=self.lead, **(given | fields))

    @cached_property
    def chamfer_tip(self) -> Design:
        return self.design(
            "CT-45-12",
            description="Chamfer tip 90°, 12 mm",
            makers_number="90412",
            family="chamfer tips",
            pack_size=5,
            teeth=4,
            diameter_mm=12.0,
            tip_flat_mm=2.0,
            included_angle_deg=90.0,
            max_depth_mm=5.0,
            machine_side_system="screw-on",
            machine_side_size="M8",
        )

    @cached_property
    def body(self) -> Design:
        return self.design(
            "BD-12-100",
            "body",
            description="Steel body, 100 mm",
            shank_mm=12.0,
            length_mm=100.0,
            machine_side_system="cylindrical",
            machine_side_size="12",
            work_side_system="screw-on",
            work_side_size="M8",
        )

    @cached_property
    def holder(self) -> Design:
        return self.design(
            "HD-40-C16",
            "holder",
            description="Collet chuck 3 to 16 mm",
            machine_side_system="7/24",
            machine_side_size="40",
            work_side_system="cylindrical",
            work_side_size="3-16",
        )

    @cached_property
    def machine(self) -> Machine:
        return catalogue.create_machine(
            code="VM-1",
            name="Vertical mill 1",
            nose_system="7/24",
            nose_size="40",
            pockets=24,
            max_spindle_speed=12000.0,
            max_feed_rate=20000.0,
            max_power_kw=18.0,
            hourly_rate=Decimal("95"),
            who=self.lead,
        )

    @cached_property
    def material(self) -> WorkMaterial:
        return catalogue.create_material(
            name="Duplex 1.4462",
            iso_group="M",
            hardness="230-290 HB",
            kc11=2200.0,
            mc=0.23,
            taylor_n=0.25,
            who=self.lead,
        )

    @cached_property
    def job(self) -> Job:
        return catalogue.create_job(code="J-1001", part="Valve body", quantity=120, who=self.lead)

    @cached_property
    def supplier(self) -> Supplier:
        return catalogue.create_supplier(name="Northgate Tooling", who=self.lead)

    @cached_property
    def offer(self) -> Offer:
        return catalogue.create_offer(
            design=self.chamfer_tip,
            supplier=self.supplier,
            pack=5,
            minimum=10,
            lead_days=7.0,
            lead_days_sd=2.0,
            prices={1: Decimal("24.50"), 50: Decimal("22.00")},
            who=self.lead,
        )

    # --- floor --------------------------------------------------------------------------------------

    @cached_property
    def operation(self) -> Operation:
        """Chamfering the job's part: 2 minutes in cut, 5 minutes on the clock."""
        return floor.create_operation(
            job=self.job,
            number=20,
            name="Chamfer the flange",
            machine=self.machine,
            tip=self.chamfer_tip,
            body=self.body,
            material=self.material,
            kind_of_cut="chamfering",
            surface_speed=60.0,
            feed=0.05,
            depth=1.0,
            width=1.0,
            minutes_per_part=2.0,
            cycle_minutes=5.0,
            cost_of_lost_part=Decimal("900"),
            who=self.engineer,
        )

    def use_band(self, low: float | None, high: float | None) -> Operation:
        """The operation in a band of the flute, as the engineer enters it; edges at work are expected anew."""
        operation = Operation.objects.get(pk=self.operation.pk)
        return floor.change_operation(operation=operation, who=self.engineer, contact_low=low, contact_high=high)

    @cached_property
    def long_ago(self) -> datetime:
        """When the tools of the cast were built: ten days before now, so that runs of the past find them."""
        return clock.now().replace(microsecond=0) - timedelta(days=10)

    @cached_property
    def assembly(self) -> Assembly:
        """Holder and body with a fresh chamfer tip in them, at the crib."""
        return self.assembly_with(self.chamfer_tip)

    def assembly_with(self, tip: Design, *, body: Design | None = None, at: datetime | None = None) -> Assembly:
        """One more assembly with a fresh tip of this design fitted."""
        at = at or self.long_ago
        built = floor.build_assembly(
            holder=self.item(self.holder),
            body=self.item(body or self.body),
            gauge_length_mm=160.0,
            stick_out_mm=60.0,
            who=self.setter,
            at=at,
        )
        self.stock(tip, 1)
        floor.fit_tip(assembly=built, design=tip, from_place=self.bin, who=self.setter, key=self.key(), at=at)
        return built

    @cached_property
    def loaded(self) -> PocketLoad:
        """The assembly in pocket 3 of the machine since ten days ago, working at the operation."""
        return floor.load_pocket(
            machine=self.operation.machine, pocket=3, assembly=self.assembly, who=self.setter, at=self.long_ago
        )

    def load_tool(self) -> PocketLoad:
        """See that the tool is in its pocket, for tests that need it there and nothing of it."""
        return self.loaded

    @property
    def edge(self) -> Edge:
        """The edge in use in pocket 3, as it stands now."""
        return Edge.objects.get(
            item__fittings__assembly=self.loaded.assembly, item__fittings__removed_at=None, state="in_use"
        )

    def run_draft(self, *, hour: float = 0.0, parts: int = 5, long: float = 30.0, **changes: Any) -> floor.RunDraft:
        """A sound run in pocket 3: so many hours after the tool was loaded, half an hour long."""
        self.load_tool()
        start = self.long_ago + timedelta(hours=hour)
        given: dict[str, Any] = {
            "machine": self.machine.code,
            "pocket": 3,
            "operation": f"{self.job.code}/{self.operation.number}",
            "started_at": start,
            "ended_at": start + timedelta(minutes=long),
            "parts": parts,
            "source_key": self.key(),
        }
        return floor.RunDraft(**(given | changes))

    def log_run(self, **changes: Any) -> Run:
        return floor.log_run(draft=self.run_draft(**changes), who=self.setter)

    # --- places and stock ---------------------------------------------------------------------------

    @cached_property
    def bin(self) -> Place:
        return stock.create_place(code="A-01", name="Cabinet A, drawer 1", kind=Place.Kind.BIN, who=self.lead)

    @cached_property
    def other_bin(self) -> Place:
        return stock.create_place(code="B-02", name="Cabinet B, drawer 2", kind=Place.Kind.BIN, who=self.lead)

    def key(self) -> str:
        return f"test:{next(self._numbers)}:{uuid.uuid4()}"

    def stock(
        self, design: Design, quantity: int, *, place: Place | None = None, condition: str = Condition.NEW
    ) -> Move:
        return stock.receive(
            design=design,
            quantity=quantity,
            to_place=place or self.bin,
            supplier=self.supplier,
            condition=condition,
            who=self.attendant,
            key=self.key(),
        )

    def item(self, design: Design) -> Item:
        """One more of a design in the bin, with a label of its own."""
        self.stock(design, 1)
        if design.kept_as_items:
            return Item.objects.filter(design=design).latest("pk")
        return stock.make_item(design=design, condition=Condition.NEW, place=self.bin, who=self.attendant)

    def check_out(
        self,
        design: Design,
        quantity: int = 1,
        *,
        by: Person,
        from_place: Place | None = None,
        key: str | None = None,
        item: Item | None = None,
        job: Job | None = None,
        at: datetime | None = None,
    ) -> Move:
        return stock.check_out(
            design=design,
            quantity=quantity,
            person=by,
            from_place=from_place or self.bin,
            who=by,
            key=key or self.key(),
            item=item,
            job=job,
            at=at,
        )


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """Run all acts at the same moment, each in a thread and transaction of its own; answers results or errors.

    The test needs `@pytest.mark.django_db(transaction=True)`.
    """
    start = threading.Barrier(len(acts))
    outcomes: list[Any] = [None] * len(acts)

    def run(number: int, act: Callable[[], Any]) -> None:
        try:
            start.wait(timeout=30)
            outcomes[number] = act()
        except Exception as raised:
            outcomes[number] = raised
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(number, act)) for number, act in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
        assert not thread.is_alive(), "an act did not come to an end"
    close_old_connections()
    return outcomes


def type_name(outcome: object) -> str:
    return type(outcome).__name__


def assert_ledger_balances() -> None:
    differences = [difference.sentence for difference in check_ledger()]
    assert not differences, differences
