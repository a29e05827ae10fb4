"""Ends that were not the tip's fault: left out of what lives learn, and counted again."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from crib.api.base import needs
from crib.api.idempotency import signed_in
from crib.floor import services
from crib.floor.models import Edge


class ExcuseSerializer(serializers.Serializer[Any]):
    excuse = serializers.ChoiceField(choices=Edge.Excuse.choices, help_text="what it was")
    note = serializers.CharField(max_length=200, help_text="what happened, for those who judge it later")


class ExcusedEnds:
    """Mixed into `edges`; who may refit lives may say what they learn from."""

    get_object: Any
    get_serializer: Any

    @extend_schema(request=ExcuseSerializer)
    @action(detail=True, methods=["post"], permission_classes=[IsAuthenticated, needs("keep_life")])
    def excuse(self, request: Request, pk: str) -> Response:
        """Leave an end out of what lives learn; the edge then counts as taken off at that age."""
        given = ExcuseSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        services.excuse_end(edge=self.get_object(), who=signed_in(request), **given.validated_data)
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=None)
    @action(
        detail=True, methods=["post"], url_path="count-again", permission_classes=[IsAuthenticated, needs("keep_life")]
    )
    def count_again(self, request: Request, pk: str) -> Response:
        """Take an excuse back: lives learn from that end again."""
        services.count_again(edge=self.get_object(), who=signed_in(request))
        return Response(self.get_serializer(self.get_object()).data)
