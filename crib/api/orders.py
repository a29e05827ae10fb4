"""Orders, and what came of them."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter
from rest_framework.viewsets import ReadOnlyModelViewSet

from crib.api.base import ShopView, needs
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.core.errors import BadInput
from crib.planning import selectors, services
from crib.planning.models import OrderLine, PurchaseOrder, Receipt
from crib.stock.models import Place


class GoodsIn(serializers.Serializer[Any]):
    line = serializers.IntegerField(required=False, help_text="or the design")
    design = serializers.CharField(required=False, max_length=40)
    quantity = serializers.IntegerField()
    lot = serializers.CharField(required=False, allow_blank=True, max_length=40)


class ReceiveIn(serializers.Serializer[Any]):
    lines = GoodsIn(many=True, required=False, help_text="left out: all that is still to come")
    to_place = serializers.CharField(
        required=False, allow_null=True, max_length=40, help_text="a bin; left out: each design's own"
    )


class TakeBackIn(serializers.Serializer[Any]):
    note = serializers.CharField(required=False, allow_blank=True, max_length=200, default="")


class OrderLineSerializer(serializers.ModelSerializer[OrderLine]):
    design = serializers.CharField(source="design.code")

    class Meta:
        model = OrderLine
        fields = ["id", "design", "suggestion", "quantity", "received", "unit_price", "expected_on", "for_month"]


class OrderSerializer(serializers.ModelSerializer[PurchaseOrder]):
    supplier = serializers.CharField(source="supplier.name")
    ordered_by = serializers.CharField(source="ordered_by.username")
    lines = OrderLineSerializer(many=True)

    class Meta:
        model = PurchaseOrder
        fields = ["id", "number", "supplier", "state", "ordered_by", "ordered_at", "sent_at", "expected_on", "lines"]


class ReceiptSerializer(serializers.ModelSerializer[Receipt]):
    order = serializers.CharField(source="line.order.number")
    design = serializers.CharField(source="line.design.code")
    to_place = serializers.CharField(source="to_place.code")
    received_by = serializers.CharField(source="received_by.username")
    taken_back = serializers.BooleanField(read_only=True)

    class Meta:
        model = Receipt
        fields = [
            "id", "order", "line", "design", "quantity", "to_place", "move", "received_by", "received_at", "lot",
            "taken_back",
        ]  # fmt: skip


class OrderView(ShopView, ReadOnlyModelViewSet[PurchaseOrder]):
    """What was ordered, and what is still to come."""

    serializer_class = OrderSerializer
    queryset = selectors.orders()
    filter_fields: ClassVar[dict[str, str]] = {
        "number": "number", "supplier": "supplier__name", "state": "state", "design": "lines__design__code",
    }  # fmt: skip
    ordering_fields: ClassVar[dict[str, str]] = {"ordered_at": "ordered_at", "expected_on": "expected_on"}

    @extend_schema(request=ReceiveIn, responses={201: ReceiptSerializer(many=True)})
    @action(detail=True, methods=["post"], permission_classes=[IsAuthenticated, needs("receive_goods")])
    @idempotent
    def receive(self, request: Request, pk: str) -> Response:
        """Put what came on the shelf; it posts the moves. Part of a line may come, never more than is to come."""
        order = self.get_object()
        asked = ReceiveIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        receipts = services.receive_order(
            order=order,
            goods=_goods(order, given.get("lines")),
            who=signed_in(request),
            key=service_key(request),
            to_place=_place(given.get("to_place")),
        )
        found = selectors.receipts().filter(pk__in=[one.pk for one in receipts]).order_by("pk")
        return Response(ReceiptSerializer(found, many=True).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=OrderSerializer)
    @action(detail=True, methods=["post"], permission_classes=[IsAuthenticated, needs("place_orders")])
    @idempotent
    def send(self, request: Request, pk: str) -> Response:
        """Say that it has gone to the supplier."""
        order = services.send_order(order=self.get_object(), who=signed_in(request))
        return Response(self.get_serializer(order).data)

    @extend_schema(request=None, responses=OrderSerializer)
    @action(detail=True, methods=["post"], permission_classes=[IsAuthenticated, needs("place_orders")])
    @idempotent
    def cancel(self, request: Request, pk: str) -> Response:
        """Take it back, as long as nothing of it has come."""
        order = services.cancel_order(order=self.get_object(), who=signed_in(request))
        return Response(self.get_serializer(order).data)


def _goods(order: PurchaseOrder, rows: list[dict[str, Any]] | None) -> list[services.Goods]:
    lines = list(order.lines.all())
    if rows is None:
        return [services.Goods(line=one, quantity=one.still_to_come) for one in lines if one.still_to_come]
    goods = []
    for place, row in enumerate(rows):
        found = [
            one
            for one in lines
            if one.pk == row.get("line") or ("line" not in row and one.design.code == row.get("design"))
        ]
        # The same design twice on one order: what is still open counts.
        found.sort(key=lambda one: not one.still_to_come)
        if not found:
            raise BadInput(f"lines.{place}", f"{order.number} has no such line. Name a line or a design of it.")
        goods.append(services.Goods(line=found[0], quantity=row["quantity"], lot=row.get("lot", "")))
    return goods


def _place(code: str | None) -> Place | None:
    if not code:
        return None
    found = Place.objects.filter(code=code[:80]).first()
    if found is None:
        raise BadInput("to_place", f"There is no place {code[:40]}. Choose one of the crib's bins.")
    return found


class ReceiptView(ShopView, ReadOnlyModelViewSet[Receipt]):
    """What came for orders, the last first."""

    serializer_class = ReceiptSerializer
    queryset = selectors.receipts()
    filter_fields: ClassVar[dict[str, str]] = {
        "order": "line__order__number", "design": "line__design__code", "supplier": "line__order__supplier__name",
    }  # fmt: skip
    ordering_fields: ClassVar[dict[str, str]] = {"received_at": "received_at"}

    @extend_schema(request=TakeBackIn, responses=ReceiptSerializer)
    @action(
        detail=True,
        methods=["post"],
        url_path="take-back",
        permission_classes=[IsAuthenticated, needs("receive_goods")],
    )
    @idempotent
    def take_back(self, request: Request, pk: str) -> Response:
        """Take off the shelf again what was received by mistake; it stands as still to come."""
        asked = TakeBackIn(data=request.data)
        asked.is_valid(raise_exception=True)
        receipt = services.take_back_receipt(
            receipt=self.get_object(), who=signed_in(request), key=service_key(request), **asked.validated_data
        )
        return Response(self.get_serializer(self.get_queryset().get(pk=receipt.pk)).data)


def register(router: BaseRouter) -> None:
    """The orders' resources."""
    router.register("orders", OrderView, basename="order")
    router.register("receipts", ReceiptView, basename="receipt")
