"""A working's declaration as JSON: for whoever reads the register, and as schema of its request and answer."""

from __future__ import annotations

from typing import Any

from calc.workings import Input, Kind, Result, Working
from calc.workings.sweep import FEWEST_POINTS, MOST_POINTS, sweepable

_PLAIN: dict[Kind, dict[str, Any]] = {
    Kind.QUANTITY: {"oneOf": [{"type": "number"}, {"type": "string"}]},
    Kind.NUMBER: {"oneOf": [{"type": "number"}, {"type": "string"}]},
    Kind.COUNT: {"oneOf": [{"type": "integer"}, {"type": "string"}]},
    Kind.TEXT: {"type": "string", "maxLength": 200},
    Kind.CHOICE: {"type": "string"},
    Kind.BOOL: {"type": "boolean"},
}
_ANSWERED: dict[Kind, dict[str, Any]] = {
    Kind.QUANTITY: {"type": "number"},
    Kind.NUMBER: {"type": "number"},
    Kind.COUNT: {"type": "integer"},
    Kind.TEXT: {"type": "string"},
    Kind.CHOICE: {"type": "string"},
    Kind.BOOL: {"type": "boolean"},
    Kind.LIST: {"type": "array", "items": {}},
    Kind.OBJECT: {"type": "object", "additionalProperties": True},
}
_TEXTS = {"type": "array", "items": {"type": "string"}}
_STEP_PARTS = ("says", "formula", "with_numbers", "result", "source")


def declared(working: Working) -> dict[str, Any]:
    """The declaration as the register shows it."""
    return {
        "name": working.name,
        "title": working.title,
        "says": working.says,
        "family": working.family,
        "inputs": [_declared_input(entry) for entry in working.inputs],
        "sweepable": [entry.name for entry in sweepable(working)],
        "groups": [
            {"name": group.name, "label": group.label, "needs": group.needs, "required": group.required}
            for group in working.groups
        ],
        "results": [_declared_result(result) for result in working.results],
        "cautions": list(working.cautions),
        "sources": list(working.sources),
    }


def _declared_input(entry: Input) -> dict[str, Any]:
    return {
        "name": entry.name,
        "label": entry.label,
        "symbol": entry.symbol,
        "unit": entry.unit,
        "kind": entry.kind.value,
        "required": entry.required,
        "group": entry.group,
        "way": entry.belongs_to_way if entry.group else "",
        "default": entry.default,
        "choices": list(entry.choices),
        "above": entry.above,
        "lowest": entry.lowest,
        "highest": entry.highest,
        "fields": [_declared_input(member) for member in entry.fields],
        "hint": entry.hint,
        "example": entry.example,
    }


def _declared_result(result: Result) -> dict[str, Any]:
    return {
        "name": result.name,
        "label": result.label,
        "symbol": result.symbol,
        "unit": result.unit,
        "kind": result.kind.value,
        "needs": result.needs,
    }


def request_schema(working: Working) -> dict[str, Any]:
    """The body of a POST as JSON schema."""
    return _object(working.inputs) | {"example": working.example}


def _object(entries: tuple[Input, ...]) -> dict[str, Any]:
    shape: dict[str, Any] = {
        "type": "object",
        "properties": {entry.name: _property(entry) for entry in entries},
        "additionalProperties": False,
    }
    required = [entry.name for entry in entries if entry.required]
    return shape | ({"required": required} if required else {})


def _property(entry: Input) -> dict[str, Any]:
    if entry.kind is Kind.OBJECT:
        shape: dict[str, Any] = _object(entry.fields) if entry.fields else {"type": "object"}
    elif entry.kind is Kind.LIST:
        shape = {"type": "array", "items": _object(entry.fields) if entry.fields else {"type": "number"}}
    else:
        shape = dict(_PLAIN[entry.kind])
    if entry.choices:
        shape["enum"] = list(entry.choices)
    if entry.default is not None:
        shape["default"] = entry.default
    return shape | {"description": _description(entry)}


