"""What a working answers, for people and for programs."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pint

from calc.units import System, said, show, show_number, unit_named
from calc.workings.declaration import Input, Kind, Result, Step, Working


@dataclass(frozen=True, slots=True)
class Value:
    """A value for people and programs: the bare value in its unit, and the text in the reader's own system."""

    value: Any
    unit: str
    text: str

    def as_dict(self) -> dict[str, Any]:
        """The value as the API writes it."""
        return {"value": self.value, "unit": self.unit, "text": self.text}


@dataclass(frozen=True, slots=True)
class Answer:
    """The whole answer of a working; `as_dict` is the body the API sends, its warnings first among the cautions.

    `brought` names, for inputs that were looked up instead of given, the thing that they are from; `system` is the
    reader's units, in which the texts are.
    """

    working: Working
    inputs: Mapping[str, Value]
    results: Mapping[str, Value]
    steps: tuple[Step, ...]
    assumed: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    brought: Mapping[str, str] = field(default_factory=dict)
    system: System = "metric"

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON data."""
        return {
            "inputs": {name: value.as_dict() for name, value in self.inputs.items()},
            "results": {name: value.as_dict() for name, value in self.results.items()},
            "working": [step.as_dict() for step in self.steps],
            "assumed": list(self.assumed),
            "cautions": [*self.warnings, *self.cautions],
            "sources": list(self.sources),
        }


def value_of(entry: Input | Result, found: object, system: System, text: str | None = None) -> Value:
    """Make the value for people and programs of one input or result.

    Parameters
    ----------
    entry : its declaration, which says the unit
    found : quantity, number, text, bool, None, list or mapping
    system : "metric" or "inch", for the text
    text : used instead of the usual text

    Returns
    -------
    the value
    """
    plain = _plain(found, entry.unit, entry)
    return Value(plain, entry.unit, text if text is not None else _text(found, entry, system))


def _plain(found: object, unit: str, entry: Input | Result) -> Any:
    """JSON data: quantities become numbers in the declared unit, of the result or of the field they stand in."""
    if isinstance(found, pint.Quantity):
        return _tidy(float(found.m_as(unit_named(unit))))
    if isinstance(found, Mapping):
        fields = {member.name: member for member in entry.fields} if isinstance(entry, Input) else {}
        return {
            str(key): _plain(member, fields[key].unit, fields[key]) if key in fields else _plain(member, unit, entry)
            for key, member in found.items()
        }
    if isinstance(found, list | tuple):
        return [_plain(member, unit, entry) for member in found]
    return found


def _tidy(value: float) -> float:
    """Fifteen figures: what a conversion's last bit adds is noise (29.999999999999996 m/min)."""
    return float(f"{value:.15g}")


def _text(found: object, entry: Input | Result, system: System) -> str:
    if isinstance(found, pint.Quantity):
        return show(found, system, entry.unit) if entry.kind is Kind.QUANTITY else show(found, system)
    if isinstance(found, bool):
        return "yes" if found else "no"
    if isinstance(found, int | float):
        return f"{show_number(found)} {entry.unit}".rstrip()
    if isinstance(found, Mapping):
        return ", ".join(f"{said(str(key)).lower()} {_text(member, entry, system)}" for key, member in found.items())
    if isinstance(found, list | tuple):
        return "; ".join(_text(member, entry, system) for member in found) or "none"
    return "" if found is None else str(found)
