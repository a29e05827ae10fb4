"""What stands where, who holds it, and the sentences that say so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

from django.db.models import QuerySet, Sum
from django.db.models.functions import Coalesce

from crib.catalogue.models import Design
from crib.people.models import Person
from crib.stock.models import Balance, Condition, Item, Move, Place

Items: TypeAlias = QuerySet[Item]

# So many other places are named in one sentence; more would not be read at a counter.
PLACES_NAMED = 4
FRESH_FIRST = (Condition.NEW, Condition.REGROUND, Condition.PART_USED, Condition.SPENT)
USABLE = (Condition.NEW, Condition.REGROUND, Condition.PART_USED)


def balances(
    *, design: Design | None = None, place: Place | None = None, condition: str | None = None
) -> QuerySet[Balance]:
    """Everything that is not zero, with its design and place."""
    found = Balance.objects.exclude(quantity=0).select_related("design", "place", "place__person")
    if design is not None:
        found = found.filter(design=design)
    if place is not None:
        found = found.filter(place=place)
    if condition is not None:
        found = found.filter(condition=condition)
    return found.order_by("design__code", "place__code", "condition")


def on_hand(*, design: Design) -> int:
    """How many usable pieces the crib itself holds."""
    usable = Balance.objects.filter(design=design, place__kind__in=Place.ON_HAND, condition__in=USABLE)
    total: int = usable.aggregate(total=Coalesce(Sum("quantity"), 0))["total"]
    return total


@dataclass(frozen=True)
class DesignStanding:
    """One line of the stock list."""

    design: Design
    on_hand: int
    out: int
    spent: int


def design_standings(designs: list[Design]) -> list[DesignStanding]:
    """On hand, with people and machines, and spent in the crib, for these designs; one query."""
    sums: dict[tuple[int, str], int] = {}
    held = Balance.objects.filter(design__in=designs, quantity__gt=0, may_go_negative=False)
    for row in held.values("design", "place__kind", "condition").annotate(total=Sum("quantity")):
        in_crib = row["place__kind"] in Place.ON_HAND
        share = "spent" if row["condition"] == Condition.SPENT else "on_hand" if in_crib else "out"
        sums[(row["design"], share)] = sums.get((row["design"], share), 0) + row["total"]
    return [
        DesignStanding(
            design=design,
            on_hand=sums.get((design.pk, "on_hand"), 0),
            out=sums.get((design.pk, "out"), 0),
            spent=sums.get((design.pk, "spent"), 0),
        )
        for design in designs
    ]


def holdings(*, person: Person) -> QuerySet[Balance]:
    """What a person holds now."""
    held = Balance.objects.filter(place__person=person, quantity__gt=0)
    return held.select_related("design", "place").order_by("design__code", "condition")


def item_history(*, item: Item) -> QuerySet[Move]:
    """Every move of an item, the last one first."""
    return item.moves.select_related("from_place", "to_place", "who", "job", "design", "allowed_by").order_by("-id")


def shelf_for(*, design: Design, quantity: int, condition: str | None = None) -> Balance | None:
    """The bin to take from: the first of `shelves`."""
    return next(iter(shelves(design=design, quantity=quantity, condition=condition)), None)


def shelves(*, design: Design, quantity: int, condition: str | None = None) -> list[Balance]:
    """Bins with loose pieces, best first: one that holds enough, fresh before part-used, the design's home first."""
    loose = [
        row
        for row in balances(design=design).filter(
            place__kind__in=Place.ON_HAND, place__retired_at__isnull=True, condition__in=USABLE, quantity__gt=0
        )
        if row.quantity - row.labelled > 0 and condition in (None, row.condition)
    ]
    return sorted(loose, key=lambda row: _preference(row, design, quantity))


def _preference(row: Balance, design: Design, quantity: int) -> tuple[bool, int, bool, str]:
    enough = row.quantity - row.labelled >= quantity
    return (
        not enough,
        FRESH_FIRST.index(Condition(row.condition)),
        row.place.home_of_id != design.pk,
        row.place.code,
    )


