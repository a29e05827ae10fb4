"""How the tests of pages ask for one, and read it."""

from __future__ import annotations

import re
from typing import Any

from django.test import Client

from crib.people.models import Person


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def text(response: Any) -> str:
    """The page in one line, however its template breaks it."""
    return re.sub(r"\s+", " ", response.content.decode()).strip()
