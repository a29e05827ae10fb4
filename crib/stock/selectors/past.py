"""What was where on a day gone by: today's balances with everything that moved since taken off again.

So a question about last month costs by the moves since, not by the whole ledger. Balances and moves are read in one
statement, which sees them at one moment. A move belongs to the time at which it happened, not at which it was told.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import F, QuerySet, Sum
from django.utils import timezone

from crib.catalogue.models import Design
from crib.core import clock
from crib.core.errors import BadInput
from crib.stock.models import Balance, Condition, Move, Place
from crib.stock.selectors.standing import DesignStanding

LONGEST_DAY_TEXT = 10


@dataclass(frozen=True)
class PastBalance:
    """How many of a design, in one condition, were at one place at the end of a day."""

    design: Design
    condition: str
    place: Place
    quantity: int

    @property
    def words(self) -> str:
        return str(Condition(self.condition).label)


def read_day(text: str) -> date | None:
    """A day as an address names it; none when it names none."""
    if not text:
        return None
    try:
        day = date.fromisoformat(text) if len(text) == LONGEST_DAY_TEXT else None
    except ValueError:
        day = None
    if day is None or day.year < 1900:  # nothing is kept of before, and clocks of some zones fail there
        raise BadInput("on", "A day is written as 2026-11-01: year, month and day.")
    if day > clock.today():
        raise BadInput("on", "This day is still to come. Choose today or a day before it.")
    return day


def balances_on(
    *, day: date, design: Design | None = None, place: Place | None = None, designs: list[Design] | None = None
) -> list[PastBalance]:
    """Everything that was not zero when `day` ended in the shop's own time; three queries, whatever the day."""
    sums: defaultdict[tuple[int, str, int], int] = defaultdict(int)
    for found, condition, where, quantity in _now_and_since(_end_of(day), design, place, designs):
        sums[(found, condition, where)] += quantity
    left = {spot: quantity for spot, quantity in sums.items() if quantity and (place is None or spot[2] == place.pk)}
    known = Design.objects.in_bulk({spot[0] for spot in left})
    places = Place.objects.select_related("person").in_bulk({spot[2] for spot in left})
    rows = [PastBalance(known[one], kind, places[where], many) for (one, kind, where), many in left.items()]
    return sorted(rows, key=lambda row: (row.design.code, row.place.code, row.condition))


def standings_on(designs: list[Design], *, day: date) -> list[DesignStanding]:
    """What `design_standings` would have said when `day` ended."""
    shares: defaultdict[tuple[int, str], int] = defaultdict(int)
    for row in balances_on(day=day, designs=designs):
        if row.place.may_go_negative or row.quantity < 0:
            continue
        in_crib = row.place.kind in Place.ON_HAND
        share = "spent" if row.condition == Condition.SPENT else "on_hand" if in_crib else "out"
        shares[(row.design.pk, share)] += row.quantity
    return [
        DesignStanding(
            design=design,
            on_hand=shares[(design.pk, "on_hand")],
            out=shares[(design.pk, "out")],
            spent=shares[(design.pk, "spent")],
        )
        for design in designs
    ]


def _end_of(day: date) -> datetime:
    return datetime.combine(day + timedelta(days=1), time(), tzinfo=timezone.get_default_timezone())


def _now_and_since(
    end: datetime, design: Design | None, place: Place | None, designs: list[Design] | None
) -> QuerySet[Balance, tuple[int, str, int, int]]:
    now, since = Balance.objects.order_by(), Move.objects.filter(at__gte=end).order_by()
    into, out_of = since, since
    if design is not None:
        designs = [design]
    if designs is not None:
        now = now.filter(design__in=designs)
        into, out_of = into.filter(design__in=designs), out_of.filter(design__in=designs)
    if place is not None:
        now, into, out_of = now.filter(place=place), into.filter(to_place=place), out_of.filter(from_place=place)
    came = into.values_list("design_id", "becomes", "to_place_id").annotate(many=-Sum("quantity"))
    went = out_of.values_list("design_id", "condition", "from_place_id").annotate(many=Sum("quantity"))
    there = now.annotate(many=F("quantity")).values_list("design_id", "condition", "place_id", "many")
    return there.union(came, went, all=True)
