"""Counts: what is really there against what the books say; the difference becomes moves after review."""

from __future__ import annotations

from django.db import transaction
from django.db.models import F

from crib.catalogue.models import Design
from crib.core import clock
from crib.core.errors import BadInput, Refused
from crib.people.models import Person
from crib.stock.drafts import LARGEST_QUANTITY, MoveDraft, is_whole
from crib.stock.errors import CountClosed
from crib.stock.ledger import write_move
from crib.stock.models import Balance, Condition, Count, CountLine, Item, Move, Place
from crib.stock.services.places import difference_place


@transaction.atomic
def start_count(*, place: Place, who: Person) -> Count:
    """Begin to count a place; one count at a time stands open for it."""
    if place.kind not in Place.ON_HAND:
        raise BadInput("place", f"{place.code} is no place in the crib. Choose a bin, cabinet or crib.")
    already = Count.objects.filter(place=place, state=Count.State.OPEN).select_related("counted_by").first()
    if already is not None:
        raise Refused(f"{already.counted_by} is counting {place.code} already. Finish or drop that count first.")
    return Count.objects.create(place=place, counted_by=who, started_at=clock.now())


@transaction.atomic
def record_count(
    *, count: Count, design: Design, counted: int, who: Person, condition: str = Condition.NEW
) -> CountLine:
    """Write down how many of a design were found; counting it again replaces the first figure."""
    _open(count)
    if not is_whole(counted) or not 0 <= counted <= LARGEST_QUANTITY:
        raise BadInput("counted", f"Give what you counted: a whole number from 0 to {LARGEST_QUANTITY:,}.")
    if condition not in Condition.values:
        raise BadInput("condition", f"“{condition[:20]}” is no condition. Use one of: {', '.join(Condition.values)}.")
    line, _ = CountLine.objects.update_or_create(
        count=count,
        design=design,
        place=count.place,
        condition=condition,
        defaults={"expected": _expected(count, design, condition), "counted": counted},
    )
    return line


@transaction.atomic
def post_count(*, count: Count, who: Person) -> list[Move]:
    """Make the books say what was counted: each difference becomes a move against “count difference”.

    What is posted is the difference found while counting, so that moves made since then keep their effect.
    """
    claimed = Count.objects.filter(pk=count.pk, state=Count.State.OPEN)
    if not claimed.update(state=Count.State.POSTED, posted_by=who, posted_at=clock.now()):
        raise _closed(count)
    count.refresh_from_db()
    moves = []
    changed = count.lines.exclude(counted=F("expected")).select_related("design", "place")
    for line in changed:
        move = write_move(_difference(count, line), who)
        line.move = move
        line.save(update_fields=["move"])
        moves.append(move)
    return moves


@transaction.atomic
def drop_count(*, count: Count, who: Person) -> Count:
    """Give up a count; nothing is posted."""
    claimed = Count.objects.filter(pk=count.pk, state=Count.State.OPEN)
    if not claimed.update(state=Count.State.DROPPED, posted_by=who, posted_at=clock.now()):
        raise _closed(count)
    count.refresh_from_db()
    return count


def _difference(count: Count, line: CountLine) -> MoveDraft:
    missing = line.expected - line.counted
    carries = _missing_items(count, line, missing) if missing > 0 and line.design.kept_as_items else ()
    return MoveDraft(
        design=line.design,
        quantity=abs(missing),
        from_place=line.place if missing > 0 else difference_place(),
        to_place=difference_place() if missing > 0 else line.place,
        condition=line.condition,
        why=Move.Why.COUNT,
        key=f"count:{count.pk}:{line.pk}",
        note=f"count {count.pk}: {line.counted} counted, {line.expected} expected",
        carries=carries,
    )


def _missing_items(count: Count, line: CountLine, missing: int) -> tuple[Item, ...]:
    here = list(Item.objects.filter(design=line.design, place=count.place, condition=line.condition).order_by("pk"))
    if len(here) != missing:
        labels = ", ".join(item.label for item in here[:5])
        raise Refused(
            f"{missing} {line.design.code} are missing, and each has a label: {labels}. "
            "Move the missing one to the count difference by its label, then count again.",
            field="counted",
        )
    return tuple(here)


def _expected(count: Count, design: Design, condition: str) -> int:
    row = Balance.objects.filter(design=design, place=count.place, condition=condition).first()
    return 0 if row is None else row.quantity


def _open(count: Count) -> None:
    # Locked, so that no line is added while the differences are being posted.
    now = Count.objects.select_for_update().get(pk=count.pk)
    if now.state != Count.State.OPEN:
        raise _closed(now)


def _closed(count: Count) -> CountClosed:
    count.refresh_from_db()
    return CountClosed(
        f"Count {count.pk} of {count.place or count.design} is {count.get_state_display().lower()} already."
    )
