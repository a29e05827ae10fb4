"""What needs a person now: edges that come off before the shift ends, shortages coming, things not brought back."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, F, Q
from django.utils import timezone

from crib.catalogue.models import Machine, MachineShift
from crib.core import clock
from crib.floor.models import Edge, Operation, PocketLoad
from crib.floor.selectors import LateDispatch, late_dispatches
from crib.life.calendar import Stretch, shifts_ahead
from crib.life.models import Forecast
from crib.planning.calendar import month_after, month_of
from crib.planning.models import Flag, ProductionPlan, PurchaseOrder
from crib.planning.selectors.gather import OPEN_ORDERS
from crib.planning.selectors.starts import KitToStage, kits_before_the_shift
from crib.stock.selectors import Held, not_brought_back

MOST_SHOWN = 12


@dataclass(frozen=True, slots=True)
class DueEdge:
    """An edge in a machine that should come off before its shift ends."""

    forecast: Forecast
    machine: Machine | None
    pocket: int | None
    shift: Stretch

    @property
    def shift_ends(self) -> datetime:
        return self.shift.ends

    @property
    def edge(self) -> Edge:
        return self.forecast.edge

    @property
    def coming(self) -> bool:
        """Whether that shift is still to begin."""
        return self.shift.starts > clock.now()

    @property
    def overdue(self) -> bool:
        parts, minutes = self.forecast.change_by_parts, self.forecast.change_by_minutes
        return parts == 0 if parts is not None else minutes is not None and minutes <= 0


@dataclass(frozen=True, slots=True)
class TodayNow:
    """Everything on the Today page."""

    due: tuple[DueEdge, ...]
    due_more: int
    edges_in_use: int
    without_forecast: int
    shortages: tuple[Flag, ...]
    shortages_more: int
    lives_fall: tuple[Flag, ...]
    lives_fall_more: int
    late_orders: tuple[PurchaseOrder, ...]
    late_dispatches: tuple[LateDispatch, ...]
    kits: tuple[KitToStage, ...]
    not_back: tuple[Held, ...]
    not_back_more: int
    plan_month: str
    plan: ProductionPlan | None
    operations: int

    @property
    def quiet(self) -> bool:
        calm = not (self.due or self.shortages or self.lives_fall or self.late_orders or self.late_dispatches)
        return calm and not (self.kits or self.not_back)

    @property
    def begun(self) -> bool:
        """Whether the shop has anything entered to look after."""
        return bool(self.operations or self.edges_in_use)


def today_now() -> TodayNow:
    """What the Today page shows; a fixed number of queries."""
    due = edges_due()
    counts = Edge.objects.filter(state=Edge.State.IN_USE).aggregate(
        in_use=Count("pk"), without=Count("pk", filter=Q(forecast=None) | ~Q(forecast__trouble=""))
    )
    shortages = list(pressing_flags())
    falling = falling_lives()
    back = not_brought_back()
    month = month_after(month_of(clock.today()))
    return TodayNow(
        due=tuple(due[:MOST_SHOWN]),
        due_more=max(len(due) - MOST_SHOWN, 0),
        edges_in_use=counts["in_use"],
        without_forecast=counts["without"],
        shortages=tuple(shortages[:MOST_SHOWN]),
        shortages_more=max(len(shortages) - MOST_SHOWN, 0),
        lives_fall=tuple(falling[:MOST_SHOWN]),
        lives_fall_more=max(len(falling) - MOST_SHOWN, 0),
        late_orders=tuple(late_orders()),
        late_dispatches=tuple(late_dispatches()),
        kits=tuple(kits_before_the_shift()[:MOST_SHOWN]),
        not_back=tuple(back[:MOST_SHOWN]),
        not_back_more=max(len(back) - MOST_SHOWN, 0),
        plan_month=month,
        plan=ProductionPlan.objects.filter(month=month).first(),
        operations=Operation.objects.filter(retired_at=None).count(),
    )


def pressing_flags() -> list[Flag]:
    """Open flags that no order on its way covers, one for each design, the first shortage first."""
    flags = Flag.objects.filter(cleared_at=None, covered=False, kind__in=Flag.OF_STOCK).select_related("design")
    kept: dict[int, Flag] = {}
    for flag in flags.order_by(F("short_on").asc(nulls_last=True), "raised_at", "design__code"):
        kept.setdefault(flag.design_id, flag)
    return list(kept.values())


def falling_lives() -> list[Flag]:
    """Open flags that the lives of a design fall, the newest first."""
    flags = Flag.objects.filter(cleared_at=None, kind=Flag.Kind.LIVES_FALL).select_related("design")
    return list(flags.order_by("-raised_at", "design__code"))


def late_orders() -> list[PurchaseOrder]:
    """Orders that should have come."""
    late = PurchaseOrder.objects.filter(state__in=OPEN_ORDERS, expected_on__lt=clock.today())
    return list(late.select_related("supplier").order_by("expected_on"))


def edges_due() -> list[DueEdge]:
    """Edges that should come off before the shift of their machine ends, the first to come off first."""
    forecasts = (
        Forecast.objects.filter(edge__state=Edge.State.IN_USE, trouble="")
        .filter(Q(change_by_at__isnull=False) | Q(change_by_parts=0) | Q(change_by_minutes__lte=0))
        .filter(Q(change_by_at=None) | Q(change_by_at__lte=clock.now() + timedelta(hours=36)))
        .select_related("edge__item__design", "edge__operation__job", "edge__operation__machine")
    )
    rows = list(forecasts)
    loads = _loads({row.edge.item_id for row in rows})
    found = []
    machines: dict[int, Machine | None] = {}
    for row in rows:
        load = loads.get(row.edge.item_id)
        operation = row.edge.operation
        machines[row.pk] = load.machine if load else operation.machine if operation else None
    shifts = shifts_now({machine.pk for machine in machines.values() if machine is not None})
    for row in rows:
        machine = machines[row.pk]
        if machine is None:
            continue
        load = loads.get(row.edge.item_id)
        due = DueEdge(row, machine, load.pocket if load else None, shifts[machine.pk])
        if due.overdue or (row.change_by_at is not None and row.change_by_at <= due.shift_ends):
            found.append(due)
    far = clock.now() + timedelta(days=999)
    return sorted(found, key=lambda one: (not one.overdue, one.forecast.change_by_at or far, one.edge.pk))


def _loads(items: Collection[int]) -> dict[int, PocketLoad]:
    """Where each item is loaded now."""
    loads = PocketLoad.objects.filter(
        unloaded_at=None, assembly__fittings__item__in=items, assembly__fittings__removed_at=None
    ).select_related("machine")
    found: dict[int, PocketLoad] = {}
    for load in loads.annotate(item=F("assembly__fittings__item")):
        found[load.item] = load
    return found


def shifts_now(machines: Collection[int]) -> dict[int, Stretch]:
    """The shift that runs on each machine, or else the next one to begin."""
    now, zone = clock.now(), timezone.get_default_timezone()
    shifts: dict[int, list[MachineShift]] = {machine: [] for machine in machines}
    for shift in MachineShift.objects.filter(machine__in=machines):
        shifts[shift.machine_id].append(shift)
    return {machine: shifts_ahead(now=now, shifts=own, zone=zone)[0] for machine, own in shifts.items()}
