"""Ordering and receiving: once, never too much, and onto the shelf through the ledger."""

from datetime import UTC, datetime, timedelta
from importlib import import_module

import pytest
from django.apps import apps

from crib.catalogue.models import Offer
from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed
from crib.planning import services as planning
from crib.planning.errors import AlreadyOrdered, GoodsCame, NoLongerNeeded, NoOffer, OrderClosed, OverReceipt
from crib.planning.judging import lead_of
from crib.planning.models import OrderLine, PurchaseOrder, Receipt, Suggestion
from crib.stock import services as stock
from crib.stock.errors import AlreadyReversed, NotEnoughOnHand, OwnedByDocument
from crib.stock.models import Move
from crib.stock.selectors import on_hand
from tests.planning.conftest import PlanningShop
from tests.shop import assert_ledger_balances, at_once, type_name


def test_a_suggestion_becomes_an_order(shop: PlanningShop) -> None:
    shop.planned()
    suggested = shop.suggestion()
    line = shop.order()
    assert line.order.number == "PO-2026-0001"
    assert (line.quantity, line.unit_price, line.for_month) == (suggested.quantity, suggested.unit_price, "2026-12")
    assert str(line.expected_on) == "2026-12-02"
    assert line.order.expected_on == line.expected_on


def test_it_is_ordered_once(shop: PlanningShop) -> None:
    shop.planned()
    one = shop.suggestion()
    shop.order()
    with pytest.raises(AlreadyOrdered, match="PO-2026-0001"):
        planning.order_suggestion(suggestion=one, who=shop.planner)
    assert OrderLine.objects.count() == 1


def test_what_is_covered_meanwhile_is_not_ordered(shop: PlanningShop) -> None:
    shop.planned()
    one = shop.suggestion()
    shop.stock(shop.chamfer_tip, 500)
    planning.refresh_due_flags()
    with pytest.raises(NoLongerNeeded, match="covers it now"):
        planning.order_suggestion(suggestion=one, who=shop.planner)


def test_without_an_offer_nothing_is_ordered(shop: PlanningShop) -> None:
    shop.plan(600)
    planning.refresh_due_plans()
    one = shop.suggestion()
    with pytest.raises(NoOffer, match="Add an offer"):
        planning.order_suggestion(suggestion=one, who=shop.planner)
    one.refresh_from_db()
    assert one.state == Suggestion.State.OPEN


def test_the_buyer_may_settle_on_another_quantity(shop: PlanningShop) -> None:
    shop.planned()
    for bad, words in ((7, "packs of 5"), (5, "from 10 on"), (0, "whole number from 1"), (-5, "whole number from 1")):
        with pytest.raises(BadInput, match=words):
            shop.order(quantity=bad)
    line = shop.order(quantity=20)
    assert (line.quantity, str(line.unit_price)) == (20, "24.50")


def test_lines_join_the_suppliers_order_of_the_day_until_it_is_sent(shop: PlanningShop) -> None:
    shop.planned()
    first = shop.order(quantity=10).order
    planning.refresh_due_flags()
    assert shop.order(quantity=10).order == first
    planning.send_order(order=first, who=shop.planner)
    planning.refresh_due_flags()
    other = shop.order(quantity=10).order
    assert other != first
    assert other.number == "PO-2026-0002"


