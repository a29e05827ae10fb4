"""Tools sent out to be reground or repaired and taken in again, and worn carbide collected by mass."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView, needs, numbered, read
from crib.api.catalogue import Named
from crib.api.fields import physical
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.core.errors import BadInput
from crib.floor import selectors as floor_selectors
from crib.floor import services as floor
from crib.stock import selectors, services
from crib.stock.models import Item, Place
from crib.stock.records import Dispatch, DispatchLine, ScrapCollection


class DispatchLineSerializer(serializers.ModelSerializer[DispatchLine]):
    item = serializers.CharField(source="item.label", read_only=True)
    design = serializers.CharField(source="item.design.code", read_only=True)
    regrinds_done = serializers.IntegerField(source="item.regrinds_done", read_only=True)
    overdue = serializers.BooleanField(read_only=True)

    class Meta:
        model = DispatchLine
        fields = [
            "item", "design", "dispatch", "state", "overdue", "ended_at", "cost", "diameter_mm", "length_mm", "note",
            "regrinds_done",
        ]  # fmt: skip


class DispatchSerializer(serializers.ModelSerializer[Dispatch]):
    shop = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    sent_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)
    lines = DispatchLineSerializer(many=True, read_only=True)

    class Meta:
        model = Dispatch
        fields = ["id", "shop", "work", "sent_by", "sent_at", "due_on", "note", "lines"]


class SendSerializer(serializers.Serializer[Any]):
    shop = Named(slug_field="code", queryset=Place.objects.filter(kind=Place.Kind.REGRIND))
    work = serializers.ChoiceField(choices=Dispatch.Work.choices, default=Dispatch.Work.REGRIND)
    due_on = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=200)


class SendManySerializer(SendSerializer):
    labels = serializers.ListField(child=serializers.CharField(max_length=200), min_length=1, max_length=200)


class BackFromSerializer(serializers.Serializer[Any]):
    result = serializers.ChoiceField(choices=floor.BackAs.choices, default=floor.BackAs.BACK)
    to_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)
    cost = serializers.DecimalField(max_digits=12, decimal_places=2, required=False, allow_null=True)
    diameter_mm = physical("mm")
    length_mm = physical("mm")
    note = serializers.CharField(required=False, allow_blank=True, max_length=160)


def _dispatch_of(number: int) -> dict[str, Any]:
    data: dict[str, Any] = DispatchSerializer(floor_selectors.dispatch_with(number=number)).data
    return data


class SentOut:
    """Mixed into `items`: one piece sent out, and back again."""

    get_object: Any

    @extend_schema(request=SendSerializer, responses={201: DispatchSerializer})
    @action(detail=True, methods=["post"], permission_classes=[IsAuthenticated, needs("keep_stock")])
    @idempotent
    def regrind(self, request: Request, pk: str) -> Response:
        """Send this piece to a regrind shop, on a dispatch of its own."""
        given = read(SendSerializer, request)
        sent = floor.send_out(
            items=[self.get_object()], who=signed_in(request), key=service_key(request), **given
        )  # fmt: skip
        return Response(_dispatch_of(sent.pk), status=201)

    @extend_schema(request=BackFromSerializer, responses=DispatchLineSerializer)
    @action(detail=True, methods=["post"], permission_classes=[IsAuthenticated, needs("keep_stock")])
    @idempotent
    def back(self, request: Request, pk: str) -> Response:
        """Take this piece in again: ground or repaired, rejected, or as it went."""
        given = read(BackFromSerializer, request)
        line = floor.take_in_as(item=self.get_object(), who=signed_in(request), key=service_key(request), **given)
        found = DispatchLine.objects.select_related("item__design", "dispatch").get(pk=line.pk)
        return Response(DispatchLineSerializer(found).data)


class Dispatches(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Dispatch]):
    """What was sent out together, and what came of each piece; the last first."""

    queryset = (
        Dispatch.objects.select_related("shop", "sent_by").prefetch_related("lines__item__design").order_by("-pk")
    )
    serializer_class = DispatchSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_stock")]
    filter_fields: ClassVar[dict[str, str]] = {"shop": "shop__code", "work": "work", "due_on": "due_on"}
    ordering_fields: ClassVar[dict[str, str]] = {"sent_at": "sent_at", "due_on": "due_on"}

    def get_object(self) -> Dispatch:
        found: Dispatch = numbered(self.get_queryset(), self.kwargs["pk"])
        return found

    @extend_schema(request=SendManySerializer, responses={201: DispatchSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Send several pieces by their labels, all of them or none."""
        given = read(SendManySerializer, request)
        items = [_item(text, place) for place, text in enumerate(given.pop("labels"))]
        sent = floor.send_out(items=items, who=signed_in(request), key=service_key(request), **given)
        return Response(_dispatch_of(sent.pk), status=201)


def _item(text: str, place: int) -> Item:
    found = selectors.find_label(text=text).thing
    if not isinstance(found, Item):
        raise BadInput(f"labels.{place}", "This is not the label of a piece. Scan the label on the tool itself.")
    return found


class ScrapSerializer(serializers.ModelSerializer[ScrapCollection]):
    who = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)
    difference = serializers.FloatField(
        read_only=True, allow_null=True, help_text="weighed less expected, as a share of what was expected"
    )

    class Meta:
        model = ScrapCollection
        fields = [
            "id", "at", "who", "weighed_g", "expected_g", "difference", "pieces", "unknown_pieces", "taken_by", "paid",
            "note",
        ]  # fmt: skip


class CollectSerializer(serializers.Serializer[Any]):
    weighed_g = serializers.FloatField()
    after = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        help_text="the last collection you knew of; none: this is the first",
    )
    taken_by = serializers.CharField(required=False, allow_blank=True, max_length=80)
    paid = serializers.DecimalField(max_digits=12, decimal_places=2, required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=200)


class Scrap(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[ScrapCollection]):
    """Worn carbide handed over for recycling, by mass; the last first."""

    queryset = selectors.scrap_collections()
    serializer_class = ScrapSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_stock")]
    filter_fields: ClassVar[dict[str, str]] = {"who": "who__username", "taken_by": "taken_by"}
    ordering_fields: ClassVar[dict[str, str]] = {"at": "at"}

    def get_object(self) -> ScrapCollection:
        found: ScrapCollection = numbered(self.get_queryset(), self.kwargs["pk"])
        return found

    @extend_schema(request=CollectSerializer, responses={201: ScrapSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Write down what was weighed; what should be there is worked out from the ledger."""
        made = services.collect_scrap(who=signed_in(request), **read(CollectSerializer, request))
        return Response(ScrapSerializer(made).data, status=201)

    @extend_schema(
        responses=inline_serializer(
            "WornCarbide",
            {
                "expected_g": serializers.FloatField(),
                "pieces": serializers.IntegerField(),
                "unknown_pieces": serializers.IntegerField(help_text="of designs without a carbide mass"),
            },
        ),
        filters=False,
    )
    @action(detail=False, pagination_class=None, filter_backends=[])
    def expected(self, request: Request) -> Response:
        """What should be in the box now, since the last collection."""
        worn = selectors.worn_carbide()
        return Response({"expected_g": worn.grams, "pieces": worn.pieces, "unknown_pieces": worn.unknown})


def register(router: BaseRouter) -> None:
    router.register("dispatches", Dispatches, basename="dispatch")
    router.register("scrap", Scrap, basename="scrap")
