"""Machines: what is in each pocket, and what is done there with gloves on."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from calc.units import System
from crib.catalogue.models import Machine
from crib.core.errors import ShopError
from crib.floor import selectors, services
from crib.floor.models import Edge, Operation
from crib.life import services as life
from crib.web.acting import need_acting, needs, signed_in_person
from crib.web.changes_shown import of_machine
from crib.web.fields import QuantityField, UnitsForm
from crib.web.forms import QuestionedForm, show_refusal
from crib.web.spindle_picture import spindle_picture

# What a page shows of an edge beside its own figures.
WITH_FORECAST = ("forecast",)


def new_key() -> str:
    """A key for one showing of a form: sent twice, it counts once."""
    return f"web:{uuid.uuid4()}"


class KeyedForm(UnitsForm):
    key = forms.CharField(widget=forms.HiddenInput, max_length=100)


@dataclass(frozen=True, slots=True)
class RefusedParts:
    """What was typed beside a pocket, and why it was not logged."""

    typed: str
    sentence: str


class PartsForm(KeyedForm):
    parts = forms.IntegerField(
        min_value=1,
        label="Parts made",
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "autocomplete": "off", "min": 1}),
    )


class RunForm(PartsForm):
    parts = forms.IntegerField(
        min_value=0,
        label="Parts made",
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "autocomplete": "off", "min": 0}),
    )
    minutes_in_cut = QuantityField(
        unit="min", required=False, label="Minutes in cut", help_text="If you measured them."
    )
    started_at = forms.DateTimeField(
        required=False,
        label="Started",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    ended_at = forms.DateTimeField(
        required=False,
        label="Ended",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    operation = forms.ModelChoiceField(
        queryset=Operation.objects.none(), required=False, label="Operation", empty_label="As set for this edge"
    )

    def __init__(self, *args: Any, now: selectors.PocketNow, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if now.fitted is not None:
            choices = selectors.open_operations(machine=now.machine, tip=now.fitted.design)
            self.fields["operation"].queryset = choices  # type: ignore[attr-defined]  # a choice of rows


class EndForm(QuestionedForm, UnitsForm):
    outcome = forms.ChoiceField(choices=Edge.Outcome.choices, widget=forms.RadioSelect, label="Why did it come off?")
    wear_land_mm = QuantityField(unit="mm", required=False, label="Wear land", help_text="If you measured it.")
    note = forms.CharField(max_length=200, required=False, label="Note")


class LookForm(QuestionedForm, UnitsForm):
    wear_land_mm = QuantityField(unit="mm", label="Wear land")
    note = forms.CharField(max_length=200, required=False, label="Note")


class LoadForm(forms.Form):
    assembly = forms.ChoiceField(label="Assembly")

    def __init__(self, *args: Any, machine: Machine, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.standing = {str(one.pk): one for one in selectors.assemblies_for(machine=machine)}
        self.fields["assembly"].choices = [(pk, str(one)) for pk, one in self.standing.items()]  # type: ignore[attr-defined]


@require_safe
def machines(request: HttpRequest) -> HttpResponse:
    boards = selectors.machine_boards(edge_related=WITH_FORECAST)
    return render(request, "crib/machines/machines.html", {"boards": boards})


@require_safe
def machine(request: HttpRequest, pk: int) -> HttpResponse:
    return _machine_page(request, get_object_or_404(Machine, pk=pk))


def _machine_page(
    request: HttpRequest, machine: Machine, *, refused: dict[int, RefusedParts] | None = None, status: int = 200
) -> HttpResponse:
    [board] = selectors.machine_boards(machines=[machine], edge_related=WITH_FORECAST)
    person = signed_in_person(request)
    context = {
        "board": board,
        "machine": machine,
        "refused": refused or {},
        "key": new_key(),
        "ahead": of_machine(machine),
        "spindle": spindle_picture(machine, person.units if person else settings.UNITS),
    }
    return render(request, "crib/machines/machine.html", context, status=status)


@require_POST
@needs("log_runs")
def log_parts(request: HttpRequest, pk: int, pocket: int) -> HttpResponse:
    """The one field beside each pocket: parts, Enter."""
    machine = get_object_or_404(Machine, pk=pk)
    form = PartsForm(request.POST)
    typed = request.POST.get("parts", "")[:20]
    if not form.is_valid():
        refused = RefusedParts(typed, "Give the parts made, 1 or more.")
        return _machine_page(request, machine, refused={pocket: refused}, status=400)
    try:
        run = services.log_parts(machine=machine, pocket=pocket, who=need_acting(request), **form.cleaned_data)
    except ShopError as refusal:
        refused = RefusedParts(typed, refusal.sentence)
        return _machine_page(request, machine, refused={pocket: refused}, status=refusal.status)
    messages.success(request, f"Pocket {pocket}: {run.parts} parts logged at {run.operation}.")
    return redirect(f"{reverse('crib:machine', args=[pk])}#pocket-{pocket}")


# --- one pocket ---------------------------------------------------------------------------------------


@require_safe
def pocket(request: HttpRequest, pk: int, pocket: int) -> HttpResponse:
    machine = get_object_or_404(Machine, pk=pk)
    if not 1 <= pocket <= machine.pockets:
        return render(request, "404.html", status=404)
    return _pocket_page(request, machine, pocket)


def _pocket_page(
    request: HttpRequest, machine: Machine, pocket: int, *, status: int = 200, **forms: Any
) -> HttpResponse:
    now = selectors.pocket_now(machine=machine, pocket=pocket, edge_related=WITH_FORECAST)
    system = _system(request)
    context: dict[str, Any] = {"now": now, "machine": machine, "pocket": pocket}
    if now.assembly is not None:
        context["label"] = now.assembly.label
    if now.fitted is not None:
        context["edge_of"] = f"of {now.fitted.design.edges}"
    if now.edge is not None and now.edge.operation is not None:
        context["ground"] = selectors.reground_at(item=now.edge.item, operation=now.edge.operation)
    if now.edge is not None:
        context["run_form"] = forms.get("run_form") or RunForm(initial={"key": new_key()}, system=system, now=now)
        context["end_form"] = forms.get("end_form") or EndForm(system=system, auto_id="end_%s")
        context["look_form"] = forms.get("look_form") or LookForm(system=system, auto_id="look_%s")
        context["looks"] = now.edge.inspections.select_related("seen_by").order_by("-at_minutes")[:8]
        context["runs"] = selectors.runs_logged(edge=now.edge)[:8]
    elif now.load is None:
        context["load_form"] = forms.get("load_form") or LoadForm(machine=machine)
    context["key"] = new_key()
    return render(request, "crib/machines/pocket.html", context, status=status)


def _system(request: HttpRequest) -> System:
    person = signed_in_person(request)
    return "inch" if person is not None and person.units == "inch" else "metric"


def _back(machine: Machine, pocket: int) -> HttpResponse:
    return redirect("crib:pocket", machine.pk, pocket)


@require_POST
@needs("log_runs")
def log_run(request: HttpRequest, pk: int, pocket: int) -> HttpResponse:
    machine = get_object_or_404(Machine, pk=pk)
    now = selectors.pocket_now(machine=machine, pocket=pocket)
    form = RunForm(request.POST, system=_system(request), now=now)
    if form.is_valid():
        try:
            run = services.log_parts(machine=machine, pocket=pocket, who=need_acting(request), **form.cleaned_data)
        except ShopError as refusal:
            show_refusal(form, refusal)
            return _pocket_page(request, machine, pocket, status=refusal.status, run_form=form)
        messages.success(request, f"{run.parts} parts logged at {run.operation}.")
        return _back(machine, pocket)
    return _pocket_page(request, machine, pocket, status=400, run_form=form)


@require_POST
@needs("log_runs")
def end_edge(request: HttpRequest, pk: int, pocket: int, edge: int) -> HttpResponse:
    """End the edge; with the button that says so, the next one comes in use in the same breath."""
    machine, ending = get_object_or_404(Machine, pk=pk), get_object_or_404(Edge, pk=edge)
    form = EndForm(request.POST, system=_system(request), auto_id="end_%s")
    if form.is_valid():
        act = services.end_and_turn if "turn" in request.POST else services.end_edge
        try:
            act(edge=ending, who=need_acting(request), **form.cleaned_data)
        except ShopError as refusal:
            show_refusal(form, refusal)
            return _pocket_page(request, machine, pocket, status=refusal.status, end_form=form)
        turned = " The next edge is in use." if "turn" in request.POST else ""
        messages.success(request, f"Edge {ending.number} is ended.{turned}")
        return _back(machine, pocket)
    return _pocket_page(request, machine, pocket, status=400, end_form=form)


@require_POST
@needs("log_runs")
def turn_edge(request: HttpRequest, pk: int, pocket: int, edge: int) -> HttpResponse:
    machine, last = get_object_or_404(Machine, pk=pk), get_object_or_404(Edge, pk=edge)
    turned = services.turn_edge(edge=last, who=need_acting(request))
    messages.success(request, f"Edge {turned.number} is in use.")
    return _back(machine, pocket)


@require_POST
@needs("log_runs")
def look_at_edge(request: HttpRequest, pk: int, pocket: int, edge: int) -> HttpResponse:
    """Write down the wear land seen on the edge."""
    machine, seen = get_object_or_404(Machine, pk=pk), get_object_or_404(Edge, pk=edge)
    form = LookForm(request.POST, system=_system(request), auto_id="look_%s")
    if form.is_valid():
        try:
            life.look_at_edge(edge=seen, who=need_acting(request), **form.cleaned_data)
        except ShopError as refusal:
            show_refusal(form, refusal)
            return _pocket_page(request, machine, pocket, status=refusal.status, look_form=form)
        messages.success(request, "The wear land is written down.")
        return _back(machine, pocket)
    return _pocket_page(request, machine, pocket, status=400, look_form=form)


@require_POST
@needs("build_tools")
def load(request: HttpRequest, pk: int, pocket: int) -> HttpResponse:
    machine = get_object_or_404(Machine, pk=pk)
    form = LoadForm(request.POST, machine=machine)
    if form.is_valid():
        assembly = form.standing[form.cleaned_data["assembly"]]
        try:
            services.load_pocket(machine=machine, pocket=pocket, assembly=assembly, who=need_acting(request))
        except ShopError as refusal:
            show_refusal(form, refusal)
            return _pocket_page(request, machine, pocket, status=refusal.status, load_form=form)
        messages.success(request, f"{assembly} is in pocket {pocket}.")
        return _back(machine, pocket)
    return _pocket_page(request, machine, pocket, status=400, load_form=form)


@require_POST
@needs("build_tools")
def unload(request: HttpRequest, pk: int, pocket: int) -> HttpResponse:
    machine = get_object_or_404(Machine, pk=pk)
    person = need_acting(request)
    done = services.unload_pocket(machine=machine, pocket=pocket, who=person)
    messages.success(request, f"{done.assembly} is out of pocket {pocket}; you have it now.")
    return _back(machine, pocket)
