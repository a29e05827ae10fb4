"""What the API's resources share: rights, filters named as the fields, ordering and pages."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from django.core.exceptions import FieldError, ValidationError
from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.filters import BaseFilterBackend
from rest_framework.permissions import SAFE_METHODS, BasePermission, IsAuthenticated
from rest_framework.request import Request
from rest_framework.views import APIView

from crib.api.paging import NumberedPages
from crib.core.errors import BadInput

PAGING_WORDS = {"page", "page_size", "cursor", "ordering", "format"}


def needs(right: str) -> type[BasePermission]:
    """Anyone signed in may read; writing needs the right `right` of `crib.people.roles`."""
    return needs_any(right)


def needs_any(*rights: str) -> type[BasePermission]:
    """As `needs`, where any one of several rights is enough."""

    class NeedsRight(BasePermission):
        def has_permission(self, request: Request, view: APIView) -> bool:
            if request.method in SAFE_METHODS:
                return True
            return any(request.user.has_perm(f"crib.{right}") for right in rights)

    NeedsRight.__name__ = f"Needs_{'_or_'.join(rights)}"
    return NeedsRight


class ByField(BaseFilterBackend):
    """`?design=CT-12&ordering=-at`: filters and orderings that the view lists, and no others."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any, Any], view: Any) -> QuerySet[Any, Any]:
        filters: Mapping[str, str] = getattr(view, "filter_fields", {})
        for name, value in request.GET.items():
            if name in PAGING_WORDS:
                continue
            if name not in filters:
                known = ", ".join(sorted(filters)) or "none"
                raise BadInput(name, f"This list has no filter “{name}”. It has: {known}.")
            queryset = _filtered(queryset, name, filters[name], str(value))
        return self._ordered(request, queryset, view)

    def _ordered(self, request: Request, queryset: QuerySet[Any, Any], view: Any) -> QuerySet[Any, Any]:
        asked = [word for word in request.GET.get("ordering", "").split(",") if word]
        allowed: Mapping[str, str] = getattr(view, "ordering_fields", {})
        if not asked:
            return queryset
        for word in asked:
            if word.lstrip("-") not in allowed:
                known = ", ".join(sorted(allowed)) or "none"
                raise BadInput("ordering", f"This list cannot be ordered by “{word}”. It can by: {known}.")
        return queryset.order_by(*(("-" if word[0] == "-" else "") + allowed[word.lstrip("-")] for word in asked), "pk")

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        names = [*getattr(view, "filter_fields", {}), *(["ordering"] if getattr(view, "ordering_fields", {}) else [])]
        return [{"name": name, "in": "query", "required": False, "schema": {"type": "string"}} for name in names]


def _filtered(queryset: QuerySet[Any, Any], name: str, lookup: str, value: str) -> QuerySet[Any, Any]:
    if lookup.endswith("__isnull"):
        if value not in ("true", "false"):
            raise BadInput(name, f"“{name}” is true or false.")
        return queryset.filter(**{lookup: value == "true"})
    try:
        return queryset.filter(**{lookup: value})
    except (ValueError, TypeError, ValidationError, FieldError, OverflowError) as unread:
        raise BadInput(name, f"“{value[:40]}” cannot be a value of “{name}”.") from unread


class ShopView:
    """Mixed into each resource: signed-in people only, filters by field, numbered pages."""

    permission_classes: Any = [IsAuthenticated]
    filter_backends: Any = [ByField]
    pagination_class: Any = NumberedPages
    filter_fields: ClassVar[Mapping[str, str]] = {}
    ordering_fields: ClassVar[Mapping[str, str]] = {}


def numbered(things: Any, number: Any) -> Any:
    """The thing of that number; 404 for what is no number or not there."""
    text = str(number)
    found = things.filter(pk=int(text)).first() if text.isascii() and text.isdigit() and len(text) < 19 else None
    if found is None:
        raise NotFound()
    return found


def read(serializer: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    """What was sent, read by the serializer; refused by field when it cannot be."""
    given = serializer(data=request.data)
    given.is_valid(raise_exception=True)
    return dict(given.validated_data)
