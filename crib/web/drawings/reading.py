"""What a drawing reads of an answer: numbers in the listed units, and texts in the reader's own."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from calc.units import Quantity, System, show, ureg
from calc.workings import Answer, Value


class TooLittle(Exception):
    """Not enough is known, or it is of such a size that no picture comes of it."""


class Known:
    """An answer as a drawing asks it: results first, then inputs."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer

    def _value(self, name: str) -> Value | None:
        return self.answer.results.get(name) or self.answer.inputs.get(name)

    def has(self, *names: str) -> bool:
        return all(self.maybe(name) is not None for name in names)

    def maybe(self, name: str) -> float | None:
        """The number, or None when it is not known."""
        found = self._value(name)
        return None if found is None else _number(found.value)

    def number(self, name: str) -> float:
        """The number; without it there is nothing to draw."""
        found = self.maybe(name)
        if found is None:
            raise TooLittle(name)
        return found

    def given(self, name: str) -> float:
        """The number as it was typed, also where a result of the same name differs."""
        found = self.answer.inputs.get(name)
        number = None if found is None else _number(found.value)
        if number is None:
            raise TooLittle(name)
        return number

    def text(self, name: str) -> str:
        """The value as the reader reads it; empty when it is not known."""
        found = self._value(name)
        return "" if found is None else found.text

    def given_text(self, name: str) -> str:
        found = self.answer.inputs.get(name)
        return "" if found is None else found.text

    def word(self, name: str) -> str:
        """A choice or a text that was given."""
        found = self.answer.inputs.get(name)
        return "" if found is None else str(found.value or "")

    def yes(self, name: str) -> bool:
        found = self._value(name)
        return found is not None and found.value is True

    def rows(self, name: str) -> list[Any]:
        found = self._value(name)
        return list(found.value) if found is not None and isinstance(found.value, list) else []

    def mapping(self, name: str) -> Mapping[str, Any]:
        found = self._value(name)
        return found.value if found is not None and isinstance(found.value, Mapping) else {}

    def quantity(self, name: str, unit: str) -> Quantity:
        return ureg.Quantity(self.number(name), unit)

    @property
    def system(self) -> System:
        """The reader's units."""
        return self.answer.system

    def length(self, millimetres: float) -> str:
        """A length that the drawing worked out, as the reader reads it."""
        return show(ureg.Quantity(millimetres, "mm"), self.system)

    def speed(self, metres_per_minute: float) -> str:
        return show(ureg.Quantity(metres_per_minute, "m/min"), self.system, "m/min")

    @property
    def speed_unit(self) -> tuple[str, float]:
        """The reader's unit of surface speed, and how many of it go into 1 m/min."""
        if self.system == "inch":
            return "ft/min", float(ureg.Quantity(1, "m/min").m_as("ft/min"))
        return "m/min", 1.0


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def minutes(value: float) -> str:
    """Minutes in cut as the answers write them."""
    return show(ureg.Quantity(value, "minute"))
