"""Kits over REST: staged from the forecast or by lines, handed out in one act, brought back in one."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView, needs, needs_any, numbered, read
from crib.api.catalogue import Named
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.api.stock import MoveSerializer
from crib.catalogue.models import Design, Job
from crib.life.selectors.kit_sheets import back_rows, kit_sheet
from crib.life.services.kits import bring_back_kit, hand_out_kit, stage_job_kit
from crib.people.models import Person
from crib.stock import selectors, services
from crib.stock.drafts import LONGEST_NOTE
from crib.stock.kits import MOST_LINES, MOST_WANTED, BackLine, KitActed, KitWant
from crib.stock.models import Condition, Item, Place
from crib.stock.records import Kit, KitLine

MOST_PARTS = 10_000_000
MAY_ACT = [*ShopView.permission_classes, needs_any("draw_tools", "keep_stock")]


class KitLineSerializer(serializers.Serializer[Any]):
    """A line of a kit beside what is there."""

    design = serializers.CharField(source="design.code")
    role = serializers.CharField(source="want.role")
    wanted = serializers.IntegerField(source="want.wanted")
    issued = serializers.IntegerField()
    came_back = serializers.IntegerField()
    on_hand = serializers.IntegerField(help_text="usable in the crib and not built into a tool")
    kept_for_others = serializers.IntegerField(source="kept", help_text="kept for jobs that asked before")
    free = serializers.IntegerField()
    short = serializers.IntegerField()
    who_has_it = serializers.ListField(source="elsewhere", child=serializers.CharField())
    why = serializers.CharField(source="want.why")


class KitSerializer(serializers.ModelSerializer[Kit]):
    job = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    made_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)
    issued_to = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)

    class Meta:
        model = Kit
        fields = [
            "id", "label", "job", "state", "parts", "needed_on", "made_by", "made_at", "issued_to", "issued_at",
            "ended_at",
        ]  # fmt: skip


class KitDetailSerializer(KitSerializer):
    lines = serializers.SerializerMethodField()

    class Meta(KitSerializer.Meta):
        fields = [*KitSerializer.Meta.fields, "lines"]

    @extend_schema_field(KitLineSerializer(many=True))
    def get_lines(self, kit: Kit) -> Any:
        return KitLineSerializer(kit_sheet(kit=kit), many=True).data


class WantIn(serializers.Serializer[Any]):
    design = Named(slug_field="code", queryset=Design.objects.all())
    role = serializers.ChoiceField(choices=KitLine.Role.choices)
    wanted = serializers.IntegerField(min_value=0, max_value=MOST_WANTED, help_text="0 takes the line out")


class StageIn(serializers.Serializer[Any]):
    job = Named(slug_field="code", queryset=Job.objects.all())
    parts = serializers.IntegerField(
        required=False, min_value=1, max_value=MOST_PARTS, help_text="left out: all still to make"
    )
    needed_on = serializers.DateField(required=False, allow_null=True)
    lines = WantIn(many=True, required=False, help_text="left out: what the forecast says")


class ChangeIn(serializers.Serializer[Any]):
    parts = serializers.IntegerField(required=False, min_value=1, max_value=MOST_PARTS)
    needed_on = serializers.DateField(required=False, allow_null=True)
    lines = WantIn(many=True, required=False, help_text="lines not named stay")


class IssueIn(serializers.Serializer[Any]):
    person = Named(slug_field="username", queryset=Person.objects.filter(is_counter=False), required=False)
    pieces = serializers.ListField(
        child=serializers.CharField(max_length=200),
        required=False,
        max_length=MOST_LINES,
        help_text="labels of bodies and holders; others are the first free ones",
    )
    only_what_is_there = serializers.BooleanField(default=False)
    reason = serializers.CharField(
        required=False, max_length=LONGEST_NOTE, help_text="why more goes out than a limit says; by who may allow it"
    )


class BackIn(serializers.Serializer[Any]):
    design = Named(slug_field="code", queryset=Design.objects.all(), required=False)
    label = serializers.CharField(  # type: ignore[assignment]  # the framework takes declared fields off the class
        required=False, max_length=200, help_text="of a labelled piece; or the design"
    )
    quantity = serializers.IntegerField(default=1, min_value=1, max_value=100_000)
    condition = serializers.ChoiceField(
        choices=Condition.choices, required=False, help_text="as it comes back; left out: as it is held"
    )
    to_place = Named(slug_field="code", queryset=Place.objects.all(), required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("design" in attrs) == ("label" in attrs):
            raise serializers.ValidationError({"design": ["Give either the design or the label of a piece."]})
        return attrs


class ReturnIn(serializers.Serializer[Any]):
    lines = BackIn(many=True, required=False, help_text="left out: all that is still held")


class LeftSerializer(serializers.Serializer[Any]):
    """What its person still holds of a kit."""

    design = serializers.CharField(source="left.design.code")
    label = serializers.CharField(  # type: ignore[assignment]  # as above
        source="left.item.label", default=None, allow_null=True
    )
    condition = serializers.CharField(source="left.condition")
    quantity = serializers.IntegerField(source="left.quantity")
    comes_back_as = serializers.CharField(source="becomes")
    minutes = serializers.FloatField(allow_null=True, help_text="in cut, on all its edges")
    edges = serializers.CharField(source="edges_words")
    to_place = serializers.CharField(source="left.home.code", default=None, allow_null=True)


class ActedSerializer(serializers.Serializer[Any]):
    kit = KitDetailSerializer()
    moves = MoveSerializer(many=True)
    short = serializers.ListField(child=serializers.CharField())


def _wants(rows: list[dict[str, Any]] | None) -> list[KitWant] | None:
    return None if rows is None else [KitWant(**row) for row in rows]


def _piece(text: str) -> Item:
    thing = selectors.find_label(text=text).thing
    if not isinstance(thing, Item):
        raise serializers.ValidationError({"label": [f"“{text[:40]}” is no label of a piece."]})
    return thing


class Kits(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Kit]):
    """What the start of a job needs: kept for it when staged, handed out and brought back in one act each."""

    queryset = selectors.kits()
    serializer_class = KitSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_stock")]
    filter_fields: ClassVar[dict[str, str]] = {
        "job": "job__code", "state": "state", "issued_to": "issued_to__username",
    }  # fmt: skip
    ordering_fields: ClassVar[dict[str, str]] = {"needed_on": "needed_on", "made_at": "made_at"}

    def get_object(self) -> Kit:
        found: Kit = numbered(self.get_queryset(), self.kwargs["pk"])
        return found

    @extend_schema(responses=KitDetailSerializer)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return Response(KitDetailSerializer(self.get_object()).data)

    @extend_schema(request=StageIn, responses={201: KitDetailSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Stage a kit for a job; it is kept for the job until it is handed out or dropped."""
        given = read(StageIn, request)
        kit = stage_job_kit(who=signed_in(request), **given | {"lines": _wants(given.get("lines"))})
        return Response(KitDetailSerializer(kit).data, status=201)

    @extend_schema(request=ChangeIn, responses=KitDetailSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def change(self, request: Request, pk: str) -> Response:
        """Put numbers of a staged kit right by hand."""
        given = read(ChangeIn, request)
        lines = _wants(given.get("lines")) or []
        kit = services.change_kit(kit=self.get_object(), who=signed_in(request), **given | {"lines": lines})
        return Response(KitDetailSerializer(kit).data)

    @extend_schema(request=IssueIn, responses={201: ActedSerializer})
    @action(detail=True, methods=["post"], permission_classes=MAY_ACT)
    @idempotent
    def issue(self, request: Request, pk: str) -> Response:
        """Hand out all of it or nothing; or what is there, and the rest stays kept."""
        given = read(IssueIn, request)
        pieces = [_piece(text) for text in given.pop("pieces", [])]
        acting, reason = signed_in(request), given.pop("reason", "")
        done = hand_out_kit(
            **{"person": acting} | given,
            kit=self.get_object(),
            pieces=pieces,
            who=acting,
            key=service_key(request),
            allowed_by=acting if reason else None,
            note=reason,
        )
        return _acted(done, 201)

    @extend_schema(request=None, responses=ActedSerializer)
    @action(detail=True, methods=["post"], permission_classes=MAY_ACT)
    @idempotent
    def undo(self, request: Request, pk: str) -> Response:
        """Take the handing out back, as long as all of it is still with the person."""
        return _acted(services.undo_kit(kit=self.get_object(), who=signed_in(request)), 200)

    @extend_schema(responses=LeftSerializer(many=True), filters=False)
    @action(detail=True, pagination_class=None, filter_backends=[])
    def left(self, request: Request, pk: str) -> Response:
        """What its person still holds of it, with the minutes of its edges."""
        return Response(LeftSerializer(back_rows(kit=self.get_object()), many=True).data)

    @extend_schema(request=ReturnIn, responses={201: ActedSerializer})
    @action(detail=True, methods=["post"], permission_classes=MAY_ACT)
    @idempotent
    def back(self, request: Request, pk: str) -> Response:
        """Bring home what is left, all lines or none, and end the kit; part-used tips keep their minutes."""
        kit = self.get_object()
        rows = read(ReturnIn, request).get("lines")
        lines = None if rows is None else [_back_line(kit, row) for row in rows]
        done = bring_back_kit(kit=kit, who=signed_in(request), key=service_key(request), lines=lines)
        return _acted(done, 201)

    @extend_schema(request=None, responses=KitDetailSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def drop(self, request: Request, pk: str) -> Response:
        """Give up a staged kit; what was kept for it is free again."""
        kit = services.drop_kit(kit=self.get_object(), who=signed_in(request))
        return Response(KitDetailSerializer(kit).data)


def _acted(done: KitActed, status: int) -> Response:
    shown = {"kit": selectors.kit_with(number=done.kit.pk), "moves": done.moves, "short": done.short}
    return Response(ActedSerializer(shown).data, status=status)


def _back_line(kit: Kit, row: dict[str, Any]) -> BackLine:
    item = _piece(row["label"]) if "label" in row else None
    design = item.design if item else row["design"]
    if item is not None:
        held = item.condition
    else:
        held = selectors.held_condition(design, kit.issued_to) if kit.issued_to else Condition.NEW
    return BackLine(
        design=design,
        quantity=item.pieces if item else row["quantity"],
        condition=held,
        becomes=row.get("condition", held),
        item=item,
        to_place=row.get("to_place"),
    )


def register(router: BaseRouter) -> None:
    router.register("kits", Kits, basename="kit")
