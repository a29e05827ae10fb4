"""A life curve and the edges behind it, for a spreadsheet: in minutes, metres per minute and millimetres."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from crib.floor.models import Edge
from crib.life import selectors
from crib.life.models import LifeModel
from crib.web.sheets import sheet

EDGE_HEADS = [
    "edge", "edge number", "lot", "state", "outcome", "left out because", "parts", "minutes cut",
    "minutes at the curve's duty", "surface speed m/min", "feed mm", "depth mm", "wear land mm",
]  # fmt: skip


def _model(pk: int) -> LifeModel:
    return get_object_or_404(LifeModel.objects.select_related("design", "material", "prior"), pk=pk)


@require_safe
def edges_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Each edge behind the curve."""
    model = _model(pk)
    rows = [_row(edge) for edge in selectors.curve_of(model=model).seen]
    return sheet(f"edges-{model.design.code}-{model.pk}", EDGE_HEADS, rows)


def _row(edge: selectors.SeenEdge) -> list[object]:
    label, _, number = edge.name.rpartition(" edge ")
    return [
        label, int(number), edge.lot, Edge.State(edge.state).label,
        Edge.Outcome(edge.outcome).label if edge.outcome else "", Edge.Excuse(edge.excuse).label if edge.excuse else "",
        edge.parts, edge.minutes, edge.counted, edge.duty.surface_speed, edge.duty.feed, edge.duty.depth,
        edge.wear_land_mm,
    ]  # fmt: skip


@require_safe
def curve_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The curve itself with its range."""
    model = _model(pk)
    curve = selectors.curve_of(model=model)
    rows = zip(curve.minutes, curve.outlasted, curve.low, curve.high, strict=True)
    return sheet(f"life-curve-{model.design.code}-{model.pk}", ["minutes", "outlasted", "range from", "range to"], rows)
