"""Flags: raised once, quiet while an order covers them, cleared with the reason; and what is suggested."""

from decimal import Decimal

import pytest

from crib.catalogue import services as catalogue
from crib.planning import services as planning
from crib.planning.models import DesignDemand, Flag, Suggestion
from crib.planning.tasks import check_flags, refresh_plan
from crib.stock.models import Condition, Reservation
from tests.planning.conftest import PlanningShop
from tests.shop import at_once

SHORT, LOW = Flag.Kind.WILL_RUN_SHORT, Flag.Kind.BELOW_REORDER_POINT


def test_a_shortage_is_flagged_once_with_its_evidence(shop: PlanningShop) -> None:
    shop.planned()
    flag = shop.flag(SHORT)
    assert flag.short_on is not None
    assert "3 on hand" in flag.says
    assert flag.evidence["on_hand"] == 3
    for _ in range(3):
        planning.refresh_designs(designs=None)
    assert Flag.objects.filter(kind=SHORT).count() == 1
    low = shop.flag(LOW)
    assert low.evidence["reorder_point"] > 3
    assert "reorder point" in low.says


def test_enough_raises_nothing(shop: PlanningShop) -> None:
    shop.planned(parts=50, on_hand=500)
    assert not Flag.objects.exists()
    assert not Suggestion.objects.exists()


def test_the_receipt_clears_the_flag_with_the_reason(shop: PlanningShop) -> None:
    shop.planned()
    line = shop.order()
    shop.receive(line, line.quantity)
    check_flags()
    flags = list(Flag.objects.all())
    assert len(flags) == 2
    for flag in flags:
        assert flag.cleared_at is not None
        assert "on hand: enough until 31 Dec" in flag.cleared_because


def test_an_order_in_time_keeps_the_flag_quiet(shop: PlanningShop) -> None:
    shop.planned(parts=150, on_hand=25)
    assert shop.flag(SHORT).covered is False
    shop.order()
    planning.refresh_due_flags()
    assert shop.flag(SHORT).covered is True
    assert not Suggestion.objects.filter(state="open").exists()


def test_an_order_that_comes_too_late_is_said_to(shop: PlanningShop) -> None:
    shop.planned(parts=600, on_hand=0)
    shop.order()
    planning.refresh_due_flags()
    flag = shop.flag(SHORT)
    assert flag.covered is False
    assert "PO-2026-0001 comes too late" in flag.says
    assert not Suggestion.objects.filter(state="open").exists(), "more of it would come no sooner"


def test_a_shortage_that_an_order_covers_from_the_first_is_not_raised(shop: PlanningShop) -> None:
    shop.planned(parts=150, on_hand=25)
    shop.order()
    Flag.objects.all().delete()
    planning.refresh_designs(designs=None)
    assert not Flag.objects.exists()


def test_a_suggestion_keeps_to_pack_minimum_and_price(shop: PlanningShop) -> None:
    shop.planned()
    one = shop.suggestion()
    assert one.quantity % 5 == 0
    assert one.quantity >= one.reasons["missing"]
    assert one.unit_price == Decimal("22.00"), "fifty and more cost less"
    assert "Northgate Tooling" in one.says
    assert one.for_month == "2026-12"


def test_a_suggestion_follows_the_stock_and_lapses(shop: PlanningShop) -> None:
    shop.planned()
    first = shop.suggestion()
    shop.stock(shop.chamfer_tip, 40)
    planning.refresh_due_flags()
    assert shop.suggestion().pk == first.pk
    assert shop.suggestion().quantity < first.quantity
    shop.stock(shop.chamfer_tip, 500)
    planning.refresh_due_flags()
    first.refresh_from_db()
    assert first.state == Suggestion.State.LAPSED


def test_without_an_offer_the_way_out_is_said(shop: PlanningShop) -> None:
    shop.plan(600)
    refresh_plan()
    one = shop.suggestion()
    assert one.offer is None
    assert "add an offer first" in one.says
    shop.sold()
    assert planning.refresh_due_flags().designs == 1, "the new offer makes it due"
    assert shop.suggestion().offer == shop.offer