def test_part_of_an_order_may_come(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order()
    (first,) = shop.receive(line, 10)
    assert on_hand(design=shop.chamfer_tip) == 10
    assert (first.move.why, first.move.from_place.supplier) == (Move.Why.RECEIVE, shop.supplier)
    order = PurchaseOrder.objects.get()
    assert order.state == PurchaseOrder.State.PART_RECEIVED
    shop.receive(line, line.quantity - 10)
    order.refresh_from_db()
    assert order.state == PurchaseOrder.State.RECEIVED
    assert_ledger_balances()


def test_the_same_receipt_counts_once(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order()
    first, again = shop.receive(line, 10, key="r-1"), shop.receive(line, 10, key="r-1")
    assert [one.pk for one in first] == [one.pk for one in again]
    assert on_hand(design=shop.chamfer_tip) == 10
    with pytest.raises(KeyAlreadyUsed):
        shop.receive(line, 15, key="r-1")


def test_too_much_is_refused_with_the_reason(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order()
    with pytest.raises(OverReceipt, match="still to come") as refused:
        shop.receive(line, line.quantity + 1)
    assert refused.value.field == "quantity"
    shop.receive(line, line.quantity)
    with pytest.raises(OverReceipt, match="have come already"):
        shop.receive(line, 1)
    assert on_hand(design=shop.chamfer_tip) == line.quantity
    assert Receipt.objects.count() == 1


def test_a_receipt_is_whole_or_not_at_all(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    first = shop.order(quantity=10)
    planning.refresh_due_flags()
    second = shop.order(quantity=10)
    goods = [planning.Goods(line=first, quantity=10), planning.Goods(line=second, quantity=11)]
    with pytest.raises(OverReceipt):
        planning.receive_order(order=first.order, goods=goods, who=shop.planner, key="k", to_place=shop.bin)
    assert on_hand(design=shop.chamfer_tip) == 0
    assert not OrderLine.objects.filter(received__gt=0).exists()


def test_bad_receipts_are_refused(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order()
    for goods, words in (
        ([], "Say what came"),
        ([planning.Goods(line=line, quantity=0)], "1 or more"),
        ([planning.Goods(line=line, quantity=1)] * 2, "named twice"),
        ([planning.Goods(line=OrderLine(pk=999), quantity=1)], "no such line"),
    ):
        with pytest.raises(BadInput, match=words):
            planning.receive_order(order=line.order, goods=goods, who=shop.planner, key="k", to_place=shop.bin)


def test_goods_without_a_bin_ask_for_one(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order()
    goods = [planning.Goods(line=line, quantity=5)]
    with pytest.raises(BadInput, match="has no bin yet") as refused:
        planning.receive_order(order=line.order, goods=goods, who=shop.planner, key="k")
    assert refused.value.field == "to_place"
    shop.stock(shop.chamfer_tip, 1)
    (receipt,) = planning.receive_order(order=line.order, goods=goods, who=shop.planner, key="k")
    assert receipt.to_place == shop.bin


def test_a_receipt_taken_back_is_off_the_shelf_and_still_to_come(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order(quantity=20)
    (first,), (second,) = shop.receive(line, 10), shop.receive(line, 10)
    planning.take_back_receipt(receipt=first, who=shop.attendant, key="back", note="counted twice")
    line.refresh_from_db()
    order = PurchaseOrder.objects.get()
    assert (line.received, line.still_to_come, order.state) == (10, 10, PurchaseOrder.State.PART_RECEIVED)
    assert on_hand(design=shop.chamfer_tip) == 10
    undone = Move.objects.get(reverses=first.move)
    assert (undone.note, undone.who, undone.document) == ("counted twice", shop.attendant, "PO-2026-0001")
    again = planning.take_back_receipt(receipt=first, who=shop.attendant, key="back", note="counted twice")
    assert again.taken_back
    with pytest.raises(AlreadyReversed, match=f"by move {undone.pk}"):
        planning.take_back_receipt(receipt=first, who=shop.attendant, key="once more")
    planning.take_back_receipt(receipt=second, who=shop.attendant, key="back 2")
    order.refresh_from_db()
    assert (order.state, on_hand(design=shop.chamfer_tip)) == (PurchaseOrder.State.OPEN, 0)
    # What was to come can come again, or the order be given up.
    shop.receive(line, 20)
    order.refresh_from_db()
    assert order.state == PurchaseOrder.State.RECEIVED
    assert_ledger_balances()


def test_an_order_whose_receipts_were_all_taken_back_may_be_cancelled(shop: PlanningShop) -> None:
    shop.planned()
    (receipt,) = shop.receive(shop.order(quantity=10), 10)
    planning.take_back_receipt(receipt=receipt, who=shop.attendant, key="back")
    assert planning.cancel_order(order=receipt.line.order, who=shop.planner).state == PurchaseOrder.State.CANCELLED


def test_a_receipt_whose_pieces_have_gone_is_not_taken_back(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order(quantity=10)
    (receipt,) = shop.receive(line, 10)
    shop.check_out(shop.chamfer_tip, 3, by=shop.setter)
    with pytest.raises(NotEnoughOnHand):
        planning.take_back_receipt(receipt=receipt, who=shop.attendant, key="back")
    line.refresh_from_db()
    assert (line.received, line.order.state) == (10, PurchaseOrder.State.RECEIVED)


def test_the_ledger_leaves_a_receipt_to_its_order(shop: PlanningShop) -> None:
    shop.planned(on_hand=0)
    line = shop.order(quantity=10)
    (receipt,) = shop.receive(line, 10)
    for document in ("", "PO-2026-0002"):
        with pytest.raises(OwnedByDocument, match=r"posted for PO-2026-0001\. Take it back on its page"):
            stock.reverse(move=receipt.move, who=shop.attendant, key=shop.key(), document=document)
    line.refresh_from_db()
    assert (line.received, on_hand(design=shop.chamfer_tip)) == (10, 10)
    loose = shop.stock(shop.chamfer_tip, 2)
    stock.reverse(move=loose, who=shop.attendant, key=shop.key())
    assert on_hand(design=shop.chamfer_tip) == 10


def test_receipts_of_before_learn_the_order_they_came_on(shop: PlanningShop) -> None:
    shop.planned(on_hand=1)
    line = shop.order(quantity=10)
    (first,), (second,) = shop.receive(line, 4), shop.receive(line, 6)
    planning.take_back_receipt(receipt=second, who=shop.attendant, key="back")
    Move.objects.update(document="")
    import_module("crib.migrations.0003_move_document").name_orders(apps, None)
    named = set(Move.objects.filter(document="PO-2026-0001"))
    assert named == {first.move, second.move, Move.objects.get(reverses=second.move)}
    assert set(Move.objects.exclude(document="PO-2026-0001").values_list("document", flat=True)) == {""}


def test_lead_times_forget_what_was_taken_back(shop: PlanningShop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.planned()
    line = shop.order(quantity=10)
    monkeypatch.setattr(clock, "now", lambda at=line.order.ordered_at: at + timedelta(days=4))
    (receipt,) = shop.receive(line, 10)
    offer = Offer.objects.get()
    assert (offer.receipts_seen, offer.observed_lead_days) == (1, 4.0)
    planning.take_back_receipt(receipt=receipt, who=shop.attendant, key="back")
    offer.refresh_from_db()
    assert (offer.receipts_seen, offer.observed_lead_days, offer.observed_lead_days_sd) == (0, None, None)


@pytest.mark.django_db(transaction=True)
def test_two_who_take_a_receipt_back_at_once_take_it_back_once() -> None:
    shop = PlanningShop()
    shop.planned(on_hand=0)
    line = shop.order(quantity=10)
    (receipt,) = shop.receive(line, 10)
    who = shop.attendant
    outcomes = at_once(
        lambda: planning.take_back_receipt(receipt=receipt, who=who, key="a"),
        lambda: planning.take_back_receipt(receipt=receipt, who=who, key="b"),
    )
    assert sorted(map(type_name, outcomes)) == ["AlreadyReversed", "Receipt"]
    line.refresh_from_db()
    assert (line.received, on_hand(design=shop.chamfer_tip)) == (0, 0)
    assert_ledger_balances()


def test_an_order_is_cancelled_only_while_nothing_has_come(shop: PlanningShop) -> None:
    shop.planned()
    line = shop.order(quantity=10)
    planning.cancel_order(order=line.order, who=shop.planner)
    planning.refresh_due_flags()
    assert shop.suggestion().quantity > 0, "what was missing is suggested again"
    with pytest.raises(OrderClosed, match="cancelled"):
        planning.cancel_order(order=line.order, who=shop.planner)
    with pytest.raises(OrderClosed, match="cancelled"):
        shop.receive(line, 5)
    other = shop.order(quantity=10)
    shop.receive(other, 5)
    with pytest.raises(GoodsCame):
        planning.cancel_order(order=other.order, who=shop.planner)


def test_lead_times_are_learnt_from_receipts(shop: PlanningShop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.planned()
    for days in (4, 6, 8, 10, 12):
        line = shop.order(quantity=10)
        planning.send_order(order=line.order, who=shop.planner)
        ordered = line.order.ordered_at
        with monkeypatch.context() as later:
            later.setattr(clock, "now", lambda at=ordered, d=days: at + timedelta(days=d))
            shop.receive(line, 10)
        planning.refresh_designs(designs=None)
    offer = Offer.objects.get()
    assert offer.receipts_seen == 5
    assert offer.observed_lead_days == pytest.approx(8.0)
    assert offer.observed_lead_days_sd == pytest.approx(10**0.5)
    assert lead_of(offer).observed
    offer.receipts_seen = 4
    assert lead_of(offer).mean == offer.lead_days, "four receipts are too few to trust"


@pytest.mark.django_db(transaction=True)
def test_two_buyers_order_a_suggestion_once() -> None:
    shop = PlanningShop()
    shop.planned()
    one, buyer = shop.suggestion(), shop.planner
    outcomes = at_once(*[lambda: planning.order_suggestion(suggestion=one, who=buyer)] * 2)
    assert sorted(map(type_name, outcomes)) == ["AlreadyOrdered", "OrderLine"]


@pytest.mark.django_db(transaction=True)
def test_two_who_receive_at_once_never_receive_too_much() -> None:
    shop = PlanningShop()
    shop.planned(on_hand=0)
    line = shop.order(quantity=10)
    place, who = shop.bin, shop.planner

    def receive(key: str) -> list[Receipt]:
        goods = [planning.Goods(line=line, quantity=10)]
        return planning.receive_order(order=line.order, goods=goods, who=who, key=key, to_place=place)

    outcomes = at_once(lambda: receive("a"), lambda: receive("b"))
    assert sorted(map(type_name, outcomes)) == ["OverReceipt", "list"]
    assert on_hand(design=shop.chamfer_tip) == 10
    assert_ledger_balances()


def test_a_late_order_moves_the_shortage_day(shop: PlanningShop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.planned(parts=150, on_hand=25)
    shop.order()
    planning.refresh_due_flags()
    assert shop.flag().covered
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 12, 20, 9, 0, tzinfo=UTC))
    planning.refresh_due_plans()
    from crib.planning.selectors import late_orders

    assert [order.number for order in late_orders()] == ["PO-2026-0001"]
