"""The forms for taking an existing crib in from a spreadsheet."""

from __future__ import annotations

from typing import Any

from django import forms

from crib.catalogue.models import Design
from crib.stock.records import SheetImport
from crib.stock.selectors import rows_of
from crib.stock.sheet_columns import FIELDS

COLUMN = "column_"


class SheetForm(forms.Form):
    file = forms.FileField(
        label="Spreadsheet", help_text="xlsx or CSV, up to 10 MB and 20,000 rows.", widget=forms.FileInput()
    )


class MatchForm(forms.Form):
    """Which row names the columns, what each holds, and what holds where a cell is empty."""

    worksheet = forms.TypedChoiceField(coerce=int, label="Worksheet")
    header_line = forms.IntegerField(min_value=1, label="Row with the names of the columns")
    kind = forms.ChoiceField(required=False, label="Kind where none is said")
    edges = forms.IntegerField(required=False, min_value=1, max_value=200, label="Edges of a tip or insert")
    seats = forms.IntegerField(required=False, min_value=1, max_value=200, label="Tips that a body takes")
    place = forms.CharField(required=False, max_length=40, label="Bin where none is said")

    GIVEN = ("kind", "edges", "seats", "place")

    def __init__(self, sheet: SheetImport, data: Any = None) -> None:
        rows, matching = rows_of(sheet=sheet), sheet.matching
        header = matching.get("header", 0)
        columns = matching.get("columns", {})
        initial = dict(matching.get("given", {})) | {
            "worksheet": matching.get("sheet", 0),
            "header_line": rows[header].line if header < len(rows) else 1,
        }
        initial |= {COLUMN + name: str(column) for name, column in columns.items()}
        super().__init__(data, initial=initial)
        self._choose("worksheet", [(number, one["name"]) for number, one in enumerate(sheet.rows)])
        self._choose("kind", [("", "It must be said"), *Design.Kind.choices])
        wide = max((len(row.cells) for row in rows[header : header + 200]), default=0)
        heads = [sheet.header[at] if at < len(sheet.header) else "" for at in range(wide)]
        known = [(str(at), f"{_letters(at)}: {head or 'without a name'}") for at, head in enumerate(heads)]
        for one in FIELDS:
            self.fields[COLUMN + one.name] = forms.ChoiceField(
                required=False, label=one.says, choices=[("", "Not in the sheet"), *known]
            )

    def _choose(self, name: str, choices: list[Any]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    @property
    def columns(self) -> list[forms.BoundField]:
        return [self[COLUMN + one.name] for one in FIELDS]

    @property
    def given(self) -> list[forms.BoundField]:
        return [self[name] for name in self.GIVEN]

    def matched(self) -> dict[str, Any]:
        """The arguments of `match_sheet`."""
        cleaned = self.cleaned_data
        return {
            "worksheet": cleaned["worksheet"],
            "header_line": cleaned["header_line"],
            "matched": {one.name: int(cleaned[COLUMN + one.name]) for one in FIELDS if cleaned[COLUMN + one.name]},
            "given": {name: cleaned[name] for name in self.GIVEN if cleaned[name]},
        }

    def refuse(self, field: str | None, sentence: str) -> None:
        """Put a refusal beside the field it names."""
        name = field if field in self.fields else f"{COLUMN}{field}"
        self.add_error(name if name in self.fields else None, sentence)


def _letters(column: int) -> str:
    """The name that spreadsheets give a column: A to Z, then AA."""
    return chr(65 + column) if column < 26 else chr(64 + column // 26) + chr(65 + column % 26)
