"""What the tests with hostile bodies share: a client that takes a crash for an answer, and an eye for its JSON."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from rest_framework.test import APIClient

from crib.people.models import Person


@contextmanager
def hostile_client(person: Person) -> Iterator[APIClient]:
    client = APIClient(raise_request_exception=False)
    client.force_authenticate(person)
    quiet = logging.getLogger("django.request")
    before, quiet.disabled = quiet.disabled, True  # thousands of refusals are meant
    yield client
    quiet.disabled = before


def strict_json(content: bytes) -> Any:
    """The answer as a reader takes it who knows no NaN and no Infinity."""
    return json.loads(content, parse_constant=_no_number)


def _no_number(word: str) -> None:
    raise AssertionError(f"{word} in an answer")


def assert_sentences(sentences: list[str], longest: int, sent: object) -> None:
    for sentence in sentences:
        assert sentence.endswith("."), (sent, sentence)
        assert 10 < len(sentence) < longest, (sent, sentence)
