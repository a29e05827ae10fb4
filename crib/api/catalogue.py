"""Designs, suppliers, offers, materials, machines and jobs."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any, ClassVar

from django.db.models import Model, QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView, needs
from crib.api.fields import CurveField, PhysicalField
from crib.api.idempotency import signed_in
from crib.catalogue import services
from crib.catalogue.models import CODE, Design, Job, Machine, Offer, Supplier, WorkMaterial


class Named(serializers.SlugRelatedField[Any]):
    """Another thing by its code or name."""

    default_error_messages = {
        "does_not_exist": "Nothing here goes by “{value}”. Check the spelling, or add it first.",
        "invalid": "Give its code or name as text.",
    }

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str) or "\x00" in data:
            self.fail("invalid")
        return super().to_internal_value(data)


class CodeField(serializers.CharField):
    """A code, written in capitals whatever was typed."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=40, validators=[CODE], **kwargs)

    def to_internal_value(self, data: Any) -> str:
        return super().to_internal_value(data).upper()


def mm() -> PhysicalField:
    return PhysicalField(unit="mm", required=False, allow_null=True, not_negative=True)


class DesignSerializer(serializers.ModelSerializer[Design]):
    code = CodeField()
    carbide_mass_g = PhysicalField(unit="g", required=False, allow_null=True, not_negative=True)
    diameter_mm = mm()
    tip_flat_mm = mm()
    corner_radius_mm = mm()
    max_depth_mm = mm()
    pitch_mm = mm()
    shank_mm = mm()
    length_mm = mm()
    included_angle_deg = PhysicalField(unit="deg", required=False, allow_null=True)
    lead_angle_deg = PhysicalField(unit="deg", required=False, allow_null=True)
    point_angle_deg = PhysicalField(unit="deg", required=False, allow_null=True)
    max_spindle_speed = PhysicalField(unit="1/min", required=False, allow_null=True)
    hone_mm = mm()
    max_chip_mm = mm()
    clamp_torque_nm = PhysicalField(unit="N·m", required=False, allow_null=True, above_zero=True)

    class Meta:
        model = Design
        fields = "__all__"
        read_only_fields = ["id", "retired_at"]


class MaterialSerializer(serializers.ModelSerializer[WorkMaterial]):
    kc11 = PhysicalField(unit="N/mm²", above_zero=True)
    speed_low = PhysicalField(unit="m/min", required=False, allow_null=True)
    speed_high = PhysicalField(unit="m/min", required=False, allow_null=True)

    class Meta:
        model = WorkMaterial
        fields = "__all__"
        read_only_fields = ["id", "retired_at"]


class MachineSerializer(serializers.ModelSerializer[Machine]):
    code = CodeField()
    max_spindle_speed = PhysicalField(unit="1/min", required=False, allow_null=True)
    max_feed_rate = PhysicalField(unit="mm/min", required=False, allow_null=True)
    max_power_kw = PhysicalField(unit="kW", required=False, allow_null=True)
    power_curve = CurveField(required=False)
    stop_minutes = PhysicalField(unit="min", required=False)

    class Meta:
        model = Machine
        fields = "__all__"
        read_only_fields = ["id", "retired_at"]


class SupplierSerializer(serializers.ModelSerializer[Supplier]):
    class Meta:
        model = Supplier
        fields = "__all__"
        read_only_fields = ["id", "retired_at"]


class PriceSerializer(serializers.Serializer[Any]):
    from_quantity = serializers.IntegerField(min_value=1, max_value=2_000_000_000, default=1)
    unit_price = serializers.DecimalField(max_digits=12, decimal_places=2, min_value=Decimal(0))


class OfferSerializer(serializers.ModelSerializer[Offer]):
    design = Named(slug_field="code", queryset=Design.objects.all())
    supplier = Named(slug_field="name", queryset=Supplier.objects.all())
    prices = PriceSerializer(many=True)

    class Meta:
        model = Offer
        fields = "__all__"
        read_only_fields = ["id", "retired_at", "receipts_seen", "observed_lead_days", "observed_lead_days_sd"]

    def validate_prices(self, prices: list[dict[str, Any]]) -> dict[int, Decimal]:
        by_quantity = {price.get("from_quantity", 1): price["unit_price"] for price in prices}
        if len(by_quantity) < len(prices):
            raise serializers.ValidationError("Two prices begin at the same quantity.")
        return by_quantity


class JobSerializer(serializers.ModelSerializer[Job]):
    code = CodeField()

    class Meta:
        model = Job
        fields = "__all__"
        read_only_fields = ["id", "retired_at", "created_at"]


