"""Built tools over REST: assemblies, what is fitted in them, and the pockets they are in."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import Prefetch
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from crib.api.base import ShopView, needs, numbered, read
from crib.api.catalogue import Named
from crib.api.fields import physical
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.catalogue.models import Design, Machine
from crib.core.errors import BadInput, NotAllowed
from crib.floor import services
from crib.floor.models import Assembly, Edge, Fitting, Operation, PocketLoad
from crib.floor.tooling import speed_limit
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
    tightened_nm = physical("N·m")
    note = serializers.CharField(required=False, allow_blank=True, max_length=200)
    max_spindle_speed = serializers.SerializerMethodField(help_text="1/min, of the weakest part; null: none says")
    built_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)

    class Meta:
        model = Assembly
        fields = [
            "id",
            "label",
            "name",
            "holder",
            "body",
            "gauge_length_mm",
            "stick_out_mm",
            "tightened_nm",
            "note",
            "max_spindle_speed",
            "built_by",
            "built_at",
            "taken_apart_at",
        ]
        read_only_fields = ["id", "built_at", "taken_apart_at"]
        validators: ClassVar[list[Any]] = []

    def get_max_spindle_speed(self, assembly: Assembly) -> float | None:
        parts = [assembly.holder.design, *([assembly.body.design] if assembly.body else [])]
        parts += [fitting.item.design for fitting in assembly.fittings.all() if fitting.removed_at is None]
        limit = speed_limit(parts)
        return limit.speed if limit else None


class MeasuredSerializer(serializers.Serializer[Any]):
    gauge_length_mm = physical("mm")
    stick_out_mm = physical("mm")
    tightened_nm = physical("N·m")
    note = serializers.CharField(required=False, allow_blank=True, max_length=200)


class Assemblies(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Assembly]):
    """Holder and body put together; a solid tool's holder stands alone."""

    queryset = (
        Assembly.objects.select_related("holder__design", "body__design", "built_by")
        .prefetch_related(Prefetch("fittings", Fitting.objects.filter(removed_at=None).select_related("item__design")))
        .order_by("pk")
    )
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

    @extend_schema(request=MeasuredSerializer, responses=AssemblySerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def measure(self, request: Request, pk: str) -> Response:
        """Write down what was measured on it; what is not sent stays."""
        services.measure_assembly(
            assembly=self.get_object(), who=signed_in(request), **read(MeasuredSerializer, request)
        )
        return Response(AssemblySerializer(self.get_object()).data)

    @extend_schema(request=None, responses=AssemblySerializer)
    @action(detail=True, methods=["post"])
    @idempotent
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


class SwapTipSerializer(serializers.Serializer[Any]):
    """What goes in, as for a fitting; with an outcome the edge in use comes off first."""

    assembly = serializers.PrimaryKeyRelatedField(queryset=Assembly.objects.all())
    item = LabelField(required=False)
    design = Named(slug_field="code", queryset=Design.objects.all(), required=False)
    from_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)
    condition = serializers.ChoiceField(choices=Condition.choices, required=False)
    edge = serializers.IntegerField(required=False, min_value=1, max_value=999)
    lot = serializers.CharField(required=False, allow_blank=True, max_length=40, help_text="maker's lot")
    outcome = serializers.ChoiceField(choices=Edge.Outcome.choices, required=False)
    wear_land_mm = physical("mm")
    note = serializers.CharField(required=False, allow_blank=True, max_length=200)
    looked_twice = serializers.BooleanField(required=False)
    to_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)


class SwappedTipSerializer(serializers.Serializer[Any]):
    out = FittingSerializer()
    into = FittingSerializer()
    ended_edge = serializers.IntegerField(source="ended.pk", allow_null=True, default=None)


_END = ("outcome", "wear_land_mm", "note", "looked_twice")


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

    @extend_schema(request=SwapTipSerializer, responses={201: SwappedTipSerializer})
    @action(detail=False, methods=["post"])
    @idempotent
    def swap(self, request: Request) -> Response:
        """Take the tip of an assembly out and fit the next one, in one act."""
        given, who = read(SwapTipSerializer, request), signed_in(request)
        end = {name: given.pop(name) for name in _END if name in given}
        if end and "outcome" not in end:
            raise BadInput("outcome", "Say why the edge comes off, or leave its wear land and note away too.")
        if end and not who.has_perm("crib.log_runs"):
            raise NotAllowed("Your role does not let you end edges. Ask the lead, who sets the roles.")
        if "item" not in given and "from_place" not in given:
            given["from_place"] = place_of(person=who)
        assembly, to_place = given.pop("assembly"), given.pop("to_place", None)
        swapped = services.swap_tip(
            assembly=assembly,
            into=services.NextTip(**given),
            end=services.EdgeEnd(**end) if end else None,
            to_place=to_place,
            who=who,
            key=service_key(request),
        )
        return Response(SwappedTipSerializer(swapped).data, status=201)


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


class SwapPocketSerializer(serializers.Serializer[Any]):
    """The assembly that goes in, and where the one that comes out goes: to the person unless a place is named."""

    machine = Named(slug_field="code", queryset=Machine.objects.all())
    pocket = serializers.IntegerField(min_value=0, max_value=32767)
    assembly = serializers.PrimaryKeyRelatedField(queryset=Assembly.objects.all())
    operation = serializers.PrimaryKeyRelatedField(queryset=Operation.objects.all(), required=False, allow_null=True)
    to_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)


class SwappedPocketSerializer(serializers.Serializer[Any]):
    out = LoadSerializer()
    into = LoadSerializer()


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

    @extend_schema(request=SwapPocketSerializer, responses={201: SwappedPocketSerializer})
    @action(detail=False, methods=["post"])
    @idempotent
    def swap(self, request: Request) -> Response:
        """Put an assembly in a pocket in place of the one there, in one act."""
        swapped = services.swap_pocket(
            who=signed_in(request), key=service_key(request), **read(SwapPocketSerializer, request)
        )
        return Response(SwappedPocketSerializer(swapped).data, status=201)
