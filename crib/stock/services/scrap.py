"""Worn carbide handed over to a recycler, weighed against what the ledger says should be in the box."""

from __future__ import annotations

import math
from datetime import datetime
from decimal import Decimal

from django.db import transaction

from crib.core import clock
from crib.core.errors import BadInput, Refused
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock.drafts import LONGEST_NOTE
from crib.stock.models import Place
from crib.stock.records import ScrapCollection
from crib.stock.selectors.scrap import worn_carbide
from crib.stock.services.places import spent_place

HEAVIEST_G = 10_000_000.0
LONGEST_RECYCLER = 80
MOST_PAID = Decimal("10000000")


@transaction.atomic
def collect_scrap(
    *,
    weighed_g: float,
    who: Person,
    after: int | None,
    taken_by: str = "",
    paid: Decimal | None = None,
    note: str = "",
    at: datetime | None = None,
) -> ScrapCollection:
    """Write down a collection, `after` being the last one that whoever weighed it knew of; None: it was the first.

    Sent twice it counts once: the second time there is a later collection than the one it was weighed after.
    """
    _check(weighed_g, taken_by, paid, note)
    # All collections wait here for each other, so that no piece is counted in two of them.
    Place.objects.select_for_update().get(pk=spent_place().pk)
    last = ScrapCollection.objects.order_by("-pk").first()
    if (last.pk if last else None) != after:
        if last is not None and (last.who_id, last.weighed_g) == (who.pk, weighed_g):
            return last
        raise Refused("Somebody wrote down a collection meanwhile. Look at the list, and weigh what is left.")
    worn = worn_carbide()
    made = ScrapCollection.objects.create(
        at=at or clock.now(), who=who, weighed_g=weighed_g, expected_g=worn.grams, pieces=worn.pieces,
        unknown_pieces=worn.unknown, taken_by=taken_by.strip(), paid=paid, through_move_id=worn.through,
        note=note.strip(),
    )  # fmt: skip
    details = {"weighed_g": weighed_g, "expected_g": round(worn.grams, 1), "taken_by": taken_by.strip(), "paid": paid}
    record_change(who=who, what="worn carbide", which=str(made.pk), act="collected", details=details)
    return made


def _check(weighed_g: float, taken_by: str, paid: Decimal | None, note: str) -> None:
    if not math.isfinite(weighed_g) or weighed_g <= 0:
        raise BadInput("weighed_g", "Weigh the box: its worn carbide has a mass above 0 g.")
    if weighed_g > HEAVIEST_G:
        raise BadInput("weighed_g", f"{weighed_g:g} g is more than ten tonnes. Check the number and its unit.")
    if len(taken_by.strip()) > LONGEST_RECYCLER:
        raise BadInput("taken_by", f"The recycler's name has at most {LONGEST_RECYCLER} characters.")
    if paid is not None and not (paid.is_finite() and 0 <= paid <= MOST_PAID):
        raise BadInput("paid", "What was paid is 0 or more. Leave it empty until it is known.")
    if len(note.strip()) > LONGEST_NOTE:
        raise BadInput("note", f"A note has at most {LONGEST_NOTE} characters.")
