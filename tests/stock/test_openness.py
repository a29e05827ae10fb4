"""Every figure opens down to its moves, a day gone by is told from the moves since, and differences are explained."""

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crib.core import clock
from crib.core.errors import BadInput
from crib.stock import selectors, services
from crib.stock.models import Balance, Move
from tests.shop import Shop
from tests.web.pages import signed_in, text


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts=st.lists(st.tuples(st.sampled_from(("in", "out", "back", "over")), st.integers(1, 4)), max_size=12))
def test_a_day_gone_by_equals_a_replay_of_its_moves(shop: Shop, acts: list[tuple[str, int]]) -> None:
    tip, now = shop.chamfer_tip, clock.now()
    Move.objects.all()._raw_delete("default")
    Balance.objects.all().delete()
    mine = services.place_of(person=shop.setter)
    ways = {"out": (shop.bin, mine), "back": (mine, shop.bin), "over": (shop.bin, shop.other_bin)}
    for number, (act, many) in enumerate(acts):
        if act == "in":
            shop.stock(tip, many)
        else:
            one, other = ways[act]
            held = Balance.objects.filter(place=one, quantity__gte=many).exists()
            if held:
                services.transfer(
                    design=tip, quantity=many, from_place=one, to_place=other, who=shop.lead, key=shop.key()
                )
        Move.objects.filter(key__startswith="test:", at__gte=now - timedelta(hours=1)).update(
            at=now - timedelta(days=len(acts) - number)
        )
    for back in range(len(acts) + 1):
        day = clock.today() - timedelta(days=back)
        replay: dict[str, int] = {}
        for move in Move.objects.select_related("from_place", "to_place"):
            if move.at.date() <= day:
                replay[move.to_place.code] = replay.get(move.to_place.code, 0) + move.quantity
                replay[move.from_place.code] = replay.get(move.from_place.code, 0) - move.quantity
        told = {row.place.code: row.quantity for row in selectors.balances_on(day=day)}
        assert told == {place: many for place, many in replay.items() if many}


def test_a_past_day_costs_the_same_queries_whatever_the_day(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    with CaptureQueriesContext(connection) as queries:
        selectors.balances_on(day=clock.today() - timedelta(days=400))
    assert len(queries) <= 3
    for odd in ("x", "2026-13-01", "20261101", "2999-01-01"):
        with pytest.raises(BadInput):
            selectors.read_day(odd)


def test_a_balance_opens_down_to_moves_with_what_stood_after_each(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 60)
    for _ in range(55):
        shop.check_out(shop.chamfer_tip, by=shop.setter)
    row = Balance.objects.get(place=shop.bin)
    behind = selectors.balance_behind(number=row.pk)
    assert ([line.after for line in behind.lines[:3]], behind.come_to, behind.sound) == ([5, 6, 7], 5, True)
    older = selectors.balance_behind(number=row.pk, before=str(behind.before))
    assert (older.lines[0].after, older.lines[-1].after, older.lines[-1].change) == (55, 60, 60)
    client = signed_in(shop.setter)
    page = client.get(reverse("crib:design", args=[shop.chamfer_tip.pk])).content.decode()
    for name, total in (("in-crib", 5), ("out", 55), ("spent", 0)):
        address = reverse("crib:figure", args=[shop.chamfer_tip.pk, name])
        assert client.get(address).context["figure"].total == total
        assert (address in page) == bool(total)
    assert reverse("crib:balance", args=[row.pk]) in page
    assert client.get(reverse("crib:figure", args=[shop.chamfer_tip.pk, "x"])).status_code == 404
    assert client.get(reverse("crib:move", args=[Move.objects.first().pk])).status_code == 200  # type: ignore[union-attr]


def test_the_ledger_is_filtered_and_exported_with_no_formula_in_it(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    services.transfer(
        design=shop.chamfer_tip, quantity=1, from_place=shop.bin, to_place=shop.other_bin, who=shop.lead, key="x",
        note="=1+1",
    )  # fmt: skip
    client = signed_in(shop.setter)
    assert len(client.get(reverse("crib:ledger"), {"why": "transfer"}).context["ledger"].moves) == 1
    answer = client.get(reverse("crib:ledger_export"), {"what": "B-02"})
    rows = answer.getvalue().decode().splitlines()
    assert (len(rows), "'=1+1" in rows[1]) == (2, True)
    assert client.get(reverse("crib:ledger_export"), {"since": "x"}).status_code == 400
    assert client.get(reverse("crib:ledger"), {"what": "nothing"}).status_code == 400


def test_a_difference_is_explained_by_the_line_that_fits(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 9)
    out = shop.check_out(shop.chamfer_tip, 4, by=shop.setter)
    for place, by in ((out.from_place, 4), (out.to_place, -4)):
        Balance.objects.filter(place=place).update(quantity=F("quantity") + by)
    found = selectors.check_ledger()
    assert {(one.by, one.moves) for one in found} == {(4, (out.pk,)), (-4, (out.pk,))}
    assert all("never felt" in one.cause for one in found)
    said = StringIO()
    with pytest.raises(SystemExit):
        call_command("check_ledger", "--json", stdout=said)
    assert json.loads(said.getvalue())["differences"][0]["moves"] == [out.pk]
    page = text(signed_in(shop.lead).get(reverse("crib:check_ledger"), {"now": "1"}))
    assert "2 differences" in page
    assert signed_in(shop.setter).get(reverse("crib:check_ledger")).status_code == 403
    Balance.objects.filter(place=out.to_place).update(quantity=F("quantity") + 4)
    Balance.objects.filter(place=out.from_place).update(quantity=F("quantity") - 4)
    assert selectors.check_ledger() == []
