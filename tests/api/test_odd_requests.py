"""Odd and hostile requests to what tells of lives and changes, and which role may do which of their acts."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import quote

import pytest
from rest_framework.response import Response
from rest_framework.test import APIClient

from crib.floor.models import Edge, Inspection
from crib.life import services
from crib.life.models import LifeModel
from crib.people.roles import ROLES
from tests.api.calls import BASE, post
from tests.api.hostile import hostile_client, strict_json
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop

# Numbers that are none or far off, text that is none, things in place of text, what other systems choke on.
ODD_TEXT = [
    "", " ", "nan", "inf", "-1", "0", "1e400", "0.3 kg", "1/0", "\x00", "a\x00b", "x" * 5000, "٣", "0x10", "<b>",
    "10" * 50,
]  # fmt: skip
ODD_JSON: list[Any] = [*ODD_TEXT, None, True, -1, 1e300, 10**30, [], [1], {}, "\ud800"]


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    add_edges(shop, [*WORN, Past(9, "broken")])
    services.refit_all()
    shop.log_run(parts=5)
    services.refresh_all_due()
    return shop


@pytest.fixture
def client(learnt: Shop) -> Iterator[APIClient]:
    with hostile_client(learnt.lead) as client:
        yield client


def broken() -> Edge:
    return Edge.objects.get(outcome=Edge.Outcome.BROKEN)


def assert_answered(answer: Response, sent: object) -> None:
    """An answer, or a refusal as a problem document that says something."""
    assert answer.status_code < 500, sent
    said = strict_json(answer.content)
    if answer.status_code >= 400:
        assert answer["Content-Type"] == "application/problem+json", sent
        assert said["status"] == answer.status_code
        sentences = [said["detail"], *(one for found in said["errors"].values() for one in found)]
        assert all(len(sentence) > 10 for sentence in sentences), (sent, sentences)


@pytest.mark.parametrize("odd", ODD_TEXT)
def test_what_is_only_read_takes_odd_addresses(learnt: Shop, client: APIClient, odd: str) -> None:
    query, segment = quote(odd), quote(odd[:80], safe="") or "%20"
    operation = f"operations/{learnt.operation.pk}"
    for path in (
        *(f"{operation}/what-if/?{name}={query}" for name in ("surface_speed", "feed", "depth", "format")),
        f"{operation}/what-if/?{query}=1", f"operations/{segment}/what-if/", f"operations/{segment}/change-advice/",
        f"jobs/{segment}/edges/", f"life-models/{segment}/lots/", f"scores/summary/?of={query}",
        f"edges/?excuse={query}&lot={query}", f"inspections/?edge={query}", f"changes-ahead/?machine={query}",
    ):  # fmt: skip
        assert_answered(client.get(f"{BASE}/{path}"), path)


@pytest.mark.parametrize("machine", ["NOPE", "\x00", "x" * 5000])
def test_changes_ahead_of_a_machine_there_is_not_are_refused_at_the_field(client: APIClient, machine: str) -> None:
    answer = client.get(f"{BASE}/changes-ahead/?machine={quote(machine)}")
    assert answer.status_code == 400
    (sentence,) = answer.json()["errors"]["machine"]
    assert sentence.startswith("There is no machine “")
    assert len(sentence) < 80


@pytest.mark.parametrize("odd", ODD_JSON)
def test_no_odd_body_ends_in_a_server_error(learnt: Shop, client: APIClient, odd: object) -> None:
    edge, ended = learnt.edge, broken()
    asked = 0
    for method, path, sound, names in (
        ("post", f"edges/{ended.pk}/excuse/", {"excuse": "crash", "note": "x"}, ("excuse", "note")),
        ("post", f"edges/{ended.pk}/count-again/", {}, ("edge",)),
        ("post", f"items/{edge.item.label}/lot/", {}, ("lot",)),
        ("post", "inspections/", {"edge": edge.pk, "wear_land_mm": 0.01}, ("edge", "wear_land_mm", "looked_twice")),
        ("patch", f"operations/{learnt.operation.pk}/", {}, ("entries_per_part", "wear_limit_mm")),
        ("patch", f"machines/{learnt.machine.code}/", {}, ("stop_minutes",)),
    ):
        for name in names:
            body = json.dumps({**sound, name: odd})
            assert_answered(getattr(client, method)(f"{BASE}/{path}", body, content_type="application/json"), body)
            asked += 1
    assert asked == 10
    kept = Inspection.objects.values_list("wear_land_mm", flat=True)
    assert all(0 <= wear_land <= 10 for wear_land in kept)
    assert 1 <= (learnt.operation.__class__.objects.get().entries_per_part or 1) <= 1_000_000
    assert 0 <= learnt.machine.__class__.objects.get(pk=learnt.machine.pk).stop_minutes <= 1440


@pytest.mark.parametrize("body", ["[]", '"x"', "3", "null", "{", ""])
def test_a_body_that_is_no_object_is_refused(learnt: Shop, client: APIClient, body: str) -> None:
    for path in (f"edges/{broken().pk}/excuse/", f"items/{learnt.edge.item.label}/lot/", "inspections/"):
        answer = client.post(f"{BASE}/{path}", body, content_type="application/json")
        assert_answered(answer, (path, body))
        assert answer.status_code == 400
    assert LifeModel.objects.count() == 1


@pytest.mark.parametrize("role", ROLES)
def test_each_act_is_for_the_roles_that_have_its_right(learnt: Shop, role: str) -> None:
    person = learnt.person("somebody", role)
    ended, item = broken(), learnt.edge.item.label
    sound = {"edge": learnt.edge.pk, "wear_land_mm": 0.01}
    acts: tuple[tuple[str, Callable[[], Response]], ...] = (
        ("keep_life", lambda: post(person, f"edges/{ended.pk}/excuse/", {"excuse": "crash", "note": "x"})),
        ("keep_life", lambda: post(person, f"edges/{ended.pk}/count-again/")),
        ("build_tools", lambda: post(person, f"items/{item}/lot/", {"lot": "L-1"})),
        ("log_runs", lambda: post(person, "inspections/", sound, key="look")),
    )
    for right, act in acts:
        may = right in ROLES[role]
        assert (act().status_code != 403) is may, (role, right)
