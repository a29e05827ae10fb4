"""Counts: what is really there against what the books say.

What the books expect is read in the very transaction that writes down a figure, so a move before or after it spoils
nothing: what is posted later is the difference of that moment. Only what moves while somebody is looking would, and
that is refused by the marker of the last move that the counter was shown.
"""

from __future__ import annotations

from django.db import transaction

from crib.catalogue.models import Design
from crib.core import clock
from crib.core.errors import BadInput, Refused
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.drafts import LARGEST_QUANTITY, LONGEST_KEY, is_whole
from crib.stock.errors import CountAgain, CountClosed, ItemNeeded, MovedMeanwhile
from crib.stock.models import Balance, Condition, Count, CountLine, CountPiece, Item, Place

AT_WORK = (Count.State.OPEN, Count.State.REVIEW)


@transaction.atomic
def start_count(*, who: Person, place: Place | None = None, design: Design | None = None, blind: bool = True) -> Count:
    """Begin to count a place with all that stands in it, or a design wherever the crib keeps it.

    Of what one count looks at, no other may be under way for the same place, one above it or below it, or the design.
    """
    if (place is None) == (design is None):
        raise BadInput("place", "Choose what is counted: either a place or a design.")
    _refuse_second_count(place, design)
    if place is not None:
        if place.kind not in Place.ON_HAND:
            raise BadInput("place", f"{place.code} is no place in the crib. Choose a bin, cabinet or crib.")
        if place.retired_at is not None:
            raise BadInput("place", f"{place.code} is retired. Choose a place in use.")
    return Count.objects.create(place=place, design=design, blind=blind, counted_by=who, started_at=clock.now())


def _refuse_second_count(place: Place | None, design: Design | None) -> None:
    if design is not None:
        # Two who begin at the same moment meet at this row.
        Design.objects.select_for_update(no_key=True).get(pk=design.pk)
        already = Count.objects.filter(design=design, state__in=AT_WORK).select_related("counted_by").first()
    else:
        assert place is not None
        list(Place.objects.select_for_update(no_key=True).filter(kind__in=Place.ON_HAND).order_by("pk").values("pk"))
        near = {*(one.pk for one in selectors.places_within(place=place)), *_above(place)}
        already = Count.objects.filter(place__in=near, state__in=AT_WORK).select_related("counted_by", "place").first()
    if already is not None:
        of = already.place or design
        raise Refused(
            f"{already.counted_by} is counting {of} already (count {already.pk}). Finish or drop that count first.",
            field="place" if place is not None else "design",
        )


def _above(place: Place) -> list[int]:
    found: list[int] = []
    while place.parent is not None and place.parent.pk not in found:
        place = place.parent
        found.append(place.pk)
    return found


@transaction.atomic
def record_count(
    *,
    count: Count,
    design: Design,
    counted: int,
    who: Person,
    place: Place | None = None,
    condition: str = Condition.NEW,
    without_labels: bool = False,
    key: str = "",
    marker: int | None = None,
) -> CountLine:
    """Write down how many pieces without a label lie there; the labelled ones are those whose labels were scanned.

    A figure that differs from the books is asked for a second time; the first one is kept beside it. `marker` is the
    last move that the counter was shown for this line: when another one touched it since, the figure is refused.
    The same key sent again changes nothing.
    """
    _open(count)
    place = _place_in(count, place, design)
    selectors.read_condition(condition)
    if not is_whole(counted) or not 0 <= counted <= LARGEST_QUANTITY:
        raise BadInput("counted", f"Give what you counted: a whole number from 0 to {LARGEST_QUANTITY:,}.")
    if len(key) > LONGEST_KEY:
        raise BadInput("key", f"A key has at most {LONGEST_KEY} characters.")
    before = CountLine.objects.filter(count=count, design=design, place=place, condition=condition).first()
    if before is not None and key and before.key == key:
        return before
    if design.kept_as_items and counted and not without_labels:
        raise ItemNeeded(
            f"{design.code} is kept piece by piece: scan the label of each. Type only how many have lost theirs.",
            field="counted",
        )
    if marker is not None and marker != selectors.spot_marker(design=design, place=place):
        raise MovedMeanwhile(f"{design.code} moved in or out of {place.code} while you counted. Count it again.")
    _refuse_line_elsewhere(count, design, place, condition)
    line, _ = CountLine.objects.update_or_create(
        count=count,
        design=design,
        place=place,
        condition=condition,
        defaults={
            "expected": _loose(design, place, condition),
            "counted": counted,
            "first_counted": None if before is None else _first(before),
            "counted_at": clock.now(),
            "counted_by": who,
            "key": key,
        },
    )
    _look_for_missing(line)
    return line


def _first(before: CountLine) -> int:
    return before.counted if before.first_counted is None else before.first_counted


def _loose(design: Design, place: Place, condition: str) -> int:
    row = Balance.objects.filter(design=design, place=place, condition=condition).first()
    return 0 if row is None else row.quantity - row.labelled


