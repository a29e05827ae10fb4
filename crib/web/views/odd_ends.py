"""What does not count and what has changed: excused ends, lives that fall, lots beside each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_POST

from crib.floor import selectors as floor_selectors
from crib.floor import services as floor
from crib.floor.models import Edge
from crib.life import selectors, services
from crib.life.models import LifeModel
from crib.web import charts, formats
from crib.web.acting import need_acting, needs


class ExcuseForm(forms.Form):
    excuse = forms.ChoiceField(choices=Edge.Excuse.choices, widget=forms.RadioSelect, label="What was it?")
    note = forms.CharField(max_length=200, label="What happened?", help_text="For those who judge it later.")


@dataclass(frozen=True, slots=True)
class LotShown:
    """A row of the table of lots with its interval drawn."""

    lot: selectors.LotLife
    range: SafeString


# --- what the edge's and the curve's pages show of it ---------------------------------------------------


def excuse_form_for(edge: Edge, *, may: bool) -> ExcuseForm | None:
    """The form on an ended edge's page, for those who may say what lives learn from."""
    excusable = edge.state == Edge.State.ENDED and edge.outcome in floor.MAY_BE_EXCUSED and not edge.excuse
    return ExcuseForm(auto_id="excuse_%s") if may and excusable else None


def evidence_about(model: LifeModel, curve: selectors.LifeCurve) -> dict[str, Any]:
    """Drift, lots and excused ends, for the page of a life curve."""
    drift = selectors.drift_shown(model=model)
    return {
        "drift": drift,
        "drift_chart": _drift_chart(drift) if drift else None,
        "learns_since": selectors.learns_since(model),
        "lots": _lots_shown(selectors.lots_of(model=model, duty=curve.duty)),
        "excused": floor_selectors.excused_among(edges=[one.edge for one in curve.seen]),
    }


def _lots_shown(lots: Sequence[selectors.LotLife]) -> list[LotShown]:
    top = max((one.high for one in lots), default=1.0)
    return [
        LotShown(
            one,
            charts.interval(
                one.low, one.life, one.high, top=top, says=f"half outlast {formats.minutes(one.life)} minutes"
            ),
        )
        for one in lots
    ]


def _drift_chart(shown: selectors.DriftShown) -> SafeString:
    beyond = [0.0, *shown.beyond]
    places = [float(place) for place in range(len(beyond))]
    split = shown.began_at
    drawn = charts.lines(
        [
            charts.Series("before", places[: split + 1], beyond[: split + 1]),
            charts.Series("since", places[split:], beyond[split:]),
        ],
        title="Ends beyond what the life curve expects",
        says="Level while the curve holds; it climbs where edges end sooner, and sinks where they outlast it.",
        x_label="edges, in the order they were put in",
        y_label="ends beyond what was expected",
        marks=[charts.Mark(float(split), "change", "bad" if shown.drift.falling else "info")],
    )
    rows = [
        (
            formats.day(one.put_in_at),
            one.lot or "–",
            formats.minutes(one.minutes),
            "ended" if one.ended else "taken off or in use",
            f"{total:.2f}",
        )
        for one, total in zip(shown.edges, shown.beyond, strict=True)
    ]
    heads = ["Put in", "Lot", "Minutes cut", "Became of it", "Ends beyond, summed"]
    return mark_safe(drawn + charts.data_table("Edges in the order they were put in", heads, rows))  # both escaped


# --- acts -----------------------------------------------------------------------------------------------


@require_POST
@needs("keep_life")
def count_again(request: HttpRequest, pk: int) -> HttpResponse:
    edge = floor.count_again(edge=get_object_or_404(Edge, pk=pk), who=need_acting(request))
    messages.success(request, f"{edge} counts again.")
    return redirect("crib:edge", pk)


@require_POST
@needs("keep_life")
def learn_anew(request: HttpRequest, pk: int) -> HttpResponse:
    """Have a group learn only from edges put in since its lives changed."""
    model = services.learn_anew(model=get_object_or_404(LifeModel, pk=pk), who=need_acting(request))
    messages.success(request, f"{model} learns anew; the worker refits it now.")
    return redirect("crib:curve", pk)


@require_POST
@needs("keep_life")
def learn_from_all(request: HttpRequest, pk: int) -> HttpResponse:
    model = services.learn_from_all(model=get_object_or_404(LifeModel, pk=pk), who=need_acting(request))
    messages.success(request, f"{model} learns from all its edges again; the worker refits it now.")
    return redirect("crib:curve", pk)
