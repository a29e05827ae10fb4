"""The forms with which tools are sent out and taken in, and worn carbide is written down."""

from __future__ import annotations

from typing import Any

from django import forms

from crib.catalogue.models import Design
from crib.core.errors import ShopError
from crib.floor import selectors as floor_selectors
from crib.floor.services import BackAs, LooseTool
from crib.stock import selectors
from crib.stock.models import Condition, Item, Place
from crib.stock.records import Dispatch
from crib.stock.selectors import find_label
from crib.web.fields import QuantityField, UnitsForm
from crib.web.stock_forms import Keyed, new_key

LOOSE = [(one.value, one.label) for one in (Condition.SPENT, Condition.PART_USED)]
LONGEST_LIST = 20_000


class Scanned(forms.CharField):
    """Labels and codes, one on each line: a scanner ends each scan with a new line."""

    widget = forms.Textarea

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=LONGEST_LIST, **kwargs)
        self.widget.attrs |= {
            "rows": 6,
            "autocomplete": "off",
            "autocapitalize": "off",
            "spellcheck": "false",
            "autofocus": True,
        }

    def clean(self, value: Any) -> list[Item | Design]:
        text = super().clean(value)
        found: list[Item | Design] = []
        wrong: list[str] = []
        for number, line in enumerate(text.splitlines(), start=1):
            if not line.strip():
                continue
            try:
                thing = find_label(text=line).thing
            except ShopError as refused:
                wrong.append(f"Line {number}: {refused.sentence}")
                continue
            if isinstance(thing, (Item, Design)):
                found.append(thing)
            else:
                wrong.append(f"Line {number}: “{line.strip()[:40]}” is no tool. Take it off the list.")
        if wrong:
            raise forms.ValidationError(wrong[:10])
        return found


class SendForm(Keyed):
    items = Scanned(
        label="Tools",
        help_text="Scan one label after another, a line for each. The code of a design stands for one loose tool "
        "without a label; it gets its label now.",
    )
    shop = forms.ModelChoiceField(queryset=Place.objects.none(), label="To the shop")
    work = forms.ChoiceField(choices=Dispatch.Work.choices, initial=Dispatch.Work.REGRIND, label="To be done")
    due_on = forms.DateField(
        required=False, label="Back by", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    note = forms.CharField(required=False, max_length=200, label="Note to the shop")
    loose_from = forms.ModelChoiceField(
        queryset=Place.objects.none(), required=False, label="Loose ones are taken from",
        help_text="Only for tools without a label.",
    )  # fmt: skip
    loose_condition = forms.ChoiceField(choices=LOOSE, initial=Condition.SPENT, required=False, label="and are")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _places(self, "shop", floor_selectors.regrind_shops(), "Choose a shop")
        kinds = (*Place.ON_HAND, Place.Kind.SPENT)
        _places(self, "loose_from", selectors.places_to_move_between().filter(kind__in=kinds), "Choose a place")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        loose = any(isinstance(one, Design) for one in cleaned.get("items", []))
        if loose and not cleaned.get("loose_from") and "loose_from" not in self.errors:
            self.add_error("loose_from", "Some of the tools have no label. Say where they are taken from.")
        return cleaned

    def draft(self) -> dict[str, Any]:
        """The arguments of `send_out`."""
        given = dict(self.cleaned_data)
        place, condition = given.pop("loose_from"), given.pop("loose_condition") or Condition.SPENT
        given["items"] = [one if isinstance(one, Item) else LooseTool(one, place, condition) for one in given["items"]]
        return given


class TakeInForm(UnitsForm):
    """What came of one tool; measures are asked for a regrind alone."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=60, initial=new_key)
    result = forms.ChoiceField(choices=BackAs.choices, initial=BackAs.BACK, label="How it came back")
    to_place = forms.ModelChoiceField(queryset=Place.objects.none(), required=False, label="Into")
    cost = forms.DecimalField(
        required=False, min_value=0, max_digits=12, decimal_places=2, label="Cost",
        help_text="For this one tool. Empty: what its design says.",
    )  # fmt: skip
    diameter_mm = QuantityField(
        unit="mm", required=False, label="Cutting diameter DC", help_text="As measured. Empty: it did not change."
    )
    length_mm = QuantityField(
        unit="mm", required=False, label="Functional length LF", help_text="As measured. Empty: it did not change."
    )
    note = forms.CharField(required=False, max_length=160, help_text="For a rejected one: why.")

    def __init__(self, *args: Any, item: Item, work: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _places(self, "to_place", selectors.places_to_keep_in(), "Its own bin")
        if work != Dispatch.Work.REGRIND:
            del self.fields["diameter_mm"], self.fields["length_mm"]


class CollectForm(forms.Form):
    after = forms.IntegerField(required=False, widget=forms.HiddenInput)
    weighed_g = forms.FloatField(label="Weighed, in g", min_value=0)
    taken_by = forms.CharField(required=False, max_length=80, label="Taken by the recycler")
    paid = forms.DecimalField(required=False, min_value=0, max_digits=12, decimal_places=2, label="Paid for it")
    note = forms.CharField(required=False, max_length=200)


def _places(form: forms.Form, name: str, places: Any, empty: str) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset, field.empty_label = places, empty
    field.label_from_instance = _named  # type: ignore[method-assign,assignment]  # so choices are worded


def _named(place: Place) -> str:
    return place.name if place.kind == Place.Kind.REGRIND else f"{place.code} · {place.name}"
