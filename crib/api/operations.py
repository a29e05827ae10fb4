"""Operations: the steps of jobs with their duty, and what is asked of each: minutes, change advice, what-if."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from crib.api.base import ShopView, needs, numbered, read
from crib.api.catalogue import Named, ThingViews
from crib.api.changing import ChangeAdviceAndStagingSerializer, ChangeAdviceSerializer, StagingSerializer
from crib.api.fields import PhysicalField, physical
from crib.api.idempotency import signed_in
from crib.api.outlooks import PARAMETERS, WhatIfSerializer, what_if_of
from crib.catalogue.models import Design, Job, Machine, WorkMaterial
from crib.floor import services
from crib.floor.models import Operation
from crib.floor.services.operations import MOST_ENTRIES
from crib.life.selectors import change_advice, staging_at
from crib.planning.selectors import parts_of_month


class OperationSerializer(serializers.ModelSerializer[Operation]):
    job = Named(slug_field="code", queryset=Job.objects.filter(retired_at=None))
    machine = Named(slug_field="code", queryset=Machine.objects.all())
    tip = Named(slug_field="code", queryset=Design.objects.all())
    body = Named(slug_field="code", queryset=Design.objects.all(), required=False, allow_null=True)
    material = Named(slug_field="name", queryset=WorkMaterial.objects.all())
    number = serializers.IntegerField(min_value=1, max_value=9999)
    surface_speed = physical("m/min")
    feed = physical("mm")
    depth = physical("mm")
    width = physical("mm")
    length_of_cut = physical("mm")
    work_diameter = physical("mm")
    inner_diameter = physical("mm")
    contact_low = physical("mm")
    contact_high = physical("mm")
    minutes_per_part = physical("min")
    cycle_minutes = physical("min")
    change_minutes = PhysicalField(unit="min", required=False)
    entries_per_part = serializers.IntegerField(
        min_value=1,
        max_value=MOST_ENTRIES,
        required=False,
        allow_null=True,
        help_text="times the edge enters the metal in each part; empty where breakage goes by minutes",
    )
    wear_limit_mm = PhysicalField(unit="mm", required=False, help_text="wear land VB at which an edge counts as worn")

    class Meta:
        model = Operation
        fields = "__all__"
        read_only_fields: ClassVar[list[str]] = ["id", "retired_at", "minutes_source", "minutes_working"]
        # The service says, with a sentence of its own, when a number stands twice in a job.
        validators: ClassVar[list[Any]] = []


class MinutesSerializer(serializers.Serializer[Any]):
    source = serializers.ChoiceField(choices=["computed", "learnt"], default="computed")  # type: ignore[assignment]  # a field, not the framework's


class Operations(ThingViews):
    """A job's steps with their duty; minutes per part follow from the duty, are typed, or learnt from runs."""

    queryset = Operation.objects.select_related("job", "machine", "tip", "body", "material").order_by("job", "number")
    serializer_class = OperationSerializer
    permission_classes = [*ShopView.permission_classes, needs("keep_jobs")]
    word, fixed, found_by = "operation", ("job",), "pk"
    creates, changes, retires = services.create_operation, services.change_operation, services.retire_operation
    filter_fields = {
        "job": "job__code", "machine": "machine__code", "tip": "tip__code", "kind_of_cut": "kind_of_cut",
        "retired": "retired_at__isnull", "number": "number",
    }  # fmt: skip
    ordering_fields = {"job": "job__code", "number": "number", "machine": "machine__code"}

    def get_object(self) -> Any:
        return numbered(self.get_queryset(), self.kwargs["pk"])

    @extend_schema(request=MinutesSerializer, responses=OperationSerializer)
    @action(detail=True, methods=["post"])
    def minutes(self, request: Request, pk: str) -> Response:
        """Take the minutes per part from the duty (computed), or from measured runs (learnt)."""
        given = read(MinutesSerializer, request)
        done = services.recompute_minutes(operation=self.get_object(), who=signed_in(request), **given)
        return Response(OperationSerializer(done).data)

    @extend_schema(request=None, responses=ChangeAdviceAndStagingSerializer)
    @action(detail=True, methods=["get"], url_path="change-advice", pagination_class=None, filter_backends=[])
    def change_advice(self, request: Request, pk: str) -> Response:
        """When to change at this operation, compared in money: as advised, by today's fixed count, and to the end."""
        operation = self.get_object()
        month = parts_of_month(operation=operation)
        advice = change_advice(operation=operation, month_parts=month.parts if month else None)
        staging = staging_at(operation=operation)
        return Response({**ChangeAdviceSerializer(advice).data, "staging": StagingSerializer(staging).data})

    @extend_schema(parameters=PARAMETERS, responses=WhatIfSerializer)
    @action(detail=True, methods=["get"], url_path="what-if", pagination_class=None, filter_backends=[])
    def what_if(self, request: Request, pk: str) -> Response:
        """Lives, time and cost at another speed, feed, depth or width, beside as it runs now; nothing is changed."""
        return Response(WhatIfSerializer(what_if_of(request, self.get_object())).data)
