"""Month ahead, orders and Today: what they show, what they refuse, and that they cost a fixed number of queries."""

import json
from datetime import UTC, datetime
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from crib.catalogue import services as catalogue
from crib.core import clock
from crib.core.errors import NotFound
from crib.life.models import Forecast
from crib.planning import services as planning
from crib.planning.models import Budget, OrderLine, PlanLine, PurchaseOrder
from crib.planning.selectors import today_now
from crib.stock.selectors import on_hand
from tests.planning.conftest import MONTH, PlanningShop
from tests.web.pages import signed_in

ADDRESS = f"/month/{MONTH}/"


@pytest.fixture(autouse=True)
def today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 11, 25, 9, 0, tzinfo=UTC))


@pytest.fixture
def shop(db: None) -> PlanningShop:
    return PlanningShop()


def text(client: Client, address: str, status: int = 200) -> str:
    response = client.get(address)
    assert response.status_code == status, response.content.decode()[:500]
    return response.content.decode()


def test_an_empty_month_says_what_to_do_first(shop: PlanningShop) -> None:
    page = text(signed_in(shop.planner), "/month/")
    assert "Nothing is planned for December 2026" in page
    assert f"{ADDRESS}enter/" in page
    assert "A planner or a lead can enter it" in text(signed_in(shop.setter), "/month/")
    assert "The month is over" in text(signed_in(shop.planner), "/month/2026-01/")
    assert "There is no job to plan" in text(signed_in(shop.planner), f"{ADDRESS}enter/")
    assert "Nothing has been ordered" in text(signed_in(shop.planner), "/month/orders/")


def test_a_month_entered_in_the_grid_is_worked_out_and_ordered(shop: PlanningShop) -> None:
    shop.sold()
    job = shop.operation.job
    shop.stock(shop.chamfer_tip, 3)
    client = signed_in(shop.planner)
    assert "Parts of J-1001" in text(client, f"{ADDRESS}enter/")
    cells = {f"parts-{job.pk}": "600", f"from-{job.pk}": "2026-12-01", f"to-{job.pk}": "2026-12-31"}
    kept = client.post(f"{ADDRESS}enter/", cells)
    assert (kept.status_code, kept["Location"]) == (302, ADDRESS)
    waiting = text(client, ADDRESS)
    assert "being worked out" in waiting
    assert "every 2s" in waiting
    planning.refresh_due_plans()
    page = text(client, ADDRESS)
    assert "every 2s" not in page
    assert "Runs short" in page
    assert "3 on hand" in page
    why = text(client, f"{ADDRESS}designs/CT-45-12/")
    assert "Why this number" in why
    assert "600 parts × 2 min" in why
    assert "<svg" in why
    one = shop.suggestion()
    ordered = client.post(f"/month/suggestions/{one.pk}/order/", {"quantity": "20", "month": MONTH}, follow=True)
    assert "20 CT-45-12 ordered from Northgate Tooling on PO-2026-0001" in ordered.content.decode()
    assert OrderLine.objects.get().quantity == 20


def test_a_bad_cell_keeps_what_was_typed(shop: PlanningShop) -> None:
    job = shop.operation.job
    client = signed_in(shop.planner)
    for parts, words in (("-5", "cannot be below 0"), ("a dozen", "is no number of parts"), ("9" * 20, "is no number")):
        cells = {f"parts-{job.pk}": parts, f"from-{job.pk}": "2026-12-01", f"to-{job.pk}": "2027-01-02"}
        refused = client.post(f"{ADDRESS}enter/", cells)
        page = refused.content.decode()
        assert refused.status_code == 400
        assert words in page
        assert f'value="{parts}"' in page
        assert 'aria-invalid="true"' in page
    cells = {f"parts-{job.pk}": "5", f"from-{job.pk}": "", f"to-{job.pk}": "2027-01-02"}
    assert "Write a day" in client.post(f"{ADDRESS}enter/", cells).content.decode()
    cells[f"from-{job.pk}"] = "2026-12-01"
    assert "is not in 2026-12" in client.post(f"{ADDRESS}enter/", cells).content.decode()
    assert not PlanLine.objects.exists()
    over = client.post("/month/2026-01/enter/", {})
    assert over.status_code == 400
    assert "is over" in over.content.decode()


