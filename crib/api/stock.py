"""Places, items, balances, moves, and what is handed out and brought back."""

from __future__ import annotations

from typing import Any, cast

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import PAGING_WORDS, ShopView, needs, needs_any
from crib.api.catalogue import CodeField, Named, ThingViews
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.api.paging import CursorPages
from crib.api.part_used import EdgesLeft
from crib.api.regrinding import SentOut
from crib.catalogue.models import Design, Job
from crib.core.errors import BadInput
from crib.people.models import Person
from crib.stock import selectors, services
from crib.stock.models import Balance, Condition, Item, Move, Place, TakeLimit

MOST = 100_000


class PlaceSerializer(serializers.ModelSerializer[Place]):
    code = CodeField()
    parent = Named(  # type: ignore[assignment]  # the framework takes declared fields off the class
        slug_field="code", queryset=Place.objects.all(), required=False, allow_null=True
    )
    home_of = Named(slug_field="code", queryset=Design.objects.all(), required=False, allow_null=True)
    person = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)
    machine = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    supplier = serializers.SlugRelatedField[Any](slug_field="name", read_only=True)

    class Meta:
        model = Place
        fields = [
            "id", "code", "name", "kind", "parent", "home_of", "person", "machine", "supplier", "retired_at",
        ]  # fmt: skip
        read_only_fields = ["id", "retired_at"]


class ItemSerializer(serializers.ModelSerializer[Item]):
    label = serializers.CharField(read_only=True)  # type: ignore[assignment]  # as parent above
    design = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    place = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)

    class Meta:
        model = Item
        fields = [
            "label", "design", "condition", "place", "pieces", "regrinds_done", "diameter_mm", "length_mm", "lot",
            "serial", "since",
        ]  # fmt: skip


class BalanceSerializer(serializers.ModelSerializer[Balance]):
    design = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    place = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)

    class Meta:
        model = Balance
        fields = ["design", "condition", "place", "quantity", "labelled"]


class MoveSerializer(serializers.ModelSerializer[Move]):
    design = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    item = serializers.SerializerMethodField()
    from_place = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    to_place = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    who = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)
    job = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    allowed_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)

    class Meta:
        model = Move
        fields = [
            "id", "design", "item", "condition", "becomes", "quantity", "from_place", "to_place", "who", "at", "why",
            "note", "lot", "job", "reverses", "document", "allowed_by",
        ]  # fmt: skip

    def get_item(self, move: Move) -> str | None:
        return move.item.label if move.item else None


class ActSerializer(serializers.Serializer[Any]):
    """What is handed out or brought back: a design with a quantity, or a piece by its label."""

    design = Named(slug_field="code", queryset=Design.objects.all(), required=False)
    label = serializers.CharField(  # type: ignore[assignment]  # as parent above
        required=False, max_length=200
    )
    quantity = serializers.IntegerField(default=1, min_value=1, max_value=MOST)
    person = Named(slug_field="username", queryset=Person.objects.filter(is_counter=False), required=False)
    job = Named(slug_field="code", queryset=Job.objects.all(), required=False, allow_null=True)
    condition = serializers.ChoiceField(choices=Condition.choices, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("design" in attrs) == ("label" in attrs):
            raise serializers.ValidationError({"design": ["Give either the design or the label of a piece."]})
        if "label" in attrs:
            found = selectors.find_label(text=attrs.pop("label")).thing
            if isinstance(found, Item):
                attrs |= {"item": found, "design": found.design, "quantity": found.pieces}
            elif isinstance(found, Design):
                attrs["design"] = found
            else:
                raise serializers.ValidationError({"label": ["This is the label of something that is not handed out."]})
        return attrs


class CheckOutSerializer(ActSerializer):
    from_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)
    reason = serializers.CharField(
        required=False, max_length=200,
        help_text="why more may go out than a limit says; counts from a person who may allow it",
    )  # fmt: skip


class BackSerializer(ActSerializer):
    to_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)


class ReverseSerializer(serializers.Serializer[Any]):
    note = serializers.CharField(required=False, allow_blank=True, max_length=200, default="")


class LotSerializer(serializers.Serializer[Any]):
    lot = serializers.CharField(max_length=40, allow_blank=True, help_text="maker's lot; empty when nobody knows it")


class MovesSerializer(serializers.Serializer[Any]):
    moves = MoveSerializer(many=True)


