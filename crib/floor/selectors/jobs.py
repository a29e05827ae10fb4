"""Jobs, their operations and the edges that worked at them, from the running totals."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, Max, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from crib.catalogue.models import Job, Machine
from crib.floor.duty import TURNED, cutting_diameter, tool_diameter
from crib.floor.models import Edge, EdgeMinutes, Operation, Run
from crib.floor.selectors.boards import PocketNow, machine_boards
from crib.floor.selectors.work import edges_at_work
from crib.floor.tooling import SpeedLimit, speed_limit


def jobs_with_work() -> QuerySet[Job]:
    """Jobs that are not put away, with how many operations they have and how many edges work at them now."""
    at_work = edges_at_work().filter(operation__job=OuterRef("pk")).order_by().values("operation__job")
    return (
        Job.objects.filter(retired_at=None)
        .annotate(
            steps=Count("operations", filter=Q(operations__retired_at=None)),
            edges_at_work=Coalesce(Subquery(at_work.annotate(count=Count("pk")).values("count")), 0),
        )
        .order_by(F("due").asc(nulls_last=True), "code")
    )


def operations_of(job: Job) -> QuerySet[Operation]:
    """A job's steps in the order of work, retired ones last."""
    steps = Operation.objects.filter(job=job).select_related("job", "machine", "tip", "body", "material")
    return steps.order_by(F("retired_at").asc(nulls_first=True), "number")


def operations_to_keep_for(kinds: Iterable[str]) -> QuerySet[Operation]:
    """Operations of these kinds of cut at jobs that are not done, for a calculator to open from or keep for."""
    return (
        Operation.objects.filter(kind_of_cut__in=kinds, retired_at=None, job__retired_at=None)
        .exclude(job__state=Job.State.DONE)
        .select_related("job", "machine", "tip")
        .order_by("job__code", "number")
    )


def operation_in_full(pk: int) -> Operation | None:
    """One operation with all it names."""
    return Operation.objects.select_related("job", "machine", "tip", "body", "material").filter(pk=pk).first()


@dataclass(frozen=True, slots=True)
class ToolLimits:
    """What a setter must know of a tool that turns: its diameters in mm, and how fast it may turn at most."""

    diameter: float | None
    in_contact: float | None
    slowest: SpeedLimit | None


def tool_limits(operation: Operation) -> ToolLimits | None:
    """Diameter and largest speed of the tip with its body; the slowest part decides. None where the work turns."""
    if operation.kind_of_cut in TURNED:
        return None
    parts = [operation.tip, *([operation.body] if operation.body else [])]
    diameter = tool_diameter(operation)
    in_contact = cutting_diameter(operation)
    return ToolLimits(diameter, None if in_contact == diameter else in_contact, speed_limit(parts))


@dataclass(frozen=True, slots=True)
class EdgeThere:
    """An edge with what it did at one operation, in whatever bands of its flute."""

    edge: Edge
    minutes: float
    parts: int


def edges_at(operation: Operation, *, edge_related: Iterable[str] = (), limit: int = 50) -> list[EdgeThere]:
    """The edges that worked at an operation, with what they did there: those in use, then the last to come off."""
    if not limit:
        return []
    totals = EdgeMinutes.objects.filter(operation=operation).values("edge")
    summed = totals.annotate(all_minutes=Sum("minutes"), all_parts=Sum("parts"), last=Max("last_ended_at"))
    latest = (F("edge__ended_at").desc(nulls_first=True), F("last").desc(nulls_last=True), "-edge")
    rows = list(summed.order_by(*latest)[:limit])
    edges = Edge.objects.select_related("item__design", "item__place", *edge_related)
    by_pk = edges.in_bulk([row["edge"] for row in rows])
    return [EdgeThere(by_pk[row["edge"]], row["all_minutes"], row["all_parts"]) for row in rows]


def edges_working_at(operation: Operation, *, edge_related: Iterable[str] = ()) -> list[Edge]:
    """Edges in use at this operation that are fitted now."""
    working = edges_at_work().filter(operation=operation)
    return list(working.select_related("item__design", "item__place", *edge_related).order_by("pk"))


def runs_logged(
    *,
    machine: Machine | None = None,
    operation: Operation | None = None,
    edge: Edge | None = None,
    since: datetime | None = None,
    before: int | None = None,
) -> QuerySet[Run]:
    """Runs as they were logged, newest first: for looking them up, never for totals."""
    runs = Run.objects.select_related("machine", "operation__job", "edge__item__design", "logged_by", "reversed_by")
    wanted = {"machine": machine, "operation": operation, "edge": edge, "started_at__gte": since, "pk__lt": before}
    for name, value in wanted.items():
        if value is not None:
            runs = runs.filter(**{name: value})
    return runs.order_by("-id")


def loads_for(operation: Operation, *, edge_related: Iterable[str] = ()) -> list[PocketNow]:
    """The pockets of the operation's machine that hold its tip now."""
    [board] = machine_boards(machines=[operation.machine], edge_related=edge_related)
    return [now for now in board.pockets if now.fitted is not None and now.fitted.design.pk == operation.tip_id]
