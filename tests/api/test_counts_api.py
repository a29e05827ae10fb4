"""Counts and past balances over REST: a blind count tells nothing, and each write needs its right."""

import json
from datetime import timedelta

from crib.core import clock
from crib.stock import services
from crib.stock.models import Move
from tests.api.calls import get, post
from tests.shop import Shop, assert_ledger_balances


def test_a_blind_count_goes_from_start_to_post_and_tells_nothing_before(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 3173)
    stray = shop.item(shop.body)
    services.transfer(
        design=shop.body, item=stray, quantity=1, from_place=shop.bin, to_place=shop.other_bin, who=shop.lead, key="t"
    )
    assert post(shop.setter, "counts/", {"place": "A-01"}).status_code == 403
    assert post(shop.attendant, "counts/", {}).status_code == 400
    made = post(shop.attendant, "counts/", {"place": "A-01"}, key="c1")
    assert (made.status_code, made.data["blind"], made.data["state"]) == (201, True, "open")
    assert post(shop.attendant, "counts/", {"place": "A-01"}, key="c1").data["id"] == made.data["id"]
    path = f"counts/{made.data['id']}/"
    (line,) = made.data["lines"]
    figure = {"design": "CT-45-12", "counted": 3170, "marker": line["marker"]}
    first = post(shop.attendant, f"{path}lines/", figure, key="f1")
    assert (first.status_code, first.data["count_again"]) == (200, True), first.data
    assert post(shop.attendant, f"{path}review/").status_code == 409
    scanned = post(shop.attendant, f"{path}pieces/", {"label": stray.label})
    assert (scanned.data["found"], scanned.data["booked"]) == (True, None)
    assert post(shop.attendant, f"{path}pieces/", {"label": "CT-45-12"}).status_code == 400
    said = json.dumps([made.data, first.data, get(shop.attendant, path).data, scanned.data], default=str)
    assert "3173" not in said
    assert "B-02" not in said
    # The same figure under the same key is no second look.
    assert post(shop.attendant, f"{path}lines/", figure, key="f1").data["count_again"]
    assert not post(shop.attendant, f"{path}lines/", figure, key="f2").data["count_again"]
    review = post(shop.attendant, f"{path}review/")
    shown = {one["design"]: (one["expected"], one["difference"]) for one in review.data["lines"]}
    assert shown == {"CT-45-12": (3173, -3), "BD-12-100": (0, 1)}
    assert post(shop.attendant, f"{path}reopen/").data["state"] == "open"
    assert post(shop.attendant, f"{path}review/").status_code == 200
    posted = post(shop.lead, f"{path}post/", key="p1")
    assert (posted.status_code, posted.data["state"]) == (200, "posted")
    assert post(shop.lead, f"{path}post/", key="p1").data["state"] == "posted"
    assert post(shop.lead, f"{path}drop/").status_code == 409
    assert Move.objects.filter(why="count").count() == 2
    (month,) = get(shop.setter, "counts/accuracy/").data
    assert (month["too_few"], month["elsewhere"], month["right"]) == (3, 1, 0)
    assert [one["design"] for one in get(shop.setter, "counts/due/").data] == ["BD-12-100"]
    assert_ledger_balances()


def test_stock_as_it_stood_on_a_day(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    Move.objects.update(at=clock.now() - timedelta(days=3))
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    before = (clock.today() - timedelta(days=1)).isoformat()
    found = get(shop.setter, f"stock/?on={before}&place=A-01").data["results"]
    assert [(one["design"], one["quantity"], one["labelled"]) for one in found] == [("CT-45-12", 5, None)]
    assert get(shop.setter, f"stock/?on={clock.today().isoformat()}&place=A-01").data["results"][0]["quantity"] == 3
    odd = (
        "on=yesterday",
        "on=2999-01-01",
        f"on={before}&kind=bin",
        f"on={before}&place=NOPE",
        f"on={before}&design=%00",
    )
    assert [get(shop.setter, f"stock/?{one}").status_code for one in odd] == [400] * len(odd)
