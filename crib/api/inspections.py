"""Looks at working edges: the wear land at so many minutes in cut."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView, needs
from crib.api.fields import PhysicalField
from crib.api.idempotency import idempotent, signed_in
from crib.floor.models import Edge, Inspection
from crib.life import services


class InspectionSerializer(serializers.ModelSerializer[Inspection]):
    edge = serializers.IntegerField(source="edge_id")
    item = serializers.CharField(source="edge.item.label")
    seen_by = serializers.CharField(source="seen_by.username")

    class Meta:
        model = Inspection
        fields = ["id", "edge", "item", "at_minutes", "wear_land_mm", "looked_twice", "note", "seen_by", "seen_at"]


class LookSerializer(serializers.Serializer[Any]):
    """What was seen; without minutes, at those the edge has now."""

    edge = serializers.PrimaryKeyRelatedField(queryset=Edge.objects.all())
    wear_land_mm = PhysicalField(unit="mm", not_negative=True)
    at_minutes = PhysicalField(unit="min", required=False, allow_null=True, not_negative=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=200)
    looked_twice = serializers.BooleanField(
        required=False, help_text="keeps a reading that was refused as odd, marked as looked at twice"
    )


class Inspections(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Inspection]):
    """Wear lands that were measured on edges; each makes the forecast of its edge due anew."""

    queryset = Inspection.objects.select_related("edge__item", "seen_by").order_by("pk")
    serializer_class = InspectionSerializer
    lookup_value_regex = r"[0-9]{1,15}"
    permission_classes = [*ShopView.permission_classes, needs("log_runs")]
    filter_fields = {"edge": "edge", "seen_by": "seen_by__username"}
    ordering_fields = {"at_minutes": "at_minutes", "seen_at": "seen_at", "wear_land_mm": "wear_land_mm"}

    @extend_schema(request=LookSerializer, responses={201: InspectionSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Write down a wear land."""
        given = LookSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        seen = services.look_at_edge(who=signed_in(request), **given.validated_data)
        return Response(InspectionSerializer(seen).data, status=201)


def register(router: BaseRouter) -> None:
    router.register("inspections", Inspections, basename="inspection")
