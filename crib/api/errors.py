"""Every refusal of the API as an RFC 9457 problem document."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as ModelInvalid
from django.db import DataError, OperationalError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from calc.errors import WorkingError
from calc.workings import InputErrors
from crib.core.errors import ShopError

PROBLEM_JSON = "application/problem+json"
TYPE = "urn:edgetally:problem:"

log = logging.getLogger(__name__)


def problem_document(
    *, status: int, code: str, title: str, detail: str, errors: Mapping[str, list[str]] | None = None
) -> dict[str, Any]:
    """The body of a refusal: `type` is stable, `detail` is a sentence for a machinist."""
    return {"type": TYPE + code, "title": title, "status": status, "detail": detail, "errors": dict(errors or {})}


def problem(exc: Exception, context: dict[str, Any]) -> Response | None:
    """Turn what a view raised into a problem document; what nobody expected goes on to be logged."""
    if isinstance(exc, ModelInvalid):
        exc = exceptions.ValidationError(exc.message_dict if hasattr(exc, "error_dict") else exc.messages)
    found = _of_the_shop(exc) or _of_the_framework(exc) or _of_the_database(exc)
    if found is None:
        return None
    set_rollback()
    response = Response(found, status=found["status"], content_type=PROBLEM_JSON)
    for header, name in (("auth_header", "WWW-Authenticate"), ("wait", "Retry-After")):
        value = getattr(exc, header, None)
        if value is not None:
            response[name] = str(value)
    return response


def _of_the_shop(exc: Exception) -> dict[str, Any] | None:
    if isinstance(exc, ShopError):
        errors = {exc.field: [exc.sentence]} if exc.field else {}
        title = exc.code.replace("-", " ").capitalize()
        return problem_document(status=exc.status, code=exc.code, title=title, detail=exc.sentence, errors=errors)
    if isinstance(exc, WorkingError):
        errors = exc.by_field() if isinstance(exc, InputErrors) else {exc.argument: [exc.sentence]}
        return problem_document(status=400, code="bad-input", title="Bad input", detail=exc.sentence, errors=errors)
    return None


def _of_the_framework(exc: Exception) -> dict[str, Any] | None:
    if isinstance(exc, Http404):
        exc = exceptions.NotFound()
    elif isinstance(exc, PermissionDenied):
        exc = exceptions.PermissionDenied()
    if isinstance(exc, exceptions.ValidationError):
        errors = _by_field(exc.detail)
        name, sentences = next(iter(errors.items()))
        detail = sentences[0] if name == "body" else f"{name}: {sentences[0]}"
        return problem_document(status=400, code="bad-input", title="Bad input", detail=detail, errors=errors)
    if isinstance(exc, exceptions.APIException):
        code, title, detail = _SAID.get(exc.status_code, ("refused", "Refused", str(exc.detail)))
        return problem_document(status=exc.status_code, code=code, title=title, detail=detail or str(exc.detail))
    return None


_SAID = {
    400: ("bad-input", "Bad input", "The body is not JSON that can be read."),
    401: ("not-signed-in", "Not signed in", "Sign in first, or send your token in the Authorization header."),
    403: ("not-allowed", "Not allowed", "Your role has no right to do this. A lead can change that."),
    404: ("not-found", "Not found", "There is nothing at this address."),
    405: ("method-not-allowed", "Method not allowed", ""),
    406: ("not-acceptable", "Not acceptable", "Answers are given as JSON only."),
    415: ("unsupported-media-type", "Unsupported media type", "Send the body as JSON."),
    429: ("too-many-requests", "Too many requests", ""),
}


def _of_the_database(exc: Exception) -> dict[str, Any] | None:
    if isinstance(exc, DataError | OverflowError):
        detail = "A number or a text in the request is larger than can be kept. Send a smaller one."
        return problem_document(status=400, code="bad-input", title="Bad input", detail=detail)
    if isinstance(exc, OperationalError):
        log.error("The database could not answer: %s", exc)
        detail = "The database could not take this now. Nothing was written; try again shortly."
        return problem_document(status=503, code="database-away", title="Database not available", detail=detail)
    return None


def _by_field(detail: Any, prefix: str = "") -> dict[str, list[str]]:
    """Flatten nested messages to dotted names; a message about no field in particular goes under `body`."""
    if isinstance(detail, Mapping):
        flat: dict[str, list[str]] = {}
        for name, inner in detail.items():
            # What is wrong with an inner thing as a whole is said of that thing.
            parts = [prefix, "" if name in ("non_field_errors", "__all__") else str(name)]
            for field, sentences in _by_field(inner, ".".join(part for part in parts if part)).items():
                flat.setdefault(field, []).extend(sentences)
        return flat
    if isinstance(detail, Sequence) and not isinstance(detail, str):
        if any(isinstance(inner, Mapping) for inner in detail):
            flat = {}
            for position, inner in enumerate(detail):
                if inner:
                    flat |= _by_field(inner, f"{prefix}.{position}" if prefix else str(position))
            return flat
        return {prefix or "body": [str(sentence) for sentence in detail]}
    return {prefix or "body": [str(detail)]}
