"""Lots: written at receipt, suggested when a tip is fitted, kept on the piece, put right with a record."""

from __future__ import annotations

import pytest

from crib.core.errors import BadInput
from crib.floor import services as floor
from crib.people.models import ChangeRecord
from crib.stock import services
from crib.stock.models import Condition, Item, Move
from crib.stock.selectors import newest_lots
from tests.shop import Shop, assert_ledger_balances


def receive(shop: Shop, lot: str, **changes: object) -> Move:
    given = {"design": shop.chamfer_tip, "quantity": 10, "to_place": shop.bin, "supplier": shop.supplier}
    return services.receive(who=shop.attendant, key=shop.key(), lot=lot, **(given | changes))  # type: ignore[arg-type]  # as the tests name them


def test_a_receipt_keeps_its_lot_apart_from_its_note(shop: Shop) -> None:
    move = Move.objects.get(pk=receive(shop, " L-7 ", note="Box torn").pk)
    assert (move.lot, move.note) == ("L-7", "Box torn")
    back = services.reverse(move=move, who=shop.lead, key=shop.key())
    assert Move.objects.get(pk=back.pk).lot == "L-7"
    assert_ledger_balances()


def test_pieces_labelled_at_receipt_are_of_its_lot(shop: Shop) -> None:
    receive(shop, "S-1", design=shop.body, quantity=2)
    assert set(Item.objects.values_list("lot", flat=True)) == {"S-1"}
    drafts = [
        services.MoveDraft(
            design=shop.body, quantity=1, from_place=services.place_of(supplier=shop.supplier), to_place=shop.bin,
            key=shop.key(), why=Move.Why.RECEIVE, lot="S-2",
        )
    ]  # fmt: skip
    (move,) = services.post_moves(drafts=drafts, who=shop.attendant)
    assert move.lot == "S-2"
    assert Item.objects.filter(lot="S-2").count() == 1


def test_the_lot_received_last_is_suggested_unless_it_went_back(shop: Shop) -> None:
    receive(shop, "L-7")
    last = receive(shop, "L-8")
    receive(shop, "")
    wanted = [shop.chamfer_tip.pk, shop.body.pk]
    assert newest_lots(designs=wanted) == {shop.chamfer_tip.pk: "L-8"}
    services.reverse(move=last, who=shop.lead, key=shop.key())
    assert newest_lots(designs=wanted) == {shop.chamfer_tip.pk: "L-7"}


@pytest.mark.parametrize("lot", ["x" * 41, "L\x07"])
def test_what_is_no_lot_is_refused_wherever_it_comes_in(shop: Shop, lot: str) -> None:
    item = shop.item(shop.chamfer_tip)
    for act in (lambda: receive(shop, lot), lambda: services.write_lot(item=item, lot=lot, who=shop.setter)):
        with pytest.raises(BadInput, match="at most 40") as refused:
            act()
        assert refused.value.field == "lot"


def test_a_lot_is_put_right_with_a_record(shop: Shop) -> None:
    item = shop.item(shop.chamfer_tip)
    services.write_lot(item=item, lot="L-7", who=shop.setter)
    services.write_lot(item=item, lot="L-8", who=shop.engineer)
    services.write_lot(item=item, lot="L-8", who=shop.engineer)
    item.refresh_from_db()
    assert item.lot == "L-8"
    changes = ChangeRecord.objects.filter(act="lot written").order_by("pk")
    assert [(one.who, one.details) for one in changes] == [
        (shop.setter, {"from": "none", "to": "L-7"}),
        (shop.engineer, {"from": "L-7", "to": "L-8"}),
    ]


def test_fitting_loose_tips_writes_their_lot(shop: Shop) -> None:
    receive(shop, "L-7")
    built = floor.build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter)
    fitting = floor.fit_tip(
        assembly=built, design=shop.chamfer_tip, from_place=shop.bin, lot="L-7", who=shop.setter, key="f"
    )
    assert Item.objects.get(pk=fitting.item_id).lot == "L-7"


def test_fitting_a_labelled_tip_fills_in_its_lot_and_never_overwrites_one(shop: Shop) -> None:
    built = floor.build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter)
    item = shop.item(shop.chamfer_tip)
    floor.fit_tip(assembly=built, item=item, lot="L-7", who=shop.setter, key="f")
    assert Item.objects.get(pk=item.pk).lot == "L-7"
    floor.take_out(assembly=built, to_place=shop.bin, who=shop.setter, key="o")
    item = Item.objects.get(pk=item.pk)
    with pytest.raises(BadInput, match="is of lot L-7"):
        floor.fit_tip(assembly=built, item=item, lot="L-8", who=shop.setter, key="g")
    assert floor.fit_tip(assembly=built, item=item, lot="L-7", who=shop.setter, key="h").item_id == item.pk


def test_a_loose_piece_given_a_label_takes_its_lot(shop: Shop) -> None:
    receive(shop, "L-7")
    item = services.make_item(
        design=shop.chamfer_tip, condition=Condition.NEW, place=shop.bin, who=shop.attendant, lot="L-7"
    )
    assert item.lot == "L-7"
