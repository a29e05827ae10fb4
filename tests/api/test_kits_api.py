"""Kits over REST: staged, handed out, brought back, each once for its key."""

from __future__ import annotations

import pytest

from crib.stock import services
from crib.stock.models import Move
from tests.api.calls import get, post
from tests.shop import Shop, assert_ledger_balances

TIPS = {"design": "CT-45-12", "role": "edge", "wanted": 3}


@pytest.fixture
def crib(shop: Shop) -> Shop:
    shop.stock(shop.chamfer_tip, 6)
    _ = shop.job
    return shop


def test_a_kit_is_staged_handed_out_and_brought_back(crib: Shop) -> None:
    body = crib.item(crib.body)
    asked = {"job": "J-1001", "parts": 12, "lines": [TIPS, {"design": "BD-12-100", "role": "body", "wanted": 1}]}
    made = post(crib.attendant, "kits/", asked, key="stage")
    assert made.status_code == 201, made.data
    assert post(crib.attendant, "kits/", asked, key="stage").data == made.data
    number = made.data["id"]
    assert (made.data["state"], made.data["label"][:5], made.data["parts"]) == ("staged", "ET1:K", 12)
    assert [(line["design"], line["free"], line["short"]) for line in made.data["lines"]] == [
        ("CT-45-12", 6, 0),
        ("BD-12-100", 1, 0),
    ]
    changed = post(crib.attendant, f"kits/{number}/change/", {"lines": [TIPS | {"wanted": 2}]})
    assert changed.data["lines"][0]["why"].startswith("By hand: 2 instead of 3")
    given = {"person": crib.setter.username, "pieces": [body.label]}
    out = post(crib.attendant, f"kits/{number}/issue/", given, key="out")
    assert (out.status_code, out.data["kit"]["state"], out.data["short"]) == (201, "issued", [])
    assert post(crib.attendant, f"kits/{number}/issue/", given, key="out").data == out.data
    left = get(crib.setter, f"kits/{number}/left/").data
    assert [(one["design"], one["label"], one["quantity"], one["to_place"]) for one in left] == [
        ("BD-12-100", body.label, 1, "A-01"),
        ("CT-45-12", None, 2, "A-01"),
    ]
    back = post(crib.setter, f"kits/{number}/back/", {}, key="back")
    assert (back.status_code, back.data["kit"]["state"], len(back.data["moves"])) == (201, "back", 2)
    assert post(crib.setter, f"kits/{number}/back/", {}, key="back").data == back.data
    assert Move.objects.exclude(why="receive").count() == 4
    assert get(crib.setter, "kits/?state=back&job=J-1001").data["results"][0]["id"] == number
    assert_ledger_balances()


def test_lines_of_the_return_say_what_became_of_it(crib: Shop) -> None:
    number = post(crib.attendant, "kits/", {"job": "J-1001", "parts": 1, "lines": [TIPS]}).data["id"]
    post(crib.setter, f"kits/{number}/issue/")
    lines = [
        {"design": "CT-45-12", "quantity": 1, "condition": "spent"},
        {"design": "CT-45-12", "quantity": 1, "condition": "part_used", "to_place": crib.other_bin.code},
    ]
    back = post(crib.setter, f"kits/{number}/back/", {"lines": lines})
    assert [(move["to_place"], move["becomes"]) for move in back.data["moves"]] == [
        ("SPENT", "spent"),
        ("B-02", "part_used"),
    ]
    assert back.data["kit"]["lines"][0]["came_back"] == 1


def test_what_is_short_is_a_problem_that_says_what_to_do(crib: Shop) -> None:
    asked = {"job": "J-1001", "parts": 1, "lines": [TIPS | {"wanted": 9}]}
    number = post(crib.attendant, "kits/", asked).data["id"]
    short = post(crib.setter, f"kits/{number}/issue/")
    assert (short.status_code, short.data["type"]) == (409, "urn:edgetally:problem:not-enough-on-hand")
    assert "3 CT-45-12 short: 6 of 9 free" in short.data["detail"]
    some = post(crib.setter, f"kits/{number}/issue/", {"only_what_is_there": True})
    assert (some.status_code, some.data["short"]) == (201, ["3 CT-45-12"])
    undone = post(crib.setter, f"kits/{number}/undo/")
    assert undone.data["kit"]["state"] == "staged"
    assert post(crib.attendant, f"kits/{number}/drop/").data["state"] == "dropped"


def test_rights(crib: Shop) -> None:
    asked = {"job": "J-1001", "parts": 1, "lines": [TIPS]}
    assert post(crib.setter, "kits/", asked).status_code == 403
    number = post(crib.attendant, "kits/", asked).data["id"]
    assert post(crib.planner, f"kits/{number}/issue/").status_code == 403
    other = post(crib.setter, f"kits/{number}/issue/", {"person": crib.other_setter.username})
    assert (other.status_code, other.data["type"]) == (403, "urn:edgetally:problem:not-allowed")
    assert post(crib.setter, f"kits/{number}/drop/").status_code == 403
    assert get(crib.planner, f"kits/{number}/").data["job"] == "J-1001"
    assert get(crib.planner, "kits/999/").status_code == 404


def test_a_kit_beyond_a_limit_needs_a_reason_of_who_may_allow_it(crib: Shop) -> None:
    services.set_take_limit(design=crib.chamfer_tip, per="person", most=0, days=7, who=crib.lead)
    number = post(crib.attendant, "kits/", {"job": "J-1001", "parts": 1, "lines": [TIPS]}).data["id"]
    given = {"person": crib.setter.username, "only_what_is_there": True}
    refused = post(crib.attendant, f"kits/{number}/issue/", given)
    assert (refused.status_code, "Lena Holt may let more go out" in str(refused.data)) == (409, True)
    assert post(crib.attendant, f"kits/{number}/issue/", given | {"reason": "long run"}).status_code == 403
    out = post(crib.lead, f"kits/{number}/issue/", given | {"reason": "long run"})
    assert (out.status_code, out.data["moves"][0]["allowed_by"]) == (201, crib.lead.username)


def test_a_piece_is_named_once_and_one_line_is_not_reversed_alone(crib: Shop) -> None:
    body = crib.item(crib.body)
    lines = [{"design": "BD-12-100", "role": "body", "wanted": 2}]
    number = post(crib.attendant, "kits/", {"job": "J-1001", "parts": 1, "lines": lines}).data["id"]
    twice = post(crib.setter, f"kits/{number}/issue/", {"pieces": [body.label, body.label.lower()]})
    assert (twice.status_code, list(twice.data["errors"])) == (400, ["pieces"])
    asked = {"pieces": [body.label], "only_what_is_there": True}
    (move,) = post(crib.setter, f"kits/{number}/issue/", asked, key="i").data["moves"]
    assert move["document"] == f"Kit {number}"
    alone = post(crib.attendant, f"moves/{move['id']}/reverse/")
    assert (alone.status_code, alone.data["type"]) == (409, "urn:edgetally:problem:owned-by-document")
    assert "bring this one back at the counter" in alone.data["detail"]
    assert post(crib.setter, f"kits/{number}/undo/").data["kit"]["state"] == "staged"