def test_operations_planned_apart_stay_so_when_their_row_is_not_touched(shop: PlanningShop) -> None:
    job = shop.operation.job
    shop.planned()
    line = shop.line(50)
    planning.enter_plan(month=MONTH, lines=[line, shop.line(70, starts_on=line.ends_on)], who=shop.planner)
    client = signed_in(shop.planner)
    assert "planned apart" in text(client, f"{ADDRESS}enter/")
    cells = {f"parts-{job.pk}": "120", f"from-{job.pk}": "2026-12-01", f"to-{job.pk}": "2026-12-31"}
    client.post(f"{ADDRESS}enter/", cells)
    assert sorted(PlanLine.objects.values_list("parts", flat=True)) == [50, 70]
    client.post(f"{ADDRESS}enter/", cells | {f"parts-{job.pk}": "130"})
    assert list(PlanLine.objects.values_list("parts", flat=True)) == [130]


def test_the_budget_is_kept_and_what_goes_beyond_it_is_marked(shop: PlanningShop) -> None:
    shop.planned()
    client = signed_in(shop.planner)
    client.post(f"{ADDRESS}budget/", {"amount": "100"})
    assert str(Budget.objects.get().amount) == "100.00"
    assert "Beyond the budget" in text(client, ADDRESS)
    refused = client.post(f"{ADDRESS}budget/", {"amount": "plenty"})
    assert refused.status_code == 400
    assert "is no amount of money" in refused.content.decode()


