"""Limits over REST: set and lifted by a lead, kept for all, exceeded by a lead with a reason alone."""

from __future__ import annotations

from crib.stock.models import Move, TakeLimit
from tests.api.calls import BASE, PROBLEM, api, get, post
from tests.shop import Shop


def test_a_lead_sets_lists_and_lifts_limits(shop: Shop) -> None:
    body = {"design": shop.chamfer_tip.code, "per": "person", "most": 4, "days": 7}
    assert post(shop.attendant, "limits/", body).status_code == 403
    made = post(shop.lead, "limits/", body)
    assert (made.status_code, made.data) == (201, {"id": made.data["id"], **body})
    again = post(shop.lead, "limits/", {"design": "CT-45-12", "per": "person", "most": 2})
    assert (again.data["id"], again.data["most"], again.data["days"]) == (made.data["id"], 2, None)
    assert [one["most"] for one in get(shop.setter, "limits/?design=CT-45-12").data["results"]] == [2]
    assert get(shop.setter, f"limits/{made.data['id']}/").data["per"] == "person"
    for wrong in ({"per": "shift"}, {"most": -1}, {"days": 0}, {"design": "NO-SUCH"}):
        assert post(shop.lead, "limits/", body | wrong).status_code == 400, wrong
    address = f"{BASE}/limits/{made.data['id']}/"
    assert api(shop.setter).delete(address).status_code == 403
    assert api(shop.lead).delete(address).status_code == 204
    assert api(shop.lead).delete(address).status_code == 404
    assert api(shop.lead).get(f"{BASE}/limits/nothing/").status_code == 404
    assert not TakeLimit.objects.exists()


def test_more_than_the_limit_takes_a_lead_and_a_reason(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 9)
    post(shop.lead, "limits/", {"design": "CT-45-12", "per": "person", "most": 1})
    body = {"design": "CT-45-12", "quantity": 2}
    refused = post(shop.setter, "checkouts/", body)
    assert (refused.status_code, refused.data["type"]) == (409, f"{PROBLEM}limit-reached")
    assert "Lena Holt may let more go out" in refused.data["detail"]
    assert post(shop.setter, "checkouts/", body | {"reason": "I say so"}).status_code == 403
    assert not Move.objects.filter(why="check_out").exists()
    made = post(shop.lead, "checkouts/", body | {"reason": "two machines", "person": shop.setter.username}, key="k")
    (move,) = made.data["moves"]
    assert (made.status_code, move["allowed_by"], move["note"]) == (201, "lena", "two machines")
    assert post(shop.setter, "checkouts/", {"design": "CT-45-12"}).status_code == 409
