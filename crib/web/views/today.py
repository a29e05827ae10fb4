"""Today: what needs a person now."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from crib.planning import selectors
from crib.web.changes_shown import machine_lines


@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """The first page of the day; asked by itself, only the part that changes."""
    shown = {"now": selectors.today_now(), "ahead": machine_lines()}
    template = "crib/today/_board.html" if request.headers.get("HX-Request") else "crib/today/today.html"
    return render(request, template, shown)
