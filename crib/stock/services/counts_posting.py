"""Posting a count: a difference becomes a move against “count difference”, a stray piece one from where it was."""

from __future__ import annotations

from django.db import transaction
from django.db.models import F

from crib.core import clock
from crib.core.errors import Refused
from crib.people.models import Person
from crib.stock.drafts import MoveDraft
from crib.stock.errors import CountAgain, NotEnoughOnHand
from crib.stock.ledger import without_deadlock, write_move
from crib.stock.models import Count, CountLine, CountPiece, Item, Move, Place
from crib.stock.services.counts import closed
from crib.stock.services.places import difference_place


def post_count(*, count: Count, who: Person) -> list[Move]:
    """Make the books say what was counted and reviewed.

    What is posted is the difference found while counting, so that moves made since then keep their effect. A labelled
    piece that moved since is left where that move took it. A line that another count has put right since is refused.
    """

    def post() -> list[Move]:
        with transaction.atomic():
            return _post(count, who)

    return without_deadlock(post)


def _post(count: Count, who: Person) -> list[Move]:
    other_side = difference_place()
    # Counts are posted one after the other, so that none misses what another has just put right.
    Place.objects.select_for_update(no_key=True).get(pk=other_side.pk)
    claimed = Count.objects.filter(pk=count.pk, state=Count.State.REVIEW)
    if not claimed.update(state=Count.State.POSTED, posted_by=who, posted_at=clock.now()):
        raise closed(count=count)
    count.refresh_from_db()
    moves = []
    for line in count.lines.exclude(counted=F("expected")).select_related("design", "place"):
        _refuse_put_right(line)
        line.move = _written(_difference(line, other_side), who)
        line.save(update_fields=["move"])
        moves.append(line.move)
    for piece in count.pieces.select_related("item__design", "item__place", "place", "booked").order_by("item"):
        if piece.differs and _stands_as_booked(piece):
            piece.move = _written(_carried(piece, other_side), who)
            piece.save(update_fields=["move"])
            moves.append(piece.move)
    return moves


def _written(draft: MoveDraft, who: Person) -> Move:
    try:
        return write_move(draft, who)
    except NotEnoughOnHand:
        raise CountAgain(
            f"Fewer {draft.design.code} are booked in {draft.from_place.code} now than the count found missing. "
            "Send the count back and count it again.",
            field="counted",
        ) from None


def _refuse_put_right(line: CountLine) -> None:
    """Two counts of one spot may have seen the same difference; only the first to be posted puts it right."""
    others = CountLine.objects.filter(
        design=line.design, place=line.place, condition=line.condition, move__isnull=False,
        count__posted_at__gte=line.counted_at or line.count.started_at,
    ).exclude(count=line.count)  # fmt: skip
    other = others.first()
    if other is not None:
        raise CountAgain(
            f"Count {other.count_id} put {line.design.code} in {line.place.code} right since it was counted here. "
            "Send this count back and count it again.",
            field="counted",
        )


def _difference(line: CountLine, other_side: Place) -> MoveDraft:
    missing = line.expected - line.counted
    if missing > 0 and line.design.kept_as_items:
        # Its pieces carry labels all of them, so none can be missing from those without one.
        raise Refused(f"{line.design.code} is kept piece by piece. Send the count back and scan its labels.")
    return MoveDraft(
        design=line.design,
        quantity=abs(missing),
        from_place=line.place if missing > 0 else other_side,
        to_place=other_side if missing > 0 else line.place,
        condition=line.condition,
        why=Move.Why.COUNT,
        key=f"count:{line.count_id}:{line.pk}",
        note=f"count {line.count_id}: {line.counted} counted, {line.expected} expected",
    )


def _stands_as_booked(piece: CountPiece) -> bool:
    """Whether the piece has not moved since it was looked for; if it has, that move says where it is."""
    now = Item.objects.get(pk=piece.item_id)
    same = (now.place_id, now.condition) == (piece.booked_id, piece.condition)
    return same and not Move.objects.filter(item=now, at__gt=piece.at).exists()


def _carried(piece: CountPiece, other_side: Place) -> MoveDraft:
    said = "was not found" if not piece.found else f"was found in {piece.place.code}"
    return MoveDraft(
        design=piece.item.design,
        item=piece.item,
        quantity=piece.item.pieces,
        from_place=piece.booked,
        to_place=piece.place if piece.found else other_side,
        condition=piece.condition,
        why=Move.Why.COUNT,
        key=f"count:{piece.count_id}:piece:{piece.pk}",
        note=f"count {piece.count_id}: {piece.item.label} {said}",
    )