def not_enough_sentence(design: Design, place: Place, condition: str, wanted: int, *, there: int | None = None) -> str:
    """Why so many cannot be taken there, and where the others are."""
    if there is None:
        row = Balance.objects.filter(design=design, place=place, condition=condition).first()
        there = 0 if row is None else row.quantity - row.labelled
    kind = Condition(condition).label.lower()
    count = f"only {there}" if there > 0 else "no"
    begin = f"There {'is' if there == 1 else 'are'} {count} {kind} {design.code} in {place.code}; {wanted} asked for."
    return f"{begin} {where_else(design=design, besides=(place, condition))}"


def where_else(*, design: Design, besides: tuple[Place, str] | None = None) -> str:
    """Where the rest of a design is, in words: bins first, then who holds it."""
    rows = [
        row
        for row in balances(design=design).filter(quantity__gt=0, may_go_negative=False)
        if row.condition != Condition.SPENT
        and (besides is None or (row.place_id, row.condition) != (besides[0].pk, str(besides[1])))
    ]
    if not rows:
        return "There is none anywhere else in the shop."
    rows.sort(key=lambda row: (row.place.kind not in Place.ON_HAND, -row.quantity, row.place.code))
    said = [stands(row) for row in rows[:PLACES_NAMED]]
    rest = sum(row.quantity for row in rows[PLACES_NAMED:])
    if rest:
        said.append(f"{rest} more elsewhere")
    return "; ".join(said)[:1].upper() + "; ".join(said)[1:] + "."


def stands(row: Balance) -> str:
    """How many are where, in words."""
    count = (
        str(row.quantity) if row.condition == Condition.NEW else f"{row.quantity} {row.get_condition_display().lower()}"
    )
    if row.place.kind == Place.Kind.PERSON:
        return f"{row.place.person or row.place.name} holds {count}"
    if row.place.kind == Place.Kind.MACHINE:
        return f"{count} at machine {row.place.name}"
    if row.place.kind == Place.Kind.REGRIND:
        return f"{count} at regrind {row.place.name}"
    return f"{count} in {row.place.code}"


def where_item_is(item: Item, *, expected: Place) -> str:
    """The sentence for an item that stands elsewhere than expected."""
    place, kind = item.place, Condition(item.condition).label.lower()
    if place.pk == expected.pk:
        return f"{item.label} is in {place.code}, but it is {kind} now. Look at it again."
    if place.kind == Place.Kind.PERSON:
        return f"{item.label} is not in {expected.code}: {place.person or place.name} holds it ({kind})."
    return f"{item.label} is not in {expected.code}: it is at {place.code}, {place.name} ({kind})."


def conditions_in_words(held: Mapping[str, int]) -> str:
    """Such as “2 new and 1 part-used”."""
    words = [f"{held[one]} {one.label.lower()}" for one in FRESH_FIRST if held.get(one, 0) > 0]
    return " and ".join(words) if words else "no"


def item_whereabouts(item: Item) -> str:
    """Such as “ET1:I123V is with Ada Reyes (new).”"""
    place, kind = item.place, Condition(item.condition).label.lower()
    if place.kind == Place.Kind.PERSON:
        return f"{item.label} is with {place.person or place.name} ({kind})."
    if place.kind == Place.Kind.MACHINE:
        return f"{item.label} is at machine {place.name} ({kind})."
    return f"{item.label} is at {place.code}, {place.name} ({kind})."


def condition_to_take(design: Design, place: Place) -> str:
    """The freshest usable condition of which loose pieces lie in this place."""
    held = {row.condition: row.quantity - row.labelled for row in balances(design=design, place=place)}
    return next((one for one in FRESH_FIRST[:3] if held.get(one, 0) > 0), Condition.NEW)


def held_condition(design: Design, person: Person) -> str:
    """The freshest condition in which a person holds loose pieces of a design."""
    held = {row.condition: row.quantity - row.labelled for row in holdings(person=person).filter(design=design)}
    return next((one for one in FRESH_FIRST if held.get(one, 0) > 0), Condition.NEW)


def home_for(design: Design) -> Place | None:
    """Where a piece goes when nobody says otherwise: the design's own bin, else where most of it lies."""
    home = (
        Place.objects.filter(home_of=design, kind__in=Place.ON_HAND, retired_at__isnull=True).order_by("code").first()
    )
    if home is not None:
        return home
    most = (
        Balance.objects.filter(design=design, place__kind__in=Place.ON_HAND, place__retired_at__isnull=True)
        .select_related("place")
        .order_by("-quantity", "place__code")
        .first()
    )
    return None if most is None else most.place
