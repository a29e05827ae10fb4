"""The edges in use that come due on each machine, in minutes of its work, and why of others nothing can be told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db.models import Count, Exists, OuterRef, Q
from django.utils import timezone

from crib.catalogue.models import Design, Machine, MachineShift
from crib.core import clock
from crib.floor.models import Edge, Operation, PocketLoad
from crib.life.calendar import Hours, Stretch, shifts_ahead
from crib.life.models import Forecast
from crib.life.selectors.board import BoardRow, board_rows
from crib.life.selectors.due import Pace, paces_of

# A machine that stands on Friday begins its next shift but one within this time.
FURTHEST = timedelta(days=8)
TO_END = "Run to the end: no change is planned."
NO_FORECAST = "No forecast yet."
NO_PARTS = "Minutes in cut per part are not known."
NOT_RUN = "It has not run yet."
NO_PACE = "Give the operation a cycle time, or log runs, and its change can be told by the clock."
BATCH_FIRST = "Its batch is finished before its change."
LATER = "Its change lies beyond the next shift."


@dataclass(frozen=True, slots=True)
class Slot:
    """One edge in use that comes due: parts until then, minutes of work, and fresh corners that wait on its item."""

    row: BoardRow
    operation: Operation
    forecast: Forecast
    due: float
    parts: int
    pace: float | None
    fresh: int

    @property
    def edge(self) -> Edge:
        return self.row.edge

    @property
    def pocket(self) -> int | None:
        return self.row.pocket

    @property
    def design(self) -> Design:
        return self.edge.item.design

    @property
    def pieces(self) -> int:
        """Tips that sit in the tool together."""
        return self.edge.item.pieces

    def turns(self, repeat: int) -> bool:
        """Whether the change of that number, from 0, finds a fresh corner on the item then in the tool."""
        return repeat < self.fresh or (repeat - self.fresh) % max(self.design.edges, 1) != 0


@dataclass(frozen=True, slots=True)
class Untold:
    """An edge in use of which no stop can be told, and why."""

    row: BoardRow
    why: str


@dataclass(slots=True)
class MachineWork:
    """A machine with its shifts and the edges that come due on it; `horizon` is the work until the next shift ends."""

    machine: Machine
    this_shift: Stretch
    next_shift: Stretch
    hours: Hours
    slots: list[Slot] = field(default_factory=list)
    untold: list[Untold] = field(default_factory=list)
    horizon: float = field(init=False)

    def __post_init__(self) -> None:
        # Asked for with every edge on the machine.
        self.horizon = self.hours.until(self.next_shift.ends)


def gather(*, machine: Machine | None = None) -> list[MachineWork]:
    """Machines with edges in use that come due; of one machine also the edges of which nothing can be told."""
    now, zone = clock.now(), timezone.get_default_timezone()
    rows = [row for row in board_rows(edges=list(_edges(machine, now))) if row.edge.operation is not None]
    found = {machine.pk: machine} if machine is not None else {}
    for row in rows:
        here = _machine_of(row)
        if machine is None:
            found.setdefault(here.pk, here)
    shifts: dict[int, list[MachineShift]] = {pk: [] for pk in found}
    for shift in MachineShift.objects.filter(machine__in=found):
        shifts[shift.machine_id].append(shift)
    works = {
        pk: MachineWork(
            one,
            *shifts_ahead(now=now, shifts=shifts[pk], zone=zone),
            Hours(start=now, shifts=shifts[pk], zone=zone),
        )
        for pk, one in found.items()
    }
    paces = paces_of({row.edge.operation for row in rows if row.edge.operation is not None})
    fresh = _fresh_corners(rows)
    for row in rows:
        work = works.get(_machine_of(row).pk)
        if work is not None:
            _place(row, work, paces, fresh)
    return sorted(works.values(), key=lambda one: one.machine.code)


def _edges(machine: Machine | None, now: datetime) -> Sequence[Edge]:
    edges = (
        Edge.objects.filter(state=Edge.State.IN_USE)
        .select_related("item__design", "operation__job", "operation__machine", "operation__material")
        .select_related("operation__tip", "operation__body", "forecast")
        .order_by("pk")
    )
    if machine is not None:
        loads = PocketLoad.objects.filter(
            unloaded_at=None, assembly__fittings__item=OuterRef("item"), assembly__fittings__removed_at=None
        )
        return list(edges.filter(Q(operation__machine=machine) | Exists(loads.filter(machine=machine))))
    soon = Q(forecast__change_by_at__lte=now + FURTHEST)
    return list(edges.filter(soon | Q(forecast__change_by_parts=0), operation__isnull=False))


def _fresh_corners(rows: Sequence[BoardRow]) -> dict[int, int]:
    """By item, the fresh corners that wait on it."""
    fresh = Edge.objects.filter(state=Edge.State.FRESH, item__in={row.edge.item_id for row in rows})
    return dict(fresh.values_list("item").annotate(count=Count("pk")))


def _machine_of(row: BoardRow) -> Machine:
    """Where it is loaded, else where its work is done."""
    assert row.edge.operation is not None  # those without work were left out
    return row.machine or row.edge.operation.machine


def _place(row: BoardRow, work: MachineWork, paces: Mapping[int, Pace], fresh: Mapping[int, int]) -> None:
    """Put an edge among those that come due on its machine, or say why it is not there."""
    forecast, operation = row.forecast, row.edge.operation
    assert operation is not None  # those without work were left out
    pace = paces[operation.pk].clock_per_part
    why = _why_untold(row.edge, forecast, pace)
    if why or forecast is None:
        work.untold.append(Untold(row, why))
        return
    parts = forecast.change_by_parts or 0
    due = work.hours.until(forecast.change_by_at) if parts and forecast.change_by_at else 0.0
    if due > work.horizon:
        work.untold.append(Untold(row, LATER))
        return
    work.slots.append(Slot(row, operation, forecast, due, parts, pace, fresh.get(row.edge.item_id, 0)))


def _why_untold(edge: Edge, forecast: Forecast | None, pace: float | None) -> str:
    if forecast is None or forecast.trouble or forecast.life_used is None:
        return (forecast.trouble if forecast else "") or NO_FORECAST
    if forecast.change_by_parts is None:
        return TO_END if forecast.change_by_minutes is None else NO_PARTS
    if forecast.change_by_parts == 0:
        return ""
    if forecast.batch_parts_left and forecast.change_by_parts >= forecast.batch_parts_left:
        return BATCH_FIRST
    if forecast.change_by_at is not None:
        return ""
    if edge.last_run_ended_at is None:
        return NOT_RUN
    return LATER if pace else NO_PACE
