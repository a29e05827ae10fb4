"""Writes moves with their balances: one at a time for the counter, many at once for loaders.

The conditional UPDATE of the balance is the lock: nothing is read and then written, so the same code holds on SQLite
and on PostgreSQL. Rows are touched in one order (items, the line, balances by place, the pulse of the design), so that
two people who carry the same things in opposite directions cannot wait for each other. Twins of one scan meet at the
piece they carry or at the key of the line. The counter's four statements stand here as SQL and go to the database in
one trip where it takes several at once: through the mapper they took the program longer to spell out than the database
to do. What they did is looked at when all are done; a key that was there, or too few pieces, undoes them together.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import TypeVar

from django.db import OperationalError, connection, transaction
from django.db.models import F

from crib.core import clock
from crib.core.errors import ShopError
from crib.core.statements import Statement, in_one_trip
from crib.core.wake import wake
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.drafts import MoveDraft, check_draft, done_before
from crib.stock.errors import ItemNotThere, NotEnoughOnHand
from crib.stock.models import DesignPulse, Item, Move, Place

T = TypeVar("T")
DEADLOCK = "40P01"
TRIES = 4

_WRITE_LINE = """
INSERT INTO crib_move (design_id, item_id, condition, becomes, quantity, from_place_id, to_place_id, who_id, at, why,
note, job_id, key, reverses_id, document, lot, allowed_by_id)
VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)
ON CONFLICT (key) DO NOTHING RETURNING id
"""
_TAKE_LOOSE = """
UPDATE crib_balance SET quantity = quantity - %s
WHERE design_id = %s AND condition = %s AND place_id = %s AND quantity >= labelled + %s
"""
_TAKE_LABELLED = """
UPDATE crib_balance SET quantity = quantity - %s, labelled = labelled - %s
WHERE design_id = %s AND condition = %s AND place_id = %s
"""
_ADD_TO_BALANCE = """
INSERT INTO crib_balance (design_id, condition, place_id, quantity, labelled, may_go_negative)
VALUES (%s, %s, %s, %s, %s, %s)
ON CONFLICT (design_id, condition, place_id) DO UPDATE
SET quantity = crib_balance.quantity + EXCLUDED.quantity, labelled = crib_balance.labelled + EXCLUDED.labelled
"""
_RAISE_PULSE = """
INSERT INTO crib_designpulse (design_id, revision) VALUES (%s, 1)
ON CONFLICT (design_id) DO UPDATE SET revision = crib_designpulse.revision + 1
"""
_FIND_LIMIT = "SELECT id FROM crib_takelimit WHERE design_id = %s LIMIT 1"


class _Undo(Exception):
    """Leaves the transaction, so that what is said afterwards is what really lies where."""


class _KeyThere(_Undo):
    pass


class _TooFew(_Undo):
    pass


class Limited(Exception):
    """Nothing was posted: the design has a limit, and whoever hands it out keeps to that first."""


class _NotThere(_Undo):
    def __init__(self, item: Item) -> None:
        self.item = item


def write_move(draft: MoveDraft, who: Person) -> Move:
    """Post one draft, or answer the move that carried its key before; twins that race both get the winner's move."""
    check_draft(draft)

    def write() -> Move:
        with transaction.atomic():
            return _write(draft, who)

    try:
        return without_deadlock(write)
    except _Undo as undone:
        done = done_before(draft)
        if done is not None:
            return done
        raise _refusal(draft, undone) from None


def _refusal(draft: MoveDraft, undone: _Undo) -> ShopError:
    if isinstance(undone, _NotThere):
        now = Item.objects.select_related("place").get(pk=undone.item.pk)
        return ItemNotThere(selectors.where_item_is(now, expected=draft.from_place), field="item")
    sentence = selectors.not_enough_sentence(draft.design, draft.from_place, draft.condition, draft.quantity)
    return NotEnoughOnHand(sentence, field="quantity")


def without_deadlock(work: Callable[[], T]) -> T:
    """Run a transaction again when the database had to break a deadlock; inside another one that one must decide."""
    for attempt in range(1, TRIES + 1):
        try:
            return work()
        except OperationalError as failed:
            broken = getattr(failed.__cause__, "sqlstate", None) == DEADLOCK
            if not broken or connection.in_atomic_block or attempt == TRIES:
                raise
            time.sleep(0.01 * attempt)
    raise AssertionError("unreachable")


