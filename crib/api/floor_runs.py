"""Runs over REST: one or a list, each counted once by its source key."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from crib.api.base import ShopView, needs
from crib.api.errors import TYPE
from crib.api.fields import PhysicalField
from crib.api.idempotency import idempotent, service_key, signed_in
from crib.api.paging import CursorPages
from crib.core.errors import BadInput
from crib.floor import services
from crib.floor.models import Run

MOST_AT_ONCE = 10_000


class RunSerializer(serializers.ModelSerializer[Run]):
    machine = serializers.SlugRelatedField[Any](slug_field="code", read_only=True)
    operation = serializers.CharField(source="operation.__str__", read_only=True)
    edge = serializers.IntegerField(source="edge_id", read_only=True)
    item = serializers.CharField(source="edge.item.label", read_only=True)
    minutes_in_cut = serializers.FloatField(source="minutes", read_only=True)
    logged_by = serializers.SlugRelatedField[Any](slug_field="username", read_only=True)

    class Meta:
        model = Run
        fields = [
            "id", "machine", "pocket", "operation", "edge", "item", "started_at", "ended_at", "minutes_in_cut",
            "minutes_computed", "parts", "contact_low", "contact_high", "source", "source_key", "logged_by",
            "logged_at", "reverses",
        ]  # fmt: skip


class NameField(serializers.CharField):
    """A thing by its name, or by its own number, which may come as a number or as a text."""

    def to_internal_value(self, data: Any) -> str:
        return super().to_internal_value(str(data) if isinstance(data, int) and not isinstance(data, bool) else data)


class DraftSerializer(serializers.Serializer[Any]):
    """One run: machine and pocket, or an edge in their place; minutes left out come from the parts."""

    machine = serializers.CharField(required=False, allow_null=True, allow_blank=True, max_length=40)
    pocket = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=32767)
    edge = NameField(required=False, allow_null=True, allow_blank=True, max_length=60)
    operation = NameField(max_length=60, help_text="job and number, such as J-100/20, or its own number")
    started_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField()
    minutes_in_cut = PhysicalField(unit="min", required=False, allow_null=True)
    parts = serializers.IntegerField(min_value=-(2**31), max_value=2**31 - 1)
    source = serializers.ChoiceField(choices=Run.Source.choices, default=Run.Source.TYPED)  # type: ignore[assignment]
    source_key = serializers.CharField(max_length=120)


class FateSerializer(serializers.Serializer[Any]):
    index = serializers.IntegerField()
    field = serializers.CharField()
    type = serializers.CharField()
    detail = serializers.CharField()


class FatesSerializer(serializers.Serializer[Any]):
    accepted = serializers.ListField(child=serializers.IntegerField(), help_text="places in the list, from 0")
    already_there = serializers.ListField(child=serializers.IntegerField())
    refused = FateSerializer(many=True)


ONE_OR_MANY = PolymorphicProxySerializer(
    component_name="RunOrRuns",
    serializers={"run": RunSerializer, "runs": FatesSerializer},
    resource_type_field_name=None,
)


class Runs(ShopView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Run]):
    """Stretches of production, newest first. Only ever added to; a mistake is reversed."""

    queryset = Run.objects.select_related("machine", "operation__job", "edge__item", "logged_by").order_by("-id")
    serializer_class = RunSerializer
    pagination_class = CursorPages
    permission_classes = [*ShopView.permission_classes, needs("log_runs")]
    filter_fields = {
        "machine": "machine__code", "pocket": "pocket", "operation": "operation", "job": "operation__job__code",
        "edge": "edge", "source": "source", "source_key": "source_key", "logged_by": "logged_by__username",
    }  # fmt: skip

    def get_object(self) -> Run:
        number = str(self.kwargs["pk"])
        found = (
            self.get_queryset().filter(pk=int(number)).first()
            if number.isascii() and number.isdigit() and len(number) < 19
            else None
        )
        if found is None:
            raise NotFound()
        return found

    @extend_schema(request=DraftSerializer, responses={201: ONE_OR_MANY})
    @idempotent
    def create(self, request: Request) -> Response:
        """Log one run, or a list of which each one's fate is told by its place in the list."""
        if isinstance(request.data, list):
            return self._log_list(request, request.data)
        given = DraftSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        run = services.log_run(draft=services.RunDraft(**given.validated_data), who=signed_in(request))
        return Response(RunSerializer(run).data, status=201)

    def _log_list(self, request: Request, rows: list[Any]) -> Response:
        if len(rows) > MOST_AT_ONCE:
            raise BadInput("body", f"A list holds at most {MOST_AT_ONCE} runs; send the rest in another one.")
        sound: dict[int, services.RunDraft] = {}
        refused: list[dict[str, Any]] = []
        for index, row in enumerate(rows):
            given = DraftSerializer(data=row)
            if given.is_valid():
                sound[index] = services.RunDraft(**given.validated_data)
            else:
                refused.append(_unread(index, given.errors))
        places = list(sound)
        logged = services.log_runs(drafts=list(sound.values()), who=signed_in(request))
        refused += [
            {"index": places[one.index], "field": one.field, "type": TYPE + one.code, "detail": one.sentence}
            for one in logged.refused
        ]
        fates = {
            "accepted": [places[index] for index in logged.accepted],
            "already_there": [places[index] for index in logged.already_there],
            "refused": sorted(refused, key=lambda fate: fate["index"]),
        }
        return Response(fates, status=201 if logged.accepted else 200)

    @extend_schema(request=None, responses={201: RunSerializer})
    @action(detail=True, methods=["post"])
    @idempotent
    def reverse(self, request: Request, pk: str) -> Response:
        """Take the run back by one that undoes it; both stay to be seen."""
        undo = services.reverse_run(run=self.get_object(), who=signed_in(request), source_key=service_key(request))
        return Response(RunSerializer(undo).data, status=201)


def _unread(index: int, errors: Any) -> dict[str, Any]:
    name, sentences = next(iter(errors.items()))
    field = "body" if name == "non_field_errors" else str(name)
    return {"index": index, "field": field, "type": f"{TYPE}bad-input", "detail": str(sentences[0])}
