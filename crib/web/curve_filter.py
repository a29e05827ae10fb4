"""Which life curves are listed, and in what order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django import forms

from crib.life.models import LifeModel
from crib.life.selectors import CurveRow

SHOWN: dict[str, tuple[str, Callable[[CurveRow], bool]]] = {
    "attention": ("Wants a look", lambda row: bool(row.attention)),
    "narrow": ("Forecasts too sure", lambda row: row.held.verdict == "narrow"),
    "wide": ("Forecasts too unsure", lambda row: row.held.verdict == "wide"),
    "fair": ("Forecasts held", lambda row: row.held.verdict == "fair"),
    "start": ("Starting value only", lambda row: row.model.standing != LifeModel.Standing.FITTED),
}
ORDERS: dict[str, tuple[str, Callable[[CurveRow], Any]]] = {
    "": ("Design", lambda row: 0),
    "attention": ("Wants a look first", lambda row: not row.attention),
    "short": ("Shortest life first", lambda row: row.life_50),
    "long": ("Longest life first", lambda row: -row.life_50),
    "ends": ("Most ends first", lambda row: -(row.model.ended + row.model.broken)),
}


class CurvesFilter(forms.Form):
    """By design, metal and how they stand; whatever is not understood is left aside."""

    design = forms.CharField(required=False, max_length=40, label="Design")
    material = forms.ChoiceField(required=False, label="Metal")
    show = forms.ChoiceField(
        required=False, label="Show", choices=[("", "All"), *((key, words) for key, (words, _) in SHOWN.items())]
    )
    order = forms.ChoiceField(
        required=False, label="Order", choices=[(key, words) for key, (words, _) in ORDERS.items()]
    )

    def __init__(self, *args: Any, rows: Sequence[CurveRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        metals = sorted({(str(row.model.material_id), row.model.material.name) for row in rows}, key=lambda one: one[1])
        field = self.fields["material"]
        assert isinstance(field, forms.ChoiceField)  # it is made above
        field.choices = [("", "Every metal"), *metals]

    def chosen(self, rows: Sequence[CurveRow]) -> list[CurveRow]:
        """The rows asked for; a list sorted by design keeps that order among equals."""
        asked: dict[str, str] = {}
        if self.is_bound:
            self.is_valid()
            asked = self.cleaned_data
        text, metal = asked.get("design", "").strip().casefold(), asked.get("material", "")
        _, wanted = SHOWN.get(asked.get("show", ""), ("", lambda row: True))
        found = [
            row
            for row in rows
            if (text in row.model.design.code.casefold() or text in row.model.design.description.casefold())
            and metal in ("", str(row.model.material_id))
            and wanted(row)
        ]
        return sorted(found, key=ORDERS[asked.get("order", "")][1])
