"""`Idempotency-Key`: the same key with the same body answers the first result again."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from django.db import IntegrityError, transaction
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from crib.core.errors import BadInput, KeyAlreadyUsed
from crib.core.models import KeptAnswer
from crib.people.models import Person

P = ParamSpec("P")
V = TypeVar("V")
HEADER = "Idempotency-Key"
LONGEST_KEY = 100


def service_key(request: Request) -> str:
    """The key that a service keeps with what it writes: the client's, marked with the person, or a fresh one."""
    key = request.headers.get(HEADER, "")
    return f"api:{request.user.pk}:{key}" if key else f"api:{uuid.uuid4()}"


def signed_in(request: Request) -> Person:
    """The person behind a request that its permissions have already let through."""
    assert isinstance(request.user, Person)
    return request.user


def idempotent(
    handler: Callable[Concatenate[V, Request, P], Response],
) -> Callable[Concatenate[V, Request, P], Response]:
    """Keep the answer with the work, in one transaction: both stand or neither does."""

    @wraps(handler)
    def answer_once(view: V, request: Request, /, *args: P.args, **kwargs: P.kwargs) -> Response:
        key = request.headers.get(HEADER, "")
        if not key:
            return handler(view, request, *args, **kwargs)
        if len(key) > LONGEST_KEY or not key.isprintable():
            raise BadInput(HEADER, f"An {HEADER} has at most {LONGEST_KEY} printable characters.")
        fingerprint = _fingerprint(request)
        person = signed_in(request)
        try:
            with transaction.atomic():
                kept = KeptAnswer.objects.create(person=person, key=key, route=request.path, fingerprint=fingerprint)
                response = handler(view, request, *args, **kwargs)
                kept.status = response.status_code
                kept.body = {"data": _plain(response.data)}
                kept.save(update_fields=["status", "body"])
                return response
        except IntegrityError:
            kept_before = KeptAnswer.objects.filter(person=person, key=key).first()
            if kept_before is None:
                raise
            return _answer_again(kept_before, fingerprint)

    return answer_once


def _answer_again(kept: KeptAnswer, fingerprint: str) -> Response:
    if kept.fingerprint != fingerprint:
        raise KeyAlreadyUsed(
            f"This {HEADER} came before with another request. Send a new key for new work.", field=HEADER
        )
    return Response(kept.body["data"], status=kept.status, headers={"Idempotent-Replayed": "true"})


def _fingerprint(request: Request) -> str:
    """Two bodies are the same when they say the same, whatever the order of their names."""
    said = json.dumps(_plain(request.data), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(f"{request.method} {request.path} {said}".encode()).hexdigest()


def _plain(data: Any) -> Any:
    return json.loads(JSONRenderer().render(data) or b"null")
