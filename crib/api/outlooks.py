"""What the edges of a job do together, and what an operation would do at other conditions; read-only."""

from __future__ import annotations

from typing import Any, cast

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from calc.errors import WorkingError
from calc.typed import read_quantity
from calc.units import System
from crib.core.errors import BadInput
from crib.floor.models import Operation
from crib.life.selectors.job_edges import JobEdges, StepEdge
from crib.life.selectors.what_if import Spread, Way, WhatIf, WhatIfCurve, what_if
from crib.life.trying import conditions_of
from crib.planning.selectors import parts_of_month

CONDITIONS = {"surface_speed": "m/min", "feed": "mm", "depth": "mm", "width": "mm"}
PARAMETERS = [
    OpenApiParameter(name, str, description=f"number in {unit}, or a text with a unit; left out: as it runs now")
    for name, unit in CONDITIONS.items()
]


class RangedField(serializers.Serializer[Spread]):
    middle = serializers.FloatField()
    low = serializers.FloatField(help_text="10 %")
    high = serializers.FloatField(help_text="90 %")


class StepEdgeSerializer(serializers.Serializer[StepEdge]):
    operation = serializers.IntegerField(source="operation.pk")
    number = serializers.IntegerField(source="operation.number")
    edge = serializers.IntegerField(source="row.edge.pk", default=None, allow_null=True)
    machine = serializers.CharField(source="row.machine.code", default=None, allow_null=True)
    pocket = serializers.IntegerField(source="row.pocket", default=None, allow_null=True)
    parts_to_make = serializers.IntegerField(allow_null=True)
    ends_before_its_change = serializers.FloatField(source="early", allow_null=True)
    first_to_fail = serializers.FloatField(
        source="first", allow_null=True, help_text="chance to be the first that ends by itself in the batch"
    )
    waiting = serializers.IntegerField(help_text="further edges in use at the operation")
    why_not = serializers.CharField(help_text="why the edge is not in the chances; empty where it is")


class JobEdgesSerializer(serializers.Serializer[JobEdges]):
    """All edges that cut a part of the job, and what they do together."""

    chance_planned_only = serializers.FloatField(
        source="planned_only",
        allow_null=True,
        help_text="that no edge fails in the batch, all being changed as planned",
    )
    chance_untouched = serializers.FloatField(
        source="untouched", allow_null=True, help_text="that the batch is finished on the edges that are in now"
    )
    parts_until_first_stop = serializers.FloatField(
        source="until_stop", allow_null=True, help_text="mean of whole parts until an edge ends or is changed"
    )
    parts_until_planned_change = serializers.IntegerField(source="first_change", allow_null=True)
    edges = StepEdgeSerializer(source="steps", many=True)


class WaySerializer(serializers.Serializer[Way]):
    surface_speed = serializers.FloatField(source="operation.surface_speed", allow_null=True)
    feed = serializers.FloatField(source="operation.feed", allow_null=True)
    depth = serializers.FloatField(source="operation.depth", allow_null=True)
    width = serializers.FloatField(source="operation.width", allow_null=True)
    passes = serializers.IntegerField(source="operation.passes")
    minutes_per_part = serializers.FloatField(source="operation.minutes_per_part", allow_null=True)
    life_minutes = serializers.DictField(child=serializers.FloatField(), source="life")
    parts_per_edge = serializers.DictField(child=serializers.IntegerField(), source="parts", allow_null=True)
    change_minutes = serializers.FloatField(allow_null=True, help_text="null: run to the end")
    change_parts = serializers.IntegerField(allow_null=True)
    chance_of_failure = serializers.FloatField(help_text="that an edge ends before its change")
    cost_per_part = RangedField(source="cost", allow_null=True)
    machine_cost = serializers.FloatField(allow_null=True)
    edge_cost = serializers.FloatField(allow_null=True)
    change_cost = serializers.FloatField(allow_null=True)
    failure_cost = serializers.FloatField(allow_null=True)
    parts_per_hour = RangedField(allow_null=True)
    edges_per_month = RangedField(allow_null=True)


class BestSerializer(serializers.Serializer[Any]):
    at = serializers.FloatField()
    value = serializers.FloatField()
    at_end = serializers.BooleanField(help_text="whether it lies at the end of what was tried")


class StretchSerializer(serializers.Serializer[Any]):
    says = serializers.CharField()
    start = serializers.FloatField()
    stop = serializers.FloatField()


class CurveSerializer(serializers.Serializer[WhatIfCurve]):
    over = serializers.CharField()
    at = serializers.ListField(child=serializers.FloatField())
    life_minutes = serializers.DictField(child=serializers.ListField(child=serializers.FloatField()), source="life")
    cost_per_part = serializers.DictField(
        child=serializers.ListField(child=serializers.FloatField()), source="cost", allow_null=True
    )
    parts_per_hour = serializers.ListField(child=serializers.FloatField(), source="per_hour", allow_null=True)
    least_cost = BestSerializer(source="cheapest", allow_null=True)
    most_output = BestSerializer(source="fastest", allow_null=True)
    stretches = StretchSerializer(many=True, help_text="where a limit or warning holds, or nothing was ever cut")


class WhatIfSerializer(serializers.Serializer[WhatIf]):
    """An operation as it runs now and as asked; nothing is changed by asking."""

    changed = serializers.BooleanField()
    now = WaySerializer()
    asked = WaySerializer()
    held_by = serializers.CharField(source="run.held_by", help_text="the limit that caps what was asked; empty: none")
    warnings = serializers.ListField(child=serializers.CharField(), source="run.warnings")
    beyond = serializers.ListField(child=serializers.CharField(), help_text="how far beyond all that was ever cut")
    untold = serializers.ListField(child=serializers.CharField(), help_text="what rests on the starting value alone")
    notes = serializers.ListField(child=serializers.CharField())
    evidence = serializers.CharField()
    curves = CurveSerializer(many=True)


def what_if_of(request: Request, operation: Operation) -> WhatIf:
    """The operation at the conditions of the address."""
    units = getattr(request.user, "units", "metric")
    system = cast(System, units if units in ("metric", "inch") else "metric")
    known = conditions_of(operation)
    asked = {}
    for name, text in request.GET.items():
        if name == "format":
            continue
        if name not in known:
            has = ", ".join(known) or "none yet"
            raise BadInput(name[:40], f"“{name[:40]}” cannot be tried at this operation. It has: {has}.")
        try:
            asked[name] = float(read_quantity(name, str(text), CONDITIONS[name]).magnitude)
        except WorkingError as unread:
            raise BadInput(name, unread.sentence) from unread
    monthly = parts_of_month(operation=operation)
    return what_if(operation=operation, asked=asked, system=system, parts_per_month=monthly.parts if monthly else None)
