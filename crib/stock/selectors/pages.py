"""What the stock pages list; each at a fixed number of queries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from django.db.models import Model, Q, QuerySet

from crib.catalogue.models import Design
from crib.core.errors import BadInput, NotFound
from crib.people.models import Person
from crib.stock.models import Balance, Item, Move, Place
from crib.stock.selectors.standing import balances

T = TypeVar("T", bound=Model)
LINES = 50
ITEMS_SHOWN = 100


@dataclass(frozen=True)
class LedgerPage:
    """A stretch of the ledger, newest first, and the number to go on from."""

    moves: Sequence[Move]
    before: int | None


def ledger_page(
    *, design: Design | None = None, item: Item | None = None, place: Place | None = None, before: str = ""
) -> LedgerPage:
    """The moves of a design, an item or a place, or all of them, older than move `before`."""
    found = Move.objects.select_related(
        "design",
        "item__design",
        "from_place__person",
        "to_place__person",
        "job",
        "who",
        "allowed_by",
        "reversed_by",
        "reverses",
    ).order_by("-id")
    if design is not None:
        found = found.filter(design=design)
    if item is not None:
        found = found.filter(item=item)
    if place is not None:
        found = found.filter(Q(from_place=place) | Q(to_place=place))
    if before:
        found = found.filter(pk__lt=read_move_number(before))
    moves = list(found[: LINES + 1])
    return LedgerPage(moves[:LINES], moves[LINES - 1].pk if len(moves) > LINES else None)


def read_move_number(text: str) -> int:
    """The number from which a page of the ledger goes on; refused when it is none."""
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise BadInput("before", "This page of the ledger does not exist. Begin at its start.")
    return int(text)


def design_with(*, number: int) -> Design:
    """The design with this number."""
    return _one(Design.objects.filter(pk=number), "design")


def place_with(*, number: int) -> Place:
    """The place with this number, with what it stands for."""
    return _one(
        Place.objects.select_related("parent", "person", "machine", "supplier", "home_of").filter(pk=number), "place"
    )


def item_with(*, number: int) -> Item:
    """The item with this number, with its design and where it is."""
    return _one(Item.objects.select_related("design", "place", "place__person").filter(pk=number), "item")


def _one(found: QuerySet[T], word: str) -> T:
    thing = found.first()
    if thing is None:
        raise NotFound(f"There is no such {word}.")
    return thing


def items_of(*, design: Design) -> list[Item]:
    """The labelled pieces of a design that are in the shop."""
    inside = Item.objects.filter(design=design).exclude(place__kind__in=Place.OUTSIDE)
    return list(inside.select_related("design", "place", "place__person").order_by("place__code", "pk")[:ITEMS_SHOWN])


def all_places() -> QuerySet[Place]:
    """The crib's own places, those in use first."""
    own = Place.objects.filter(kind__in=(*Place.ON_HAND, Place.Kind.REGRIND))
    return own.select_related("parent", "home_of").order_by("retired_at", "code")


def places_to_keep_in() -> QuerySet[Place]:
    """Where stock may be put: bins, cabinets, cribs and sites in use."""
    return Place.objects.filter(kind__in=Place.ON_HAND, retired_at__isnull=True).order_by("code")


def places_within(*, place: Place) -> list[Place]:
    """A place and all that stands in it, in use, by code; one query."""
    known = Place.objects.filter(kind__in=Place.ON_HAND, retired_at__isnull=True)
    inside: dict[int | None, list[Place]] = {}
    for one in known.select_related("person", "home_of").order_by("code"):
        inside.setdefault(one.parent_id, []).append(one)
    found, waiting = [place], [place.pk]
    while waiting:
        below = inside.get(waiting.pop(), [])
        found += below
        waiting += [one.pk for one in below]
    return [place, *sorted(found[1:], key=lambda one: one.code)]


def places_to_move_between() -> QuerySet[Place]:
    """Every place that a move by hand may name."""
    kinds = (*Place.ON_HAND, Place.Kind.MACHINE, Place.Kind.REGRIND, Place.Kind.SPENT, Place.Kind.DIFFERENCE)
    return Place.objects.filter(kind__in=kinds, retired_at__isnull=True).order_by("kind", "code")


def stock_at(*, place: Place) -> QuerySet[Balance]:
    """What lies at a place."""
    return balances(place=place)


def badge_holders() -> QuerySet[Person]:
    """Everybody at work who carries a badge."""
    return Person.objects.filter(is_active=True, is_counter=False).order_by("last_name", "first_name", "username")


def balance_with(*, number: str) -> Balance:
    """The balance with this number, with its design and place."""
    sound = number.isascii() and number.isdigit() and len(number) < 19
    return _one(Balance.objects.select_related("design", "place").filter(pk=int(number) if sound else 0), "balance")
