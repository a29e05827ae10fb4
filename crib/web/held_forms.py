"""The forms by which what people and machines hold changes hands, is lost, or turns up again."""

from __future__ import annotations

from typing import Any

from django import forms

from crib.catalogue.models import Design, Machine
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.models import Condition, Item, Place
from crib.stock.services import place_of
from crib.web.scan_field import Scan
from crib.web.stock_forms import Keyed

CONDITIONS = [("", "Whichever is there"), *Condition.choices]


class _HeldForm(Keyed):
    """What it is, how many, and who or what has it now; a labelled piece says that by itself."""

    what = Scan(letters="DI", words="a design or the label of a piece", help_text="A design, or the label of a piece.")
    quantity = forms.IntegerField(min_value=1, max_value=100_000, initial=1)
    condition = forms.ChoiceField(choices=CONDITIONS, required=False)

    def _thing(self) -> dict[str, Any]:
        what, quantity = self.cleaned_data["what"], self.cleaned_data["quantity"]
        if isinstance(what, Item):
            return {"design": what.design, "item": what, "quantity": what.pieces, "from_place": what.place}
        return {
            "design": what, "quantity": quantity, "from_place": holder_place(self.cleaned_data["holder"]),
            "condition": self.cleaned_data["condition"] or None,
        }  # fmt: skip

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if isinstance(cleaned.get("what"), Design) and not cleaned.get("holder") and "holder" not in self.errors:
            self.add_error("holder", "Say who or what has it now: scan the badge or the label.")
        return cleaned


class HandOnForm(_HeldForm):
    holder = Scan(letters="PM", words="a badge or a machine", required=False, label="Has it now")
    to = Scan(letters="PM", words="a badge or a machine", label="Gets it", help_text="Scan who or what holds it next.")
    job = Scan(letters="J", words="a job", required=False, label="For the job")
    field_order = ["what", "to", "quantity", "holder", "job", "condition"]

    def draft(self) -> dict[str, Any]:
        """The arguments of `hand_on`."""
        given = self.cleaned_data
        return self._thing() | {"to_place": holder_place(given["to"]), "job": given["job"], "key": given["key"]}


class LostForm(_HeldForm):
    holder = Scan(
        letters="PMB", words="a badge, a machine or a bin", required=False, label="Who had it, or where it lay"
    )
    note = forms.CharField(max_length=200, label="How it was lost")
    field_order = ["what", "note", "quantity", "holder", "condition"]

    def draft(self) -> dict[str, Any]:
        """The arguments of `write_lost`."""
        return self._thing() | {"note": self.cleaned_data["note"], "key": self.cleaned_data["key"]}


class FoundForm(Keyed):
    quantity = forms.IntegerField(min_value=1, max_value=100_000)
    to_place = forms.ModelChoiceField(queryset=Place.objects.none(), label="Put it into")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["to_place"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = selectors.places_to_keep_in()
        field.empty_label = "Choose a place"


class AllLostForm(Keyed):
    note = forms.CharField(max_length=200, label="Write all of it lost, because")


def holder_place(thing: Person | Machine | Place) -> Place:
    """The place that stands for what was scanned."""
    if isinstance(thing, Person):
        return place_of(person=thing)
    return place_of(machine=thing) if isinstance(thing, Machine) else thing
