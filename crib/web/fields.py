"""Form fields that take a quantity with its unit, and show it in the reader's own."""

from __future__ import annotations

import math
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from calc.errors import WorkingError
from calc.units import read_quantity, unit_named, ureg
from crib.web.formats import unit_for


class QuantityField(forms.CharField):
    """A length, speed or time kept in `unit`; "0.5 in" and "120 ft/min" are read, a bare number is in the "
    "unit shown."""

    def __init__(self, *, unit: str, **kwargs: Any) -> None:
        # Not the field's own max_length: that would measure the number that the text has become.
        self.longest = kwargs.pop("max_length", 60)
        super().__init__(**kwargs)
        self.unit = self.shown_unit = unit
        self.widget.attrs |= {"inputmode": "text", "autocomplete": "off", "maxlength": self.longest}

    def use_system(self, system: str) -> None:
        """Read and show bare numbers as a person of this system writes them."""
        self.shown_unit = self.unit if self.unit in ("min", "1/min") else unit_for(self.unit, system)

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, (int, float)) or isinstance(value, bool):
            return value
        shown = ureg.Quantity(float(value), unit_named(self.unit)).m_as(unit_named(self.shown_unit))
        return f"{shown:.6g}"

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        if len(text) > self.longest:
            raise ValidationError("This is too long for a number with a unit, such as 0.5 in.")
        try:
            quantity = read_quantity(str(self.label or "value").lower(), text, self.shown_unit)
        except WorkingError as unread:
            raise ValidationError(unread.sentence) from unread
        return float(quantity.m_as(unit_named(self.unit)))


def same_quantity(one: Any, other: Any) -> bool:
    """Whether two values are the same but for the rounding of having been shown."""
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-5)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same_quantity, one, other))
    return bool(one == other)


class UnitsForm(forms.Form):
    """A form whose quantities are read and shown in the person's own units."""

    def __init__(self, *args: Any, system: str = "metric", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, QuantityField):
                field.use_system(system)
