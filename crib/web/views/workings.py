"""The calculators: their list, and a page for each, made from its declaration."""

from __future__ import annotations

from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from calc.units import System
from calc.workings import UnknownWorking, Working, all_workings, get
from crib.catalogue.known import cutting_material_names, machine_names, tools_by_kind
from crib.core.errors import NotFound
from crib.floor.as_working import KINDS_OF
from crib.floor.selectors import operations_to_keep_for
from crib.web.acting import has_right, signed_in_person
from crib.web.working_answers import work_out
from crib.web.working_fields import Choices, ask, example_query
from crib.web.working_sweeps import draw_sweep, sweep_form


@require_safe
def workings(request: HttpRequest) -> HttpResponse:
    families = [(family, list(found)) for family, found in groupby(all_workings(), key=lambda one: one.family)]
    return render(request, "crib/workings/workings.html", {"families": families})


@require_safe
def working(request: HttpRequest, name: str) -> HttpResponse:
    found = find_working(name)
    system = system_of(request)
    query = query_of(request)
    asked = ask(found, query, system, _named(found))
    outcome = work_out(found, asked, system)
    sweeping = sweep_form(found, query)
    page = reverse("crib:working", args=[name])
    # The address keeps what was typed and nothing else, so that it can be passed on.
    address = f"{page}?{urlencode({key: value for key, value in query.items() if value.strip()} | {'units': system})}"
    context: dict[str, Any] = {
        "working": found,
        "asked": asked,
        "outcome": outcome,
        "system": system,
        "sweeping": sweeping,
        "drawn": draw_sweep(found, asked, outcome.answer, sweeping, system),
        "others": [other for other in all_workings() if other.family == found.family and other is not found],
        "example": f"{page}?{urlencode({'units': system, **example_query(found, system)})}",
        "page": page,
        "address": request.build_absolute_uri(address),
    }
    if found.name in KINDS_OF and has_right(request, "keep_jobs"):
        context["keep"] = f"{reverse('crib:keep_working', args=[name])}?{address.partition('?')[2]}"
    part = getattr(request, "htmx", False)
    if not part:
        context["operations"] = operations_to_keep_for(KINDS_OF.get(found.name, ()))
    response = render(request, "crib/workings/_answer.html" if part else "crib/workings/working.html", context)
    if part:
        response["HX-Replace-Url"] = address
    return response


def query_of(request: HttpRequest) -> dict[str, str]:
    """What was typed, by the names of the controls."""
    return {key: str(value) for key, value in request.GET.items()}


def find_working(name: str) -> Working:
    """The working of that name; a sentence naming them all when there is none."""
    try:
        return get(name)
    except UnknownWorking as unknown:
        raise NotFound(unknown.sentence) from unknown


def system_of(request: HttpRequest) -> System:
    """The units an address was made in, so that it reads the same for whoever opens it; else the person's own."""
    person = signed_in_person(request)
    units = request.GET.get("units") or (person.units if person else settings.UNITS)
    return "inch" if units == "inch" else "metric"


def _named(found: Working) -> dict[str, list[Choices]]:
    """The words that may be chosen for what the shop looks up; only those that the working asks for are read."""
    wanted = {entry.name for entry in found.inputs}
    named: dict[str, list[Choices]] = {}
    if "material" in wanted:
        named["material"] = [Choices("", _as_choices(cutting_material_names()))]
    if "machine" in wanted:
        named["machine"] = [Choices("", _as_choices(machine_names()))]
    if "tool" in wanted:
        named["tool"] = [Choices(kind, _as_choices(codes)) for kind, codes in tools_by_kind().items()]
    return named


def _as_choices(names: list[str]) -> tuple[tuple[str, str], ...]:
    return tuple((name, name) for name in names)