class Places(ThingViews):
    queryset = Place.objects.select_related("parent", "home_of", "person", "machine", "supplier").order_by("code")
    serializer_class = PlaceSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_stock")]
    word, fixed = "place", ("code", "kind")
    creates, changes, retires = services.create_place, services.change_place, services.retire_place
    filter_fields = {"code": "code", "kind": "kind", "parent": "parent__code", "home_of": "home_of__code"}
    ordering_fields = {"code": "code", "kind": "kind"}


class Items(
    EdgesLeft, SentOut, ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Item]
):
    """Pieces with labels; a detail is found by its label."""

    queryset = Item.objects.select_related("design", "place").order_by("pk")
    serializer_class = ItemSerializer
    lookup_value_regex = r"[^/]+"
    filter_fields = {
        "design": "design__code", "place": "place__code", "condition": "condition", "serial": "serial", "lot": "lot",
    }  # fmt: skip
    ordering_fields = {"since": "since"}

    def get_object(self) -> Item:
        found = selectors.find_label(text=str(self.kwargs["pk"]))
        if not isinstance(found.thing, Item):
            raise NotFound()
        return found.thing

    @extend_schema(request=LotSerializer, responses=ItemSerializer)
    @action(detail=True, methods=["post"], permission_classes=[*ShopView.permission_classes, needs("build_tools")])
    def lot(self, request: Request, pk: str) -> Response:
        """Write down which lot the piece is of, or put it right."""
        given = LotSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        item = services.write_lot(item=self.get_object(), who=signed_in(request), **given.validated_data)
        return Response(ItemSerializer(item).data)

    @extend_schema(responses=MoveSerializer(many=True), filters=False)
    @action(detail=True, pagination_class=CursorPages, filter_backends=[])
    def history(self, request: Request, pk: str) -> Response:
        """Every move of the piece, the last one first."""
        pages = CursorPages()
        moves = pages.paginate_queryset(selectors.item_history(item=self.get_object()), request, view=self)
        return pages.get_paginated_response(MoveSerializer(moves or [], many=True).data)


class PastBalanceSerializer(serializers.Serializer[Any]):
    """A balance at the end of a day gone by; how many of it were labelled is not kept."""

    design = serializers.CharField(source="design.code")
    condition = serializers.ChoiceField(choices=Condition.choices)
    place = serializers.CharField(source="place.code")
    quantity = serializers.IntegerField()
    labelled = serializers.IntegerField(default=None, allow_null=True)


class Stock(ShopView, mixins.ListModelMixin, viewsets.GenericViewSet[Balance]):
    """How many of a design, in which condition, at which place; what is zero is left out.

    With `?on=2026-11-01`: as it stood when that day ended in the shop's own time, filtered by design and place.
    """

    serializer_class = BalanceSerializer
    queryset = selectors.balances()
    filter_fields = {"design": "design__code", "place": "place__code", "condition": "condition", "kind": "place__kind"}
    ordering_fields = {"design": "design__code", "place": "place__code", "quantity": "quantity"}

    @extend_schema(parameters=[OpenApiParameter("on", OpenApiTypes.DATE, description="a day gone by")])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        day = selectors.read_day(request.GET.get("on", ""))
        if day is None:
            return super().list(request, *args, **kwargs)
        odd = sorted(set(request.GET) - {"on", "design", "place"} - PAGING_WORDS)
        if odd or "ordering" in request.GET:
            raise BadInput((odd or ["ordering"])[0], "With a day, this list is filtered by design and place alone.")
        design, place = (_named(request, one) for one in ("design", "place"))
        rows = selectors.balances_on(day=day, design=design, place=place)
        page = self.paginate_queryset(cast("QuerySet[Any]", rows))  # a list is cut into pages as well
        return self.get_paginated_response(PastBalanceSerializer(page or [], many=True).data)


def _named(request: Request, name: str) -> Any:
    """The design or place that a filter names; none when it names none."""
    code = request.GET.get(name)
    if code is None:
        return None
    things: Any = Design.objects if name == "design" else Place.objects
    found = things.filter(code=code).first() if "\x00" not in code else None
    if found is None:
        raise BadInput(name, f"There is no {name} {code[:40]!r}.")
    return found


