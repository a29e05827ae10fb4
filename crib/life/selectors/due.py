"""Which forecasts are due, and all that computing them needs, in a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.db.models import F, Q, QuerySet, Sum

from crib.catalogue.models import MachineShift
from crib.floor.flute import band_of
from crib.floor.models import Edge, EdgeMinutes, Inspection, Operation
from crib.life.models import ForecastScore

REAL_ENDS = (Edge.Outcome.WORN, Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN)


def due_edges() -> QuerySet[Edge]:
    """Edges in use whose forecast is missing, behind the edge, behind its model, or marked stale."""
    behind = ~Q(forecast__edge_revision=F("revision"))
    outdated = Q(forecast__model__isnull=False) & ~Q(forecast__model_version=F("forecast__model__version"))
    return Edge.objects.filter(state=Edge.State.IN_USE).filter(
        Q(forecast__isnull=True) | behind | Q(forecast__stale=True) | outdated
    )


@dataclass(frozen=True, slots=True)
class Pace:
    """How an operation runs: clock minutes for each part, where its runs tell, and parts made at it so far."""

    clock_per_part: float | None
    parts_made: int


@dataclass(frozen=True, slots=True)
class Work:
    """Edges to forecast with what stands around them; the totals of an edge are those that may count for it."""

    edges: list[Edge]
    totals: dict[int, list[EdgeMinutes]]
    paces: dict[int, Pace]
    shifts: dict[int, list[MachineShift]]
    points_kept: dict[int, set[int]]
    looks: dict[int, list[Inspection]]


def work_of(edge_ids: Sequence[int]) -> Work:
    """Everything that the forecasts of these edges are computed from."""
    edges = list(
        Edge.objects.filter(pk__in=edge_ids, state=Edge.State.IN_USE)
        .select_related(
            "item__design",
            "operation__job",
            "operation__machine",
            "operation__material",
            "operation__tip",
            "operation__body",
        )
        .order_by("pk")
    )
    operations = {edge.operation for edge in edges if edge.operation is not None}
    shifts: dict[int, list[MachineShift]] = defaultdict(list)
    for shift in MachineShift.objects.filter(machine__in={operation.machine_id for operation in operations}):
        shifts[shift.machine_id].append(shift)
    kept: dict[int, set[int]] = defaultdict(set)
    for edge, point in ForecastScore.objects.filter(edge__in=edges).values_list("edge_id", "point"):
        kept[edge].add(point)
    return Work(edges, _totals(edges), paces_of(operations), dict(shifts), dict(kept), _looks(edges))


def _looks(edges: Sequence[Edge]) -> dict[int, list[Inspection]]:
    """The wear lands seen on each edge."""
    looks: dict[int, list[Inspection]] = defaultdict(list)
    for look in Inspection.objects.filter(edge__in=edges).order_by("at_minutes", "pk"):
        looks[look.edge_id].append(look)
    return dict(looks)


def _totals(edges: Sequence[Edge]) -> dict[int, list[EdgeMinutes]]:
    """By edge its own totals; where it works in a band of its flute, also those that other edges have in known bands.

    An item has one edge in use, so each total goes to one edge.
    """
    by_band = {edge.item_id: edge for edge in edges if edge.operation and band_of(edge.operation)}
    wanted = Q(edge__in=edges) | Q(edge__item__in=by_band, contact_high__gt=0)
    rows = EdgeMinutes.objects.filter(wanted, minutes__gt=0).select_related("operation", "edge").order_by("pk")
    own = {edge.pk for edge in edges}
    totals: dict[int, list[EdgeMinutes]] = defaultdict(list)
    for row in rows:
        if row.edge_id in own:
            totals[row.edge_id].append(row)
        # What was cut before a regrind was ground away.
        elif row.edge.grind == (beside := by_band[row.edge.item_id]).grind:
            totals[beside.pk].append(row)
    return dict(totals)


def paces_of(operations: Collection[Operation]) -> dict[int, Pace]:
    """How each operation runs; one query."""
    sums = {
        row["operation"]: row
        for row in EdgeMinutes.objects.filter(operation__in=operations)
        .values("operation")
        .annotate(made=Sum("parts"), clock=Sum("clock_minutes"))
    }
    paces = {}
    for operation in operations:
        row = sums.get(operation.pk, {"made": 0, "clock": 0.0})
        made, clock = max(int(row["made"]), 0), float(row["clock"])
        paces[operation.pk] = Pace(clock / made if made and clock > 0 else operation.cycle_minutes, made)
    return paces


def still_to_make(operation: Operation, pace: Pace) -> int:
    """Parts of the job that an operation has not made yet."""
    return max(operation.job.quantity - pace.parts_made, 0)


def unscored_ends() -> QuerySet[ForecastScore]:
    """Forecasts kept of edges that have ended since, and those scored as what the end no longer counts as."""
    ended = ForecastScore.objects.filter(edge__state=Edge.State.ENDED)
    excused = Edge.objects.exclude(excuse="").filter(state=Edge.State.ENDED)
    real = Edge.objects.filter(state=Edge.State.ENDED, outcome__in=REAL_ENDS, excuse="")
    changed = Q(censored=False, edge__in=excused) | Q(censored=True, edge__in=real)
    return ended.filter(Q(scored_at=None) | changed).select_related("edge").order_by("pk")
