"""A readable page of the API, made from the same schema that programs read."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from drf_spectacular.generators import SchemaGenerator

PREFIX = "/api/v1/"
METHODS = ("get", "post", "put", "patch", "delete")


@dataclass(frozen=True)
class Value:
    """One parameter, or one field of a body."""

    name: str
    kind: str
    required: bool
    says: str


@dataclass(frozen=True)
class Call:
    """One method at one address."""

    method: str
    path: str
    says: str
    parameters: list[Value]
    body: list[Value]
    answers: list[str]


@dataclass(frozen=True)
class Resource:
    """Everything under one first word of the address."""

    name: str
    calls: list[Call] = field(default_factory=list)


def docs(request: HttpRequest) -> HttpResponse:
    """The page at `/api/v1/docs/`."""
    return render(request, "crib/api/docs.html", {"resources": resources()})


@lru_cache(maxsize=1)
def resources() -> tuple[Resource, ...]:
    """The schema as the page shows it; it does not change while the program runs."""
    schema = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    found: dict[str, Resource] = {}
    for path, item in sorted(schema["paths"].items()):
        name = path.removeprefix(PREFIX).split("/")[0]
        resource = found.setdefault(name, Resource(name))
        resource.calls.extend(_call(schema, path, method, item[method]) for method in METHODS if method in item)
    return tuple(found.values())


def _call(schema: dict[str, Any], path: str, method: str, operation: dict[str, Any]) -> Call:
    parameters = [
        Value(p["name"], _kind(schema, p.get("schema", {})), p.get("required", False), p.get("description", ""))
        for p in operation.get("parameters", [])
    ]
    content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    return Call(
        method=method.upper(),
        path=path,
        says=operation.get("description") or operation.get("summary", ""),
        parameters=parameters,
        body=_fields(schema, content.get("schema", {})),
        answers=sorted(operation.get("responses", {})),
    )


def _fields(schema: dict[str, Any], shape: dict[str, Any]) -> list[Value]:
    shape = _resolved(schema, shape)
    if shape.get("type") == "array":
        shape = _resolved(schema, shape.get("items", {}))
    for choice in ("oneOf", "allOf", "anyOf"):
        if choice in shape and "properties" not in shape:
            shape = _resolved(schema, shape[choice][0])
    required = set(shape.get("required", []))
    return [
        Value(name, _kind(schema, inner), name in required, inner.get("description", ""))
        for name, inner in shape.get("properties", {}).items()
        if not inner.get("readOnly")
    ]


def _kind(schema: dict[str, Any], shape: dict[str, Any]) -> str:
    shape = _resolved(schema, shape)
    if "enum" in shape:
        return ", ".join(str(word) for word in shape["enum"] if word not in ("", None))
    for choice in ("oneOf", "anyOf", "allOf"):
        if choice in shape:
            return " or ".join(dict.fromkeys(_kind(schema, inner) for inner in shape[choice]))
    if shape.get("type") == "array":
        return f"list of {_kind(schema, shape.get('items', {}))}"
    kind = shape.get("format") or shape.get("type", "object")
    return " or ".join(kind) if isinstance(kind, list) else str(kind)


def _resolved(schema: dict[str, Any], shape: dict[str, Any]) -> dict[str, Any]:
    if "$ref" not in shape:
        return shape
    found: dict[str, Any] = schema["components"]["schemas"][shape["$ref"].rsplit("/", 1)[-1]]
    return found
