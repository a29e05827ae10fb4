"""Fields that carry a physical quantity: a plain number in the field's unit, or a text with a unit."""

from __future__ import annotations

import math
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from calc.errors import WorkingError
from calc.units import read_quantity


@extend_schema_field({"oneOf": [{"type": "number"}, {"type": "string", "example": "0.0022 in"}]})
class PhysicalField(serializers.Field[float, Any, float, Any]):
    """A length, speed, force … kept as a number in `unit`; "0.0022 in" is turned into that unit."""

    default_error_messages = {
        "above_zero": "This must be above zero.",
        "not_negative": "This must not be below zero.",
    }

    def __init__(self, *, unit: str, above_zero: bool = False, not_negative: bool = False, **kwargs: Any) -> None:
        self.unit = unit
        self.above_zero = above_zero
        self.not_negative = not_negative
        kwargs.setdefault("help_text", f"number in {unit}, or a text with a unit")
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> float:
        try:
            value = float(read_quantity(self.field_name or "value", data, self.unit).magnitude)
        except WorkingError as unread:
            raise serializers.ValidationError(unread.sentence) from unread
        if self.above_zero and value <= 0:
            self.fail("above_zero")
        if self.not_negative and value < 0:
            self.fail("not_negative")
        return value

    def to_representation(self, value: float) -> float:
        return value if math.isfinite(value) else 0.0
