"""From an operation into a calculator, and from a calculator back to the operation."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from calc.units import System
from calc.workings import Working
from crib.core.errors import NotFound, ShopError
from crib.floor import selectors, services
from crib.floor.as_working import KINDS_OF, as_working
from crib.floor.models import Operation
from crib.life.known import look_up
from crib.web.acting import need_acting, needs
from crib.web.formats import amount, minutes
from crib.web.views.workings import find_working, query_of, system_of
from crib.web.working_answers import Outcome, work_out
from crib.web.working_fields import Asked, ask

# field: (what it is called, its unit)
_WORDS = {
    "surface_speed": ("Surface speed", "m/min"),
    "feed": ("Feed", "mm"),
    "depth": ("Depth of cut", "mm"),
    "width": ("Width of cut", "mm"),
    "length_of_cut": ("Length of cut", "mm"),
    "passes": ("Passes or holes", ""),
    "work_diameter": ("Work diameter", "mm"),
    "inner_diameter": ("Inner diameter", "mm"),
    "contact_low": ("Band of the flute, from", "mm"),
    "contact_high": ("Band of the flute, to", "mm"),
    "minutes_per_part": ("Minutes in cut per part", "min"),
}


@require_safe
def open_chosen(request: HttpRequest) -> HttpResponse:
    """As below, of an operation chosen in a form."""
    chosen = request.GET.get("operation", "")
    if not (chosen.isascii() and chosen.isdigit() and len(chosen) < 10):
        return redirect("crib:workings")
    return redirect("crib:open_operation", int(chosen))


@require_safe
def open_operation(request: HttpRequest, pk: int) -> HttpResponse:
    """A calculator filled in with an operation's duty, tool, machine and metal."""
    opened = as_working(_operation(pk))
    return redirect(f"{reverse('crib:working', args=[opened.working])}?{urlencode(opened.inputs)}")


@require_http_methods(["GET", "HEAD", "POST"])
@needs("keep_jobs")
def keep(request: HttpRequest, name: str) -> HttpResponse:
    """Choose an operation, see what would change, keep it."""
    found, system = find_working(name), system_of(request)
    query = {key: value for key, value in query_of(request).items() if key != "operation"}
    asked = ask(found, query, system, {})
    outcome = work_out(found, asked, system)
    context: dict[str, Any] = {
        "working": found,
        "query": query,
        "outcome": outcome,
        "operations": selectors.operations_to_keep_for(KINDS_OF.get(name, ())),
        "back": f"{reverse('crib:working', args=[name])}?{urlencode(query)}",
    }
    chosen = request.GET.get("operation", "")
    status = 200
    if chosen.isascii() and chosen.isdigit() and len(chosen) < 10 and outcome.answer is not None:
        operation = _operation(int(chosen))
        try:
            if request.method == "POST":
                return _kept(request, operation, found, asked)
            context |= _proposed(operation, outcome, system)
        except ShopError as error:
            context["wrong"], status = error.sentence, error.status
        context["operation"] = operation
    return render(request, "crib/workings/keep.html", context, status=status)


def _proposed(operation: Operation, outcome: Outcome, system: System) -> dict[str, Any]:
    assert outcome.answer is not None  # the caller has one
    proposal = services.propose_keeping(operation=operation, answer=outcome.answer)
    rows = [
        (_WORDS[one.field][0], _shown(one.field, one.before, system), _shown(one.field, one.after, system))
        for one in proposal.changes
    ]
    return {"rows": rows, "doubts": proposal.doubts, "no_time": proposal.minutes is None}


def _shown(field: str, value: float | None, system: System) -> str:
    unit = _WORDS[field][1]
    if unit == "min":
        return f"{minutes(value)} min"
    return amount(value, unit, system) if unit else str(value)


def _kept(request: HttpRequest, operation: Operation, found: Working, asked: Asked) -> HttpResponse:
    services.keep_working(
        operation=operation, name=found.name, inputs=asked.raw, who=need_acting(request), shop=look_up
    )
    messages.success(
        request, f"Kept for {operation}: {found.title.lower()}, and what its edges may be expected to last."
    )
    return redirect("crib:operation", operation.pk)


def _operation(pk: int) -> Operation:
    found = selectors.operation_in_full(pk)
    if found is None:
        raise NotFound("There is no such operation; choose another one.")
    return found
