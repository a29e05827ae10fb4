"""What is to be counted today: designs by class of yearly use × cost, each class at its own interval.

The shares at which the classes end and the days between counts are common practice, no source. Use is what left the
crib for people, machines and the spent box in the year before, less what came back.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Max, Q, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from crib.catalogue.models import Design
from crib.core import clock
from crib.stock.models import Balance, Count, CountLine, Move, Place

YEAR = timedelta(days=365)
# A holds the designs that make up the first four fifths of what a year's use costs, B those up to 95 %, C all others.
CLASS_ENDS = (("A", Decimal("0.80")), ("B", Decimal("0.95")), ("C", Decimal(1)))
DAYS_BETWEEN = {"A": 30, "B": 90, "C": 180}
USED_AT = (Place.Kind.PERSON, Place.Kind.MACHINE, Place.Kind.SPENT)


@dataclass(frozen=True)
class DesignClass:
    """A design's class, by what a year's use of it costs."""

    letter: str
    use: int
    value: Decimal


@dataclass(frozen=True)
class DueCount:
    """A design whose places have not all been counted within its interval."""

    design: Design
    ranked: DesignClass
    last: datetime | None
    places: tuple[Place, ...]
    on_hand: int
    under_way: int | None

    @property
    def days_between(self) -> int:
        return DAYS_BETWEEN[self.ranked.letter]

    @property
    def due_on(self) -> date | None:
        """The day on which its interval ends; none when it was never counted."""
        return None if self.last is None else timezone.localdate(self.last) + timedelta(days=self.days_between)

    @property
    def days_over(self) -> int | None:
        return None if self.due_on is None else (clock.today() - self.due_on).days

    @property
    def is_due(self) -> bool:
        return self.days_over is None or self.days_over >= 0


@dataclass(frozen=True)
class CountingDay:
    """What is due, the most valuable and longest waiting first, and how many a day keep the round going."""

    due: tuple[DueCount, ...]
    a_day: int
    done_today: int
    kept: dict[str, int]

    @property
    def today(self) -> tuple[DueCount, ...]:
        """The day's share of what is due."""
        return self.due[: max(self.a_day - self.done_today, 0)]

    @property
    def later(self) -> tuple[DueCount, ...]:
        return self.due[len(self.today) :]


def design_classes() -> dict[int, DesignClass]:
    """Every design that moved in the last year, with its class; one query for the moves and one for the costs."""
    used: dict[int, int] = {}
    inside, outside = Q(from_place__kind__in=Place.ON_HAND), Q(from_place__kind__in=USED_AT)
    taken = Sum("quantity", filter=inside & Q(to_place__kind__in=USED_AT), default=0)
    back = Sum("quantity", filter=outside & Q(to_place__kind__in=Place.ON_HAND), default=0)
    moved = Move.objects.filter(at__gte=clock.now() - YEAR).order_by()
    for design, out, returned in moved.values_list("design").annotate(out=taken, returned=back):
        used[design] = max(out - returned, 0)
    costs = dict(Design.objects.values_list("pk", "unit_cost"))
    values = {design: use * costs[design] for design, use in used.items()}
    total, so_far = sum(values.values(), Decimal(0)), Decimal(0)
    found: dict[int, DesignClass] = {}
    for design in sorted(values, key=lambda one: (-values[one], one)):
        # A design belongs to the class in which its own value begins, so that the costliest is always an A.
        letter = next(name for name, end in CLASS_ENDS if total and so_far < end * total) if values[design] else "C"
        found[design] = DesignClass(letter, used[design], values[design])
        so_far += values[design]
    return found


def counting_day() -> CountingDay:
    """What is due to be counted today, and how many designs a day it takes; a fixed number of queries."""
    spots = _spots_on_hand()
    ranks = design_classes()
    counted = _last_counted()
    under_way = dict(
        CountLine.objects.filter(count__state__in=(Count.State.OPEN, Count.State.REVIEW)).values_list("design", "count")
    ) | dict(Count.objects.filter(state__in=("open", "review"), design__isnull=False).values_list("design", "pk"))
    rows, done, kept = [], 0, dict.fromkeys(DAYS_BETWEEN, 0)
    for design, standing in spots.items():
        ranked = ranks.get(design.pk, DesignClass("C", 0, Decimal(0)))
        kept[ranked.letter] += 1
        times = [counted.get((design.pk, place.pk)) for place, _ in standing]
        known = [moment for moment in times if moment is not None]
        last = min(known) if len(known) == len(times) else None
        done += last is not None and timezone.localdate(last) == clock.today()
        rows.append(
            DueCount(
                design, ranked, last, tuple(place for place, _ in standing), sum(many for _, many in standing),
                under_way.get(design.pk),
            )
        )  # fmt: skip
    due = sorted((row for row in rows if row.is_due), key=_pressing)
    a_day = math.ceil(sum(many / DAYS_BETWEEN[letter] for letter, many in kept.items()))
    return CountingDay(tuple(due), a_day, done, kept)


def _pressing(row: DueCount) -> tuple[object, ...]:
    """The class first; within it what was never counted, then what has waited longest."""
    return row.ranked.letter, row.last is not None, -(row.days_over or 0), -row.ranked.value, row.design.code


def _spots_on_hand() -> dict[Design, list[tuple[Place, int]]]:
    found: defaultdict[Design, list[tuple[Place, int]]] = defaultdict(list)
    rows = Balance.objects.filter(quantity__gt=0, place__kind__in=Place.ON_HAND).values("design", "place")
    sums = list(rows.annotate(total=Coalesce(Sum("quantity"), 0)).order_by("place__code"))
    designs = Design.objects.in_bulk({row["design"] for row in sums})
    places = Place.objects.in_bulk({row["place"] for row in sums})
    for row in sums:
        found[designs[row["design"]]].append((places[row["place"]], row["total"]))
    return found


def _last_counted() -> dict[tuple[int, int], datetime]:
    posted = CountLine.objects.filter(count__state=Count.State.POSTED).order_by()
    rows = posted.values_list("design", "place").annotate(last=Max("count__posted_at"))
    return {(design, place): last for design, place, last in rows}
