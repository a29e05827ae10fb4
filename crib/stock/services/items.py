"""Items: the pieces that carry a label of their own."""

from __future__ import annotations

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

MOST_PIECES = 100


@transaction.atomic
def make_item(
    *,
    design: Design,
    condition: str,
    place: Place,
    who: Person,
    pieces: int = 1,
    lot: str = "",
    serial: str = "",
) -> Item:
    """Give a label to pieces that stand loose at `place`; nothing moves."""
    check_quantity(pieces)
    if pieces > MOST_PIECES:
        raise BadInput("pieces", f"A set fitted together has at most {MOST_PIECES} pieces.")
    if condition not in Condition.values:
        raise BadInput("condition", f"“{condition[:20]}” is no condition. Use one of: {', '.join(Condition.values)}.")
    loose = Balance.objects.filter(
        design=design, condition=condition, place=place, quantity__gte=F("labelled") + pieces
    )
    if not loose.update(labelled=F("labelled") + pieces):
        raise NotEnoughOnHand(selectors.not_enough_sentence(design, place, condition, pieces), field="quantity")
    item = Item.objects.create(
        design=design,
        condition=condition,
        place=place,
        pieces=pieces,
        lot=clean_lot(lot),
        serial=serial.strip()[:40],
        since=clock.now(),
    )
    details = {"design": design.code, "place": place.code, "pieces": pieces}
    record_change(who=who, what="item", which=item.label, act="labelled", details=details)
    return item


@transaction.atomic
def write_lot(*, item: Item, lot: str, who: Person) -> Item:
    """Write down which lot a labelled piece is of, or put it right; empty when nobody knows it."""
    item = Item.objects.select_for_update(of=("self",)).get(pk=item.pk)
    before, item.lot = item.lot, clean_lot(lot)
    if item.lot != before:
        item.save(update_fields=["lot"])
        details = {"from": before or "none", "to": item.lot or "none"}
        record_change(who=who, what="item", which=item.label, act="lot written", details=details)
    return item
