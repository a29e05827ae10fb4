"""Changes ahead: which machine stops when for which edges, and what to lay ready for it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from crib.life import selectors
from crib.life.words import CAUTION
from crib.web.changes_shown import shown


@require_safe
def changes_ahead(request: HttpRequest) -> HttpResponse:
    ahead = selectors.changes_ahead()
    machines = [shown(one) for one in ahead.machines if one.stops]
    context = {"machines": machines, "needs": ahead.needs, "changes": ahead.changes, "caution": CAUTION}
    return render(request, "crib/life/changes_ahead.html", context)
