"""The counter over the wire: with the page's script and without, at a tablet and at one's own screen."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from crib.people.models import Person
from crib.stock.labels import make_label
from crib.stock.models import Move
from tests.shop import Shop, assert_ledger_balances

SCAN, UNDO, PAGE = (reverse(f"crib:{name}") for name in ("counter_scan", "counter_undo", "counter"))


class Counter:
    def __init__(self, shop: Shop, person: Person, *, script: bool = True) -> None:
        self.shop, self.client = shop, Client()
        self.client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        self.headers = {"X-Counter": "1"} if script else {}

    def scan(self, text: str, key: str | None = None) -> Any:
        form = {"text": text, "key": key or self.shop.key()[-40:]}
        answer: Any = self.client.post(SCAN, form, headers=self.headers)
        return answer


def badge(person: Person) -> str:
    return make_label("P", person.pk)


def test_with_the_script_a_scan_is_answered_by_a_part(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    counter = Counter(shop, shop.setter)
    answer = counter.scan("2*CT-45-12", key="k1")
    assert (answer.status_code, answer["X-Counter-Answer"]) == (200, "1")
    assert "2 × CT-45-12 → Sela Marsh" in answer.content.decode()
    assert "<html" not in answer.content.decode()
    assert counter.scan("2*CT-45-12", key="k1").status_code == 200
    refused = counter.scan("9*CT-45-12")
    assert (refused.status_code, refused["X-Counter-Answer"]) == (409, "1")
    assert "only 3" in refused.content.decode()
    assert Move.objects.filter(why="check_out").count() == 1


def test_without_the_script_the_page_says_the_same(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    counter = Counter(shop, shop.setter, script=False)
    answer = counter.scan("CT-45-12")
    assert (answer.status_code, answer["Location"]) == (302, PAGE)
    assert "1 × CT-45-12 → Sela Marsh" in counter.client.get(PAGE).content.decode()


def test_at_the_tablet_every_act_names_its_person(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    counter = Counter(shop, shop.tablet)
    counter.scan("CT-45-12")
    assert not Move.objects.filter(why="check_out").exists()
    counter.scan(badge(shop.setter))
    move = Move.objects.get(why="check_out")
    assert (move.who, move.to_place.person) == (shop.setter, shop.setter)
    counter.scan("done")
    counter.scan("CT-45-12")
    assert Move.objects.filter(why="check_out").count() == 1


def test_a_line_is_undone_by_its_button(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    counter = Counter(shop, shop.setter)
    counter.scan("CT-45-12")
    move = Move.objects.get(why="check_out")
    for _ in range(2):
        answer = counter.client.post(UNDO, {"move": move.pk}, headers=counter.headers)
        assert (answer.status_code, "Undone" in answer.content.decode()) == (200, True)
    assert Move.objects.filter(why="reverse").count() == 1
    unknown = counter.client.post(UNDO, {"move": "77777"}, headers=counter.headers)
    assert (unknown.status_code, unknown["X-Counter-Answer"]) == (409, "1")
    assert_ledger_balances()


def test_a_scan_without_a_key_is_refused(shop: Shop) -> None:
    counter = Counter(shop, shop.setter)
    assert counter.client.post(SCAN, {"text": "CT-45-12"}).status_code == 400


def test_the_badge_runs_out(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    from datetime import timedelta

    from crib.core import clock

    shop.stock(shop.chamfer_tip, 5)
    counter = Counter(shop, shop.tablet)
    counter.scan(badge(shop.setter))
    now = clock.now()
    monkeypatch.setattr(clock, "now", lambda: now + timedelta(minutes=3))
    answer = counter.scan("CT-45-12")
    assert "Scan the badge" in answer.content.decode()
    assert not Move.objects.filter(why="check_out").exists()
