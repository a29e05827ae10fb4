"""Counts over REST: start, write lines, scan pieces, hand over for review, post or drop; what is due; accuracy."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import BaseRouter

from crib.api.base import ShopView, needs, numbered, read
from crib.api.catalogue import Named
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.catalogue.models import Design
from crib.core.errors import BadInput
from crib.floor import services as floor
from crib.stock import selectors, services
from crib.stock.models import Condition, Count, CountLine, CountPiece, Item, Place
from crib.stock.selectors import DueCount, ToCount

MOST = 100_000


class CountSerializer(serializers.ModelSerializer[Count]):
    place = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    design = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    counted_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)
    posted_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)

    class Meta:
        model = Count
        fields = ["id", "place", "design", "blind", "state", "counted_by", "started_at", "posted_by", "posted_at"]


class PieceSerializer(serializers.ModelSerializer[CountPiece]):
    """A labelled piece; where the books have it is told when the books are."""

    label = serializers.CharField(source="item.label", read_only=True)  # type: ignore[assignment]  # declared field
    design = serializers.CharField(source="item.design.code", read_only=True)
    place = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    booked = serializers.SerializerMethodField(help_text="null in a blind count that is not reviewed yet")

    class Meta:
        model = CountPiece
        fields = ["label", "design", "place", "found", "booked", "at"]

    def get_booked(self, piece: CountPiece) -> str | None:
        return piece.booked.code if books_open(piece.count) else None


class LineSerializer(serializers.Serializer[Any]):
    """A line of a count. Of a blind one, `expected` and `difference` stay null until it is handed over for review."""

    design = serializers.CharField(source="design.code")
    place = serializers.CharField(source="place.code")
    condition = serializers.ChoiceField(choices=Condition.choices)
    counted = serializers.IntegerField(source="found", allow_null=True, help_text="with labels and without")
    first_counted = serializers.SerializerMethodField(help_text="before it was counted again, without labels")
    count_again = serializers.BooleanField(source="again")
    marker = serializers.SerializerMethodField(help_text="send it back with the figure; null once handed over")
    expected = serializers.SerializerMethodField()
    difference = serializers.SerializerMethodField()
    move = serializers.SerializerMethodField()
    found = serializers.SerializerMethodField(help_text="labels that were scanned")
    missing = serializers.SerializerMethodField(help_text="labels booked here that nobody scanned; not while blind")

    @property
    def _open(self) -> bool:
        return bool(self.context["books"])

    def get_first_counted(self, one: ToCount) -> int | None:
        return one.line.first_counted if one.line else None

    def get_marker(self, one: ToCount) -> int | None:
        markers: dict[tuple[int, int], int] = self.context.get("markers", {})
        return markers.get((one.design.pk, one.place.pk))

    def get_expected(self, one: ToCount) -> int | None:
        return one.expected if self._open else None

    def get_difference(self, one: ToCount) -> int | None:
        return one.difference if self._open else None

    def get_move(self, one: ToCount) -> int | None:
        return one.line.move_id if one.line else None

    def get_found(self, one: ToCount) -> list[str]:
        return [piece.item.label for piece in one.pieces if piece.found]

    def get_missing(self, one: ToCount) -> list[str]:
        return [piece.item.label for piece in one.missing] if self._open else []


class SheetSerializer(CountSerializer):
    lines = serializers.SerializerMethodField()

    class Meta(CountSerializer.Meta):
        fields = [*CountSerializer.Meta.fields, "lines"]

    @extend_schema_field(LineSerializer(many=True))
    def get_lines(self, count: Count) -> Any:
        lines = selectors.count_sheet(count=count)
        context: dict[str, Any] = {"books": books_open(count)}
        if count.state == Count.State.OPEN:
            context |= {"markers": selectors.spot_markers(lines)}
        else:
            lines = [one for one in lines if one.found is not None]
        return LineSerializer(lines, many=True, context=context).data


def books_open(count: Count) -> bool:
    """Whether what the books say may be told: at once in an open count, after the counting in a blind one."""
    return not count.blind or count.state != Count.State.OPEN


class StartSerializer(serializers.Serializer[Any]):
    """Either a place, with all that stands in it, or a design wherever it lies."""

    place = Named(slug_field="code", queryset=Place.objects.all(), required=False)
    design = Named(slug_field="code", queryset=Design.objects.all(), required=False)
    blind = serializers.BooleanField(default=True)


class FigureSerializer(serializers.Serializer[Any]):
    design = Named(slug_field="code", queryset=Design.objects.all())
    place = Named(slug_field="code", queryset=Place.objects.all(), required=False)
    condition = serializers.ChoiceField(choices=Condition.choices, default=Condition.NEW)
    counted = serializers.IntegerField(min_value=0, max_value=MOST, help_text="pieces without a label of their own")
    without_labels = serializers.BooleanField(default=False, help_text="bodies or holders that have lost their labels")
    marker = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=2**63 - 1)


class ScanSerializer(serializers.Serializer[Any]):
    label = serializers.CharField(max_length=200)  # type: ignore[assignment]  # the framework takes it off the class
    place = Named(slug_field="code", queryset=Place.objects.all(), required=False)


class DueSerializer(serializers.Serializer[Any]):
    design = serializers.CharField(source="design.code")
    in_class = serializers.CharField(source="ranked.letter")
    yearly_use = serializers.IntegerField(source="ranked.use")
    yearly_value = serializers.DecimalField(source="ranked.value", max_digits=16, decimal_places=2)
    last_counted = serializers.DateTimeField(source="last", allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    places = serializers.SerializerMethodField()
    count = serializers.IntegerField(source="under_way", allow_null=True, help_text="the count under way")

    def get_places(self, one: DueCount) -> list[str]:
        return [place.code for place in one.places]


class MonthSerializer(serializers.Serializer[Any]):
    month = serializers.DateField()
    counts = serializers.IntegerField()
    lines = serializers.IntegerField(source="tally.lines")
    right = serializers.IntegerField(source="tally.right")
    share_right = serializers.FloatField(source="tally.share", allow_null=True)
    too_many = serializers.IntegerField(source="tally.more")
    too_few = serializers.IntegerField(source="tally.fewer")
    elsewhere = serializers.IntegerField(source="tally.misplaced")
    money_net = serializers.DecimalField(source="tally.money_net", max_digits=16, decimal_places=2)
    money_absolute = serializers.DecimalField(source="tally.money_absolute", max_digits=16, decimal_places=2)


class Counts(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Count]):
    """Looks at what is really there; differences become moves after review."""

    queryset = Count.objects.select_related("place", "design", "counted_by", "posted_by").order_by("-id")
    serializer_class = CountSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_stock")]
    filter_fields = {"place": "place__code", "design": "design__code", "state": "state"}

    def get_object(self) -> Count:
        found: Count = numbered(self.queryset, self.kwargs["pk"])
        return found

    @extend_schema(responses=SheetSerializer)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """The count with its lines; a blind one tells nothing of the books while it is open."""
        return Response(SheetSerializer(self.get_object()).data)

    @extend_schema(request=StartSerializer, responses={201: SheetSerializer})
    @idempotent
    def create(self, request: Request) -> Response:
        """Start a count of a place or of a design."""
        count = services.start_count(who=signed_in(request), **read(StartSerializer, request))
        return Response(SheetSerializer(count).data, status=201)

    @extend_schema(request=FigureSerializer, responses=LineSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def lines(self, request: Request, pk: str) -> Response:
        """Write down a figure. `count_again` in the answer asks for a second look."""
        count = self.get_object()
        line: CountLine = services.record_count(
            count=count, who=signed_in(request), key=service_key(request), **read(FigureSerializer, request)
        )
        shown = selectors.line_shown(count=count, design=line.design, place=line.place, condition=line.condition)
        return Response(LineSerializer(shown, context={"books": books_open(count)}).data)

    @extend_schema(request=ScanSerializer, responses=PieceSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def pieces(self, request: Request, pk: str) -> Response:
        """Scan the label of a piece where it lies."""
        given = read(ScanSerializer, request)
        found = selectors.find_label(text=given["label"]).thing
        if not isinstance(found, Item):
            raise BadInput("label", "This is not the label of a piece.")
        piece = services.scan_piece(
            count=self.get_object(), item=found, who=signed_in(request), place=given.get("place")
        )
        return Response(PieceSerializer(piece).data)

    @extend_schema(request=None, responses=SheetSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def review(self, request: Request, pk: str) -> Response:
        """Hand the count over for review; refused while a line is to be counted again."""
        return self._answer(services.finish_count(count=self.get_object(), who=signed_in(request)))

    @extend_schema(request=None, responses=SheetSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def reopen(self, request: Request, pk: str) -> Response:
        """Send the count back to be gone on with."""
        return self._answer(services.reopen_count(count=self.get_object(), who=signed_in(request)))

    @extend_schema(request=None, responses=SheetSerializer)
    # Not named `post`, which is what answers every POST of a view.
    @action(detail=True, methods=["post"], url_path="post", url_name="post")
    @idempotent
    def post_differences(self, request: Request, pk: str) -> Response:
        """Post the reviewed differences as moves."""
        count = self.get_object()
        floor.post_count(count=count, who=signed_in(request))
        return self._answer(count)

    @extend_schema(request=None, responses=SheetSerializer)
    @action(detail=True, methods=["post"])
    @idempotent
    def drop(self, request: Request, pk: str) -> Response:
        """Give the count up; nothing is posted."""
        return self._answer(services.drop_count(count=self.get_object(), who=signed_in(request)))

    @extend_schema(responses=DueSerializer(many=True), filters=False)
    @action(detail=False, pagination_class=None, filter_backends=[])
    def due(self, request: Request) -> Response:
        """What is due to be counted, the most pressing first."""
        return Response(DueSerializer(selectors.counting_day().due, many=True).data)

    @extend_schema(responses=MonthSerializer(many=True), filters=False)
    @action(detail=False, pagination_class=None, filter_backends=[])
    def accuracy(self, request: Request) -> Response:
        """How right the books were found to be, by month of posting."""
        return Response(MonthSerializer(selectors.accuracy_by_month(), many=True).data)

    def _answer(self, count: Count) -> Response:
        return Response(SheetSerializer(numbered(self.queryset, count.pk)).data)


def register(router: BaseRouter) -> None:
    router.register("counts", Counts, basename="count")
