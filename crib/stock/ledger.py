"""Writes moves with their balances: one at a time for the counter, many at once for loaders.

The conditional UPDATE of the balance is the lock: nothing is read and then written, so the same code holds on SQLite
and on PostgreSQL. The line is written first, since its key is what twins of one scan meet at. Rows are touched in one
order (items, balances by place, pulses by design), so that two people who carry the same things in opposite directions
cannot wait for each other. The counter's four statements stand here as SQL: through the mapper they took the program
longer to spell out than the database to do.
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
from crib.core.wake import wake
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.drafts import MoveDraft, check_draft, same_or_conflict
from crib.stock.errors import ItemNotThere, NotEnoughOnHand
from crib.stock.models import Balance, DesignPulse, Item, Move, Place

T = TypeVar("T")
DEADLOCK = "40P01"
TRIES = 4

_WRITE_LINE = """
INSERT INTO crib_move (design_id, item_id, condition, becomes, quantity, from_place_id, to_place_id, who_id, at, why,
note, job_id, key, reverses_id, document) VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)
ON CONFLICT (key) DO NOTHING RETURNING id
"""
_TAKE_LOOSE = """
UPDATE crib_balance SET quantity = quantity - %s
WHERE design_id = %s AND condition = %s AND place_id = %s AND quantity >= labelled + %s
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


def write_move(draft: MoveDraft, who: Person) -> Move:
    """Post one draft, or answer the move that carried its key before; twins that race both get the winner's move."""
    check_draft(draft)

    def write() -> Move:
        with transaction.atomic():
            return _write(draft, who)

    return without_deadlock(write)


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
    move.pk = _line_number(move)
    if move.pk is None:
        return same_or_conflict(Move.objects.get(key=draft.key), draft)
    move._state.adding, move._state.db = False, connection.alias
    labelled = sum(item.pieces for item in draft.labelled_pieces)
    for item in draft.labelled_pieces:
        _carry_item(draft, item, move.at)
    arriving = draft.quantity if draft.makes_items else labelled
    steps: list[tuple[tuple[int, str], Callable[[], None]]] = [
        ((draft.from_place.pk, draft.condition), lambda: _take_from_balance(draft, labelled)),
        ((draft.to_place.pk, draft.arrives_as), lambda: _add_to_balance(draft, arriving)),
    ]
    for _, step in sorted(steps, key=lambda step: step[0]):
        step()
    if draft.makes_items:
        Item.objects.bulk_create(new_items(draft, at=move.at))
    _raise_pulse(draft.design.pk)
    transaction.on_commit(partial(wake, "flags"))
    return move


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
    )


def _line_number(move: Move) -> int | None:
    """Write the line and answer its number; None when its key is there already."""
    row = (
        move.design_id, move.item_id, str(move.condition), str(move.becomes), move.quantity, move.from_place_id,
        move.to_place_id, move.who_id, connection.ops.adapt_datetimefield_value(move.at), str(move.why), move.note,
        move.job_id, move.key, move.reverses_id, move.document,
    )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(_WRITE_LINE, row)
        # Both databases end the statement only when its rows have been read.
        found = cursor.fetchall()
    return found[0][0] if found else None


def new_items(draft: MoveDraft, *, at: datetime) -> list[Item]:
    """One item for each piece that comes in from outside for the first time."""
    return [
        Item(design=draft.design, condition=draft.arrives_as, place=draft.to_place, since=at)
        for _ in range(draft.quantity)
    ]


def _carry_item(draft: MoveDraft, item: Item, at: datetime) -> None:
    found = Item.objects.filter(pk=item.pk, place=draft.from_place, condition=draft.condition)
    if not found.update(place=draft.to_place, condition=draft.arrives_as, since=at):
        now = Item.objects.select_related("place").get(pk=item.pk)
        raise ItemNotThere(selectors.where_item_is(now, expected=draft.from_place), field="item")
    item.place, item.condition = draft.to_place, draft.arrives_as


def _take_from_balance(draft: MoveDraft, labelled: int) -> None:
    """Take the pieces off where they are; loose pieces never out of those that carry labels."""
    if draft.from_place.may_go_negative and not labelled:
        add_to_balance(draft.design.pk, draft.condition, draft.from_place, -draft.quantity, 0)
        return
    if labelled:
        row = Balance.objects.filter(design=draft.design, condition=draft.condition, place=draft.from_place)
        taken = row.update(quantity=F("quantity") - draft.quantity, labelled=F("labelled") - labelled)
    else:
        spot = (draft.design.pk, str(draft.condition), draft.from_place.pk)
        with connection.cursor() as cursor:
            cursor.execute(_TAKE_LOOSE, (draft.quantity, *spot, draft.quantity))
            taken = cursor.rowcount
    if not taken:
        raise NotEnoughOnHand(
            selectors.not_enough_sentence(draft.design, draft.from_place, draft.condition, draft.quantity),
            field="quantity",
        )


def _add_to_balance(draft: MoveDraft, labelled: int) -> None:
    add_to_balance(draft.design.pk, draft.arrives_as, draft.to_place, draft.quantity, labelled)


def add_to_balance(design: int, condition: str, place: Place, quantity: int, labelled: int) -> None:
    with connection.cursor() as cursor:
        row = (design, str(condition), place.pk, quantity, labelled, place.may_go_negative)
        cursor.execute(_ADD_TO_BALANCE, row)


def _raise_pulse(design: int) -> None:
    """Say that this design's stock has changed, so that its flags are checked again."""
    with connection.cursor() as cursor:
        cursor.execute(_RAISE_PULSE, (design,))


def raise_pulses(designs: set[int]) -> None:
    known = DesignPulse.objects.filter(design__in=designs).order_by("design")
    DesignPulse.objects.bulk_create(
        [DesignPulse(design_id=design) for design in sorted(designs)], ignore_conflicts=True
    )
    known.update(revision=F("revision") + 1)
