"""Plans with their demand and stock ahead, flags and suggestions."""

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
from crib.api.idempotency import idempotent, signed_in
from crib.api.orders import OrderSerializer
from crib.core.errors import BadInput
from crib.floor.models import Operation
from crib.planning import selectors, services
from crib.planning.errors import BadPlan
from crib.planning.models import (
    DesignDemand,
    Flag,
    PlanLine,
    ProductionPlan,
    Suggestion,
)

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


def register(router: BaseRouter) -> None:
    """The slice's resources."""
    router.register("plans", PlanView, basename="plan")
    router.register("flags", FlagView, basename="flag")
    router.register("suggestions", SuggestionView, basename="suggestion")
