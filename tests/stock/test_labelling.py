"""Labels for many at once follow the rule for one: only pieces that stand loose, all or none."""

from __future__ import annotations

import pytest

from crib.core.errors import BadInput
from crib.stock.errors import NotEnoughOnHand
from crib.stock.models import Balance, Item
from crib.stock.selectors import check_ledger
from crib.stock.services import ItemDraft, make_items
from tests.shop import Shop


def test_each_draft_becomes_one_item_of_its_pieces(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    drafts = [ItemDraft(design=shop.chamfer_tip, place=shop.bin, pieces=pieces) for pieces in (1, 3, 6)]
    items = make_items(drafts=drafts, who=shop.attendant)
    assert [item.pieces for item in items] == [1, 3, 6]
    assert len({item.label for item in items}) == 3
    assert Balance.objects.get(design=shop.chamfer_tip, place=shop.bin).labelled == 10
    assert check_ledger() == []
    assert make_items(drafts=[], who=shop.attendant) == []


def test_more_than_stand_loose_is_refused_whole(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 4)
    shop.stock(shop.chamfer_tip, 4, place=shop.other_bin)
    drafts = [
        ItemDraft(design=shop.chamfer_tip, place=shop.bin, pieces=4),
        ItemDraft(design=shop.chamfer_tip, place=shop.other_bin, pieces=3),
        ItemDraft(design=shop.chamfer_tip, place=shop.other_bin, pieces=2),
    ]
    with pytest.raises(NotEnoughOnHand):
        make_items(drafts=drafts, who=shop.attendant)
    assert not Item.objects.filter(design=shop.chamfer_tip).exists()
    assert check_ledger() == []


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"pieces": 0}, "quantity"), ({"pieces": 101}, "pieces"), ({"condition": "shiny"}, "condition")],
)
def test_a_draft_that_means_nothing_is_refused(shop: Shop, changes: dict[str, object], field: str) -> None:
    shop.stock(shop.chamfer_tip, 200)
    draft = ItemDraft(**({"design": shop.chamfer_tip, "place": shop.bin} | changes))  # type: ignore[arg-type]
    with pytest.raises(BadInput) as refused:
        make_items(drafts=[draft], who=shop.attendant)
    assert refused.value.field == field
