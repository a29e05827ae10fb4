"""Assemblies: building them, fitting and taking out tips, taking them apart."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from crib.catalogue.models import Design
from crib.catalogue.services import check_coupling
from crib.core.errors import ShopError
from crib.floor import selectors, services
from crib.floor.models import Assembly
from crib.life.tip_left import TipLeft
from crib.people.models import Person
from crib.stock import selectors as stock_selectors
from crib.stock.models import Condition, Item, Place
from crib.web import codes
from crib.web.acting import acting_person, need_acting, needs
from crib.web.fields import QuantityField, UnitsForm, same_quantity
from crib.web.forms import show_refusal
from crib.web.part_used import labelled_to_fit
from crib.web.views.machines import WITH_FORECAST, KeyedForm, _system, new_key


class MeasureForm(UnitsForm):
    gauge_length_mm = QuantityField(unit="mm", required=False, label="Gauge length")
    stick_out_mm = QuantityField(unit="mm", required=False, label="Stick-out")
    tightened_nm = QuantityField(
        unit="N·m", required=False, label="Tightened to", help_text="The holder’s nut or screw."
    )
    note = forms.CharField(
        required=False, max_length=200, label="Note", help_text="Such as how it was balanced, and by whom."
    )


class BuildForm(MeasureForm):
    holder = forms.ChoiceField(label="Holder")
    body = forms.ChoiceField(required=False, label="Body", help_text="None for a solid tool straight in the holder.")
    name = forms.CharField(required=False, max_length=60, label="Name", help_text="As the shop calls it.")
    field_order = ("holder", "body", "name")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.parts: dict[str, Item] = {}
        for name, kind in (("holder", Design.Kind.HOLDER), ("body", Design.Kind.BODY)):
            items = {str(item.pk): item for item in selectors.free_parts(kind)}
            self.parts |= items
            none = [("", "No body")] if name == "body" else [("", "Choose a holder")]
            self.fields[name].choices = none + [(pk, _says(item)) for pk, item in items.items()]  # type: ignore[attr-defined]
        for name in ("holder", "body", "stick_out_mm"):
            self.fields[name].widget.attrs |= {
                "hx-get": reverse("crib:build_facts"),
                "hx-target": "#facts",
                "hx-trigger": "change",
                "hx-include": "closest form",
            }


def _says(item: Item) -> str:
    return f"{item.design.code} · {item.label} · {item.place.name}"


def _says_left(tip: TipLeft) -> str:
    """A labelled tip with what is left of it, at the work of the pocket where the tool is in one."""
    item = tip.item
    kind = "" if item.condition == Condition.PART_USED else f", {Condition(item.condition).label.lower()}"
    enough = f"; {tip.enough_words}" if tip.enough_words else ""
    return f"{item.design.code}: {item.label}{kind}, {item.place.name}: {tip.says}{enough}"


class FitForm(KeyedForm):
    tip = forms.ChoiceField(label="Tip")
    edge = forms.IntegerField(
        required=False, min_value=1, label="Edge", help_text="Empty takes the one in use, or the lowest fresh one."
    )

    lot = forms.CharField(required=False, max_length=40, label="Lot", help_text="Scan or type it from the box.")

    def __init__(self, *args: Any, assembly: Assembly, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.found: dict[str, dict[str, Any]] = {}
        choices: list[tuple[str, str]] = []
        for tips in selectors.loose_tips_for(assembly=assembly, person=person):
            row = tips.balance
            name = f"loose-{row.pk}"
            self.found[name] = {"design": row.design, "from_place": row.place, "condition": row.condition}
            choices.append((name, tips.says))
        self.labelled = labelled_to_fit(assembly=assembly, person=person)
        for tip in self.labelled:
            name = f"item-{tip.item.pk}"
            self.found[name] = {"item": tip.item}
            choices.append((name, _says_left(tip)))
        self.fields["tip"].choices = choices  # type: ignore[attr-defined]  # a choice field
        self._suggest_lot()

    def _suggest_lot(self) -> None:
        """What came last is likely what is at hand; only whoever holds the box knows."""
        designs = {row["design"].pk: row["design"].code for row in self.found.values() if "design" in row}
        newest = stock_selectors.newest_lots(designs=designs)
        if newest:
            said = "; ".join(f"{designs[pk]} lot {lot}" for pk, lot in sorted(newest.items()))
            self.fields["lot"].help_text = f"Scan or type it from the box. Suggested, as received last: {said}."


class TakeOutForm(KeyedForm):
    where = forms.ChoiceField(
        label="Where does it go?",
        widget=forms.RadioSelect,
        choices=[("me", "I keep it"), ("crib", "To the crib"), ("spent", "Used up")],
        initial="me",
    )
    place = forms.ModelChoiceField(
        queryset=Place.objects.filter(kind__in=Place.ON_HAND, retired_at=None),
        required=False,
        label="Place in the crib",
        empty_label="Choose a place",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("where") == "crib" and cleaned.get("place") is None:
            self.add_error("place", "Choose the place in the crib where it goes.")
        return cleaned


@require_safe
def assemblies(request: HttpRequest) -> HttpResponse:
    standing = selectors.assemblies_now(edge_related=WITH_FORECAST)
    return render(request, "crib/machines/assemblies.html", {"assemblies": standing})


@needs("build_tools")
def build(request: HttpRequest) -> HttpResponse:
    form = BuildForm(request.POST or None, system=_system(request))
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            fields = form.cleaned_data
            holder, body = form.parts[fields.pop("holder")], form.parts.get(fields.pop("body"))
            try:
                built = services.build_assembly(holder=holder, body=body, who=need_acting(request), **fields)
            except ShopError as refusal:
                show_refusal(form, refusal)
                status = refusal.status
            else:
                messages.success(request, f"{built} is built. Fit a tip next.")
                return redirect("crib:assembly", built.pk)
    return render(request, "crib/machines/build.html", {"form": form}, status=status)


@require_safe
@needs("build_tools")
def build_facts(request: HttpRequest) -> HttpResponse:
    """What the chosen parts come to together, before they are built."""
    form = BuildForm(request.GET, system=_system(request))
    form.is_valid()
    holder = form.parts.get(form.cleaned_data.get("holder", ""))
    body = form.parts.get(form.cleaned_data.get("body", ""))
    context: dict[str, Any] = {"chosen": holder is not None}
    if holder is not None:
        carried = body.design if body else None
        context["facts"] = selectors.tool_facts(
            holder=holder.design, body=carried, stick_out_mm=form.cleaned_data.get("stick_out_mm")
        )
        try:
            check_coupling(holder=holder.design, body=carried)
        except ShopError as refusal:
            context["does_not_fit"] = refusal.sentence
    return render(request, "crib/machines/_facts.html", context)


@require_safe
def assembly(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, get_object_or_404(Assembly, pk=pk))


def _page(request: HttpRequest, assembly: Assembly, *, status: int = 200, **forms: Any) -> HttpResponse:
    whole = Assembly.objects.select_related("holder__design", "holder__place", "body__design", "built_by").get(
        pk=assembly.pk
    )
    fitted = selectors.fitted_in([whole.pk], edge_related=WITH_FORECAST).get(whole.pk)
    person = acting_person(request)
    load = selectors.open_load(whole)
    label = whole.label
    context: dict[str, Any] = {
        "assembly": whole,
        "fitted": fitted,
        "load": load,
        "facts": selectors.built_facts(assembly=whole, fitted=fitted, machine=load.machine if load else None),
        "work": selectors.may_work_at(assembly=whole, fitted=fitted),
        "label": label,
        "code": codes.data_matrix(label),
    }
    if person is not None and whole.taken_apart_at is None:
        written = {name: getattr(whole, name) for name in MeasureForm.base_fields}
        context["measure_form"] = forms.get("measure_form") or MeasureForm(
            initial=written, system=_system(request), auto_id="measured_%s"
        )
        if fitted is None:
            context["fit_form"] = forms.get("fit_form") or FitForm(
                initial={"key": new_key()}, system=_system(request), assembly=whole, person=person
            )
        else:
            context["out_form"] = forms.get("out_form") or TakeOutForm(initial={"key": new_key(), "where": "me"})
    context["history"] = whole.fittings.select_related("item__design", "fitted_by").order_by("-fitted_at")[:12]
    return render(request, "crib/machines/assembly.html", context, status=status)


@require_POST
@needs("build_tools")
def fit(request: HttpRequest, pk: int) -> HttpResponse:
    standing, person = get_object_or_404(Assembly, pk=pk), need_acting(request)
    form = FitForm(request.POST, system=_system(request), assembly=standing, person=person)
    if form.is_valid():
        fields = form.cleaned_data
        tip = form.found[fields.pop("tip")]
        try:
            fitting = services.fit_tip(assembly=standing, who=person, **tip, **fields)
        except ShopError as refusal:
            show_refusal(form, refusal)
            return _page(request, standing, status=refusal.status, fit_form=form)
        messages.success(request, f"{fitting.item.design.code} is fitted; its label is {fitting.item.label}.")
        return redirect("crib:assembly", pk)
    return _page(request, standing, status=400, fit_form=form)


@require_POST
@needs("build_tools")
def take_out(request: HttpRequest, pk: int) -> HttpResponse:
    standing = get_object_or_404(Assembly, pk=pk)
    form = TakeOutForm(request.POST)
    if form.is_valid():
        fields = form.cleaned_data
        place = fields["place"] if fields["where"] == "crib" else None
        try:
            out = services.take_out(
                assembly=standing,
                who=need_acting(request),
                key=fields["key"],
                to_place=place,
                spent=fields["where"] == "spent",
            )
        except ShopError as refusal:
            show_refusal(form, refusal)
            return _page(request, standing, status=refusal.status, out_form=form)
        messages.success(request, f"{out.item.design.code} is out.")
        return redirect("crib:assembly", pk)
    return _page(request, standing, status=400, out_form=form)


@require_POST
@needs("build_tools")
def take_apart(request: HttpRequest, pk: int) -> HttpResponse:
    standing = get_object_or_404(Assembly, pk=pk)
    apart = services.take_apart(assembly=standing, who=need_acting(request))
    messages.success(request, f"{apart} is taken apart; its parts are free.")
    return redirect("crib:assemblies")


@require_POST
@needs("build_tools")
def measure(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down lengths, torque and balance of the tool as it stands."""
    standing = get_object_or_404(Assembly, pk=pk)
    form = MeasureForm(request.POST, system=_system(request), auto_id="measured_%s")
    if form.is_valid():
        # A value shown in inches and sent back untouched is no change.
        measured = {
            name: value
            for name, value in form.cleaned_data.items()
            if not same_quantity(value, getattr(standing, name))
        }
        try:
            services.measure_assembly(assembly=standing, who=need_acting(request), **measured)
        except ShopError as refusal:
            show_refusal(form, refusal)
            return _page(request, standing, status=refusal.status, measure_form=form)
        messages.success(request, "What you measured is written down.")
        return redirect("crib:assembly", pk)
    return _page(request, standing, status=400, measure_form=form)
