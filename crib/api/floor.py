"""Working edges; built tools, jobs, operations and runs have modules of their own."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView, needs, numbered, read
from crib.api.built import Assemblies, Fittings, LabelField, Pockets
from crib.api.excuses import ExcusedEnds
from crib.api.fields import physical
from crib.api.floor_runs import Runs
from crib.api.idempotency import idempotent, signed_in
from crib.api.jobs import FloorJobs
from crib.api.operations import Operations
from crib.floor import services
from crib.floor.models import Edge

# --- edges --------------------------------------------------------------------------------------------


class EdgeSerializer(serializers.ModelSerializer[Edge]):
    item = LabelField(read_only=True)
    design = serializers.CharField(source="item.design.code", read_only=True)
    lot = serializers.CharField(source="item.lot", read_only=True)
    excused_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)
    operation = serializers.SerializerMethodField()
    forecast = serializers.SerializerMethodField()

    class Meta:
        model = Edge
        fields = [
            "id", "item", "design", "lot", "number", "state", "operation", "minutes", "parts", "put_in_at",
            "last_run_ended_at", "outcome", "wear_land_mm", "end_note", "ended_at", "excuse",
            "excuse_note", "excused_by", "excused_at", "forecast",
        ]  # fmt: skip

    def get_operation(self, edge: Edge) -> str | None:
        return str(edge.operation) if edge.operation else None

    def get_forecast(self, edge: Edge) -> dict[str, Any] | None:
        try:
            forecast = edge.forecast
        except ObjectDoesNotExist:
            return None
        left = {
            name: {point: getattr(forecast, f"{name}_{point}") for point in (10, 50, 90)}
            for name in ("minutes_left", "parts_left")
        }
        return left | {
            "life_used": forecast.life_used,
            "change_by_minutes": forecast.change_by_minutes,
            "change_by_parts": forecast.change_by_parts,
            "change_by_at": forecast.change_by_at,
            "chance_of_batch": forecast.chance_of_batch,
            "advice": forecast.advice,
            "trouble": forecast.trouble,
            "computed_at": forecast.computed_at,
            "up_to_date": not forecast.stale and forecast.edge_revision == edge.revision,
        }


class EndSerializer(serializers.Serializer[Any]):
    outcome = serializers.ChoiceField(choices=Edge.Outcome.choices)
    wear_land_mm = physical("mm")
    note = serializers.CharField(required=False, allow_blank=True, max_length=200)
    at = serializers.DateTimeField(required=False)
    looked_twice = serializers.BooleanField(
        required=False, help_text="keeps a wear land that was refused as odd, marked as looked at twice"
    )


class TurnSerializer(serializers.Serializer[Any]):
    at = serializers.DateTimeField(required=False)


class Edges(ExcusedEnds, ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Edge]):
    """Working edges with their minutes, their parts and what is expected of them."""

    queryset = Edge.objects.select_related("item__design", "operation__job", "forecast", "excused_by").order_by("pk")
    serializer_class = EdgeSerializer
    permission_classes = [*ShopView.permission_classes, needs("log_runs")]
    filter_fields = {
        "state": "state", "design": "item__design__code", "machine": "item__place__machine__code",
        "operation": "operation", "job": "operation__job__code", "outcome": "outcome",
        "excuse": "excuse", "lot": "item__lot",
    }  # fmt: skip
    ordering_fields = {
        "minutes": "minutes",
        "parts": "parts",
        "ended_at": "ended_at",
        "life_used": "forecast__life_used",
    }

    def get_object(self) -> Edge:
        found: Edge = numbered(self.get_queryset(), self.kwargs["pk"])
        return found

    @extend_schema(request=EndSerializer, responses=EdgeSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def end(self, request: Request, pk: str) -> Response:
        """Write down why the edge came off."""
        services.end_edge(edge=self.get_object(), who=signed_in(request), **read(EndSerializer, request))
        return Response(EdgeSerializer(self.get_object()).data)

    @extend_schema(request=TurnSerializer, responses=EdgeSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def turn(self, request: Request, pk: str) -> Response:
        """Put the next fresh edge of the same piece in use, and answer it."""
        turned = services.turn_edge(edge=self.get_object(), who=signed_in(request), **read(TurnSerializer, request))
        return Response(EdgeSerializer(self.get_queryset().get(pk=turned.pk)).data)


def register(router: BaseRouter) -> None:
    router.register("jobs", FloorJobs, basename="job")
    router.register("operations", Operations, basename="operation")
    router.register("assemblies", Assemblies, basename="assembly")
    router.register("fittings", Fittings, basename="fitting")
    router.register("pockets", Pockets, basename="pocket")
    router.register("edges", Edges, basename="edge")
    router.register("runs", Runs, basename="run")
