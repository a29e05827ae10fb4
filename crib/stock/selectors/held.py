"""Who has what: what people and machines hold, since when, for what job, and whether it is overdue."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import OuterRef, Q, QuerySet, Subquery, Sum

from crib.catalogue.models import Design, Machine
from crib.core import clock
from crib.core.errors import NotFound
from crib.people.models import Person
from crib.stock.models import Balance, Condition, Item, Move, Place

# Days after which something that comes back is overdue when its design says nothing: common practice, no source.
RETURN_DAYS = 14
LOSSES_SHOWN = 50


@dataclass(frozen=True)
class Held:
    """So many of a design, in one condition, that a person or a machine holds."""

    place: Place
    design: Design
    condition: str
    quantity: int
    since: datetime | None
    job: str
    comes_back: bool
    overdue: bool
    items: tuple[Item, ...] = ()

    @property
    def person(self) -> Person | None:
        return self.place.person

    @property
    def machine(self) -> Machine | None:
        return self.place.machine

    @property
    def holder(self) -> str:
        return str(self.place.person or self.place.name)

    @property
    def labels(self) -> tuple[str, ...]:
        return tuple(item.label for item in self.items)

    @property
    def loose(self) -> int:
        """How many of them carry no label."""
        return self.quantity - sum(item.pieces for item in self.items)

    @property
    def value(self) -> Decimal:
        """What they cost when new."""
        return self.design.unit_cost * self.quantity

    @property
    def words(self) -> str:
        return str(Condition(self.condition).label)


def held_by(*, place: Place | None = None, only_back: bool = False) -> list[Held]:
    """What one person or machine holds, or all of them, the longest held first; two queries whatever the number."""
    last_in = Move.objects.filter(to_place=OuterRef("place"), design=OuterRef("design"), becomes=OuterRef("condition"))
    last_in = last_in.order_by("-at", "-id")
    comes_back = Q(design__returnable=True) | Q(condition__in=(Condition.PART_USED, Condition.REGROUND))
    rows = Balance.objects.filter(quantity__gt=0, place__kind__in=(Place.Kind.PERSON, Place.Kind.MACHINE))
    if place is not None and place.pk is None:
        return []
    if place is not None:
        rows = rows.filter(place=place)
    if only_back:
        rows = rows.filter(comes_back)
    found = list(
        rows.select_related("design", "place__person", "place__machine")
        .annotate(since=Subquery(last_in.values("at")[:1]), job=Subquery(last_in.values("job__code")[:1]))
        .order_by("since", "design__code", "place__code")
    )
    items: dict[tuple[int, int, str], list[Item]] = {}
    there = Item.objects.filter(place__kind__in=(Place.Kind.PERSON, Place.Kind.MACHINE))
    for item in (there if place is None else there.filter(place=place)).select_related("design").order_by("pk"):
        items.setdefault((item.place_id, item.design_id, item.condition), []).append(item)
    now = clock.now()
    return [_held(row, tuple(items.get((row.place_id, row.design_id, row.condition), ())), now) for row in found]


def _held(row: Balance, items: tuple[Item, ...], now: datetime) -> Held:
    since: datetime | None = row.since  # type: ignore[attr-defined]  # annotated in the query above
    job: str | None = row.job  # type: ignore[attr-defined]  # as above
    back = row.design.returnable or row.condition in (Condition.PART_USED, Condition.REGROUND)
    days = timedelta(days=row.design.return_days or RETURN_DAYS)
    # What stands in a machine is at work there; what a person holds is waited for.
    late = back and row.place.kind == Place.Kind.PERSON and since is not None and now - since > days
    return Held(row.place, row.design, row.condition, row.quantity, since, job or "", back, late, items)


def held_of(*, person: Person) -> list[Held]:
    """What this person holds."""
    place = Place.objects.filter(person=person).first()
    return [] if place is None else held_by(place=place)


def not_brought_back() -> list[Held]:
    """What people hold that comes back: returnable designs, and tips with life left in them. Oldest first."""
    return [one for one in held_by(only_back=True) if one.person is not None]


def holders() -> QuerySet[Place]:
    """The people and machines that hold anything now."""
    kinds = (Place.Kind.PERSON, Place.Kind.MACHINE)
    found = Place.objects.filter(kind__in=kinds, balances__quantity__gt=0).distinct()
    return found.select_related("person", "machine").order_by("kind", "name", "code")


def holder_with(*, number: str, of: str) -> Place | None:
    """The place of the person or machine with this number; None when nothing ever was with them."""
    if not (number.isascii() and number.isdigit() and len(number) < 19):
        raise NotFound(f"There is no such {of}. Choose one from the list.", field=of)
    return Place.objects.select_related("person", "machine").filter(**{of: int(number)}).first()


def empty_holder(*, number: str, of: str) -> Place:
    """Stands for a person or machine that never held anything; it is not kept."""
    if of == "person":
        person = Person.objects.filter(pk=int(number), is_counter=False).first()
        if person is not None:
            return Place(kind=Place.Kind.PERSON, name=str(person)[:80], person=person)
    machine = Machine.objects.filter(pk=int(number)).first() if of == "machine" else None
    if machine is None:
        raise NotFound(f"There is no such {of}. Choose one from the list.", field=of)
    return Place(kind=Place.Kind.MACHINE, name=machine.name, machine=machine)


@dataclass(frozen=True)
class Loss:
    """A line that wrote something lost, and how much of it may still turn up."""

    move: Move
    open: int


def open_losses() -> list[Loss]:
    """What was written lost and has not been found again, the newest first; two queries whatever the number."""
    moves = Move.objects.filter(why=Move.Why.LOST, reversed_by=None).order_by("-id")
    lost = list(moves.select_related("design", "item", "from_place", "who")[: 4 * LOSSES_SHOWN])
    again = Move.objects.filter(
        design__in={move.design_id for move in lost}, why=Move.Why.FOUND, reversed_by=None,
        note__in=[found_note(move) for move in lost],
    )  # fmt: skip
    found = dict(again.values_list("note").annotate(Sum("quantity")).order_by())
    losses = [Loss(move, move.quantity - found.get(found_note(move), 0)) for move in lost]
    return [loss for loss in losses if loss.open > 0][:LOSSES_SHOWN]


def found_note(lost: Move) -> str:
    """How the line of a thing found again names the line that wrote it lost."""
    return f"Lost by move {lost.pk}."


def found_of(lost: Move) -> int:
    """How many of a loss were found again, and that line not reversed."""
    again = Move.objects.filter(design=lost.design_id, why=Move.Why.FOUND, reversed_by=None, note=found_note(lost))
    total: int | None = again.aggregate(total=Sum("quantity"))["total"]
    return total or 0
