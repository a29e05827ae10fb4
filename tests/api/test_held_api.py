"""Who has what and the search, over the API."""

from crib.stock.models import Move
from crib.stock.services import place_of
from tests.api.calls import get, post
from tests.shop import Shop, assert_ledger_balances


def test_handing_on_losing_and_finding(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    shop.check_out(shop.chamfer_tip, 3, by=shop.setter)
    place_of(machine=shop.machine)
    body = {"design": "CT-45-12", "quantity": 2, "person": "sela", "to_person": shop.other_setter.username}
    first = post(shop.setter, "held/transfer/", body, key="a")
    assert (first.status_code, first.data["why"]) == (201, "transfer")
    assert post(shop.setter, "held/transfer/", body, key="a").data == first.data
    assert post(shop.setter, "held/transfer/", body | {"quantity": 1}, key="a").status_code == 409
    assert post(shop.setter, "held/transfer/", body | {"to_machine": "VM-1"}, key="b").status_code == 400
    lost = {"design": "CT-45-12", "quantity": 1, "person": "sela", "note": "swept up"}
    assert post(shop.setter, "held/lost/", lost, key="c").status_code == 403
    assert post(shop.attendant, "held/lost/", lost | {"note": ""}, key="d").status_code == 400
    move = post(shop.attendant, "held/lost/", lost, key="e").data
    found = {"move": move["id"], "to_place": shop.bin.code}
    assert post(shop.attendant, "held/found/", found, key="f").status_code == 201
    assert post(shop.attendant, "held/found/", found, key="g").status_code == 409
    (line,) = get(shop.planner, "held/").data["results"]
    assert (line["person"], line["machine"], line["quantity"], line["overdue"]) == ("odd", None, 2, False)
    assert Move.objects.filter(why__in=("lost", "found")).count() == 2
    assert_ledger_balances()


def test_search(shop: Shop) -> None:
    assert shop.chamfer_tip.code == "CT-45-12"
    answer = get(shop.planner, "search/?q=ct4512").data
    assert answer["results"][0] == {
        "kind": "design", "name": "CT-45-12", "more": "Chamfer tip 90°, 12 mm, maker's number 90412",
        "label": answer["results"][0]["label"], "exact": True, "retired": False,
    }  # fmt: skip
    assert get(shop.planner, "search/").data == {"q": "", "said": "", "results": []}
    assert get(shop.planner, "search/?q=ET1:I1X").data["said"] != ""
