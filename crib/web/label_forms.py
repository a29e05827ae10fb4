"""What is asked before labels are printed."""

from __future__ import annotations

from typing import Any

from django import forms

from crib.core.errors import BadInput
from crib.web.fields import QuantityField, UnitsForm
from crib.web.label_batches import ALL_OF
from crib.web.papers.label_layouts import LAYOUTS, PAPERS, Layout, roll, sheet
from crib.web.papers.labels import Print

OWN_SHEET, OWN_ROLL = "sheet", "roll"
LAYOUT_CHOICES = [
    ("Sheets", [(key, layout.says) for key, layout in LAYOUTS.items() if not layout.is_roll]),
    ("Rolls, each label a page", [(key, layout.says) for key, layout in LAYOUTS.items() if layout.is_roll]),
    ("Own measures, typed below", [(OWN_SHEET, "A sheet of my own"), (OWN_ROLL, "A roll of my own")]),
]
DOTS_CHOICES = [("203", "203 dpi (8 dots to the mm)"), ("300", "300 dpi"), ("600", "600 dpi and finer")]


class LabelForm(UnitsForm):
    """Which labels, on what paper, how many, and from which label of the sheet on."""

    of = forms.ChoiceField(required=False, label="Labels of")
    things = forms.CharField(
        required=False,
        max_length=8_000,
        widget=forms.Textarea(attrs={"rows": 2, "autocomplete": "off", "spellcheck": "false"}),
        label="And of these",
        help_text="Labels, codes or maker’s numbers, one to a line.",
    )
    code = forms.ChoiceField(required=False, choices=[("", "Data Matrix"), ("qr", "QR")], label="Code")
    layout = forms.ChoiceField(choices=LAYOUT_CHOICES, label="Paper")
    copies = forms.IntegerField(min_value=1, max_value=100, label="Copies of each")
    start = forms.IntegerField(
        min_value=1, max_value=1800, label="Begin at label", help_text="On a used sheet, counted along the rows."
    )
    dots = forms.ChoiceField(choices=DOTS_CHOICES, label="Printer", help_text="Modules are whole numbers of its dots.")
    outlines = forms.BooleanField(required=False, label="Draw the edges of the labels, for a trial or for cutting")

    paper = forms.ChoiceField(choices=[(key, says) for key, (says, *_) in PAPERS.items()], label="Sheet size")
    columns = forms.IntegerField(required=False, label="Labels across")
    rows = forms.IntegerField(required=False, label="Labels down")
    width = QuantityField(unit="mm", required=False, label="Width of a label")
    height = QuantityField(unit="mm", required=False, label="Height of a label")
    left = QuantityField(unit="mm", required=False, label="Left margin")
    top = QuantityField(unit="mm", required=False, label="Top margin")
    pitch_x = QuantityField(unit="mm", required=False, label="From one label to the next, across")
    pitch_y = QuantityField(unit="mm", required=False, label="From one label to the next, down")

    MEASURES = ("paper", "columns", "rows", "width", "height", "left", "top", "pitch_x", "pitch_y")
    GIVEN = {"of": "places", "layout": "a4-3x9", "copies": "1", "start": "1", "dots": "300", "paper": "a4"}

    def __init__(self, data: Any, **kwargs: Any) -> None:
        given = self.GIVEN | {name: data[name] for name in data}
        super().__init__(given, **kwargs)
        self.asked = given["of"]
        known = [(word, says) for word, (says, _) in ALL_OF.items()]
        one = [] if self.asked in ALL_OF or not self.asked else [(self.asked, "This one")]
        field = self.fields["of"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [*one, *known, ("", "Only those below")]

    @property
    def own_measures(self) -> bool:
        return self["layout"].value() in (OWN_SHEET, OWN_ROLL)

    @property
    def measures(self) -> list[forms.BoundField]:
        return [self[name] for name in self.MEASURES]

    def print_settings(self) -> Print:
        """How to print, once the form is sound; refused when the measures do not fit the paper."""
        given = self.cleaned_data
        return Print(
            layout=self._layout(),
            as_qr=given["code"] == "qr",
            dots=given["dots"],
            copies=given["copies"],
            start=given["start"],
            outlines=given["outlines"],
        )

    def _layout(self) -> Layout:
        given = self.cleaned_data
        if given["layout"] in LAYOUTS:
            return LAYOUTS[given["layout"]]
        for name in ("width", "height"):
            if given[name] is None:
                raise BadInput(name, "Measure the label and type its size.")
        if given["layout"] == OWN_ROLL:
            return roll(given["width"], given["height"])
        for name in ("columns", "rows"):
            if given[name] is None:
                raise BadInput(name, "Count the labels on the sheet.")
        return sheet(**{name: given[name] for name in self.MEASURES})
