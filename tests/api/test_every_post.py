"""Every address of the API that writes: who is let in, and that what moves stock counts once for one key."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import pytest
from drf_spectacular.generators import EndpointEnumerator
from rest_framework.test import APIClient

from crib.floor.services import take_out
from crib.people.models import Person
from crib.people.roles import ROLES
from tests.api.calls import api, get, post
from tests.shop import Shop, assert_ledger_balances

# Addresses that keep no answer under a key, each for its reason; every other POST does.
KEEPS_NO_ANSWER = {
    "workings": "reckons and writes nothing",
    "designs": "a second one of the same code is refused",
    "materials": "as designs",
    "machines": "as designs",
    "suppliers": "as designs",
    "offers": "as designs",
    "places": "as designs",
    "jobs": "as designs",
    "operations": "a second one of the same number is refused",
    "limits": "a limit takes the place of the one before",
    "items/{pk}/lot": "writes the same lot again",
    "edges/{pk}/excuse": "says the same again",
    "edges/{pk}/count-again": "as excuse",
    "life-models": "asks for a refit, which does nothing where nothing is new",
}
OPEN_TO_ALL = ("workings", "{rest}")


@dataclass(frozen=True)
class Write:
    method: str
    path: str
    keeps_answers: bool

    @property
    def url(self) -> str:
        return self.path.replace("{pk}", "1").replace("{name}", "milling")

    @property
    def name(self) -> str:
        return self.path.removeprefix("/api/v1/").rstrip("/")


@cache
def writes() -> tuple[Write, ...]:
    found = []
    for path, _, method, callback in EndpointEnumerator().get_api_endpoints():  # type: ignore[no-untyped-call]
        view: Any = callback
        name = (getattr(view, "actions", None) or {}).get(method.lower(), method.lower())
        handler = getattr(view.cls, name)
        if method != "GET":
            found.append(Write(method, path, handler.__code__.co_name == "answer_once"))
    return tuple(one for one in found if not one.name.startswith(OPEN_TO_ALL))


def test_every_post_that_is_no_exception_keeps_its_answer() -> None:
    posts = [one for one in writes() if one.method == "POST"]
    assert {one.name for one in posts} >= {"checkouts", "kits/{pk}/issue", "held/lost", "counts/{pk}/post"}
    assert [
        one.name for one in posts if not one.keeps_answers and not one.name.startswith(tuple(KEEPS_NO_ANSWER))
    ] == []


def test_nobody_writes_signed_out_without_a_role_or_in_the_name_of_a_tablet(shop: Shop) -> None:
    """The badge is read at the counter's own page; a token of the tablet says nothing of who stands there."""
    shop.setter.groups.clear()
    wrong = []
    for one in writes():
        for who, status in ((None, 401), (shop.setter, 403), (shop.tablet, 403)):
            client = APIClient() if who is None else api(who)
            answer = client.generic(one.method, one.url, "{}", content_type="application/json")
            if answer.status_code != status:
                wrong.append(f"{one.method} {one.name} answered {answer.status_code} to {who}")
    assert wrong == []


@pytest.mark.parametrize(
    ("role", "closed"),
    [
        ("planner", ("checkouts", "counts", "kits", "held", "dispatches", "scrap", "moves", "assemblies", "limits")),
        (
            "machinist",
            ("counts", "kits/{pk}/drop", "held/lost", "held/found", "dispatches", "scrap", "moves", "limits"),
        ),
        ("attendant", ("limits", "orders/{pk}/send", "plans", "designs")),
        ("engineer", ("counts", "held/lost", "items/{pk}/regrind", "items/{pk}/back", "limits")),
    ],
)
def test_a_role_is_kept_out_of_what_is_not_its_own(shop: Shop, role: str, closed: tuple[str, ...]) -> None:
    assert role in ROLES
    person: Person = shop.person(f"the-{role}", role)
    asked = [one for one in writes() if one.name.startswith(closed)]
    assert len(asked) >= len(closed)
    client = api(person)
    answers = {
        f"{one.method} {one.name}": client.generic(one.method, one.url, "{}", content_type="application/json")
        for one in asked
    }
    assert {name: answer.status_code for name, answer in answers.items() if answer.status_code != 403} == {}


@pytest.mark.parametrize("number", ["0", "99999999", "9" * 30, "-1", "one", "%00"])
@pytest.mark.parametrize(
    "path", ["kits/{}/", "kits/{}/left/", "counts/{}/", "dispatches/{}/", "scrap/{}/", "limits/{}/"]
)
def test_a_number_that_nothing_has_is_not_found(shop: Shop, path: str, number: str) -> None:
    assert get(shop.lead, path.format(number)).status_code == 404


def test_taking_apart_counts_once_for_one_key(shop: Shop) -> None:
    tool = shop.assembly
    take_out(assembly=tool, who=shop.setter, key="out")
    first = post(shop.setter, f"assemblies/{tool.pk}/apart/", {}, key="a")
    assert first.status_code == 200
    assert post(shop.setter, f"assemblies/{tool.pk}/apart/", {}, key="a").data == first.data
    assert post(shop.setter, f"assemblies/{tool.pk}/apart/", {"note": "again"}, key="a").status_code == 409


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        ("scrap/", {"weighed_g": "nan"}, "weighed_g"),
        ("scrap/", {"weighed_g": "inf"}, "weighed_g"),
        ("scrap/", {"weighed_g": 5, "paid": "-1"}, "paid"),
        ("kits/", {"job": "J-1001", "parts": 0}, "parts"),
        ("kits/", {"job": "J-1001", "lines": [{"design": "CT-45-12", "role": "edge", "wanted": -1}]}, "lines.0.wanted"),
        ("kits/", {"job": "J-1001", "lines": "none"}, "lines"),
        ("counts/", {}, None),
        ("counts/", {"place": "A-01", "design": "CT-45-12"}, None),
        ("held/lost/", {"design": "CT-45-12", "person": "sela", "note": "  "}, "note"),
        ("held/found/", {"move": "x", "to_place": "A-01"}, "move"),
        ("held/transfer/", {"design": "CT-45-12", "person": "sela"}, "to_person"),
        ("checkouts/", {"design": "CT-45-12", "quantity": 0}, "quantity"),
        ("checkouts/", {"design": "CT-45-12", "quantity": True}, "quantity"),
        ("dispatches/", {"shop": "A-01", "labels": ["x"]}, "shop"),
        ("limits/", {"design": "CT-45-12", "per": "year", "most": 1}, "per"),
    ],
)
def test_a_bad_body_is_refused_by_its_field(shop: Shop, path: str, body: dict[str, Any], field: str | None) -> None:
    shop.stock(shop.chamfer_tip, 2)
    assert (shop.job.code, shop.bin.code, shop.setter.username) == ("J-1001", "A-01", "sela")
    answer = post(shop.lead, path, body)
    assert answer.status_code == 400
    assert answer.data["detail"]
    assert field is None or field in answer.data["errors"]
    assert_ledger_balances()