def test_a_quicker_supplier_is_chosen_when_only_it_is_in_time(shop: PlanningShop) -> None:
    shop.planned(parts=300, on_hand=12)
    catalogue.create_offer(
        design=shop.chamfer_tip,
        supplier=catalogue.create_supplier(name="Harbour Carbide", who=shop.lead),
        pack=1,
        minimum=1,
        lead_days=1.0,
        prices={1: Decimal("39.00")},
        who=shop.lead,
    )
    planning.refresh_designs(designs=None)
    one = shop.suggestion()
    assert one.offer is not None
    assert one.offer.supplier.name == "Harbour Carbide"
    assert {row["supplier"]: row["in_time"] for row in one.reasons["compared"]} == {
        "Harbour Carbide": True,
        "Northgate Tooling": False,
    }


def test_no_lead_time_needs_no_stock_before_the_work(shop: PlanningShop) -> None:
    catalogue.change_offer(offer=shop.offer, lead_days=0.0, lead_days_sd=0.0, who=shop.lead)
    shop.planned(parts=300, on_hand=12)
    one = shop.suggestion()
    assert one.reasons["in_time"] is True
    assert one.order_by == shop.flag(SHORT).short_on


def test_what_no_plan_names_goes_by_its_use(shop: PlanningShop) -> None:
    shop.sold()
    shop.stock(shop.chamfer_tip, 60)
    for _ in range(10):
        shop.check_out(shop.chamfer_tip, 5, by=shop.setter)
    check_flags()
    flag = shop.flag(LOW)
    assert "what was drawn lately" in flag.says
    assert flag.evidence["daily_mean"] == pytest.approx(50 / 90, abs=0.001)
    assert shop.suggestion().flag == flag


def test_no_plan_and_no_stock_is_no_matter(shop: PlanningShop) -> None:
    assert shop.chamfer_tip.pk
    check_flags()
    refresh_plan()
    assert not Flag.objects.exists()


def test_a_retired_design_asks_for_nothing_more(shop: PlanningShop) -> None:
    shop.planned()
    catalogue.retire_design(design=shop.chamfer_tip, who=shop.lead)
    planning.refresh_designs(designs=None)
    assert not Flag.objects.filter(cleared_at=None).exists()
    assert not Suggestion.objects.filter(state="open").exists()


def test_a_lost_wake_up_is_made_good_by_the_sweep(shop: PlanningShop) -> None:
    shop.sold()
    shop.plan(600)
    check_flags()
    assert shop.flag(SHORT).covered is False


def test_what_is_reserved_or_part_used_is_not_counted_on(shop: PlanningShop) -> None:
    shop.planned(parts=50, on_hand=60)
    assert not Flag.objects.exists()
    Reservation.objects.create(design=shop.chamfer_tip, job=shop.job, quantity=55, made_by=shop.planner)
    shop.stock(shop.chamfer_tip, 4, condition=Condition.PART_USED)
    planning.refresh_due_flags()
    flag = shop.flag(LOW)
    assert "55 reserved" in flag.says
    assert (flag.evidence["on_hand"], flag.evidence["part_used"], flag.evidence["reserved"]) == (60, 4, 55)


def test_one_flag_may_stand_while_the_other_clears(shop: PlanningShop) -> None:
    shop.planned(parts=150, on_hand=3)
    low, short = shop.flag(LOW), shop.flag(SHORT)
    shop.stock(shop.chamfer_tip, 25)
    planning.refresh_due_flags()
    low.refresh_from_db()
    short.refresh_from_db()
    assert short.cleared_at is None
    assert low.cleared_at is not None
    assert "“will run short” still stands" in low.cleared_because


def test_what_costs_nothing_is_bought_as_needed(shop: PlanningShop) -> None:
    catalogue.change_offer(offer=shop.offer, prices={1: Decimal("0")}, who=shop.lead)
    shop.planned()
    one = shop.suggestion()
    assert one.quantity == -(-one.reasons["missing"] // 5) * 5
    assert one.reasons["economic"] is False


@pytest.mark.django_db(transaction=True)
def test_two_workers_at_once_raise_a_flag_once() -> None:
    shop = PlanningShop()
    shop.sold()
    shop.plan(600)
    outcomes = at_once(check_flags, check_flags)
    assert outcomes == [None, None]
    check_flags()
    assert Flag.objects.filter(kind=SHORT).count() == 1
    assert Suggestion.objects.count() == 1
    assert DesignDemand.objects.count() == 1
