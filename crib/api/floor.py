"""Assemblies, fittings, pockets and edges; jobs, operations and runs have modules of their own."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.exceptions import ObjectDoesNotExist
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView, needs, numbered, read
from crib.api.catalogue import Named
from crib.api.excuses import ExcusedEnds
from crib.api.fields import physical
from crib.api.floor_runs import Runs
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.api.jobs import FloorJobs
from crib.api.operations import Operations
from crib.catalogue.models import Design, Machine
from crib.floor import services
from crib.floor.models import Assembly, Edge, Fitting, Operation, PocketLoad
from crib.stock.labels import BadLabel, parse_label
from crib.stock.models import Condition, Item, Place
from crib.stock.services import place_of


@extend_schema_field({"type": "string", "maxLength": 40, "example": "ET1:I123V"})
class LabelField(serializers.Field[Any, Any, str, Any]):
    """A piece by the text of its label."""

    def to_internal_value(self, data: Any) -> Item:
        if not isinstance(data, str):
            raise serializers.ValidationError("Give the text of the label.")
        try:
            label = parse_label(data[:40])
        except BadLabel as unread:
            raise serializers.ValidationError(unread.sentence) from unread
        items = Item.objects.select_related("design", "place")
        item = items.filter(pk=label.number).first() if label.kind == "I" else None
        if item is None:
            raise serializers.ValidationError("No piece here carries this label.")
        return item

    def to_representation(self, value: Any) -> str:
        return str(value.label)


# --- assemblies, fittings, pockets --------------------------------------------------------------------


class AssemblySerializer(serializers.ModelSerializer[Assembly]):
    holder = LabelField()
    body = LabelField(required=False, allow_null=True)
    name = serializers.CharField(required=False, allow_blank=True, max_length=60)
    gauge_length_mm = physical("mm")
    stick_out_mm = physical("mm")
    built_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)

    class Meta:
        model = Assembly
        fields = [
            "id",
            "name",
            "holder",
            "body",
            "gauge_length_mm",
            "stick_out_mm",
            "built_by",
            "built_at",
            "taken_apart_at",
        ]
        read_only_fields = ["id", "built_at", "taken_apart_at"]
        validators: ClassVar[list[Any]] = []


class Assemblies(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Assembly]):
    """Holder and body put together; a solid tool's holder stands alone."""

    queryset = Assembly.objects.select_related("holder", "body", "built_by").order_by("pk")
    serializer_class = AssemblySerializer
    permission_classes = [*ShopView.permission_classes, needs("build_tools")]
    filter_fields = {"name": "name", "standing": "taken_apart_at__isnull"}
    ordering_fields = {"name": "name", "built_at": "built_at"}

    def get_object(self) -> Assembly:
        found: Assembly = numbered(self.get_queryset(), self.kwargs["pk"])
        return found

    @idempotent
    def create(self, request: Request) -> Response:
        built = services.build_assembly(who=signed_in(request), **read(AssemblySerializer, request))
        return Response(AssemblySerializer(built).data, status=201)

    @extend_schema(request=None, responses=AssemblySerializer)
    @action(detail=True, methods=["post"])
    def apart(self, request: Request, pk: str) -> Response:
        """Free holder and body; once more changes nothing."""
        return Response(
            AssemblySerializer(services.take_apart(assembly=self.get_object(), who=signed_in(request))).data
        )


class FittingSerializer(serializers.ModelSerializer[Fitting]):
    item = LabelField(read_only=True)
    design = serializers.CharField(source="item.design.code", read_only=True)
    lot = serializers.CharField(source="item.lot", read_only=True)
    fitted_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)

    class Meta:
        model = Fitting
        fields = ["id", "assembly", "item", "design", "lot", "fitted_by", "fitted_at", "removed_at"]


class FitSerializer(serializers.Serializer[Any]):
    """A piece by its label, or loose pieces of a design from a place."""

    assembly = serializers.PrimaryKeyRelatedField(queryset=Assembly.objects.all())
    item = LabelField(required=False)
    design = Named(slug_field="code", queryset=Design.objects.all(), required=False)
    from_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)
    condition = serializers.ChoiceField(choices=Condition.choices, required=False)
    edge = serializers.IntegerField(required=False, min_value=1, max_value=999)
    lot = serializers.CharField(required=False, allow_blank=True, max_length=40, help_text="maker's lot")


