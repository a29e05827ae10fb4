"""What the crib does. One transaction each; the same key sent twice counts once."""

from crib.stock.drafts import MoveDraft
from crib.stock.services.acts import check_out, receive, reverse, take_back, transfer
from crib.stock.services.anywhere import check_out_anywhere, take_back_home
from crib.stock.services.bulk import post_moves
from crib.stock.services.counter import take_scan, undo_move
from crib.stock.services.counts import drop_count, post_count, record_count, start_count
from crib.stock.services.items import make_item, write_lot
from crib.stock.services.labelling import ItemDraft, make_items
from crib.stock.services.limits import lift_take_limit, set_take_limit
from crib.stock.services.places import (
    change_place,
    create_place,
    difference_place,
    place_of,
    retire_place,
    spent_place,
)

__all__ = [
    "ItemDraft",
    "MoveDraft",
    "change_place",
    "check_out",
    "check_out_anywhere",
    "create_place",
    "difference_place",
    "drop_count",
    "lift_take_limit",
    "make_item",
    "make_items",
    "place_of",
    "post_count",
    "post_moves",
    "receive",
    "record_count",
    "retire_place",
    "reverse",
    "set_take_limit",
    "spent_place",
    "start_count",
    "take_back",
    "take_back_home",
    "take_scan",
    "transfer",
    "undo_move",
    "write_lot",
]
