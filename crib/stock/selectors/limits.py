"""How much of a design one person, or one job, may draw, how much of that is drawn, and when it frees again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from crib.catalogue.models import Design, Job
from crib.core import clock
from crib.core.errors import NotFound
from crib.people.models import Person
from crib.stock.models import Condition, Move, TakeLimit

# So many people are named who may let more go out.
PEOPLE_NAMED = 3


@dataclass(frozen=True)
class Drawn:
    """What counts against a limit now: `quantity` drawn less what came back, and when enough of it frees."""

    quantity: int
    frees_at: datetime | None


def limits_of(*, design: Design) -> list[TakeLimit]:
    """The limits of a design, in one order for all who hold them."""
    return list(TakeLimit.objects.filter(design=design).select_related("design").order_by("pk"))


def limits_of_all(*, designs: Iterable[int]) -> list[TakeLimit]:
    """The limits of several designs, in the one order for all who hold them."""
    return list(TakeLimit.objects.filter(design__in=list(designs)).select_related("design").order_by("pk"))


def all_limits() -> QuerySet[TakeLimit]:
    """Every limit there is, with its design."""
    return TakeLimit.objects.select_related("design").order_by("design__code", "per")


def limit_with(*, number: int) -> TakeLimit:
    """The limit with this number."""
    found = TakeLimit.objects.select_related("design").filter(pk=number).first()
    if found is None:
        raise NotFound("There is no such limit.")
    return found


def drawn_against(*, limit: TakeLimit, person: Person, job: Job | None, asked: int = 1) -> Drawn:
    """What a person, or a job, has drawn of the limit's design within its days, less what came back usable.

    What came back spent stays drawn: it was used. `frees_at` is when `asked` more may go out, if ever by itself.
    """
    moves = _moves_under(limit, person, job)
    if limit.days is None:
        return Drawn(max(sum(_counts(*move) for move in moves), 0), None)
    window, now = timedelta(days=limit.days), clock.now()
    inside = list(moves.filter(at__gt=now - window))
    drawn = max(sum(_counts(*move) for move in inside), 0)
    return Drawn(drawn, _frees_at(inside, window, limit.most - asked))


def _moves_under(limit: TakeLimit, person: Person, job: Job | None) -> QuerySet[Move, tuple[datetime, int, str]]:
    out, back = Q(why=Move.Why.CHECK_OUT), Q(why=Move.Why.TAKE_BACK) & ~Q(becomes=Condition.SPENT)
    if limit.per == TakeLimit.Per.PERSON:
        out, back = out & Q(to_place__person=person), back & Q(from_place__person=person)
    found = Move.objects.filter(out | back, design=limit.design_id, reversed_by__isnull=True)
    if limit.per == TakeLimit.Per.JOB:
        found = found.filter(job=job)
    return found.order_by("at", "pk").values_list("at", "quantity", "why")


def _counts(at: datetime, quantity: int, why: str) -> int:
    return quantity if why == Move.Why.CHECK_OUT else -quantity


def _frees_at(inside: Sequence[tuple[datetime, int, str]], window: timedelta, room: int) -> datetime | None:
    """The moment from which no more than `room` of these moves still count."""
    if room < 0:
        return None
    for left_out, (at, _, why) in enumerate(inside, start=1):
        still = sum(_counts(*move) for move in inside[left_out:])
        if why == Move.Why.CHECK_OUT and still <= room:
            return at + window
    return None


def who_may_allow_more() -> list[Person]:
    """The people at work who may let more go out than a limit says."""
    right = Q(groups__permissions__codename="allow_more") | Q(user_permissions__codename="allow_more")
    found = Person.objects.filter(right, is_active=True, is_counter=False).distinct()
    return list(found.order_by("last_name", "first_name", "username")[:PEOPLE_NAMED])