def test_an_order_is_received_on_its_page(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order(quantity=20)
    client = signed_in(shop.planner)
    address = f"/month/orders/{line.order.number}/"
    assert "Not sent yet" in text(client, address)
    client.post(f"{address}send/")
    goods = {f"came-{line.pk}": "5", "place": shop.bin.code, "key": "k1", f"lot-{line.pk}": "L1"}
    for _ in range(2):
        assert client.post(f"{address}receive/", goods).status_code == 302
    assert on_hand(design=shop.chamfer_tip) == 5
    page = text(client, address)
    assert "Part received" in page
    assert 'value="15"' in page, "what is still to come is offered"
    too_many = client.post(f"{address}receive/", goods | {f"came-{line.pk}": "16", "key": "k2"})
    assert too_many.status_code == 409
    assert "still to come" in too_many.content.decode()
    assert 'value="16"' in too_many.content.decode()
    for wrong, words in ({f"came-{line.pk}": "some"}, "is no number"), ({"place": "NOWHERE"}, "There is no place"):
        refused = client.post(f"{address}receive/", goods | wrong | {"key": "k3"})
        assert refused.status_code == 400
        assert words in refused.content.decode()
    nothing = client.post(f"{address}receive/", {"key": "k4"})
    assert "Say what came" in nothing.content.decode()
    assert "PO-2026-0001" in text(client, "/month/orders/")
    refused = client.post(f"{address}cancel/")
    assert refused.status_code == 409


def test_a_receipt_is_taken_back_on_its_order_and_not_in_the_ledger(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    (receipt,) = shop.receive(shop.order(quantity=10), 10)
    client, order = signed_in(shop.attendant), "/month/orders/PO-2026-0001/"
    ledger = text(client, "/stock/ledger/")
    assert f'href="{order}"' in ledger
    assert f"/stock/ledger/{receipt.move_id}/reverse/" not in ledger
    by_hand = text(client, f"/stock/ledger/{receipt.move_id}/reverse/")
    assert "This was posted for" in by_hand
    assert "Reverse it" not in by_hand
    refused = client.post(f"/stock/ledger/{receipt.move_id}/reverse/", {"key": "k", "note": "by mistake"})
    assert refused.status_code == 409

    address = f"{order}receipts/{receipt.pk}/take-back/"
    assert f'href="{address}"' in text(client, order)
    assert "stand on PO-2026-0001 as still to come" in text(client, address)
    assert client.post(address, {"key": "k", "note": ""}).status_code == 400
    done = client.post(address, {"key": "k", "note": "counted twice"}, follow=True).content.decode()
    assert "10 CT-45-12 are off the shelf and stand as still to come" in done
    assert "taken back by Atto Lind: counted twice" in done
    assert f'href="{address}"' not in done
    assert "taken back before" in text(client, address)
    assert client.post(address, {"key": "k2", "note": "again"}).status_code == 409
    assert client.get(f"{order}receipts/9999/take-back/").status_code == 404
    assert "Cancel this order" in text(signed_in(shop.planner), order)
    assert signed_in(shop.setter).get(address).status_code == 403


def test_an_order_page_costs_the_same_whatever_came(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order(quantity=60)
    (first,) = shop.receive(line, 5)
    planning.take_back_receipt(receipt=first, who=shop.attendant, key="back")
    client = signed_in(shop.attendant)

    def count() -> int:
        text(client, "/month/orders/PO-2026-0001/")
        with CaptureQueriesContext(connection) as asked:
            text(client, "/month/orders/PO-2026-0001/")
        return len(asked)

    few = count()
    for number in range(5):
        (one,) = shop.receive(line, 5)
        if number % 2:
            planning.take_back_receipt(receipt=one, who=shop.attendant, key=f"back {number}")
    assert count() == few


def test_an_order_of_which_nothing_came_is_cancelled(shop: PlanningShop) -> None:
    shop.planned()
    order = shop.order().order
    signed_in(shop.planner).post(f"/month/orders/{order.number}/cancel/")
    order.refresh_from_db()
    assert order.state == PurchaseOrder.State.CANCELLED


def test_what_is_not_there_is_said(shop: PlanningShop) -> None:
    client = signed_in(shop.planner)
    assert client.get("/month/orders/PO-1/").status_code == 404
    assert client.get(f"{ADDRESS}designs/NONE/").status_code == 404
    assert client.get("/month/2026-99/").status_code == 400
    assert client.get("/month/orders/%00/").status_code == 404
    assert client.get(f"{ADDRESS}designs/%00/").status_code == 404
    assert client.post(f"/month/suggestions/{10**30}/order/").status_code == 404
    assert client.post("/month/suggestions/99/order/").status_code == 404
    shop.planned()
    refused = client.post(f"/month/suggestions/{shop.suggestion().pk}/order/", {"quantity": "ten"})
    assert refused.status_code == 400


def test_a_made_up_month_in_an_order_leads_to_the_order(shop: PlanningShop) -> None:
    shop.planned()
    kept = signed_in(shop.planner).post(f"/month/suggestions/{shop.suggestion().pk}/order/", {"month": "../x"})
    assert kept["Location"] == "/month/orders/PO-2026-0001/"


def test_without_the_right_there_is_no_button_and_no_act(shop: PlanningShop) -> None:
    shop.planned()
    client = signed_in(shop.setter)
    page = text(client, ADDRESS)
    assert "/enter/" not in page
    assert "/order/" not in page
    assert client.get(f"{ADDRESS}enter/").status_code == 403
    assert client.post(f"/month/suggestions/{shop.suggestion().pk}/order/").status_code == 403


def test_today_says_what_needs_a_person(shop: PlanningShop) -> None:
    client = signed_in(shop.planner)
    assert "The shop is empty so far" in text(client, "/")
    shop.planned()
    shop.log_run(parts=1)
    edge = shop.edge
    Forecast.objects.create(
        edge=edge, edge_revision=edge.revision, minutes_used=2.0, change_by_parts=0, change_by_minutes=0.0,
        change_by_at=clock.now(), computed_at=clock.now(),
    )  # fmt: skip
    key = shop.design("KEY-1", "accessory", returnable=True)
    shop.stock(key, 1)
    shop.check_out(key, by=shop.setter)
    page = text(client, "/")
    assert "Sela Marsh: 1 KEY-1" in page
    assert "VM-1 pocket 3" in page
    assert "Change now" in page
    assert "Running short" in page
    assert "CT-45-12" in page
    part = client.get("/", headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert 'id="today-board"' in part


def test_today_leaves_alone_what_lasts_beyond_the_shift(shop: PlanningShop) -> None:
    from datetime import time, timedelta

    shop.log_run(parts=1)
    edge = shop.edge
    catalogue.set_shifts(machine=shop.machine, shifts=[catalogue.ShiftTimes(2, time(6), time(14))], who=shop.lead)
    forecast = Forecast.objects.create(
        edge=edge, edge_revision=edge.revision, change_by_parts=9, change_by_minutes=30.0,
        change_by_at=clock.now() + timedelta(hours=6), computed_at=clock.now(),
    )  # fmt: skip
    assert [one.edge for one in today_now().due] == []
    forecast.change_by_at = clock.now() + timedelta(hours=2)
    forecast.save()
    (due,) = today_now().due
    assert due.shift_ends.hour == 14
    assert not due.overdue


def test_a_quiet_day_says_so(shop: PlanningShop) -> None:
    shop.planned(parts=20, on_hand=500)
    assert "Nothing needs anybody now" in text(signed_in(shop.setter), "/")


@pytest.mark.parametrize("address", ["/", ADDRESS, f"{ADDRESS}enter/", "/month/orders/"])
def test_pages_cost_a_fixed_number_of_queries(shop: PlanningShop, address: str) -> None:
    from crib.floor import services as floor

    shop.planned()
    shop.order(quantity=10)
    planning.refresh_due_flags()
    client = signed_in(shop.lead)
    client.get(address)

    def count() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200
        return len(asked)

    few = count()
    for number in range(4):
        tip = shop.design(f"CT-X-{number}", machine_side_system="screw-on", machine_side_size="M8")
        job = catalogue.create_job(code=f"J-2{number}", part="Bonnet", quantity=50, who=shop.lead)
        floor.create_operation(
            job=job, number=10, name="Chamfer", machine=shop.machine, tip=tip, body=shop.body, material=shop.material,
            kind_of_cut="chamfering", surface_speed=60.0, feed=0.05, depth=1.0, minutes_per_part=2.0, who=shop.engineer,
        )  # fmt: skip
        catalogue.create_offer(
            design=tip, supplier=shop.supplier, lead_days=3.0, prices={1: shop.chamfer_tip.unit_cost}, who=shop.lead
        )
    lines = [shop.line(300, operation=said) for said in ("J-1001", "J-20", "J-21", "J-22", "J-23")]
    planning.enter_plan(month=MONTH, lines=lines, who=shop.planner)
    planning.refresh_due_plans()
    assert count() == few


def test_the_plan_command_answers_in_words_and_for_programs(shop: PlanningShop) -> None:
    with pytest.raises(NotFound, match="Nothing is planned"):
        call_command("plan", month=MONTH)
    shop.sold()
    shop.plan(600)
    said = StringIO()
    call_command("plan", month=MONTH, stdout=said, stderr=StringIO())
    assert "CT-45-12:" in said.getvalue()
    assert "0 on hand, short from 2026-12-01" in said.getvalue()
    said = StringIO()
    call_command("plan", month=MONTH, json=True, stdout=said)
    answer = json.loads(said.getvalue())
    assert answer["designs"][0]["flags"] == ["will_run_short", "below_reorder_point"]
    assert answer["suggestions"][0]["design"] == "CT-45-12"
