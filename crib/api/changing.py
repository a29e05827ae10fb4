"""When to change, in parts and money, as the interface tells it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView
from crib.catalogue.models import Machine
from crib.core.errors import BadInput
from crib.life.selectors import ChangeAdvice, ChangesAhead, changes_ahead


class PolicySerializer(serializers.Serializer[Any]):
    """One way of changing edges; money for each good part in the shop's currency."""

    name = serializers.ChoiceField(choices=["ours", "today", "to_end"])
    parts = serializers.IntegerField(allow_null=True, help_text="for each edge; null: run to the end")
    cost_per_part = serializers.FloatField(source="cost")
    edge_per_part = serializers.FloatField(source="edge")
    change_per_part = serializers.FloatField(source="change")
    failure_per_part = serializers.FloatField(source="failure")
    chance_of_failure = serializers.FloatField(help_text="that a fresh edge ends before its change")
    edges_per_1000 = serializers.FloatField(help_text="edges used for 1,000 good parts")
    failures_per_1000 = serializers.FloatField()
    cost_of_batch = serializers.FloatField(source="rest_of_batch", help_text="for the parts still to make")
    cost_of_month = serializers.FloatField(source="month", allow_null=True)


class ChangeAdviceSerializer(serializers.Serializer[ChangeAdvice]):
    """The ways of changing at an operation beside each other; `trouble` says why there are none."""

    operation = serializers.IntegerField(source="operation.pk")
    policies = PolicySerializer(many=True)
    says = serializers.ListField(child=serializers.CharField())
    trouble = serializers.CharField()
    limited_by_risk = serializers.BooleanField(source="by_risk")
    why_to_end = serializers.CharField(help_text="why changing early cannot pay; empty where it may")
    cheapest_parts = serializers.IntegerField(
        source="cheapest", allow_null=True, help_text="by cost alone, whatever the accepted risk; null: to the end"
    )
    batch_parts_left = serializers.IntegerField(source="batch_left")
    month_parts = serializers.IntegerField(allow_null=True)
    evidence = serializers.CharField()


class StagingSerializer(serializers.Serializer[Any]):
    """Edges to lay ready for the rest of the batch beside those in use."""

    parts = serializers.IntegerField(help_text="still to make")
    edges_in_use = serializers.IntegerField()
    expected = serializers.FloatField(allow_null=True, help_text="mean number of fresh edges")
    ready = serializers.IntegerField(allow_null=True, help_text="fresh edges that do 95 times in 100")
    tips = serializers.IntegerField(allow_null=True, help_text="tips to fetch for them")
    trouble = serializers.CharField()


class ChangeAdviceAndStagingSerializer(ChangeAdviceSerializer):
    """When to change, and what to lay ready for the rest of the batch."""

    staging = StagingSerializer()


class ChangeSerializer(serializers.Serializer[Any]):
    """One change in a stop."""

    edge = serializers.IntegerField(source="edge.pk", help_text="in the pocket now")
    repeat = serializers.IntegerField(help_text="0 is that edge; 1, 2 … are those that follow it")
    pocket = serializers.IntegerField(allow_null=True)
    operation = serializers.IntegerField(source="slot.operation.pk")
    design = serializers.CharField(source="slot.design.code")
    parts = serializers.IntegerField(help_text="from now until the change")
    parts_early = serializers.IntegerField(source="early", help_text="before its own change-by, to share the stop")
    turn = serializers.BooleanField(help_text="a fresh edge waits on the item; else a tip must be fetched")
    fetch = serializers.IntegerField(source="pieces")


class StopSerializer(serializers.Serializer[Any]):
    """One stop of a machine."""

    at = serializers.DateTimeField()
    next_shift = serializers.BooleanField()
    changes = ChangeSerializer(many=True)
    stops_saved = serializers.IntegerField()
    money_saved = serializers.FloatField(source="saved")


class NeedSerializer(serializers.Serializer[Any]):
    """What to lay ready of one design."""

    design = serializers.CharField(source="design.code")
    fetch = serializers.IntegerField()
    turn = serializers.IntegerField()
    at_machine = serializers.IntegerField()
    on_shelf = serializers.IntegerField()


class ShiftSerializer(serializers.Serializer[Any]):
    """From one moment to another."""

    starts = serializers.DateTimeField()
    ends = serializers.DateTimeField()


class UntoldSerializer(serializers.Serializer[Any]):
    """An edge in use of which no stop is told, and why."""

    edge = serializers.IntegerField(source="row.edge.pk")
    pocket = serializers.IntegerField(source="row.pocket", allow_null=True)
    why = serializers.CharField()


class MachineAheadSerializer(serializers.Serializer[Any]):
    """A machine's stops in this shift and the next."""

    machine = serializers.CharField(source="machine.code")
    this_shift = ShiftSerializer()
    next_shift = ShiftSerializer()
    stops = StopSerializer(many=True)
    needs = NeedSerializer(many=True)
    stops_saved = serializers.IntegerField()
    minutes_saved = serializers.FloatField()
    money_saved = serializers.FloatField(source="saved")
    untold = UntoldSerializer(many=True, help_text="of one machine asked for: edges without a change, and why")


class ChangesAheadSerializer(serializers.Serializer[ChangesAhead]):
    """Every machine with changes ahead, and what to lay ready for all of them."""

    machines = MachineAheadSerializer(many=True)
    needs = NeedSerializer(many=True)


class ChangesAheadView(ShopView, viewsets.ViewSet):
    """When each machine stops for which edges, in this shift and the next, and what to lay ready for it."""

    @extend_schema(
        parameters=[OpenApiParameter("machine", str, description="code of one machine; left out: all with changes")],
        responses=ChangesAheadSerializer,
    )
    def list(self, request: Request) -> Response:
        code = request.GET.get("machine", "")
        # PostgreSQL takes no NUL even to look for.
        machine = Machine.objects.filter(code=code, retired_at=None).first() if code and "\x00" not in code else None
        if code and machine is None:
            raise BadInput("machine", f"There is no machine “{code[:40]}” in use.")
        return Response(ChangesAheadSerializer(changes_ahead(machine=machine)).data)


def register(router: BaseRouter) -> None:
    router.register("changes-ahead", ChangesAheadView, basename="changes-ahead")
