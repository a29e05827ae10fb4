"""Today: what needs a person now."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from crib.planning import selectors
from crib.stock import selectors as stock
from crib.web.changes_shown import machine_lines


@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """The first page of the day; asked by itself, only the part that changes."""
    shown: dict[str, Any] = {"now": selectors.today_now(), "ahead": machine_lines()}
    if request.headers.get("HX-Request"):
        return render(request, "crib/today/_board.html", shown)
    # Counting has the whole day; it is worked out when the page is opened, not every ten seconds.
    shown |= {"counting": stock.counting_day(), "to_review": stock.counts_to_review()}
    return render(request, "crib/today/today.html", shown)