class ThingViews(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]):
    """List, detail, create, change and retire; a detail is found by its code or name, or by its id."""

    lookup_value_regex = r"[^/]+"
    found_by: ClassVar[str] = "code"
    word: ClassVar[str]
    creates: ClassVar[Callable[..., Any]]
    changes: ClassVar[Callable[..., Any]]
    retires: ClassVar[Callable[..., Any]]
    fixed: ClassVar[tuple[str, ...]] = ()

    def get_object(self) -> Any:
        given = str(self.kwargs["pk"])
        things: QuerySet[Any] = self.get_queryset()
        found = things.filter(**{self.found_by: given}).first() if "\x00" not in given else None
        if found is None and given.isascii() and given.isdigit() and len(given) < 19:
            found = things.filter(pk=int(given)).first()
        if found is None:
            raise NotFound()
        return found

    def create(self, request: Request) -> Response:
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        thing = type(self).creates(who=signed_in(request), **serializer.validated_data)
        return Response(self._shown(thing), status=201)

    def partial_update(self, request: Request, pk: str) -> Response:
        thing = self.get_object()
        serializer = self.get_serializer(thing, data=request.data, partial=True)
        serializer.is_valid(raise_exception=True)
        fields = dict(serializer.validated_data)
        for name in self.fixed:
            if name in fields and fields.pop(name) != getattr(thing, name):
                sentence = f"The {name} of a {self.word} stays as it is. Retire this one and make another."
                raise serializers.ValidationError({name: [sentence]})
        changed = type(self).changes(who=signed_in(request), **{self.word: thing}, **fields)
        return Response(self._shown(changed))

    @extend_schema(request=None)
    @action(detail=True, methods=["post"])
    def retire(self, request: Request, pk: str) -> Response:
        """Take out of use instead of deleting; once more changes nothing."""
        thing = type(self).retires(who=signed_in(request), **{self.word: self.get_object()})
        return Response(self._shown(thing))

    def _shown(self, thing: Model) -> Any:
        return self.get_serializer(self.get_queryset().get(pk=thing.pk)).data


NAMED = {"code": "code", "retired": "retired_at__isnull"}


class Designs(ThingViews):
    queryset = Design.objects.order_by("code")
    serializer_class = DesignSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_catalogue")]
    word, fixed = "design", ("code", "kind")
    creates, changes, retires = services.create_design, services.change_design, services.retire_design
    filter_fields = {name: name for name in ("code", "kind", "family", "makers_number", "returnable")}
    ordering_fields = {name: name for name in ("code", "kind", "unit_cost", "description")}


class Suppliers(ThingViews):
    queryset = Supplier.objects.order_by("name")
    serializer_class = SupplierSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_catalogue")]
    word, fixed, found_by = "supplier", ("name",), "name"
    creates, changes, retires = services.create_supplier, services.change_supplier, services.retire_supplier
    filter_fields = {"name": "name"}
    ordering_fields = {"name": "name"}


class Offers(ThingViews):
    queryset = Offer.objects.select_related("design", "supplier").prefetch_related("prices").order_by("pk")
    serializer_class = OfferSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_catalogue")]
    word, fixed, found_by = "offer", ("design", "supplier"), "suppliers_number__exact"
    creates, changes, retires = services.create_offer, services.change_offer, services.retire_offer
    filter_fields = {"design": "design__code", "supplier": "supplier__name"}
    ordering_fields = {"design": "design__code", "supplier": "supplier__name", "lead_days": "lead_days"}

    def get_object(self) -> Any:
        given = str(self.kwargs["pk"])
        found = self.get_queryset().filter(pk=int(given)).first() if given.isascii() and given.isdigit() else None
        if found is None:
            raise NotFound()
        return found


class Materials(ThingViews):
    queryset = WorkMaterial.objects.order_by("name")
    serializer_class = MaterialSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_catalogue")]
    word, fixed, found_by = "material", ("name",), "name"
    creates, changes, retires = services.create_material, services.change_material, services.retire_material
    filter_fields = {"name": "name", "iso_group": "iso_group"}
    ordering_fields = {"name": "name", "kc11": "kc11"}


class Machines(ThingViews):
    queryset = Machine.objects.order_by("code")
    serializer_class = MachineSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_catalogue")]
    word, fixed = "machine", ("code",)
    creates, changes, retires = services.create_machine, services.change_machine, services.retire_machine
    filter_fields = {"code": "code", "feed": "feed"}
    ordering_fields = {"code": "code", "name": "name"}


class Jobs(ThingViews):
    """Registered by the floor, which knows whether edges still work at a job."""

    queryset = Job.objects.order_by("code")
    serializer_class = JobSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_jobs")]
    word, fixed = "job", ("code",)
    creates, changes, retires = services.create_job, services.change_job, services.retire_job
    filter_fields = {"code": "code", "state": "state", "due": "due"}
    ordering_fields = {"code": "code", "due": "due", "state": "state"}


def register(router: BaseRouter) -> None:
    router.register("designs", Designs, basename="design")
    router.register("suppliers", Suppliers, basename="supplier")
    router.register("offers", Offers, basename="offer")
    router.register("materials", Materials, basename="material")
    router.register("machines", Machines, basename="machine")
