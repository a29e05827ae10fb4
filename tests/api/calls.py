"""How the tests of the interface speak to it: as a person, with JSON."""

from __future__ import annotations

from typing import Any

from rest_framework.response import Response
from rest_framework.test import APIClient

from crib.people.models import Person

BASE = "/api/v1"
PROBLEM = "urn:edgetally:problem:"


def api(person: Person) -> APIClient:
    """A client of the person with the rights that they have now, whatever was kept of them before."""
    client = APIClient()
    client.force_authenticate(Person.objects.get(pk=person.pk))
    return client


def post(person: Person, path: str, body: Any = None, key: str | None = None) -> Response:
    headers = {"Idempotency-Key": key} if key else {}
    return api(person).post(f"{BASE}/{path}", body or {}, format="json", headers=headers)


def get(person: Person, path: str) -> Response:
    return api(person).get(f"{BASE}/{path}")
