"""Turns the shop's own errors, when a view lets them fly, into a page or a part that says what to do."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from crib.core.errors import ShopError
from crib.web.acting import BadgeNeeded


class ShopErrors:
    """Answers a `ShopError` with its sentence and status: a notice for a live part, a whole page otherwise."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, ShopError):
            return None
        part = getattr(request, "htmx", False) and not getattr(request.htmx, "boosted", False)  # type: ignore[attr-defined]
        template = "crib/parts/refused.html" if part else "crib/errors/refused.html"
        wants_badge = isinstance(exception, BadgeNeeded)
        context = {"error": exception, "wants_badge": wants_badge, "next": request.get_full_path()}
        return render(request, template, context, status=exception.status)
