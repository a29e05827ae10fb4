"""Every sweep of every working over the API, along ranges nobody asks for: a curve or a sentence, never a crash."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from rest_framework.test import APIClient

from calc.workings import Working, all_workings
from calc.workings.sweep import sweepable
from crib.api.workings import SWEEP_FIELDS
from tests.api.hostile import assert_sentences, hostile_client, strict_json
from tests.shop import Shop

pytestmark = pytest.mark.once

RANGES: tuple[tuple[Any, Any], ...] = (
    (1e-9, 1e9), (0, 1), (-5, 5), (0, 1e9), (1, 2), (2, 1), (3, 3), (1e-9, 2e-9), (89, 181), (None, 3), (1, None),
    ("nan", "inf"), (1e308, 1.5e308), (-1e12, 1e12), (5e-324, 1), ("0.1 in", "2 in"), ("1 kW", "2 kW"),
    ("x", []), (True, False), ({}, {"value": 3}), (10**400, 10**401), ("1", "3"), (1, "\x00"),
)  # fmt: skip
POINTS: tuple[Any, ...] = (None, 0, 1, -3, 2.5, "7", True, 10**9, 10**400, [], "many", "nan")


class Asker:
    """Sends sweeps of one working, and looks at what comes back."""

    def __init__(self, client: APIClient, working: Working) -> None:
        self.client, self.working = client, working
        self.names = {entry.name for entry in working.inputs} | {*SWEEP_FIELDS, "body", "colour"}

    def ask(self, body: object) -> bool:
        """Whether there was an answer; else there was a refusal with a sentence for a field that is there."""
        text = json.dumps(body)
        response = self.client.post(
            f"/api/v1/workings/{self.working.name}/sweep/", text, content_type="application/json"
        )
        sent = text[:300]
        assert response.status_code in (200, 400), (sent, response.content[:300])
        found = strict_json(response.content)
        if response.status_code == 200:
            return True
        assert response["Content-Type"] == "application/problem+json", sent
        assert found["errors"], sent
        assert set(found["errors"]) <= self.names, (sent, found["errors"])
        for sentences in found["errors"].values():
            assert_sentences(sentences, 900, sent)
        return False


@pytest.fixture
def client(shop: Shop) -> Iterator[APIClient]:
    with hostile_client(shop.setter) as client:
        yield client


@pytest.mark.parametrize("working", [one for one in all_workings() if sweepable(one)], ids=lambda working: working.name)
def test_every_sweep_may_be_hostile(client: APIClient, working: Working) -> None:
    asker, example = Asker(client, working), working.example
    for entry in sweepable(working):
        ways = {other.name for other in working.inputs if entry.group and other.group == entry.group}
        inputs = {name: value for name, value in example.items() if name not in ways or name == entry.name}
        for low, high in RANGES:
            asker.ask({"inputs": inputs, "over": entry.name, "from": low, "to": high, "points": 7})
            asker.ask({"inputs": example, "over": entry.name, "from": low, "to": high, "points": 3})
    over = sweepable(working)[0].name
    plain = {"inputs": example, "over": over, "from": 1, "to": 2}
    for points in POINTS:
        asker.ask({**plain, "points": points})
    for body in (
        {}, {"over": over}, {"over": over, "from": 1}, {**plain, "over": "colour"}, {**plain, "over": None},
        {**plain, "over": ["a"]}, {**plain, "over": {}}, {**plain, "over": "x" * 5000}, {**plain, "inputs": []},
        {**plain, "inputs": None}, {**plain, "inputs": {}}, {**plain, "inputs": {"colour": 1}},
    ):  # fmt: skip
        asker.ask(body)
