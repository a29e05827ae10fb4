"""What people and machines hold: handed on, written lost, found again."""

from __future__ import annotations

from typing import Any, cast

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView, needs, needs_any, read
from crib.api.catalogue import Named
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.api.stock import MOST, MoveSerializer
from crib.catalogue.models import Design, Job, Machine
from crib.floor import services
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.services import place_of


class HeldSerializer(serializers.Serializer[Any]):
    person = serializers.CharField(source="place.person.username", default=None, allow_null=True)
    machine = serializers.CharField(source="place.machine.code", default=None, allow_null=True)
    design = serializers.CharField(source="design.code")
    condition = serializers.ChoiceField(choices=Condition.choices)
    quantity = serializers.IntegerField()
    labels = serializers.ListField(child=serializers.CharField())
    since = serializers.DateTimeField(allow_null=True)
    job = serializers.CharField(allow_blank=True)
    value = serializers.DecimalField(max_digits=16, decimal_places=2, help_text="what they cost when new")
    comes_back = serializers.BooleanField()
    overdue = serializers.BooleanField()


class HeldThingSerializer(serializers.Serializer[Any]):
    """A design with a quantity and who or what has it, or a piece by its label, which says that by itself."""

    design = Named(slug_field="code", queryset=Design.objects.all(), required=False)
    label = serializers.CharField(  # type: ignore[assignment]  # the framework takes declared fields off the class
        required=False, max_length=200
    )
    quantity = serializers.IntegerField(default=1, min_value=1, max_value=MOST)
    condition = serializers.ChoiceField(choices=Condition.choices, required=False)
    person = Named(slug_field="username", queryset=Person.objects.filter(is_counter=False), required=False)
    machine = Named(slug_field="code", queryset=Machine.objects.all(), required=False)
    note = serializers.CharField(required=False, allow_blank=True, max_length=200, default="")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("design" in attrs) == ("label" in attrs):
            raise serializers.ValidationError({"design": ["Give either the design or the label of a piece."]})
        person, machine = attrs.pop("person", None), attrs.pop("machine", None)
        if "label" in attrs:
            item = selectors.find_label(text=attrs.pop("label")).thing
            if not isinstance(item, Item):
                raise serializers.ValidationError({"label": ["This is not the label of a piece."]})
            attrs.pop("condition", None)
            return attrs | {"item": item, "design": item.design, "quantity": item.pieces, "from_place": item.place}
        attrs["from_place"] = self.had_by(attrs, person, machine)
        return attrs

    def had_by(self, attrs: dict[str, Any], person: Person | None, machine: Machine | None) -> Place:
        return _one_holder("person", person, machine)


class TransferSerializer(HeldThingSerializer):
    to_person = Named(slug_field="username", queryset=Person.objects.filter(is_counter=False), required=False)
    to_machine = Named(slug_field="code", queryset=Machine.objects.all(), required=False)
    job = Named(slug_field="code", queryset=Job.objects.all(), required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        given = super().validate(attrs)
        given["to_place"] = _one_holder("to_person", given.pop("to_person", None), given.pop("to_machine", None))
        return given


class LostSerializer(HeldThingSerializer):
    place = Named(slug_field="code", queryset=Place.objects.all(), required=False, help_text="the bin where it lay")
    note = serializers.CharField(max_length=200, help_text="how it was lost")

    def had_by(self, attrs: dict[str, Any], person: Person | None, machine: Machine | None) -> Place:
        place: Place | None = attrs.pop("place", None)
        return place or _one_holder("person", person, machine)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        given = super().validate(attrs)
        given.pop("place", None)
        return given


class FoundAgainSerializer(serializers.Serializer[Any]):
    move = serializers.IntegerField(min_value=1, max_value=2**62, help_text="the line that wrote it lost")
    to_place = Named(slug_field="code", queryset=Place.objects.all())
    quantity = serializers.IntegerField(required=False, min_value=1, max_value=MOST)


def _one_holder(field: str, person: Person | None, machine: Machine | None) -> Place:
    if (person is None) == (machine is None):
        raise serializers.ValidationError({field: ["Name either a person or a machine."]})
    return place_of(person=person) if person is not None else place_of(machine=machine)


class HeldThings(ShopView, viewsets.GenericViewSet[Move]):
    """Who has what. Whoever may draw tools hands on what they hold; the crib does so for all and writes things lost."""

    queryset = Move.objects.none()
    serializer_class = HeldSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_stock")]
    filter_backends: Any = []

    @extend_schema(responses=HeldSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Everything that people and machines hold, the longest held first."""
        page = self.paginate_queryset(cast("QuerySet[Any]", selectors.held_by()))  # a list is cut into pages as well
        return self.get_paginated_response(HeldSerializer(page or [], many=True).data)

    @extend_schema(request=TransferSerializer, responses={201: MoveSerializer})
    @action(
        detail=False, methods=["post"],
        permission_classes=[*ShopView.permission_classes, needs_any("draw_tools", "keep_stock")],
    )  # fmt: skip
    @idempotent
    def transfer(self, request: Request) -> Response:
        """Pass what one person or machine holds to another."""
        given = read(TransferSerializer, request)
        move = services.hand_on(**given, who=signed_in(request), key=service_key(request))
        return Response(MoveSerializer(move).data, status=201)

    @extend_schema(request=LostSerializer, responses={201: MoveSerializer})
    @action(detail=False, methods=["post"])
    @idempotent
    def lost(self, request: Request) -> Response:
        """Write something lost, with the reason."""
        move = services.write_lost(**read(LostSerializer, request), who=signed_in(request), key=service_key(request))
        return Response(MoveSerializer(move).data, status=201)

    @extend_schema(request=FoundAgainSerializer, responses={201: MoveSerializer})
    @action(detail=False, methods=["post"])
    @idempotent
    def found(self, request: Request) -> Response:
        """Put back what was written lost, or so many of it."""
        given = read(FoundAgainSerializer, request)
        lost = selectors.find_move(number=str(given.pop("move")))
        move = services.find_again(lost=lost, **given, who=signed_in(request), key=service_key(request))
        return Response(MoveSerializer(move).data, status=201)


def register(router: BaseRouter) -> None:
    router.register("held", HeldThings, basename="held")
