"""The forms of the stock pages."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms

from crib.catalogue.models import Design, Supplier
from crib.stock import selectors
from crib.stock.models import Condition, Item, Place, TakeLimit
from crib.web.scan_field import Scan

USABLE = [(one.value, one.label) for one in (Condition.NEW, Condition.REGROUND, Condition.PART_USED)]


def new_key() -> str:
    return f"form:{uuid.uuid4().hex}"


class Keyed(forms.Form):
    """A form that counts once, however often its button is pressed."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=60, initial=new_key)


class ReceiveForm(Keyed):
    design = Scan(letters="D", words="a design", help_text="Scan its label, or type its code or maker’s number.")
    quantity = forms.IntegerField(min_value=1, max_value=100_000)
    to_place = forms.ModelChoiceField(queryset=Place.objects.none(), label="Into")
    supplier = forms.ModelChoiceField(queryset=Supplier.objects.none(), label="From the supplier")
    condition = forms.ChoiceField(choices=USABLE, initial=Condition.NEW)
    lot = forms.CharField(required=False, max_length=40)
    note = forms.CharField(required=False, max_length=120)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _choices(self, "to_place", selectors.places_to_keep_in(), empty="Choose a place")
        suppliers = Supplier.objects.filter(retired_at__isnull=True).order_by("name")
        _choices(self, "supplier", suppliers, empty="Choose a supplier")


class MoveForm(Keyed):
    what = Scan(letters="DI", words="a design or the label of a piece", help_text="A design, or the label of a piece.")
    quantity = forms.IntegerField(min_value=1, max_value=100_000, initial=1)
    from_place = forms.ModelChoiceField(
        queryset=Place.objects.none(),
        required=False,
        label="From",
        help_text="A labelled piece is taken from where it is.",
    )
    to_place = forms.ModelChoiceField(queryset=Place.objects.none(), label="To")
    condition = forms.ChoiceField(choices=Condition.choices, initial=Condition.NEW, label="Condition now")
    becomes = forms.ChoiceField(
        choices=[("", "As it is"), *Condition.choices[1:]], required=False, label="Condition afterwards"
    )
    note = forms.CharField(required=False, max_length=200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _choices(self, "from_place", selectors.places_to_move_between(), empty="Where the piece is")
        _choices(self, "to_place", selectors.places_to_move_between(), empty="Choose a place")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        what = cleaned.get("what")
        if isinstance(what, Design) and not cleaned.get("from_place") and "from_place" not in self.errors:
            self.add_error("from_place", "Say where the pieces are taken from.")
        return cleaned

    def draft(self) -> dict[str, Any]:
        """The arguments of `transfer`."""
        given = self.cleaned_data
        what = given["what"]
        item = what if isinstance(what, Item) else None
        return {
            "design": item.design if item else what,
            "item": item,
            "quantity": item.pieces if item else given["quantity"],
            "from_place": item.place if item else given["from_place"],
            "to_place": given["to_place"],
            "condition": item.condition if item else given["condition"],
            "becomes": given["becomes"] or None,
            "note": given["note"],
            "key": given["key"],
        }


class ReverseForm(Keyed):
    note = forms.CharField(max_length=200, label="Why", help_text="One line that others understand next month.")


class LimitForm(forms.Form):
    per = forms.ChoiceField(choices=TakeLimit.Per.choices, label="For each")
    most = forms.IntegerField(min_value=0, max_value=100_000, label="At most")
    days = forms.IntegerField(
        min_value=1,
        max_value=3660,
        required=False,
        label="Within days",
        help_text="Counted back from the moment of drawing. Empty: at all, until some come back.",
    )


class CountForm(forms.Form):
    """What is counted: a place with all that stands in it, or a design wherever it lies."""

    what = Scan(
        letters="BD", words="a place or a design", label="Place or design",
        help_text="Scan a bin, a cabinet or a design, or type its code.",
    )  # fmt: skip
    blind = forms.BooleanField(
        required=False, initial=True, label="Blind: the books are not shown until it is reviewed"
    )

    def draft(self) -> dict[str, Any]:
        """The arguments of `start_count`."""
        what = self.cleaned_data["what"]
        name = "place" if isinstance(what, Place) else "design"
        return {name: what, "blind": self.cleaned_data["blind"]}


class CountScanForm(Keyed):
    """One scan or figure in a count, and the line that somebody stood at when sending it."""

    text = forms.CharField(max_length=200, strip=True)
    place = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)
    design = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)
    condition = forms.ChoiceField(choices=Condition.choices, required=False, widget=forms.HiddenInput)
    marker = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)


class PlaceForm(forms.Form):
    code = forms.CharField(max_length=40)
    name = forms.CharField(max_length=80)
    kind = forms.ChoiceField(
        choices=[(kind.value, kind.label) for kind in (*Place.ON_HAND, Place.Kind.REGRIND)], initial=Place.Kind.BIN
    )
    parent = forms.ModelChoiceField(queryset=Place.objects.none(), required=False, label="Stands in")
    home_of = Scan(letters="D", words="a design", required=False, label="Home of the design")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _choices(self, "parent", selectors.places_to_keep_in(), empty="Nothing, it stands by itself")


def _choices(form: forms.Form, name: str, queryset: Any, *, empty: str) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = queryset
    field.label_from_instance = _named  # type: ignore[assignment]  # the framework's own way to word choices
    field.empty_label = empty


def _named(thing: Any) -> str:
    return thing.name if isinstance(thing, Supplier) else f"{thing.code} · {thing.name}"