class OutSerializer(serializers.Serializer[Any]):
    to_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)
    spent = serializers.BooleanField(default=False)


class Fittings(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Fitting]):
    """Tips in assemblies, from one moment to another."""

    queryset = Fitting.objects.select_related("item__design", "fitted_by").order_by("-fitted_at", "-pk")
    serializer_class = FittingSerializer
    permission_classes = [*ShopView.permission_classes, needs("build_tools")]
    filter_fields = {"assembly": "assembly", "design": "item__design__code", "fitted": "removed_at__isnull"}
    ordering_fields = {"fitted_at": "fitted_at"}

    def get_object(self) -> Fitting:
        found: Fitting = numbered(self.get_queryset(), self.kwargs["pk"])
        return found

    @extend_schema(request=FitSerializer, responses={201: FittingSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Fit a tip; without a place it comes from what the person holds."""
        given, who = read(FitSerializer, request), signed_in(request)
        if "item" not in given and "from_place" not in given:
            given["from_place"] = place_of(person=who)
        fitting = services.fit_tip(who=who, key=service_key(request), **given)
        return Response(FittingSerializer(fitting).data, status=201)

    @extend_schema(request=OutSerializer, responses=FittingSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def out(self, request: Request, pk: str) -> Response:
        """Take it out: to a place, to the person, or used up."""
        fitting = self.get_object()
        given = read(OutSerializer, request)
        if fitting.removed_at is None:
            fitting = services.take_out(
                assembly=fitting.assembly, who=signed_in(request), key=service_key(request), **given
            )
        return Response(FittingSerializer(fitting).data)


class LoadSerializer(serializers.ModelSerializer[PocketLoad]):
    machine = Named(slug_field="code", queryset=Machine.objects.all())
    pocket = serializers.IntegerField(min_value=0, max_value=32767)
    operation = serializers.PrimaryKeyRelatedField(
        queryset=Operation.objects.all(), required=False, allow_null=True, write_only=True
    )
    loaded_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)

    class Meta:
        model = PocketLoad
        fields = ["id", "machine", "pocket", "assembly", "operation", "loaded_by", "loaded_at", "unloaded_at"]
        read_only_fields = ["id", "loaded_at", "unloaded_at"]
        validators: ClassVar[list[Any]] = []


class UnloadSerializer(serializers.Serializer[Any]):
    machine = Named(slug_field="code", queryset=Machine.objects.all())
    pocket = serializers.IntegerField(min_value=0, max_value=32767)
    to_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)


class Pockets(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[PocketLoad]):
    """What is, or was, in which pocket of which machine."""

    queryset = PocketLoad.objects.select_related("machine", "loaded_by").order_by(
        "machine__code", "pocket", "-loaded_at"
    )
    serializer_class = LoadSerializer
    permission_classes = [*ShopView.permission_classes, needs("build_tools")]
    filter_fields = {
        "machine": "machine__code",
        "pocket": "pocket",
        "assembly": "assembly",
        "loaded": "unloaded_at__isnull",
    }
    ordering_fields = {"loaded_at": "loaded_at", "pocket": "pocket"}

    def get_object(self) -> PocketLoad:
        found: PocketLoad = numbered(self.get_queryset(), self.kwargs["pk"])
        return found

    @idempotent
    def create(self, request: Request) -> Response:
        """Load an assembly."""
        load = services.load_pocket(who=signed_in(request), **read(LoadSerializer, request))
        return Response(LoadSerializer(load).data, status=201)

    @extend_schema(request=UnloadSerializer, responses=LoadSerializer)
    @action(detail=False, methods=["post"])
    @idempotent
    def unload(self, request: Request) -> Response:
        """Take the assembly out of a pocket: to a place, or to the person."""
        load = services.unload_pocket(who=signed_in(request), **read(UnloadSerializer, request))
        return Response(LoadSerializer(load).data)


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
