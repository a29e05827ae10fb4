"""What the crib does. One transaction each; the same key sent twice counts once."""

from crib.stock.drafts import MoveDraft
from crib.stock.kits import BackLine, KitActed, KitWant
from crib.stock.services.acts import check_out, receive, reverse, take_back, transfer
from crib.stock.services.anywhere import check_out_anywhere, take_back_home
from crib.stock.services.bulk import post_moves
from crib.stock.services.counter import take_scan, undo_move
from crib.stock.services.counts import drop_count, finish_count, record_count, reopen_count, scan_piece, start_count
from crib.stock.services.counts_posting import post_count
from crib.stock.services.counts_scanning import CountPosition, take_count_scan
from crib.stock.services.items import make_item, write_lot
from crib.stock.services.kit_moves import issue_kit, return_kit, undo_kit
from crib.stock.services.kits import change_kit, drop_kit, stage_kit
from crib.stock.services.labelling import ItemDraft, make_items
from crib.stock.services.limits import lift_take_limit, set_take_limit
from crib.stock.services.places import (
    change_place,
    create_place,
    difference_place,
    opening_place,
    place_of,
    retire_place,
    spent_place,
)
from crib.stock.services.scrap import collect_scrap
from crib.stock.services.sheets import document_of, drop_sheet, match_sheet, start_sheet, take_in_sheet, undo_sheet

__all__ = [
    "BackLine",
    "CountPosition",
    "ItemDraft",
    "KitActed",
    "KitWant",
    "MoveDraft",
    "change_kit",
    "change_place",
    "check_out",
    "check_out_anywhere",
    "collect_scrap",
    "create_place",
    "difference_place",
    "document_of",
    "drop_count",
    "drop_kit",
    "drop_sheet",
    "finish_count",
    "issue_kit",
    "lift_take_limit",
    "make_item",
    "make_items",
    "match_sheet",
    "opening_place",
    "place_of",
    "post_count",
    "post_moves",
    "receive",
    "record_count",
    "reopen_count",
    "retire_place",
    "return_kit",
    "reverse",
    "scan_piece",
    "set_take_limit",
    "spent_place",
    "stage_kit",
    "start_count",
    "start_sheet",
    "take_back",
    "take_back_home",
    "take_count_scan",
    "take_in_sheet",
    "take_scan",
    "transfer",
    "undo_kit",
    "undo_move",
    "undo_sheet",
    "write_lot",
]
