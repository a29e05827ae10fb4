"""What is to be counted, what was found, and where books and shelf differ."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Max, Q, QuerySet

from crib.catalogue.models import Design
from crib.core.errors import BadInput, NotFound
from crib.stock.models import Balance, Condition, Count, CountLine, CountPiece, Item, Move, Place
from crib.stock.selectors.pages import places_within

LINES = 50
# Where a count stands in the list: what wants somebody comes first.
BY_STATE = (Count.State.REVIEW, Count.State.OPEN, Count.State.POSTED, Count.State.DROPPED)

Spot = tuple[int, int, str]


@dataclass(frozen=True)
class ToCount:
    """One line of a count: a design in one condition at one place; `line` is what was found, once somebody looked."""

    design: Design
    place: Place
    condition: str
    line: CountLine | None
    booked: int = 0
    labelled: int = 0
    pieces: tuple[CountPiece, ...] = field(default=())

    @property
    def spot(self) -> Spot:
        return self.design.pk, self.place.pk, self.condition

    @property
    def words(self) -> str:
        return str(Condition(self.condition).label)

    @property
    def missing(self) -> tuple[CountPiece, ...]:
        return tuple(piece for piece in self.pieces if not piece.found)

    @property
    def strays(self) -> tuple[CountPiece, ...]:
        """Found here, though booked elsewhere."""
        return tuple(piece for piece in self.pieces if piece.found and piece.differs)

    @property
    def expected(self) -> int:
        """Pieces by the books at the moment of counting, with labels and without."""
        here = sum(piece.item.pieces for piece in self.pieces if piece.booked_id == self.place.pk)
        return self.booked if self.line is None else self.line.expected + here

    @property
    def found(self) -> int | None:
        """Pieces on the shelf."""
        if self.line is None and not self.pieces:
            return None
        loose = self.line.counted if self.line else 0
        return loose + sum(piece.item.pieces for piece in self.pieces if piece.found)

    @property
    def scanned(self) -> int:
        return sum(piece.item.pieces for piece in self.pieces if piece.found)

    @property
    def difference(self) -> int | None:
        """More on the shelf than in the books, or fewer; None until somebody looked."""
        if self.line is None and not self.pieces:
            return None
        loose = self.line.counted - self.line.expected if self.line else 0
        strays = sum(piece.item.pieces for piece in self.strays)
        return loose + strays - sum(piece.item.pieces for piece in self.missing)

    @property
    def differs(self) -> bool:
        line = self.line
        return (line is not None and line.counted != line.expected) or any(piece.differs for piece in self.pieces)

    @property
    def again(self) -> bool:
        """Whether it is to be looked at once more: it differs, and was looked at once."""
        line = self.line
        if line is None or line.first_counted is not None:
            return False
        return line.counted != line.expected or bool(self.missing)

    @property
    def done(self) -> bool:
        return self.line is not None and not self.again


def count_with(*, number: int) -> Count:
    """The count with this number."""
    found = Count.objects.select_related("place", "design", "counted_by", "posted_by").filter(pk=number).first()
    if found is None:
        raise NotFound("There is no such count.")
    return found


def recent_counts() -> list[Count]:
    """The latest counts: those that wait for somebody first."""
    with_names = Count.objects.select_related("place", "design", "counted_by", "posted_by").order_by("-id")
    waiting = list(with_names.filter(state__in=BY_STATE[:2])[:LINES])
    over = list(with_names.filter(state__in=BY_STATE[2:])[:LINES])
    return sorted([*waiting, *over], key=lambda one: (BY_STATE.index(Count.State(one.state)), -one.pk))[:LINES]


def counts_to_review() -> int:
    """How many counts wait for a second pair of eyes."""
    return Count.objects.filter(state=Count.State.REVIEW).count()


def places_of_count(*, count: Count) -> QuerySet[Place]:
    """Where a count looks: a place with all below it, or wherever the crib may keep the design."""
    own = Place.objects.filter(kind__in=Place.ON_HAND, retired_at__isnull=True)
    if count.place is not None:
        own = own.filter(pk__in=[one.pk for one in places_within(place=count.place)])
    return own.order_by("code")


def spot_marker(*, design: Design, place: Place) -> int:
    """The last move that touched a design at a place: another one afterwards means that something moved."""
    touched = Move.objects.filter(Q(from_place=place) | Q(to_place=place), design=design)
    last: int | None = touched.aggregate(last=Max("pk"))["last"]
    return last or 0


def spot_markers(sheet: Iterable[ToCount]) -> dict[tuple[int, int], int]:
    """`spot_marker` of every line of a sheet, by design and place, in two queries."""
    wanted = {(one.design.pk, one.place.pk) for one in sheet}
    found = dict.fromkeys(wanted, 0)
    moved = Move.objects.filter(design__in={design for design, _ in wanted}).order_by()
    places = {place for _, place in wanted}
    for side in ("from_place", "to_place"):
        rows = moved.filter(**{f"{side}__in": places}).values_list("design", side).annotate(last=Max("pk"))
        for design, place, last in rows:
            if (design, place) in found:
                found[(design, place)] = max(found[(design, place)], last)
    return found


def count_sheet(*, count: Count) -> list[ToCount]:
    """All that the count has looked at or is still to look at, by place and design; a fixed number of queries."""
    lines = list(count.lines.select_related("design", "place", "counted_by", "move"))
    pieces: defaultdict[Spot, list[CountPiece]] = defaultdict(list)
    designs = {line.design_id: line.design for line in lines}
    places = {line.place_id: line.place for line in lines}
    for piece in count.pieces.select_related("item__design", "place", "booked__person", "move"):
        designs[piece.item.design_id], places[piece.place_id] = piece.item.design, piece.place
        pieces[(piece.item.design_id, piece.place_id, piece.condition)].append(piece)
    booked = _booked(count)
    for known in booked.values():
        designs[known.design_id], places[known.place_id] = known.design, known.place
    looked = {(line.design_id, line.place_id, line.condition): line for line in lines}
    sheet = [
        ToCount(
            designs[design],
            places[place],
            condition,
            looked.get((design, place, condition)),
            booked=row.quantity if (row := booked.get((design, place, condition))) else 0,
            labelled=row.labelled if row else 0,
            pieces=tuple(pieces.get((design, place, condition), ())),
        )
        for design, place, condition in {*looked, *pieces, *booked}
    ]
    return sorted(sheet, key=lambda one: (one.place.code, one.design.code, one.condition))


def _booked(count: Count) -> dict[Spot, Balance]:
    """What the books hold within the count, while it is open."""
    if count.state != Count.State.OPEN:
        return {}
    rows = Balance.objects.filter(quantity__gt=0, place__in=places_of_count(count=count).values("pk"))
    if count.design_id is not None:
        rows = rows.filter(design=count.design_id)
    return {(row.design_id, row.place_id, row.condition): row for row in rows.select_related("design", "place")}


def next_to_count(sheet: Iterable[ToCount], *, place: Place | None = None) -> ToCount | None:
    """The next line that nobody has settled: in the place where somebody stands, else in the first one."""
    waiting = [one for one in sheet if not one.done]
    here = [one for one in waiting if place is not None and one.place.pk == place.pk]
    return next(iter(here or waiting), None)


def line_shown(*, count: Count, design: Design, place: Place, condition: str) -> ToCount:
    """One line of a count by itself, with the labels that were scanned for it."""
    found = count.pieces.select_related("item__design", "booked__person").filter(
        item__design=design, place=place, condition=condition
    )
    line = count.lines.filter(design=design, place=place, condition=condition).select_related("design", "place").first()
    return ToCount(design, place, condition, line, pieces=tuple(found))


def pieces_booked(*, design: Design, place: Place, condition: str) -> QuerySet[Item]:
    """The labelled pieces that the books have at one spot."""
    return Item.objects.filter(design=design, place=place, condition=condition).order_by("pk")


def read_condition(condition: str) -> str:
    """A condition as it was sent; refused when it is none."""
    if condition not in Condition.values:
        raise BadInput("condition", f"“{condition[:20]}” is no condition. Use one of: {', '.join(Condition.values)}.")
    return condition
