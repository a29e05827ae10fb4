"""Wear lands over REST."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from crib.floor.models import Inspection
from tests.shop import Shop


def send(client: Client, body: object, key: str = "") -> Any:
    headers = {"Idempotency-Key": key} if key else {}
    return client.post("/api/v1/inspections/", json.dumps(body), "application/json", headers=headers)


@pytest.fixture
def setter(shop: Shop, client: Client) -> Client:
    shop.log_run()
    client.force_login(shop.setter, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_a_wear_land_is_written_down_once_and_makes_the_forecast_due(shop: Shop, setter: Client) -> None:
    before = shop.edge
    body = {"edge": before.pk, "wear_land_mm": "0.008 in", "at_minutes": 8}
    first, again = send(setter, body, "look-1"), send(setter, body, "look-1")
    assert first.status_code == again.status_code == 201
    assert first.json() == again.json()
    seen = Inspection.objects.get()
    assert seen.wear_land_mm == pytest.approx(0.2032)
    assert (seen.at_minutes, seen.seen_by) == (8.0, shop.setter)
    assert shop.edge.revision > before.revision
    listed = setter.get(f"/api/v1/inspections/?edge={before.pk}").json()["results"]
    assert [row["id"] for row in listed] == [seen.pk]
    assert setter.get(f"/api/v1/inspections/{seen.pk}/").json()["wear_land_mm"] == pytest.approx(0.2032)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"wear_land_mm": -0.1}, "wear_land_mm"),
        ({"wear_land_mm": "wide"}, "wear_land_mm"),
        ({"at_minutes": 900}, "at_minutes"),
        ({"edge": 999_999}, "edge"),
    ],
)
def test_what_cannot_have_been_seen_is_refused_by_name(
    shop: Shop, setter: Client, change: dict[str, Any], field: str
) -> None:
    answer = send(setter, {"edge": shop.edge.pk, "wear_land_mm": 0.2, **change})
    assert answer.status_code == 400
    assert field in answer.json()["errors"]
    assert not Inspection.objects.exists()


def test_a_planner_may_read_and_not_write(shop: Shop, client: Client) -> None:
    shop.log_run()
    client.force_login(shop.planner, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/api/v1/inspections/").status_code == 200
    assert send(client, {"edge": shop.edge.pk, "wear_land_mm": 0.2}).status_code == 403


def test_a_run_may_name_its_operation_by_its_own_number(shop: Shop, setter: Client) -> None:
    draft = shop.run_draft(hour=2.0)
    body = {
        "machine": draft.machine,
        "pocket": 3,
        "operation": shop.operation.pk,
        "started_at": draft.started_at.isoformat(),
        "ended_at": draft.ended_at.isoformat(),
        "parts": 5,
        "source": "typed",
        "source_key": draft.source_key,
    }
    answer = setter.post("/api/v1/runs/", json.dumps(body), "application/json")
    assert answer.status_code == 201, answer.json()
    assert answer.json()["operation"] == "J-1001/20"


def test_an_odd_wear_land_is_kept_when_somebody_looked_twice(shop: Shop, setter: Client) -> None:
    body = {"edge": shop.edge.pk, "wear_land_mm": 0.2}
    assert send(setter, body).json()["looked_twice"] is False
    refused = send(setter, body | {"wear_land_mm": 0.01})
    assert refused.status_code == 400
    assert refused.json()["type"].endswith("odd-reading")
    assert "Look twice" in refused.json()["errors"]["wear_land_mm"][0]
    kept = send(setter, body | {"wear_land_mm": 0.01, "looked_twice": True})
    assert kept.status_code == 201, kept.json()
    assert kept.json()["looked_twice"] is True
