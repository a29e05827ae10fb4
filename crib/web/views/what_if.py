"""What if: an operation at another speed, feed or depth, beside as it runs now. Looking changes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from calc.units import System
from crib.core.errors import ShopError
from crib.floor.as_working import as_working
from crib.floor.models import Operation
from crib.floor.selectors import operation_in_full
from crib.life.selectors.what_if import WhatIf
from crib.life.selectors.what_if import what_if as find
from crib.life.trying import conditions_of
from crib.life.words import CAUTION
from crib.planning.selectors import parts_of_month
from crib.web.fields import QuantityField, UnitsForm, same_quantity
from crib.web.forms import show_refusal
from crib.web.views.workings import system_of
from crib.web.what_if_shown import NAMES, UNITS, compared, drawn

STEPS = ((0.9, "−10 %"), (1.1, "+10 %"))
SHORT = {"surface_speed": "Speed", "feed": "Feed", "depth": "Depth", "width": "Width"}


class TryForm(UnitsForm):
    surface_speed = QuantityField(unit="m/min", required=False, label=NAMES["surface_speed"], help_text="vc")
    feed = QuantityField(
        unit="mm", required=False, label=NAMES["feed"], help_text="Per tooth when milling, else per turn."
    )
    depth = QuantityField(unit="mm", required=False, label=NAMES["depth"], help_text="ap")
    width = QuantityField(unit="mm", required=False, label=NAMES["width"], help_text="ae")

    def __init__(self, *args: Any, operation: Operation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = conditions_of(operation)
        for name in set(self.fields) - set(known):
            del self.fields[name]

    def asked(self, operation: Operation) -> dict[str, float]:
        """What differs from as it runs now; an empty field stands for now."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if value is not None and not same_quantity(value, getattr(operation, name))
        }


@require_safe
def what_if(request: HttpRequest, pk: int) -> HttpResponse:
    operation = operation_in_full(pk)
    if operation is None:
        raise Http404
    system = system_of(request)
    form = _form(request, operation, system)
    monthly = parts_of_month(operation=operation)
    month, status = monthly.parts if monthly else None, 200
    asked = form.asked(operation) if form.is_valid() else {}
    try:
        found = find(operation=operation, asked=asked, system=system, parts_per_month=month)
    except ShopError as refusal:
        if not asked:
            raise
        show_refusal(form, refusal)
        asked = {}
        found = find(operation=operation, asked={}, system=system, parts_per_month=month)
    if form.errors:
        status = 400
    context: dict[str, Any] = {
        "operation": operation,
        "job": operation.job,
        "form": form,
        "found": found,
        "rows": compared(found, system),
        "drawn": drawn(found, system),
        "steps": _steps(operation, asked, system),
        "monthly": monthly,
        "keep": _keep(operation, found, system),
        "caution": CAUTION,
    }
    return render(request, "crib/jobs/what_if.html", context, status=status)


def _form(request: HttpRequest, operation: Operation, system: System) -> TryForm:
    """What was typed; a condition that was not, as it runs now."""
    blank = TryForm(operation=operation, system=system)
    typed = {
        name: request.GET.get(name, field.prepare_value(getattr(operation, name)))
        for name, field in blank.fields.items()
    }
    return TryForm(typed, operation=operation, system=system)


def _steps(operation: Operation, asked: Mapping[str, float], system: System) -> list[dict[str, Any]]:
    """A step down and up from what is asked, for each condition; the addresses carry their units."""
    steps = []
    for name in conditions_of(operation):
        now = asked.get(name, getattr(operation, name))
        links = [{"words": words, "query": _query({**asked, name: now * times}, system)} for times, words in STEPS]
        steps.append({"name": SHORT[name], "links": links})
    return steps


def _query(asked: Mapping[str, float], system: System) -> str:
    return urlencode({name: f"{value:.4g} {UNITS[name]}" for name, value in asked.items()} | {"units": system})


def _keep(operation: Operation, found: WhatIf, system: System) -> str:
    """The page that keeps what is worked out for the operation, with these conditions."""
    if not found.changed or found.run.wrong or operation.retired_at is not None:
        return ""
    opened = as_working(found.run.operation)
    query = urlencode({**opened.inputs, "units": system, "operation": operation.pk})
    return f"{reverse('crib:keep_working', args=[opened.working])}?{query}"
