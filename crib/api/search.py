"""One search over everything that goes by a name, a number or a label."""

from __future__ import annotations

from typing import Any

from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from crib.floor.selectors import search_shop
from crib.floor.selectors.search import KINDS


class HitSerializer(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(choices=sorted(KINDS.items()))
    name = serializers.CharField(help_text="its code, label, name or user name: what its own list finds it by")
    more = serializers.CharField(allow_blank=True)
    label = serializers.CharField(  # type: ignore[assignment]  # the framework takes declared fields off the class
        allow_blank=True, help_text="the label on it; of a person none, since a badge acts in their name"
    )
    exact = serializers.BooleanField(help_text="whether this is what was typed in full")
    retired = serializers.BooleanField()


class FoundSerializer(serializers.Serializer[Any]):
    q = serializers.CharField(source="text", allow_blank=True, help_text="what was looked for, as it was read")
    said = serializers.CharField(allow_blank=True, help_text="why a label could not be read")
    results = HitSerializer(many=True, source="hits")


class Search(APIView):
    """By codes, numbers, serials, lots, labels and words; blanks, dashes and capitals do not count."""

    permission_classes = [IsAuthenticated]

    @extend_schema(
        parameters=[OpenApiParameter("q", str, description="what is typed; the first 100 characters are read")],
        responses=FoundSerializer,
    )
    def get(self, request: Request) -> Response:
        """What goes by this text, best first: at most 25 of each kind."""
        typed = request.GET.get("q", "").replace("\x00", " ")
        return Response(FoundSerializer(search_shop(text=typed)).data)


paths = [path("search/", Search.as_view(), name="search")]
