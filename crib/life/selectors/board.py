"""The Edges board: every edge in use with what is expected of it, the most urgent first.

Reads forecasts as they were computed; nothing is computed here and no run is read. A page costs a fixed number of
queries, and whether anything changed costs one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Case, Count, Exists, F, IntegerField, Max, OuterRef, QuerySet, Sum, Value, When

from crib.catalogue.models import Machine
from crib.floor.models import Edge, PocketLoad
from crib.life.models import Forecast

NEAR = 0.75


@dataclass(frozen=True, slots=True)
class BoardRow:
    """One edge on the board: the edge, its forecast where there is one, and where it sits."""

    edge: Edge
    forecast: Forecast | None
    machine: Machine | None
    pocket: int | None

    @property
    def tone(self) -> str:
        """How urgent it is, in the words of the badges."""
        forecast = self.forecast
        if forecast is None or forecast.life_used is None:
            return "plain"
        if forecast.change_by_parts is None and forecast.change_by_minutes is None:
            return "info"
        if self.due_now:
            return "bad"
        return "caution" if forecast.life_used >= NEAR or forecast.change_by_parts == 1 else "good"

    @property
    def due_now(self) -> bool:
        forecast = self.forecast
        if forecast is None:
            return False
        left = forecast.change_by_minutes if forecast.change_by_parts is None else forecast.change_by_parts
        return left is not None and left <= 0

    @property
    def behind(self) -> bool:
        """Whether a newer run waits for its forecast."""
        return self.forecast is None or self.forecast.edge_revision != self.edge.revision


def edges_in_use(*, machine: Machine | None = None) -> QuerySet[Edge]:
    """Edges in use, the most urgent first: due now, then by the clock, then by minutes left."""
    edges = Edge.objects.filter(state=Edge.State.IN_USE)
    if machine is not None:
        edges = edges.filter(Exists(_loads().filter(machine=machine)))
    due = Case(When(forecast__change_by_parts=0, then=Value(0)), default=Value(1), output_field=IntegerField())
    return edges.select_related(
        "item__design", "operation__job", "operation__machine", "forecast"
    ).order_by(
        due, F("forecast__change_by_at").asc(nulls_last=True), F("forecast__change_by_minutes").asc(nulls_last=True),
        F("forecast__life_used").desc(nulls_last=True), "pk",
    )  # fmt: skip


def _loads() -> QuerySet[PocketLoad]:
    """Where the outer edge's item is loaded now."""
    return PocketLoad.objects.filter(
        unloaded_at=None, assembly__fittings__item=OuterRef("item"), assembly__fittings__removed_at=None
    )


def board_rows(*, edges: Sequence[Edge]) -> list[BoardRow]:
    """These edges with their forecasts and pockets; one query more."""
    loads = PocketLoad.objects.filter(
        unloaded_at=None, assembly__fittings__removed_at=None, assembly__fittings__item__in=[e.item_id for e in edges]
    ).select_related("machine")
    at = {load.item: load for load in loads.annotate(item=F("assembly__fittings__item"))}
    rows = []
    for edge in edges:
        load = at.get(edge.item_id)
        forecast = edge.forecast if hasattr(edge, "forecast") else None
        rows.append(BoardRow(edge, forecast, load.machine if load else None, load.pocket if load else None))
    return rows


def board_row(*, edge: Edge) -> BoardRow:
    """One edge as the board shows it."""
    return board_rows(edges=[edge])[0]


def board_stamp() -> str:
    """Changes whenever anything on the board does: an edge comes, goes or works, or a forecast is computed."""
    now = Edge.objects.filter(state=Edge.State.IN_USE).aggregate(
        edges=Count("pk"), revisions=Sum("revision"), newest=Max("forecast__computed_at"), last=Max("pk")
    )
    newest: datetime | None = now["newest"]
    return f"{now['edges']}-{now['revisions'] or 0}-{now['last'] or 0}-{newest.timestamp() if newest else 0:.6f}"


def machines_with_edges() -> list[Machine]:
    """Machines to filter the board by."""
    return list(Machine.objects.filter(retired_at=None).order_by("code"))
