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


@extend_schema_field(
    {
        "type": "array",
        "items": {
            "type": "array",
            "minItems": 2,
            "maxItems": 2,
            "items": {"oneOf": [{"type": "number"}, {"type": "string"}]},
        },
        "example": [[1500, 15], [6000, "20 hp"]],
    }
)
class CurveField(serializers.Field[list[list[float]], Any, list[list[float]], Any]):
    """A spindle's power over its speed: [[speed, power], …], numbers in 1/min and kW or texts with a unit."""

    default_error_messages = {
        "not_a_list": "Give a list of points, such as [[1500, 15], [6000, 15]].",
        "not_a_point": "Point {number} is not a speed and a power, such as [1500, 15].",
        "unread": "Point {number}: {sentence}",
    }

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "points of speed in 1/min and power in kW, the speeds rising; empty: not known")
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> list[list[float]]:
        if not isinstance(data, list):
            self.fail("not_a_list")
        return [self._point(number, point) for number, point in enumerate(data, start=1)]

    def _point(self, number: int, point: Any) -> list[float]:
        if not isinstance(point, list) or len(point) != 2:
            self.fail("not_a_point", number=number)
        try:
            return [
                float(read_quantity(name, value, unit).magnitude)
                for name, value, unit in zip(("speed", "power"), point, ("1/min", "kW"), strict=True)
            ]
        except WorkingError as unread:
            self.fail("unread", number=number, sentence=unread.sentence)

    def to_representation(self, value: list[list[float]]) -> list[list[float]]:
        return value


def physical(unit: str, **options: Any) -> PhysicalField:
    """A figure that may be left out; what it may be is the service's to say."""
    return PhysicalField(unit=unit, required=False, allow_null=True, **options)
