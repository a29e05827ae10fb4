"""Many moves in one transaction, under the same rules as one at a time; for loaders and imports."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from django.db import IntegrityError, connection, transaction

from crib.core import clock
from crib.core.errors import KeyAlreadyUsed
from crib.core.wake import wake
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.drafts import MoveDraft, check_draft, same_or_conflict
from crib.stock.errors import ItemNotThere, NotEnoughOnHand
from crib.stock.ledger import new_items, raise_pulses, without_deadlock
from crib.stock.models import Balance, Item, Move, Place

CHUNK = 500
Spot = tuple[int, str, int]

# Django's own bulk update writes one long CASE for each column, which takes longer than all the rest of a batch.
_SET_BALANCE = "UPDATE crib_balance SET quantity = %s, labelled = %s WHERE id = %s"
_SET_ITEM = "UPDATE crib_item SET place_id = %s, condition = %s, since = %s WHERE id = %s"


def post_moves(*, drafts: Sequence[MoveDraft], who: Person) -> list[Move]:
    """Post all drafts in their order, or none; those whose key came before answer the move of that time."""
    for draft in drafts:
        check_draft(draft)
    _refuse_twin_keys(drafts)

    def post() -> list[Move]:
        with transaction.atomic():
            return _Batch(drafts, who).post()

    try:
        return without_deadlock(post)
    except IntegrityError:
        # Somebody posted one of these keys between our look and our writing; the second look sees it.
        return without_deadlock(post)


def _execute_many(statement: str, rows: Sequence[tuple[Any, ...]]) -> None:
    if rows:
        with connection.cursor() as cursor:
            cursor.executemany(statement, rows)


def _refuse_twin_keys(drafts: Sequence[MoveDraft]) -> None:
    seen: dict[str, int] = {}
    for number, draft in enumerate(drafts, start=1):
        if draft.key in seen:
            raise KeyAlreadyUsed(f"Moves {seen[draft.key]} and {number} carry the same key “{draft.key}”.", field="key")
        seen[draft.key] = number


class _Batch:
    """The balances and items that a list of moves touches, held locked and walked in the order of the list."""

    def __init__(self, drafts: Sequence[MoveDraft], who: Person) -> None:
        self.who = who
        self.now = clock.now()
        self.drafts = drafts
        self.done = _done_before(drafts)
        self.fresh = [draft for draft in drafts if draft.key not in self.done]

    def post(self) -> list[Move]:
        if self.fresh:
            self._lock()
            for draft in self.fresh:
                self._walk(draft)
            self._write()
        return [self.done[draft.key] for draft in self.drafts]

    def _lock(self) -> None:
        wanted = {item.pk for draft in self.fresh for item in draft.labelled_pieces}
        self.items = {item.pk: item for item in _locked_items(wanted)}
        self.balances = _locked_balances(self.fresh)
        self.touched: set[Spot] = set()
        self.carried: dict[int, Item] = {}
        self.made: list[Item] = []

    def _walk(self, draft: MoveDraft) -> None:
        at = draft.at or self.now
        labelled = sum(item.pieces for item in draft.labelled_pieces)
        for asked in draft.labelled_pieces:
            self._carry(draft, self.items[asked.pk], at)
        start = self._spot(draft.design.pk, draft.condition, draft.from_place)
        free = start.quantity if labelled else start.quantity - start.labelled
        if not draft.from_place.may_go_negative and free < draft.quantity:
            sentence = selectors.not_enough_sentence(
                draft.design, draft.from_place, draft.condition, draft.quantity, there=free
            )
            raise NotEnoughOnHand(f"{sentence} (Move with the key “{draft.key}”.)", field="quantity")
        start.quantity -= draft.quantity
        start.labelled -= labelled
        end = self._spot(draft.design.pk, draft.arrives_as, draft.to_place)
        end.quantity += draft.quantity
        end.labelled += draft.quantity if draft.makes_items else labelled
        if draft.makes_items:
            self.made += new_items(draft, at=at)

    def _spot(self, design: int, condition: str, place: Place) -> Balance:
        spot = (design, str(condition), place.pk)
        self.touched.add(spot)
        return self.balances[spot]

    def _carry(self, draft: MoveDraft, item: Item, at: datetime) -> None:
        if item.place_id != draft.from_place.pk or item.condition != draft.condition:
            raise ItemNotThere(selectors.where_item_is(item, expected=draft.from_place), field="item")
        item.place, item.condition, item.since = draft.to_place, draft.arrives_as, at
        self.carried[item.pk] = item

    def _write(self) -> None:
        changed = [self.balances[spot] for spot in sorted(self.touched)]
        _execute_many(_SET_BALANCE, [(row.quantity, row.labelled, row.pk) for row in changed])
        moves = Move.objects.bulk_create([self._move(draft) for draft in self.fresh], batch_size=CHUNK)
        self.done |= {move.key: move for move in moves}
        Item.objects.bulk_create(self.made, batch_size=CHUNK)
        moment = connection.ops.adapt_datetimefield_value
        carried = [(item.place_id, str(item.condition), moment(item.since), item.pk) for item in self.carried.values()]
        _execute_many(_SET_ITEM, carried)
        raise_pulses({draft.design.pk for draft in self.fresh})
        transaction.on_commit(partial(wake, "flags"))

    def _move(self, draft: MoveDraft) -> Move:
        return Move(
            design=draft.design,
            item=draft.item,
            condition=draft.condition,
            becomes=draft.arrives_as,
            quantity=draft.quantity,
            from_place=draft.from_place,
            to_place=draft.to_place,
            who=draft.who or self.who,
            at=draft.at or self.now,
            why=draft.why,
            note=draft.note,
            job=draft.job,
            key=draft.key,
            reverses=draft.reverses,
            document=draft.document,
            lot=draft.lot,
            allowed_by=draft.allowed_by,
        )


def _done_before(drafts: Sequence[MoveDraft]) -> dict[str, Move]:
    by_key = {draft.key: draft for draft in drafts}
    keys = list(by_key)
    done: dict[str, Move] = {}
    for start in range(0, len(keys), CHUNK):
        for move in Move.objects.filter(key__in=keys[start : start + CHUNK]):
            done[move.key] = same_or_conflict(move, by_key[move.key])
    return done


def _locked_items(wanted: Iterable[int]) -> list[Item]:
    numbers = sorted(wanted)
    found: list[Item] = []
    for start in range(0, len(numbers), CHUNK):
        # Without its place beside it: PostgreSQL leaves out a joined row that moved while its lock was waited for.
        found += Item.objects.filter(pk__in=numbers[start : start + CHUNK]).order_by("pk").select_for_update()
    return found


def _locked_balances(drafts: Sequence[MoveDraft]) -> dict[Spot, Balance]:
    """Every balance the drafts touch, made where it is missing, locked in one order."""
    spots: dict[Spot, Balance] = {}
    for draft in drafts:
        for condition, place in ((draft.condition, draft.from_place), (draft.arrives_as, draft.to_place)):
            spot = (draft.design.pk, str(condition), place.pk)
            if spot not in spots:
                spots[spot] = Balance(
                    design=draft.design, condition=condition, place=place, may_go_negative=place.may_go_negative
                )
    rows = [spots[spot] for spot in sorted(spots, key=_in_order)]
    Balance.objects.bulk_create(rows, ignore_conflicts=True, batch_size=CHUNK)
    designs = sorted({spot[0] for spot in spots})
    locked: dict[Spot, Balance] = {}
    for start in range(0, len(designs), CHUNK):
        chunk = Balance.objects.filter(design__in=designs[start : start + CHUNK])
        # By the numbers: ordered by “design” or “place”, the rows of both would be joined, and so be held as well.
        for row in chunk.order_by("design_id", "place_id", "condition").select_for_update(no_key=True):
            locked[(row.design_id, row.condition, row.place_id)] = row
    return locked


def _in_order(spot: Spot) -> tuple[int, int, str]:
    """The order in which the counter touches balances too, so that neither waits for the other in a circle."""
    design, condition, place = spot
    return design, place, condition
