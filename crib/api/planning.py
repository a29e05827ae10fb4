"""Plans with their demand and stock ahead, flags, suggestions, orders and receipts."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, ClassVar

from django.db.models import F
from drf_spectacular.utils import extend_schema, extend_schema_field, inline_serializer
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
from crib.floor.models import Operation
from crib.planning import selectors, services
from crib.planning.errors import BadPlan
from crib.planning.models import (
    DesignDemand,
    Flag,
    OrderLine,
    PlanLine,
    ProductionPlan,
    PurchaseOrder,
    Receipt,
    Suggestion,
)
from crib.stock.models import Place

LINES_AT_ONCE = 2000


@extend_schema_field({"oneOf": [{"type": "integer"}, {"type": "string", "example": "J-1001/20"}]})
class OperationField(serializers.Field[Any, Any, str, Any]):
    """An operation by its number in the API or its name; a job's name stands for all its operations."""

    def to_internal_value(self, data: Any) -> Operation | str:
        if isinstance(data, bool) or not isinstance(data, int | str):
            raise serializers.ValidationError("Name the operation, such as J-1001/20, or give its number.")
        if isinstance(data, str):
            return data[:80]
        found = Operation.objects.select_related("job").filter(pk=data).first() if abs(data) < 2**63 else None
        if found is None:
            raise serializers.ValidationError(f"There is no operation with the number {data}.")
        return found

    def to_representation(self, value: Any) -> str:
        return str(value)


class PlanLineIn(serializers.Serializer[Any]):
    operation = OperationField()
    parts = serializers.IntegerField()

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        # “from” is a word of the language and cannot be written as an attribute.
        return super().get_fields() | {"from": serializers.DateField(), "to": serializers.DateField()}


class PlanIn(serializers.Serializer[Any]):
    month = serializers.CharField(max_length=20, help_text="such as 2026-12")
    lines = PlanLineIn(many=True)


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


class OrderIn(serializers.Serializer[Any]):
    quantity = serializers.IntegerField(required=False, allow_null=True, help_text="left out: what is suggested")


class PlanLineSerializer(serializers.ModelSerializer[PlanLine]):
    operation = OperationField()

    class Meta:
        model = PlanLine
        fields = ["operation", "parts"]

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return super().get_fields() | {
            "from": serializers.DateField(source="starts_on"),
            "to": serializers.DateField(source="ends_on"),
        }


class PlanSerializer(serializers.ModelSerializer[ProductionPlan]):
    lines = PlanLineSerializer(many=True)
    entered_by = serializers.CharField(source="entered_by.username")
    behind = serializers.SerializerMethodField(help_text="the worker has still to work it out")

    class Meta:
        model = ProductionPlan
        fields = ["id", "month", "lines", "trouble", "behind", "computed_at", "entered_by", "entered_at"]

    def get_behind(self, plan: ProductionPlan) -> bool:
        return plan.revision != plan.computed_revision


class FlagSerializer(serializers.ModelSerializer[Flag]):
    design = serializers.CharField(source="design.code")

    class Meta:
        model = Flag
        fields = [
            "id", "design", "kind", "says", "short_on", "covered", "evidence", "raised_at", "cleared_at",
            "cleared_because",
        ]  # fmt: skip


class SuggestionSerializer(serializers.ModelSerializer[Suggestion]):
    design = serializers.CharField(source="design.code")
    supplier = serializers.CharField(source="offer.supplier.name", allow_null=True, default=None)
    order = serializers.SerializerMethodField(help_text="number of the order it became")

    class Meta:
        model = Suggestion
        fields = [
            "id", "design", "flag", "offer", "supplier", "quantity", "unit_price", "order_by", "for_month", "says",
            "reasons", "state", "made_at", "decided_at", "order",
        ]  # fmt: skip

    def get_order(self, suggestion: Suggestion) -> str | None:
        line = getattr(suggestion, "order_line", None)
        return line.order.number if line else None


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

    class Meta:
        model = Receipt
        fields = ["id", "order", "line", "design", "quantity", "to_place", "move", "received_by", "received_at", "lot"]


DemandOut = inline_serializer(
    "PlanDemand",
    {
        "month": serializers.CharField(),
        "behind": serializers.BooleanField(),
        "trouble": serializers.ListField(child=serializers.CharField()),
        "designs": serializers.ListField(child=serializers.DictField()),
    },
)
ProjectionOut = inline_serializer(
    "PlanProjection",
    {
        "month": serializers.CharField(),
        "behind": serializers.BooleanField(),
        "designs": serializers.ListField(child=serializers.DictField()),
    },
)


