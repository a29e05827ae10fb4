"""Labels for many pieces at once, under the same rule as for one; for loaders and imports."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F

from crib.catalogue.models import Design
from crib.core import clock
from crib.core.errors import BadInput
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock import selectors
from crib.stock.drafts import check_quantity, clean_lot
from crib.stock.errors import NotEnoughOnHand
from crib.stock.models import Balance, Condition, Item, Place
from crib.stock.services.items import MOST_PIECES

CHUNK = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemDraft:
    """Pieces that stand loose at a place and are to carry one label together."""

    design: Design
    place: Place
    pieces: int = 1
    condition: str = Condition.NEW
    since: datetime | None = None
    lot: str = ""


@transaction.atomic
def make_items(*, drafts: Sequence[ItemDraft], who: Person) -> list[Item]:
    """Give a label to each draft's pieces, all or none; nothing moves."""
    if not drafts:
        return []
    for draft in drafts:
        check_quantity(draft.pieces)
        if draft.pieces > MOST_PIECES:
            raise BadInput("pieces", f"A set fitted together has at most {MOST_PIECES} pieces.")
        if draft.condition not in Condition.values:
            known = ", ".join(Condition.values)
            raise BadInput("condition", f"“{draft.condition[:20]}” is no condition. Use one of: {known}.")
    _take_from_loose(drafts)
    now = clock.now()
    items = Item.objects.bulk_create(
        [
            Item(
                design=draft.design,
                condition=draft.condition,
                place=draft.place,
                pieces=draft.pieces,
                since=draft.since or now,
                lot=clean_lot(draft.lot),
            )
            for draft in drafts
        ],
        batch_size=CHUNK,
    )
    details = {"items": len(items), "first": items[0].label, "last": items[-1].label}
    record_change(who=who, what="item", which=items[0].label, act="labelled many", details=details)
    return items


def _take_from_loose(drafts: Sequence[ItemDraft]) -> None:
    """The conditional update of each balance is the lock, in one order, as for a single label."""
    wanted: Counter[tuple[int, str, int]] = Counter()
    one_of: dict[tuple[int, str, int], ItemDraft] = {}
    for draft in drafts:
        spot = (draft.design.pk, str(draft.condition), draft.place.pk)
        wanted[spot] += draft.pieces
        one_of[spot] = draft
    for spot in sorted(wanted):
        pieces = wanted[spot]
        design, condition, place = spot
        loose = Balance.objects.filter(
            design=design, condition=condition, place=place, quantity__gte=F("labelled") + pieces
        )
        if not loose.update(labelled=F("labelled") + pieces):
            draft = one_of[spot]
            sentence = selectors.not_enough_sentence(draft.design, draft.place, draft.condition, pieces)
            raise NotEnoughOnHand(sentence, field="quantity")