def _look_for_missing(line: CountLine) -> None:
    """Keep the labelled pieces that the books have at this spot and nobody scanned."""
    count = line.count
    seen = CountPiece.objects.filter(count=count, found=True)
    CountPiece.objects.filter(
        count=count, found=False, place=line.place, item__design=line.design, condition=line.condition
    ).delete()
    booked = selectors.pieces_booked(design=line.design, place=line.place, condition=line.condition)
    missing = booked.exclude(pk__in=seen.values("item"))
    CountPiece.objects.bulk_create(
        [
            CountPiece(
                count=count, item=item, found=False, place=line.place, booked=line.place,
                condition=line.condition, at=line.counted_at or clock.now(),
            )
            for item in missing
        ]
    )  # fmt: skip


@transaction.atomic
def scan_piece(*, count: Count, item: Item, who: Person, place: Place | None = None) -> CountPiece:
    """Write down that a labelled piece lies here, wherever the books have it. Scanned twice, it counts once."""
    _open(count)
    # Held first and read after: PostgreSQL drops a joined row whose place changed while it was waited for.
    Item.objects.select_for_update(no_key=True).get(pk=item.pk)
    now = Item.objects.select_related("design", "place").get(pk=item.pk)
    place = _place_in(count, place, now.design)
    _refuse_piece_elsewhere(count, now)
    piece, _ = CountPiece.objects.update_or_create(
        count=count,
        item=now,
        defaults={
            "found": True,
            "place": place,
            "booked": now.place,
            "condition": now.condition,
            "at": clock.now(),
        },
    )
    return piece


@transaction.atomic
def finish_count(*, count: Count, who: Person) -> Count:
    """Hand the count over for review; refused while something is still to be counted a second time."""
    _open(count)
    again = [one for one in selectors.count_sheet(count=count) if one.again]
    if again:
        said = ", ".join(f"{one.design.code} in {one.place.code}" for one in again[:4])
        more = f" and {len(again) - 4} more" if len(again) > 4 else ""
        raise CountAgain(f"Count again first: {said}{more}.")
    if not count.lines.exists() and not count.pieces.exists():
        raise Refused("Nothing is counted yet. Count something first, or drop this count.")
    return _now(count, Count.State.REVIEW)


@transaction.atomic
def reopen_count(*, count: Count, who: Person) -> Count:
    """Send a count back from review, to be gone on with."""
    claimed = Count.objects.filter(pk=count.pk, state=Count.State.REVIEW)
    if not claimed.update(state=Count.State.OPEN):
        raise closed(count=count)
    count.refresh_from_db()
    return count


@transaction.atomic
def drop_count(*, count: Count, who: Person) -> Count:
    """Give up a count; nothing is posted."""
    claimed = Count.objects.filter(pk=count.pk, state__in=AT_WORK)
    if not claimed.update(state=Count.State.DROPPED, posted_by=who, posted_at=clock.now()):
        raise closed(count=count)
    count.refresh_from_db()
    return count


def _place_in(count: Count, place: Place | None, design: Design) -> Place:
    """The place that is looked at, which must belong to the count, as must the design."""
    if count.design is not None and design.pk != count.design_id:
        raise BadInput("design", f"This count is of {count.design.code} alone. Begin another one for {design.code}.")
    if place is None:
        if count.place is None:
            raise BadInput("place", "Scan the bin first: this count looks in all places of the design.")
        return count.place
    if place.pk == count.place_id:
        return place
    if not selectors.places_of_count(count=count).filter(pk=place.pk).exists():
        where = f"does not stand in {count.place.code}" if count.place else "is no place of the crib in use"
        raise BadInput("place", f"{place.code} {where}, which is being counted. Scan another bin.")
    return place


def _refuse_line_elsewhere(count: Count, design: Design, place: Place, condition: str) -> None:
    other = (
        CountLine.objects.filter(design=design, place=place, condition=condition, count__state__in=AT_WORK)
        .exclude(count=count)
        .first()
    )
    if other is not None:
        raise Refused(
            f"Count {other.count_id} has {design.code} in {place.code} already. Have that one posted or dropped first."
        )


def _refuse_piece_elsewhere(count: Count, item: Item) -> None:
    other = CountPiece.objects.filter(item=item, count__state__in=AT_WORK, found=True).exclude(count=count).first()
    if other is not None:
        raise Refused(f"{item.label} was scanned in count {other.count_id} already. Have that one posted first.")


def _now(count: Count, state: Count.State) -> Count:
    Count.objects.filter(pk=count.pk).update(state=state)
    count.refresh_from_db()
    return count


def _open(count: Count) -> None:
    # Locked, so that no line is added while the differences are being posted.
    now = Count.objects.select_for_update().get(pk=count.pk)
    if now.state != Count.State.OPEN:
        raise closed(count=now)


def closed(*, count: Count) -> CountClosed:
    """Why a count can no longer be written to, or not yet be posted."""
    count.refresh_from_db()
    words = {
        Count.State.OPEN: "is still being counted. Finish it first",
        Count.State.REVIEW: "is to be reviewed. Send it back to go on counting",
        Count.State.POSTED: "is posted already",
        Count.State.DROPPED: "is dropped already",
    }[Count.State(count.state)]
    return CountClosed(f"Count {count.pk} of {count.place or count.design} {words}.")