def _description(entry: Input) -> str:
    symbol = f" ({entry.symbol})" if entry.symbol else ""
    unit = ""
    if entry.unit and entry.kind is Kind.QUANTITY:
        unit = f", number in {entry.unit} or a text with a unit"
    elif entry.unit:
        unit = f", {entry.unit}"
    group = f"; one way to say the {entry.group}" if entry.group else ""
    return f"{entry.label}{symbol}{unit}{group}"


def answer_schema(working: Working) -> dict[str, Any]:
    """The answer of a POST as JSON schema; a result that could not be worked out is left away."""
    inputs = {entry.name: _value({}, entry.unit, entry.label) for entry in working.inputs}
    results = {result.name: _result_value(result) for result in working.results}
    step = {"type": "object", "properties": {part: {"type": "string"} for part in _STEP_PARTS}}
    return {
        "type": "object",
        "properties": {
            "inputs": {"type": "object", "properties": inputs, "additionalProperties": False},
            "results": {"type": "object", "properties": results, "additionalProperties": False},
            "working": {"type": "array", "items": step | {"required": list(_STEP_PARTS)}},
            "assumed": _TEXTS,
            "cautions": _TEXTS,
            "sources": _TEXTS,
        },
        "required": ["inputs", "results", "working", "assumed", "cautions", "sources"],
    }


def sweep_request_schema(working: Working) -> dict[str, Any]:
    """The body of a sweep as JSON schema; a number may be given as text with its unit, as in the inputs."""
    end = {"oneOf": [{"type": "number"}, {"type": "string"}]}
    names = [entry.name for entry in sweepable(working)]
    inputs = _object(working.inputs)
    inputs.pop("required", None)  # the swept input may be left out
    return {
        "type": "object",
        "properties": {
            "inputs": inputs,
            "over": {"type": "string", "enum": names, "description": "the input that is swept"},
            "from": end | {"description": "lower end of its range"},
            "to": end | {"description": "upper end of its range"},
            "points": {"type": "integer", "minimum": FEWEST_POINTS, "maximum": MOST_POINTS, "default": 100},
        },
        "required": ["inputs", "over", "from", "to"],
        "additionalProperties": False,
    }


def sweep_answer_schema(working: Working) -> dict[str, Any]:
    """The answer of a sweep as JSON schema."""
    numbers = {"type": "array", "items": {"oneOf": [{"type": "number"}, {"type": "null"}]}}
    text = {"type": "string"}
    line = {"type": "object", "properties": {"label": text, "unit": text, "values": numbers}}
    stretch = {"name": text, "says": text, "from": {"type": "number"}, "to": {"type": "number"}}
    over = {"name": text, "label": text, "unit": text, "values": numbers}
    return {
        "type": "object",
        "properties": {
            "over": {"type": "object", "properties": over},
            "results": {"type": "object", "additionalProperties": line, "description": "by name of the result"},
            "limits": {"type": "array", "items": {"type": "object", "properties": stretch}},
            "ends": _TEXTS,
        },
        "required": ["over", "results", "limits", "ends"],
    }


def _result_value(result: Result) -> dict[str, Any]:
    needs = f" {result.needs}" if result.needs else ""
    return _value({"oneOf": [_ANSWERED[result.kind], {"type": "null"}]}, result.unit, f"{result.label}.{needs}")


def _value(value: dict[str, Any], unit: str, says: str) -> dict[str, Any]:
    return {
        "type": "object",
        "description": says,
        "properties": {"value": value, "unit": {"type": "string", "enum": [unit]}, "text": {"type": "string"}},
        "required": ["value", "unit", "text"],
    }


PROBLEM_SCHEMA: dict[str, Any] = {
    "type": "object",
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {"type": "object", "additionalProperties": _TEXTS},
    },
}
REGISTER_SCHEMA: dict[str, Any] = {"type": "array", "items": {"type": "object", "additionalProperties": True}}
DECLARATION_SCHEMA: dict[str, Any] = {"type": "object", "additionalProperties": True}
