"""What the counter page shows beside its scan field."""

from __future__ import annotations

from dataclasses import dataclass

from crib.catalogue.models import Job
from crib.core.errors import NotFound
from crib.people.models import Person
from crib.stock.models import Move, Place


@dataclass(frozen=True)
class CounterNow:
    """Who, for what and where, as the next scan will understand it."""

    person: Person | None
    job: Job | None
    place: Place | None


def counter_now(*, person: int | None, job: int | None, place: int | None) -> CounterNow:
    """The things behind the numbers that the counter remembers; what has gone meanwhile is left out."""
    return CounterNow(
        person=None if person is None else Person.objects.filter(pk=person).first(),
        job=None if job is None else Job.objects.filter(pk=job).first(),
        place=None if place is None else Place.objects.filter(pk=place).first(),
    )


def find_move(*, number: str) -> Move:
    """The line of the ledger with this number, with everything a sentence about it names."""
    ready = Move.objects.select_related(
        "design", "item", "from_place__person", "to_place__person", "job", "who", "allowed_by", "reversed_by"
    )
    # Longer numbers are none that a database could have given.
    found = ready.filter(pk=int(number)).first() if number.isascii() and number.isdigit() and len(number) < 19 else None
    if found is None:
        raise NotFound("There is no such line in the ledger.", field="move")
    return found