class Moves(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Move]):
    """The ledger, newest first. Lines are only ever added."""

    queryset = Move.objects.select_related(
        "design", "item", "from_place", "to_place", "who", "job", "allowed_by"
    ).order_by("-id")
    serializer_class = MoveSerializer
    pagination_class = CursorPages
    permission_classes = [*ShopView.permission_classes, needs("keep_stock")]
    filter_fields = {
        "design": "design__code", "item": "item", "from_place": "from_place__code", "to_place": "to_place__code",
        "who": "who__username", "why": "why", "job": "job__code", "condition": "condition",
    }  # fmt: skip

    def get_object(self) -> Move:
        return selectors.find_move(number=str(self.kwargs["pk"]))

    @extend_schema(request=ReverseSerializer, responses={201: MoveSerializer})
    @action(detail=True, methods=["post"])
    @idempotent
    def reverse(self, request: Request, pk: str) -> Response:
        """Post the line that takes this one back."""
        given = ReverseSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        move = services.reverse(
            move=self.get_object(), who=signed_in(request), key=service_key(request), note=given.validated_data["note"]
        )
        return Response(MoveSerializer(move).data, status=201)


class LimitSerializer(serializers.ModelSerializer[TakeLimit]):
    design = Named(slug_field="code", queryset=Design.objects.all())
    most = serializers.IntegerField(min_value=0, max_value=MOST)
    days = serializers.IntegerField(
        min_value=1, max_value=3660, required=False, allow_null=True, default=None,
        help_text="within so many days; null: at all, until some come back",
    )  # fmt: skip

    class Meta:
        model = TakeLimit
        fields = ["id", "design", "per", "most", "days"]
        # A second one of the same kind takes the place of the first.
        validators: list[Any] = []


class Limits(
    ShopView,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[TakeLimit],
):
    """How many of a design one person, or one job, may draw."""

    queryset = selectors.all_limits()
    serializer_class = LimitSerializer
    permission_classes = [*ShopView.permission_classes, needs("allow_more")]
    filter_fields = {"design": "design__code", "per": "per"}
    ordering_fields = {"design": "design__code", "most": "most"}

    def get_object(self) -> TakeLimit:
        given = str(self.kwargs["pk"])
        sound = given.isascii() and given.isdigit() and len(given) < 19
        return selectors.limit_with(number=int(given) if sound else 0)

    def create(self, request: Request) -> Response:
        """Set a limit; one of the same design and kind is replaced."""
        given = LimitSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        limit = services.set_take_limit(who=signed_in(request), **given.validated_data)
        return Response(LimitSerializer(limit).data, status=201)

    def destroy(self, request: Request, pk: str) -> Response:
        """Lift a limit."""
        services.lift_take_limit(limit=self.get_object(), who=signed_in(request))
        return Response(status=204)


class Checkouts(ShopView, viewsets.GenericViewSet[Move]):
    """Handing out and bringing back. Who may only draw tools acts for themselves alone."""

    queryset = Move.objects.none()
    serializer_class = CheckOutSerializer
    permission_classes = [*ShopView.permission_classes, needs_any("draw_tools", "keep_stock")]

    @extend_schema(request=CheckOutSerializer, responses={201: MovesSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Hand out a design or a piece; without a bin it comes from wherever enough lies."""
        given = CheckOutSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        who = signed_in(request)
        asked: dict[str, Any] = {"person": who} | given.validated_data
        reason = asked.pop("reason", "")
        moves = services.check_out_anywhere(
            **asked,
            who=who,
            key=service_key(request),
            # Nobody allows anything in another's name here: a badge is scanned at the counter alone.
            allowed_by=who if reason else None,
            note=reason,
        )
        return Response({"moves": MoveSerializer(moves, many=True).data}, status=201)

    @extend_schema(request=BackSerializer, responses={201: MovesSerializer})
    @action(detail=False, methods=["post"])
    @idempotent
    def back(self, request: Request) -> Response:
        """Bring back a design or a piece; without a bin it goes to its own."""
        given = BackSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        move = services.take_back_home(
            **{"person": signed_in(request)} | given.validated_data, who=signed_in(request), key=service_key(request)
        )
        return Response({"moves": MoveSerializer([move], many=True).data}, status=201)


def register(router: BaseRouter) -> None:
    router.register("places", Places, basename="place")
    router.register("items", Items, basename="item")
    router.register("stock", Stock, basename="stock")
    router.register("moves", Moves, basename="move")
    router.register("limits", Limits, basename="limit")
    router.register("checkouts", Checkouts, basename="checkout")