def _write(draft: MoveDraft, who: Person) -> Move:
    move = _line(draft, who)
    for item in draft.labelled_pieces:
        _carry_item(draft, item, move.at)
    move.pk = _write_line_and_balances(move, draft)
    move._state.adding, move._state.db = False, connection.alias
    for item in draft.labelled_pieces:
        item.place, item.condition = draft.to_place, draft.arrives_as
    if draft.makes_items:
        Item.objects.bulk_create(new_items(draft, at=move.at))
    transaction.on_commit(partial(wake, "flags"))
    return move


def _write_line_and_balances(move: Move, draft: MoveDraft) -> int:
    """The line, both balances in the order of places, and the pulse, which has the flags checked; answers the line."""
    labelled = sum(item.pieces for item in draft.labelled_pieces)
    taking = _taking(draft, labelled)
    arriving = draft.quantity if draft.makes_items else labelled
    putting = _adding(draft, draft.arrives_as, draft.to_place, draft.quantity, arriving)
    taken_first = (draft.from_place.pk, draft.condition) < (draft.to_place.pk, draft.arrives_as)
    balances = [taking, putting] if taken_first else [putting, taking]
    # Asked on the same trip, because a trip of its own would cost the counter a quarter of its pace.
    asking = [(_FIND_LIMIT, [move.design_id])] if draft.unless_limited else []
    line, *changed = in_one_trip([_writing(move), *balances, (_RAISE_PULSE, [move.design_id]), *asking])
    if not line.rows:
        raise _KeyThere
    if draft.unless_limited and changed[-1].rows:
        raise Limited
    if not changed[balances.index(taking)].touched:
        raise _TooFew
    number: int = line.rows[0][0]
    return number


def _line(draft: MoveDraft, who: Person) -> Move:
    return Move(
        design=draft.design,
        item=draft.item,
        condition=draft.condition,
        becomes=draft.arrives_as,
        quantity=draft.quantity,
        from_place=draft.from_place,
        to_place=draft.to_place,
        who=draft.who or who,
        at=draft.at or clock.now(),
        why=draft.why,
        note=draft.note,
        job=draft.job,
        key=draft.key,
        reverses=draft.reverses,
        document=draft.document,
        lot=draft.lot,
        allowed_by=draft.allowed_by,
    )


def _writing(move: Move) -> Statement:
    """Write the line unless its key is there already; returns its number."""
    return _WRITE_LINE, (
        move.design_id, move.item_id, str(move.condition), str(move.becomes), move.quantity, move.from_place_id,
        move.to_place_id, move.who_id, connection.ops.adapt_datetimefield_value(move.at), str(move.why), move.note,
        move.job_id, move.key, move.reverses_id, move.document, move.lot, move.allowed_by_id,
    )  # fmt: skip


def new_items(draft: MoveDraft, *, at: datetime) -> list[Item]:
    """One item for each piece that comes in from outside for the first time."""
    return [
        Item(design=draft.design, condition=draft.arrives_as, place=draft.to_place, since=at, lot=draft.lot)
        for _ in range(draft.quantity)
    ]


def _carry_item(draft: MoveDraft, item: Item, at: datetime) -> None:
    found = Item.objects.filter(pk=item.pk, place=draft.from_place, condition=draft.condition)
    if not found.update(place=draft.to_place, condition=draft.arrives_as, since=at):
        raise _NotThere(item)


def _taking(draft: MoveDraft, labelled: int) -> Statement:
    """Take the pieces off where they are; loose pieces never out of those that carry labels."""
    if draft.from_place.may_go_negative and not labelled:
        return _adding(draft, draft.condition, draft.from_place, -draft.quantity, 0)
    spot = (draft.design.pk, str(draft.condition), draft.from_place.pk)
    if labelled:
        return _TAKE_LABELLED, (draft.quantity, labelled, *spot)
    return _TAKE_LOOSE, (draft.quantity, *spot, draft.quantity)


def _adding(draft: MoveDraft, condition: str, place: Place, quantity: int, labelled: int) -> Statement:
    return _ADD_TO_BALANCE, (draft.design.pk, str(condition), place.pk, quantity, labelled, place.may_go_negative)


def raise_pulses(designs: set[int]) -> None:
    known = DesignPulse.objects.filter(design__in=designs).order_by("design")
    DesignPulse.objects.bulk_create(
        [DesignPulse(design_id=design) for design in sorted(designs)], ignore_conflicts=True
    )
    known.update(revision=F("revision") + 1)
