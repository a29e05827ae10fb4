"""Regrinds and worn carbide over REST."""

from __future__ import annotations

from decimal import Decimal

import pytest

from crib.stock import services as stock
from crib.stock.models import Condition, Item
from crib.stock.records import Dispatch
from tests.api.calls import get, post
from tests.shop import Shop, assert_ledger_balances


@pytest.fixture
def worn(shop: Shop) -> Item:
    drill = shop.design(
        "DR-8.5", "drill", edges=1, diameter_mm=8.5, length_mm=90.0, regrinds_allowed=2, carbide_mass_g=52.0,
        regrind_cost=Decimal("18"),
    )  # fmt: skip
    shop.stock(drill, 1, condition=Condition.PART_USED)
    stock.place_of(regrind="Keen Edge")
    return stock.make_item(design=drill, condition=Condition.PART_USED, place=shop.bin, who=shop.attendant)


def test_a_piece_goes_and_comes_back(shop: Shop, worn: Item) -> None:
    body = {"shop": "R-KEEN-EDGE", "due_on": "2030-01-31", "note": "Coat again"}
    assert post(shop.setter, f"items/{worn.label}/regrind/", body).status_code == 403
    sent, again = (post(shop.attendant, f"items/{worn.label}/regrind/", body, key="k-1") for _ in range(2))
    assert sent.status_code == 201, sent.data
    assert again.data == sent.data
    assert (sent.data["shop"], sent.data["work"], sent.data["lines"][0]["state"]) == ("R-KEEN-EDGE", "regrind", "out")
    assert get(shop.setter, "dispatches/?shop=R-KEEN-EDGE").data["results"][0]["id"] == sent.data["id"]
    assert get(shop.setter, f"dispatches/{sent.data['id']}/").data["lines"][0]["item"] == worn.label

    back = {"to_place": "A-01", "diameter_mm": "0.3339 in", "length_mm": 87.5, "cost": "19.50"}
    refused = post(shop.attendant, f"items/{worn.label}/back/", back | {"diameter_mm": 9})
    assert refused.status_code == 400
    assert "diameter_mm" in str(refused.data["errors"])
    line = post(shop.attendant, f"items/{worn.label}/back/", back, key="k-2")
    assert line.status_code == 200, line.data
    assert (line.data["state"], line.data["cost"], line.data["regrinds_done"]) == ("back", "19.50", 1)
    item = get(shop.setter, f"items/{worn.label}/").data
    assert (item["condition"], item["regrinds_done"], item["length_mm"]) == ("reground", 1, 87.5)
    assert item["diameter_mm"] == pytest.approx(8.48106)
    assert_ledger_balances()


def test_rejected_and_as_it_went(shop: Shop, worn: Item) -> None:
    sent = post(shop.attendant, "dispatches/", {"shop": "R-KEEN-EDGE", "labels": [worn.label]})
    assert sent.status_code == 201, sent.data
    strange = post(shop.attendant, f"items/{worn.label}/back/", {"result": "as_it_went", "length_mm": 80})
    assert strange.status_code == 400
    back = post(shop.attendant, f"items/{worn.label}/back/", {"result": "as_it_went"})
    assert (back.data["state"], back.data["regrinds_done"]) == ("back", 0)
    post(shop.attendant, f"items/{worn.label}/regrind/", {"shop": "R-KEEN-EDGE"})
    refused = post(shop.attendant, f"items/{worn.label}/back/", {"result": "rejected"})
    assert refused.status_code == 400, "it says no reason"
    line = post(shop.attendant, f"items/{worn.label}/back/", {"result": "rejected", "note": "Cracked", "cost": 5})
    assert line.data["state"] == "rejected"
    again = post(shop.attendant, f"items/{worn.label}/back/", {"result": "rejected", "note": "Cracked"})
    assert (again.status_code, again.data["type"]) == (409, "urn:edgetally:problem:not-out")
    assert_ledger_balances()


def test_all_labels_go_or_none(shop: Shop, worn: Item) -> None:
    body = {"shop": "R-KEEN-EDGE", "labels": [worn.label, shop.bin.code]}
    refused = post(shop.attendant, "dispatches/", body)
    assert refused.status_code == 400
    assert "labels.1" in str(refused.data["errors"])
    assert not Dispatch.objects.exists()


def test_worn_carbide(shop: Shop, worn: Item) -> None:
    stock.transfer(
        design=worn.design, quantity=1, from_place=worn.place, to_place=stock.spent_place(), item=worn,
        condition=worn.condition, becomes=Condition.SPENT, who=shop.attendant, key="w",
    )  # fmt: skip
    assert get(shop.setter, "scrap/expected/").data == {"expected_g": 52.0, "pieces": 1, "unknown_pieces": 0}
    assert post(shop.setter, "scrap/", {"weighed_g": 50}).status_code == 403
    made = post(shop.attendant, "scrap/", {"weighed_g": 50, "taken_by": "Grey Metals", "paid": "0.90"}, key="s")
    assert made.status_code == 201, made.data
    assert made.data["difference"] == pytest.approx(-2 / 52)
    assert post(shop.lead, "scrap/", {"weighed_g": 49}).status_code == 409
    assert post(shop.attendant, "scrap/", {"weighed_g": "NaN", "after": made.data["id"]}).status_code == 400
    assert get(shop.setter, "scrap/").data["results"][0]["pieces"] == 1
