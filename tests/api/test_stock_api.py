"""Stock over REST: handing out, bringing back, the ledger, and keys that count once."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.core.errors import KeyAlreadyUsed
from crib.stock import services
from crib.stock.models import Condition, Item, Move
from tests.api.calls import BASE, api, post
from tests.shop import Shop, assert_ledger_balances


def test_a_machinist_draws_for_themselves(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    _ = shop.job
    made = post(shop.setter, "checkouts/", {"design": "CT-45-12", "quantity": 2, "job": "J-1001"})
    assert made.status_code == 201, made.data
    (move,) = made.data["moves"]
    assert (move["quantity"], move["from_place"], move["to_place"], move["job"]) == (2, "A-01", "P-SELA", "J-1001")
    refused = post(shop.setter, "checkouts/", {"design": "CT-45-12", "person": shop.other_setter.username})
    assert (refused.status_code, refused.data["type"]) == (403, "urn:edgetally:problem:not-allowed")
    assert post(shop.planner, "checkouts/", {"design": "CT-45-12"}).status_code == 403
    assert_ledger_balances()


def test_the_same_key_counts_once(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    body = {"design": "CT-45-12", "quantity": 2}
    first, again = (post(shop.setter, "checkouts/", body, key="k-1") for _ in range(2))
    assert first.data == again.data
    other = post(shop.setter, "checkouts/", body | {"quantity": 3}, key="k-1")
    assert (other.status_code, other.data["type"]) == (409, "urn:edgetally:problem:key-already-used")
    assert Move.objects.filter(why="check_out").count() == 1


def test_it_comes_from_as_many_bins_as_it_takes(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 3)
    shop.stock(shop.chamfer_tip, 2, place=shop.other_bin)
    made = post(shop.attendant, "checkouts/", {"design": "CT-45-12", "quantity": 4, "person": shop.setter.username})
    assert [(move["from_place"], move["quantity"]) for move in made.data["moves"]] == [("A-01", 3), ("B-02", 1)]
    refused = post(shop.setter, "checkouts/", {"design": "CT-45-12", "quantity": 2})
    assert (refused.status_code, refused.data["type"]) == (409, "urn:edgetally:problem:not-enough-on-hand")
    assert "only 1" in refused.data["detail"]
    assert "Sela Marsh holds 4" in refused.data["detail"]
    assert_ledger_balances()


def test_a_service_key_answers_all_the_moves_it_made(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 3)
    shop.stock(shop.chamfer_tip, 2, place=shop.other_bin)
    given: dict[str, Any] = {"design": shop.chamfer_tip, "person": shop.setter, "who": shop.setter, "key": "k"}
    first = services.check_out_anywhere(**given, quantity=5)
    assert services.check_out_anywhere(**given, quantity=5) == first
    with pytest.raises(KeyAlreadyUsed):
        services.check_out_anywhere(**given, quantity=3)


def test_a_piece_goes_by_its_label_and_comes_back(shop: Shop) -> None:
    piece = shop.item(shop.body)
    made = post(shop.setter, "checkouts/", {"label": piece.label})
    assert made.data["moves"][0]["item"] == piece.label
    detail = api(shop.setter).get(f"{BASE}/items/{piece.label}/").data
    assert (detail["place"], detail["design"]) == ("P-SELA", "BD-12-100")
    back = post(shop.setter, "checkouts/back/", {"label": piece.label, "condition": "part_used"})
    assert (back.status_code, back.data["moves"][0]["becomes"]) == (201, "part_used")
    history = api(shop.setter).get(f"{BASE}/items/{piece.label}/history/").data["results"]
    assert [move["why"] for move in history] == ["take_back", "check_out"]
    assert Item.objects.get(pk=piece.pk).place == shop.bin
    assert_ledger_balances()


def test_tips_come_back_to_their_bin_and_spent_ones_to_the_box(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    post(shop.setter, "checkouts/", {"design": "CT-45-12", "quantity": 3})
    body = {"design": "CT-45-12", "quantity": 1}
    back = post(shop.setter, "checkouts/back/", body, key="b1")
    assert post(shop.setter, "checkouts/back/", body, key="b1").data == back.data
    assert back.data["moves"][0]["to_place"] == "A-01"
    spent = post(shop.setter, "checkouts/back/", body | {"condition": Condition.SPENT})
    assert spent.data["moves"][0]["to_place"] == "SPENT"
    more = post(shop.setter, "checkouts/back/", body | {"quantity": 2})
    assert (more.status_code, "holds 1" in more.data["detail"]) == (409, True)
    assert_ledger_balances()


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "design"),
        ({"design": "CT-45-12", "label": "CT-45-12"}, "design"),
        ({"design": "NOPE"}, "design"),
        ({"design": 7}, "design"),
        ({"design": "CT-45-12", "quantity": 0}, "quantity"),
        ({"design": "CT-45-12", "quantity": 1.5}, "quantity"),
        ({"design": "CT-45-12", "quantity": 10**20}, "quantity"),
        ({"design": "CT-45-12", "job": "J-0"}, "job"),
        ({"design": "CT-45-12", "condition": "shiny"}, "condition"),
        ({"label": "ET1:I1A"}, "text"),
        ({"label": "A-01"}, "label"),
    ],
)
def test_bad_input_names_the_field(shop: Shop, body: dict[str, Any], field: str) -> None:
    shop.stock(shop.chamfer_tip, 5)
    refused = post(shop.setter, "checkouts/", body)
    assert (refused.status_code, list(refused.data["errors"])) == (400, [field]), refused.data
    assert Move.objects.count() == 1


def test_a_move_is_reversed_by_who_keeps_stock(shop: Shop) -> None:
    move = shop.stock(shop.chamfer_tip, 5)
    assert post(shop.setter, f"moves/{move.pk}/reverse/", {}).status_code == 403
    made = post(shop.attendant, f"moves/{move.pk}/reverse/", {"note": "wrong pallet"}, key="r1")
    assert (made.status_code, made.data["reverses"], made.data["note"]) == (201, move.pk, "wrong pallet")
    again = post(shop.attendant, f"moves/{move.pk}/reverse/", {})
    assert (again.status_code, again.data["type"]) == (409, "urn:edgetally:problem:already-reversed")
    assert post(shop.attendant, "moves/999999/reverse/", {}).status_code == 404
    assert_ledger_balances()


def test_the_ledger_pages_by_cursor_and_is_never_written_to(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    for _ in range(3):
        shop.check_out(shop.chamfer_tip, by=shop.setter)
    client = api(shop.setter)
    first = client.get(f"{BASE}/moves/?page_size=2&design=CT-45-12").data
    second = client.get(first["next"]).data
    assert [len(first["results"]), len(second["results"]), second["next"]] == [2, 2, None]
    assert api(shop.lead).post(f"{BASE}/moves/", {}, format="json").status_code == 405
    assert client.get(f"{BASE}/moves/?cursor=nonsense").status_code in (400, 404)


def test_places_are_kept_by_who_keeps_stock(shop: Shop) -> None:
    _ = shop.bin
    made = post(shop.attendant, "places/", {"code": "C-03", "name": "Drawer 3", "kind": "bin", "parent": "A-01"})
    assert (made.status_code, made.data["parent"]) == (201, "A-01"), made.data
    assert post(shop.attendant, "places/", {"code": "X", "name": "X", "kind": "person"}).status_code == 400
    circle = api(shop.attendant).patch(f"{BASE}/places/A-01/", {"parent": "C-03"}, format="json")
    assert (circle.status_code, list(circle.data["errors"])) == (400, ["parent"])
    shop.stock(shop.chamfer_tip, 1)
    full = post(shop.attendant, "places/A-01/retire/", {})
    assert (full.status_code, "Move them first" in full.data["detail"]) == (409, True)
    assert post(shop.attendant, "places/C-03/retire/", {}).data["retired_at"]


def test_stock_lists_cost_the_same_however_long(shop: Shop) -> None:
    client = api(shop.planner)
    counted = []
    for wanted in (5, 50):
        for number in range(Move.objects.count(), wanted):
            shop.stock(shop.design(f"T-{number}"), 2)
        for path in ("stock", "moves"):
            with CaptureQueriesContext(connection) as queries:
                found = client.get(f"{BASE}/{path}/?page_size=200").data["results"]
            assert len(found) >= wanted
            counted.append(len(queries))
    assert counted[:2] == counted[2:]
