"""One for another at the machine: two scans, and what came out is out, what goes in is in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from crib.catalogue.models import Design
from crib.core.errors import BadInput, ShopError
from crib.floor import selectors, services
from crib.floor.models import Assembly, Edge
from crib.people.models import Person
from crib.stock import selectors as stock_selectors
from crib.stock.labels import looks_like_label
from crib.stock.models import Item, Place
from crib.web.acting import need_acting, need_right, needs
from crib.web.fields import QuantityField
from crib.web.forms import QuestionedForm, show_refusal
from crib.web.views.machines import KeyedForm, _system, new_key


class _ScanField(forms.CharField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=200, **kwargs)
        self.widget.attrs |= {
            "autocomplete": "off",
            "autocapitalize": "off",
            "spellcheck": "false",
            "class": "input--scan",
            "data-next-on-enter": "",
        }


class BuiltScan(_ScanField):
    """A built tool by its own label or that of any piece in it."""

    def clean(self, value: Any) -> Assembly:
        try:
            return selectors.find_built(text=super().clean(value))
        except ShopError as refused:
            raise forms.ValidationError(refused.sentence) from refused


class NextScan(_ScanField):
    """What goes in: a built tool by its label or a piece of it, a loose tip by its label, or its design by its box."""

    def clean(self, value: Any) -> Assembly | Item | Design:
        text = super().clean(value)
        try:
            return _next_thing(text)
        except ShopError as refused:
            raise forms.ValidationError(refused.sentence) from refused


def _next_thing(text: str) -> Assembly | Item | Design:
    if looks_like_label(text) and text.strip()[4:5].upper() == "A":
        return selectors.find_built(text=text)
    thing = stock_selectors.find_label(text=text).thing
    if isinstance(thing, Item):
        # A holder or a body stands for the tool that it is in, and so does a tip that is fitted.
        fitted = thing.fittings.filter(removed_at=None).exists()
        return selectors.find_built(text=thing.label) if fitted or thing.design.kept_as_items else thing
    if isinstance(thing, Design):
        return thing
    raise BadInput("into", f"“{text}” is neither a tip nor a built tool. Scan what goes in.")


class SwapForm(QuestionedForm, KeyedForm):
    out = BuiltScan(label="What comes out", help_text="Scan the tool’s label, or that of any piece in it.")
    into = NextScan(label="What goes in", help_text="Scan another built tool, a tip, or the box of tips.")
    outcome = forms.ChoiceField(
        choices=[("", "Goes on later"), *Edge.Outcome.choices],
        required=False,
        widget=forms.RadioSelect,
        initial="",
        label="Why does the edge come off?",
    )
    wear_land_mm = QuantityField(unit="mm", required=False, label="Wear land", help_text="If you measured it.")
    note = forms.CharField(max_length=200, required=False, label="Note")
    place = forms.ModelChoiceField(
        queryset=Place.objects.filter(kind__in=Place.ON_HAND, retired_at=None),
        required=False,
        label="Where does the old one go?",
        empty_label="I take it",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if isinstance(cleaned.get("into"), Assembly) and cleaned.get("outcome"):
            self.add_error(
                "outcome", "The edges of a whole tool keep their minutes. To end one, do so at its pocket first."
            )
        return cleaned


@needs("build_tools")
@require_http_methods(["GET", "HEAD", "POST"])
def swap(request: HttpRequest) -> HttpResponse:
    """Two scans: what comes out, and what goes in instead."""
    form = SwapForm(
        request.POST if request.method == "POST" else None,
        system=_system(request),
        initial={"key": new_key(), "out": request.GET.get("out", "")[:60], "outcome": ""},
    )
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                return _swapped(request, form.cleaned_data)
            except ShopError as refusal:
                show_refusal(form, refusal)
                status = refusal.status
    next_scan = "into" if form["out"].value() and not form["out"].errors else "out"
    form.fields[next_scan].widget.attrs["autofocus"] = True
    return render(request, "crib/machines/swap.html", {"form": form}, status=status)


def _swapped(request: HttpRequest, given: dict[str, Any]) -> HttpResponse:
    person, standing, into = need_acting(request), given["out"], given["into"]
    if isinstance(into, Assembly):
        load = selectors.open_load(standing)
        if load is None:
            raise BadInput("out", f"{standing} is in no pocket, so nothing can take its place.")
        done = services.swap_pocket(
            machine=load.machine,
            pocket=load.pocket,
            assembly=into,
            who=person,
            key=given["key"],
            to_place=given["place"],
        )
        messages.success(request, f"{done.into.assembly} is in pocket {load.pocket}; {done.out.assembly} is out.")
        return redirect("crib:pocket", load.machine_id, load.pocket)
    if given["outcome"]:
        need_right(request, "log_runs")
    end = services.EdgeEnd(given["outcome"], given["wear_land_mm"], given["note"], given["looked_twice"])
    swapped = services.swap_tip(
        assembly=standing,
        into=_next_tip(standing, into, person),
        who=person,
        key=given["key"],
        end=end if given["outcome"] else None,
        to_place=given["place"],
    )
    new = swapped.into.item
    messages.success(request, f"{new.design.code} {new.label} is in {standing}; {swapped.out.item.label} is out.")
    load = selectors.open_load(standing)
    return redirect("crib:pocket", load.machine_id, load.pocket) if load else redirect("crib:assembly", standing.pk)


def _next_tip(standing: Assembly, into: Item | Design, person: Person) -> services.NextTip:
    """The scanned tip itself, or loose ones of the scanned design: the person's own before the crib's."""
    if isinstance(into, Item):
        return services.NextTip(item=into)
    for loose in selectors.loose_tips_for(assembly=standing, person=person):
        if loose.balance.design_id == into.pk:
            return services.NextTip(design=into, from_place=loose.balance.place, condition=str(loose.balance.condition))
    raise BadInput(
        "into", f"No {into.code} that fits {standing} is with you or in the crib. Draw one at the counter first."
    )
