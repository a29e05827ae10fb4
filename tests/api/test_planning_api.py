"""Planning over REST: a month in, what it takes out, orders and receipts, and every refusal as a problem document."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from crib.core import clock
from crib.planning import services as planning
from crib.planning.models import ProductionPlan
from crib.stock.selectors import on_hand
from tests.api.calls import BASE, api, get, post
from tests.planning.conftest import MONTH, PlanningShop

PLAN = {"month": MONTH, "lines": [{"operation": "J-1001/20", "parts": 600, "from": "2026-12-01", "to": "2026-12-31"}]}


@pytest.fixture(autouse=True)
def today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 11, 25, 9, 0, tzinfo=UTC))


@pytest.fixture
def shop(db: None) -> PlanningShop:
    return PlanningShop()


def test_a_month_is_posted_and_answers_what_it_takes(shop: PlanningShop) -> None:
    shop.sold()
    assert shop.operation.pk
    shop.stock(shop.chamfer_tip, 3)
    made = post(shop.planner, "plans/", PLAN)
    assert made.status_code == 201, made.data
    assert made.data["behind"] is True
    assert made.data["lines"] == [{"operation": "J-1001/20", "parts": 600, "from": "2026-12-01", "to": "2026-12-31"}]
    planning.refresh_due_plans()
    number = made.data["id"]
    demand = get(shop.planner, f"plans/{number}/demand/").data
    (row,) = demand["designs"]
    assert demand["behind"] is False
    assert row["design"] == "CT-45-12"
    assert len(row["days"]) == 31
    assert row["quantiles"]["10"] <= row["mean"] <= row["quantiles"]["95"]
    assert row["days"][-1]["running"]["95"] == row["quantiles"]["95"]
    ahead = get(shop.planner, f"plans/{number}/projection/").data["designs"][0]
    assert (ahead["on_hand"], ahead["short_on_95"]) == (3, "2026-12-01")
    assert ahead["days"][0]["day"] == "2026-11-25"
    again = post(shop.planner, "plans/", PLAN | {"lines": []})
    assert (again.status_code, again.data["lines"]) == (200, [])


def test_an_operation_may_be_given_by_its_number(shop: PlanningShop) -> None:
    line = PLAN["lines"][0] | {"operation": shop.operation.pk}  # type: ignore[operator]
    assert post(shop.planner, "plans/", {"month": MONTH, "lines": [line]}).status_code == 201
    refused = post(shop.planner, "plans/", {"month": MONTH, "lines": [line | {"operation": 10**30}]})
    assert refused.data["errors"] == {"lines.0.operation": [f"There is no operation with the number {10**30}."]}


def test_bad_cells_are_named_by_line(shop: PlanningShop) -> None:
    assert shop.operation.pk
    lines = [
        PLAN["lines"][0] | {"parts": -4},  # type: ignore[operator]
        PLAN["lines"][0],
        PLAN["lines"][0] | {"operation": "J-9/1", "to": "2027-01-03"},  # type: ignore[operator]
    ]
    refused = post(shop.planner, "plans/", {"month": MONTH, "lines": lines})
    assert refused.status_code == 400
    assert set(refused.data["errors"]) == {"lines.0.parts", "lines.2.operation", "lines.2.to"}
    assert "cannot be below 0" in refused.data["detail"]
    assert not ProductionPlan.objects.exists()


@pytest.mark.parametrize(
    "body",
    [
        {"month": "2026-12"}, {"month": "2026-12", "lines": "all"}, {"month": "2026-12", "lines": [1]},
        {"month": "soon", "lines": []}, {"lines": []}, [], {"month": None, "lines": None},
        {"month": "2026-12", "lines": [{"operation": True, "parts": 1, "from": "2026-12-01", "to": "2026-12-02"}]},
        {"month": "2026-12", "lines": [{"operation": [], "parts": "x", "from": "1 Dec", "to": None}]},
    ],
)  # fmt: skip
def test_what_is_no_plan_is_a_bad_request(shop: PlanningShop, body: Any) -> None:
    refused = api(shop.planner).post(f"{BASE}/plans/", body, format="json")
    assert refused.status_code == 400
    assert refused.data["type"].startswith("urn:edgetally:problem:")


def test_a_month_that_is_over_is_a_conflict(shop: PlanningShop) -> None:
    refused = post(shop.planner, "plans/", {"month": "2026-10", "lines": []})
    assert (refused.status_code, refused.data["type"]) == (409, "urn:edgetally:problem:month-over")


def test_from_flag_to_goods_on_the_shelf(shop: PlanningShop) -> None:
    shop.planned()
    flags = get(shop.setter, "flags/?open=true").data["results"]
    assert {flag["kind"] for flag in flags} == {"will_run_short", "below_reorder_point"}
    (suggested,) = get(shop.planner, "suggestions/?state=open").data["results"]
    assert suggested["unit_price"] == "22.00", "money is text"
    path = f"suggestions/{suggested['id']}/order/"
    made = post(shop.planner, path, key="o-1")
    assert made.status_code == 201, made.data
    assert post(shop.planner, path, key="o-1").data == made.data
    again = post(shop.planner, path)
    assert (again.status_code, again.data["type"]) == (409, "urn:edgetally:problem:already-ordered")
    order, (line,) = made.data["id"], made.data["lines"]
    body = {"lines": [{"line": line["id"], "quantity": 10, "lot": "L7"}], "to_place": "A-01"}
    part = post(shop.attendant, f"orders/{order}/receive/", body, key="r-1")
    assert part.status_code == 201, part.data
    assert post(shop.attendant, f"orders/{order}/receive/", body, key="r-1").data == part.data
    assert part.data[0]["lot"] == "L7"
    assert get(shop.planner, f"orders/{order}/").data["state"] == "part_received"
    too_much = post(shop.attendant, f"orders/{order}/receive/", {"lines": [{"design": "CT-45-12", "quantity": 9999}]})
    assert (too_much.status_code, too_much.data["type"]) == (409, "urn:edgetally:problem:over-receipt")
    huge = {"lines": [{"design": "CT-45-12", "quantity": 10**30}]}
    assert post(shop.attendant, f"orders/{order}/receive/", huge).status_code == 409
    rest = post(shop.attendant, f"orders/{order}/receive/")
    assert rest.data[0]["quantity"] == line["quantity"] - 10
    assert on_hand(design=shop.chamfer_tip) == 3 + line["quantity"]
    assert len(get(shop.planner, "receipts/").data["results"]) == 2
    planning.refresh_due_flags()
    assert get(shop.planner, "flags/?open=true").data["results"] == []


def test_a_receipt_is_taken_back(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    (receipt,) = shop.receive(shop.order(quantity=10), 10)
    move = get(shop.attendant, f"moves/{receipt.move_id}/").data
    assert move["document"] == "PO-2026-0001"
    refused = post(shop.attendant, f"moves/{receipt.move_id}/reverse/", {"note": "by mistake"})
    assert (refused.status_code, refused.data["type"]) == (409, "urn:edgetally:problem:owned-by-document")
    done = post(shop.attendant, f"receipts/{receipt.pk}/take-back/", {"note": "counted twice"})
    assert (done.status_code, done.data["taken_back"]) == (200, True)
    assert on_hand(design=shop.chamfer_tip) == 0
    again = post(shop.attendant, f"receipts/{receipt.pk}/take-back/")
    assert (again.status_code, again.data["type"]) == (409, "urn:edgetally:problem:already-reversed")
    assert [one["taken_back"] for one in get(shop.attendant, "receipts/").data["results"]] == [True]


def test_an_order_is_sent_or_cancelled(shop: PlanningShop) -> None:
    shop.planned()
    order = shop.order().order
    assert post(shop.planner, f"orders/{order.pk}/send/").data["sent_at"]
    assert post(shop.planner, f"orders/{order.pk}/cancel/").data["state"] == "cancelled"
    assert post(shop.planner, f"orders/{order.pk}/cancel/").status_code == 409


@pytest.mark.parametrize(
    "body",
    [
        {"lines": [{"design": "NONE", "quantity": 1}]},
        {"lines": [{"quantity": "x"}]},
        {"lines": []},
        {"lines": [{"design": "CT-45-12", "quantity": -3}]},
        {"lines": [{"design": "CT-45-12", "quantity": 1}], "to_place": "NOWHERE"},
    ],
)
def test_bad_receipts_are_refused(shop: PlanningShop, body: dict[str, Any]) -> None:
    shop.planned()
    order = shop.order().order
    assert post(shop.attendant, f"orders/{order.pk}/receive/", body).status_code == 400


@pytest.mark.parametrize(
    ("path", "who"),
    [
        ("plans/", "attendant"),
        ("suggestions/1/order/", "attendant"),
        ("orders/1/receive/", "setter"),
        ("receipts/1/take-back/", "setter"),
        ("orders/1/send/", "setter"),
        ("orders/1/cancel/", "engineer"),
    ],
)
def test_each_act_needs_its_right(shop: PlanningShop, path: str, who: str) -> None:
    assert post(getattr(shop, who), path, PLAN).status_code == 403
    assert APIClient().post(f"{BASE}/{path}", {}, format="json").status_code in (401, 403)


@pytest.mark.parametrize("path", ["plans/", "flags/", "suggestions/", "orders/", "receipts/"])
def test_lists_cost_a_fixed_number_of_queries(shop: PlanningShop, path: str) -> None:
    shop.planned()
    line = shop.order(quantity=10)
    shop.receive(line, 5)

    def count() -> int:
        client = api(shop.planner)
        with CaptureQueriesContext(connection) as asked:
            assert client.get(f"{BASE}/{path}").status_code == 200
        return len(asked)

    few = count()
    for _ in range(3):
        planning.refresh_designs(designs=None)
        line = shop.order(quantity=10)
        planning.send_order(order=line.order, who=shop.planner)
        shop.receive(line, 5)
    assert count() == few
