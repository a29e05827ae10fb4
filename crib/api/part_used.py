"""The edges of labelled tips with what is left of each, and the part-used tips there are; read-only."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from crib.api.base import ShopView
from crib.catalogue.models import Design, Job
from crib.core.errors import BadInput
from crib.floor.models import Operation
from crib.floor.references import split_operation
from crib.life.selectors import part_used_tips, tips_left
from crib.life.tip_left import CornerLeft, TipLeft
from crib.stock.models import Item, Place

OPERATION = OpenApiParameter(
    "operation", str, description="what is left is meant there: J-1001/20, or its number; left out: its own last work"
)


class CornerSerializer(serializers.Serializer[CornerLeft]):
    """One edge of a tip; minutes and parts left are meant at the operation that is said beside it."""

    number = serializers.IntegerField()
    edge = serializers.IntegerField(allow_null=True, help_text="null until the tip is fitted for the first time")
    state = serializers.ChoiceField(choices=["fresh", "part_used", "ended"])
    minutes = serializers.FloatField(help_text="in cut so far")
    parts = serializers.IntegerField()
    outcome = serializers.CharField(help_text="why it came off, in words; empty while it has not")
    minutes_left_10 = serializers.FloatField(allow_null=True, help_text="what nine in ten such edges outlast")
    minutes_left_50 = serializers.FloatField(allow_null=True)
    parts_left_10 = serializers.IntegerField(allow_null=True)
    parts_left_50 = serializers.IntegerField(allow_null=True)
    change_in = serializers.FloatField(allow_null=True, help_text="minutes to its change-by; null: run to its end")
    chance_of_batch = serializers.FloatField(allow_null=True, help_text="of lasting the rest of the batch by itself")


class TipLeftSerializer(serializers.Serializer[TipLeft]):
    """A labelled tip with its edges since its last regrind."""

    label = serializers.CharField(  # type: ignore[assignment]  # the framework takes declared fields off the class
        source="item.label"
    )
    design = serializers.CharField(source="item.design.code")
    place = serializers.CharField(source="item.place.code")
    pieces = serializers.IntegerField(source="item.pieces")
    says = serializers.CharField()
    operation = serializers.CharField(allow_null=True, help_text="at which what is left is meant")
    batch_left = serializers.IntegerField(allow_null=True, help_text="parts still to make there")
    enough = serializers.BooleanField(help_text="the next edge lasts that batch within the accepted risk")
    fresh = serializers.IntegerField()
    part_used = serializers.IntegerField()
    ended = serializers.IntegerField()
    edges = CornerSerializer(source="corners", many=True)


def _operation(text: str) -> Operation:
    found = split_operation(text)
    by = {"pk": found} if isinstance(found, int) else {"job__code": found[0], "number": found[1]}
    operations = Operation.objects.select_related("job", "machine", "tip", "body", "material")
    operation = operations.filter(**by).first() if text.isprintable() else None
    if operation is None:
        raise BadInput("operation", f"There is no operation “{text[:60]}”. Give a job's code and a number, J-1001/20.")
    return operation


def _asked(request: Request) -> Operation | None:
    text = request.GET.get("operation", "")
    return _operation(text) if text else None


class EdgesLeft:
    """`items/{label}/edges/`, for the view of items."""

    @extend_schema(responses=TipLeftSerializer, parameters=[OPERATION], filters=False)
    @action(detail=True, pagination_class=None, filter_backends=[])
    def edges(self, request: Request, pk: str) -> Response:
        """The edges of the piece: what each has cut, and what is left of it at an operation."""
        item: Item = self.get_object()  # type: ignore[attr-defined]  # the view has it
        tip = tips_left(items=[item], operation=_asked(request))[item.pk]
        return Response(TipLeftSerializer(tip).data)


class PartUsed(ShopView, viewsets.GenericViewSet[Item]):
    """Part-used tips of a design that lie free: those that last the rest of the batch first, the most worn before."""

    queryset = Item.objects.none()
    pagination_class = None

    @extend_schema(
        responses=TipLeftSerializer(many=True),
        filters=False,
        parameters=[
            OpenApiParameter("design", str, required=True, description="its code"),
            OPERATION,
            OpenApiParameter("job", str, description="in place of an operation: the job's own work of the design"),
            OpenApiParameter("place", str, description="its code; left out: anywhere in the crib"),
        ],
    )
    def list(self, request: Request) -> Response:
        named: dict[str, Any] = {
            name: _named(model, name, request.GET.get(name, ""))
            for name, model in (("design", Design), ("job", Job), ("place", Place))
        }
        design = named.pop("design")
        if design is None:
            raise BadInput("design", "Say of which design: give its code.")
        tips: Any = part_used_tips(designs=[design], operation=_asked(request), **named)
        return Response(TipLeftSerializer(tips, many=True).data)


def _named(model: Any, name: str, code: str) -> Any:
    if not code:
        return None
    found = model.objects.filter(code__iexact=code).first() if code.isprintable() else None
    if found is None:
        raise BadInput(name, f"There is no {name} “{code[:60]}”. Check its code.")
    return found
