"""Posting a count: the ledger's part is the crib's; whether a piece sits in a built tool only the floor knows."""

from __future__ import annotations

from django.db import transaction

from crib.core.errors import ShopError
from crib.floor.hands import check_free
from crib.people.models import Person
from crib.stock import services as stock
from crib.stock.errors import CountAgain
from crib.stock.models import Count, Move


@transaction.atomic
def post_count(*, count: Count, who: Person) -> list[Move]:
    """Post a reviewed count, unless it would carry a piece away that is part of a built tool."""
    for piece in count.pieces.select_related("item__design", "place", "booked").order_by("item"):
        if not piece.differs:
            continue
        try:
            check_free(piece.item, field="item")
        except ShopError as held:
            seen = f"was found in {piece.place.code}" if piece.found else f"was not found in {piece.place.code}"
            raise CountAgain(
                f"{piece.item.label} {seen}, but it is part of a built tool. {held.sentence} "
                "Put that right on the Machines pages, or send the count back and scan it where it is.",
                field="item",
            ) from held
    return stock.post_count(count=count, who=who)
