"""The forms of kits: numbers by line, who takes it, and what comes back in which condition."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django import forms

from crib.core import clock
from crib.core.errors import BadInput, ShopError
from crib.life.selectors.kit_sheets import BackRow
from crib.stock import selectors
from crib.stock.drafts import LONGEST_NOTE
from crib.stock.kits import MOST_WANTED, BackLine, KitWant
from crib.stock.models import Condition, Item
from crib.stock.records import KitLine
from crib.stock.selectors import KitLineNow
from crib.web.scan_field import Scan
from crib.web.stock_forms import Keyed

_WHOLE = re.compile(r"\A\d{1,6}\Z")
# What a piece may come back as, the likeliest of each first; never as new when it was used.
COMES_AS = [(one.value, one.label) for one in Condition]


class StageForm(forms.Form):
    """By when; the numbers of the lines are sent beside it."""

    needed_on = forms.DateField(
        required=False,
        label="Needed on",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    def clean_needed_on(self) -> Any:
        day = self.cleaned_data["needed_on"]
        if day is not None and day < clock.today():
            raise forms.ValidationError("This day has gone. Choose today or a later day.")
        return day


class AddLineForm(forms.Form):
    """One more line by hand."""

    design = Scan(letters="D", words="a design", help_text="Scan its label, or type its code.")
    role = forms.ChoiceField(choices=KitLine.Role.choices, initial=KitLine.Role.SPARE, label="As")
    wanted = forms.IntegerField(min_value=1, max_value=MOST_WANTED, initial=1, label="How many")

    def want(self) -> KitWant:
        return KitWant(**self.cleaned_data)


class IssueForm(Keyed):
    """Who takes a kit, which labelled pieces of it, and whether less than all will do."""

    person = Scan(letters="P", words="the badge of a person", label="Who takes it", help_text="Scan the badge.")
    pieces = forms.CharField(
        required=False,
        max_length=2000,
        label="Labels of bodies and holders",
        help_text="One after the other. Left empty: the first free ones.",
        widget=forms.Textarea(attrs={"rows": 2, "autocomplete": "off", "spellcheck": "false"}),
    )
    only_what_is_there = forms.BooleanField(required=False, label="Hand out what is there; the rest stays kept")
    reason = forms.CharField(
        required=False,
        max_length=LONGEST_NOTE,
        label="Why more goes out than a limit says",
        help_text="Only when a limit is in the way; it is written down with your name.",
    )

    def clean_pieces(self) -> list[Item]:
        found = []
        for text in dict.fromkeys(self.cleaned_data["pieces"].split()):
            try:
                thing = selectors.find_label(text=text).thing
            except ShopError as refused:
                raise forms.ValidationError(refused.sentence) from refused
            if not isinstance(thing, Item):
                raise forms.ValidationError(f"“{text[:40]}” is no label of a piece. Scan the label on the piece.")
            found.append(thing)
        return found


def field_name(line: KitLineNow | KitWant) -> str:
    want = line.want if isinstance(line, KitLineNow) else line
    return f"wanted-{want.design.pk}-{want.role}"


def wants_in(given: Mapping[str, str], lines: Iterable[KitWant]) -> list[KitWant]:
    """The lines with the numbers that were sent for them; a number changed by hand says so."""
    wants = []
    for line in lines:
        typed = str(given.get(field_name(line), line.wanted)).strip() or "0"
        if not _WHOLE.match(typed):
            raise BadInput("lines", f"{line.design.code}: “{typed[:20]}” is no whole number. Put a number, or 0.")
        number = int(typed)
        why = line.why if number == line.wanted else f"By hand: {number} instead of {line.wanted}. {line.why}"
        wants.append(KitWant(design=line.design, role=line.role, wanted=number, why=why[:200]))
    return wants


def back_lines_in(given: Mapping[str, str], rows: Sequence[BackRow]) -> list[BackLine]:
    """What comes back, by the rows of the form; a labelled piece that is not ticked stays."""
    lines = []
    for row in rows:
        left = row.left
        becomes = given.get(f"as-{row.key}", row.becomes)
        if becomes not in Condition.values:
            raise BadInput("lines", f"{left.design.code}: choose the condition it comes back in.")
        if left.item is not None:
            quantity = left.quantity if given.get(f"back-{row.key}") else 0
        else:
            typed = given.get(f"back-{row.key}", "0").strip() or "0"
            if not _WHOLE.match(typed) or int(typed) > left.held:
                raise BadInput("lines", f"{left.design.code}: put a whole number from 0 to {left.held}.")
            quantity = int(typed)
        if quantity:
            lines.append(
                BackLine(
                    design=left.design, quantity=quantity, condition=left.condition, becomes=becomes, item=left.item
                )
            )
    return lines


def comes_as(row: BackRow) -> list[tuple[str, str]]:
    """The conditions a row may come back in: not as new when it is no longer."""
    used = row.left.condition != Condition.NEW or bool(row.minutes)
    return [(value, label) for value, label in COMES_AS if value != Condition.NEW or not used]