class PlanView(ShopView, ReadOnlyModelViewSet[ProductionPlan]):
    """What the shop means to make in each month."""

    permission_classes = [*ShopView.permission_classes, needs("keep_plans")]
    serializer_class = PlanSerializer
    queryset = (
        ProductionPlan.objects.select_related("entered_by").prefetch_related("lines__operation__job").order_by("-month")
    )
    filter_fields: ClassVar[dict[str, str]] = {"month": "month"}
    ordering_fields: ClassVar[dict[str, str]] = {"month": "month"}

    @extend_schema(request=PlanIn, responses={201: PlanSerializer, 200: PlanSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Enter a month's plan; one that was entered before for the month is replaced."""
        asked = PlanIn(data=request.data)
        asked.is_valid(raise_exception=True)
        lines = asked.validated_data["lines"]
        if len(lines) > LINES_AT_ONCE:
            raise BadInput("lines", f"A plan has at most {LINES_AT_ONCE} lines.")
        month = asked.validated_data["month"]
        there = self.queryset.filter(month=month).exists()
        drafts = [
            services.LineDraft(
                operation=line["operation"], parts=line["parts"], starts_on=line["from"], ends_on=line["to"]
            )
            for line in lines
        ]
        try:
            plan = services.enter_plan(month=month, lines=drafts, who=signed_in(request))
        except BadPlan as bad:
            raise serializers.ValidationError(_by_line(bad, len(lines))) from bad
        entered = self.queryset.get(pk=plan.pk)
        return Response(
            self.get_serializer(entered).data, status=status.HTTP_200_OK if there else status.HTTP_201_CREATED
        )

    @extend_schema(responses=DemandOut)
    @action(detail=True, methods=["get"])
    def demand(self, request: Request, pk: str) -> Response:
        """Tips that the plan takes, by design and day: means of each day, quantiles of the running sum."""
        plan = self.get_object()
        return Response(
            {
                "month": plan.month,
                "behind": plan.revision != plan.computed_revision,
                "trouble": plan.trouble,
                "designs": [_demand(row) for row in plan.demands.select_related("design")],
            }
        )

    @extend_schema(responses=ProjectionOut)
    @action(detail=True, methods=["get"])
    def projection(self, request: Request, pk: str) -> Response:
        """Stock at the end of each day from now to the month's end, with the first day short at 50 and at 95 %."""
        plan = self.get_object()
        return Response(
            {
                "month": plan.month,
                "behind": plan.revision != plan.computed_revision,
                "designs": [_projection(row) for row in plan.demands.select_related("design")],
            }
        )


def _by_line(bad: BadPlan, count: int) -> dict[str, Any]:
    """All cells at fault, each under its line."""
    found: list[dict[str, list[str]]] = [{} for _ in range(count)]
    for cell in bad.cells:
        found[cell.line].setdefault(cell.field, []).append(cell.sentence)
    return {"lines": found}


def _demand(row: DesignDemand) -> dict[str, Any]:
    return {
        "design": row.design.code,
        "mean": row.mean,
        "quantiles": {"10": row.quantile_10, "50": row.quantile_50, "90": row.quantile_90, "95": row.quantile_95},
        "days": [
            {
                "day": (row.first_day + timedelta(days=place)).isoformat(),
                "mean": mean,
                "running": {level: values[place] for level, values in row.running_quantiles.items()},
            }
            for place, mean in enumerate(row.daily_mean)
        ],
        "evidence": row.evidence,
    }


def _projection(row: DesignDemand) -> dict[str, Any]:
    kept = row.projection
    first = date.fromisoformat(kept["first_day"])
    return {
        "design": row.design.code,
        "on_hand": kept["on_hand"],
        "short_on_50": _iso(row.shortage_day_50),
        "short_on_95": _iso(row.shortage_day_95),
        "days": [
            {
                "day": (first + timedelta(days=place)).isoformat(),
                **{name: kept[name][place] for name in ("mean", "likely", "careful", "lucky", "arrivals")},
            }
            for place in range(len(kept["mean"]))
        ],
    }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


class FlagView(ShopView, ReadOnlyModelViewSet[Flag]):
    """Warnings that the worker raises and clears; open ones first."""

    serializer_class = FlagSerializer
    queryset = Flag.objects.select_related("design").order_by(
        F("cleared_at").desc(nulls_first=True), F("short_on").asc(nulls_last=True), "pk"
    )
    filter_fields: ClassVar[dict[str, str]] = {
        "design": "design__code", "kind": "kind", "open": "cleared_at__isnull", "covered": "covered",
    }  # fmt: skip
    ordering_fields: ClassVar[dict[str, str]] = {"raised_at": "raised_at", "short_on": "short_on"}


class SuggestionView(ShopView, ReadOnlyModelViewSet[Suggestion]):
    """What ought to be bought, with the reasons."""

    serializer_class = SuggestionSerializer
    queryset = Suggestion.objects.select_related("design", "offer__supplier", "order_line__order").order_by(
        "state", "order_by", "pk"
    )
    filter_fields: ClassVar[dict[str, str]] = {
        "design": "design__code", "state": "state", "supplier": "offer__supplier__name", "for_month": "for_month",
    }  # fmt: skip
    ordering_fields: ClassVar[dict[str, str]] = {"order_by": "order_by", "made_at": "made_at"}

    @extend_schema(request=OrderIn, responses={201: OrderSerializer})
    @action(detail=True, methods=["post"], permission_classes=[IsAuthenticated, needs("place_orders")])
    @idempotent
    def order(self, request: Request, pk: str) -> Response:
        """Make it a line of an order; it joins the supplier's order of the day while that has not been sent."""
        suggestion = self.get_object()
        asked = OrderIn(data=request.data)
        asked.is_valid(raise_exception=True)
        line = services.order_suggestion(
            suggestion=suggestion, who=signed_in(request), quantity=asked.validated_data.get("quantity")
        )
        order = selectors.find_order(number=line.order.number)
        return Response(OrderSerializer(order).data, status=status.HTTP_201_CREATED)


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


def register(router: BaseRouter) -> None:
    """The slice's resources."""
    router.register("plans", PlanView, basename="plan")
    router.register("flags", FlagView, basename="flag")
    router.register("suggestions", SuggestionView, basename="suggestion")
    router.register("orders", OrderView, basename="order")
    router.register("receipts", ReceiptView, basename="receipt")
