"""Works out what the plans need, raises and clears flags, and keeps a suggestion for what is missing.

The database says what is due: a plan whose revision is ahead of what was computed, a design whose stock or orders
have moved since its flags were checked, and everything once a day. All may be done twice, late, or beside itself.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from calc.supply.demand import StockAhead, project_stock
from crib.catalogue.models import Design
from crib.core import clock
from crib.planning.calendar import Days, days_of, working_weekdays
from crib.planning.figures import (
    Array,
    DesignNeed,
    arrivals_by_day,
    by_level,
    evidence_of,
    needs_of,
    spindles_of,
    works_of,
)
from crib.planning.judging import Judgement, Outlook, judge
from crib.planning.laws import laws_of
from crib.planning.models import DesignDemand, ProductionPlan
from crib.planning.selectors import gather
from crib.planning.selectors.gather import StockNow
from crib.planning.services.flags import Written, clear_flags_of_retired, write_judgements
from crib.planning.services.lives import refresh_life_flags
from crib.planning.terms import DAYS_WHEN_LATE

AT_ONCE = 100
Tell = Callable[[int, int], None]


@dataclass(slots=True)
class Refreshed:
    """What a refresh has done."""

    plans: list[str] = field(default_factory=list)
    designs: int = 0
    written: Written = field(default_factory=Written)
    trouble: dict[str, list[str]] = field(default_factory=dict)


def refresh_due_plans(*, tell: Tell | None = None) -> Refreshed:
    """Work every design out again when a plan has changed, a new day has begun or lives were learnt anew."""
    plans = gather.live_plans()
    if any(_is_due(plan) for plan in plans) or gather.learnt_since(plans):
        return refresh_designs(designs=None, tell=tell)
    return Refreshed()


def refresh_due_flags() -> Refreshed:
    """Check the designs again whose stock or orders have moved, or that were not looked at today, and falling lives."""
    lives = refresh_life_flags()
    designs = set(gather.designs_due().values_list("pk", flat=True))
    done = refresh_designs(designs=designs) if designs else Refreshed()
    done.written += lives
    return done


def compute_plan(*, month: str, tell: Tell | None = None) -> Refreshed:
    """Work a month's plan out now, whether or not it is due; the plans of other months go with it."""
    days_of(month)
    return refresh_designs(designs=None, tell=tell)


def refresh_designs(*, designs: Collection[int] | None, tell: Tell | None = None) -> Refreshed:
    """Demand, stock ahead, flags and suggestions of these designs, or of all; a bundle at a time."""
    # What is learnt while the numbers are worked out makes them due again.
    today, began, plans = clock.today(), clock.now(), gather.live_plans()
    bought = gather.bought_again() if designs is None else gather.bought_again().filter(pk__in=designs)
    every = list(bought.order_by("pk"))
    done = Refreshed(plans=[plan.month for plan in plans], designs=len(every))
    for start in range(0, len(every), AT_ONCE):
        bundle = every[start : start + AT_ONCE]
        _refresh_bundle(bundle, plans, today, done)
        if tell is not None:
            tell(start + len(bundle), len(every))
    if designs is None:
        clear_flags_of_retired()
        for plan in plans:
            # A plan that was changed meanwhile stays behind, and is worked out again.
            ProductionPlan.objects.filter(pk=plan.pk).update(
                computed_revision=plan.revision, computed_at=began, trouble=done.trouble.get(plan.month, [])
            )
    return done


def _is_due(plan: ProductionPlan) -> bool:
    if plan.computed_at is None or plan.computed_revision != plan.revision:
        return True
    return timezone.localdate(plan.computed_at) != clock.today()


def _refresh_bundle(bundle: Sequence[Design], plans: Sequence[ProductionPlan], today: date, done: Refreshed) -> None:
    """Read, play the months, and write what came out, in that order: nothing is locked while numbers are worked out."""
    ids = [design.pk for design in bundle]
    stock = gather.stock_now(designs=ids)
    offers = gather.offers_for(designs=ids)
    days = Days(today, days_of(plans[-1].month).last) if plans else None
    needs = _needs(ids, days, done) if days else {}
    demands: list[DesignDemand] = []
    judgements: list[tuple[Design, StockNow, Judgement]] = []
    late = today + timedelta(days=DAYS_WHEN_LATE)
    for design in bundle:
        now, need = stock[design.pk], needs.get(design.pk)
        if need is None or days is None:
            per_day = now.used_per_day
            outlook = Outlook(daily_mean=per_day, daily_sd=per_day**0.5, planned=False)
        else:
            arrivals = arrivals_by_day([(one.expected_on, one.quantity) for one in now.coming], days, late)
            ahead = _ahead(need, now, arrivals, len(days))
            bare = _ahead(need, now, arrivals * 0, len(days))
            outlook = _outlook(need, days, ahead, bare)
            demands += [_demand(plan, need, now, days, ahead, arrivals) for plan in plans]
        judged = judge(design=design, stock=now, outlook=outlook, offers=offers.get(design.pk, []), today=today)
        judgements.append((design, now, judged))
    _write_demands(ids, plans, [one for one in demands if one.mean > 0])
    done.written += write_judgements(judgements=judgements)


def _needs(designs: Collection[int], days: Days, done: Refreshed) -> Mapping[int, DesignNeed]:
    lines = gather.plan_lines(first=days.first, designs=designs)
    operations = {line.operation_id: line.operation for line in lines}
    laws = laws_of(list(operations.values()))
    weekdays = working_weekdays({one.machine_id for one in operations.values()})
    works, trouble = works_of(lines, laws, weekdays, days)
    for line in lines:
        if line.operation_id in trouble and trouble[line.operation_id] not in done.trouble.get(line.plan.month, []):
            done.trouble.setdefault(line.plan.month, []).append(trouble[line.operation_id])
    in_place = gather.edges_in_place(operations=list(operations.values()))
    fresh, ends = gather.fresh_edges_fitted(designs=designs), gather.ends_seen(designs=designs)
    return needs_of(spindles_of(works, in_place), fresh, ends, len(days))


def _ahead(need: DesignNeed, now: StockNow, arrivals: Array, days: int) -> StockAhead:
    return project_stock([now.on_hand], arrivals[None], need.within(0, days - 1))


def _outlook(need: DesignNeed, days: Days, ahead: StockAhead, bare: StockAhead) -> Outlook:
    def day(place: int) -> date | None:
        return days.each[place] if place >= 0 else None

    mean, sd = need.daily
    whole = need.within(0, len(days) - 1)
    return Outlook(
        daily_mean=mean,
        daily_sd=sd,
        planned=True,
        until=days.last,
        short_likely=day(int(bare.short_likely[0])),
        short_careful=day(int(bare.short_careful[0])),
        short_with_orders=day(int(ahead.short_careful[0])),
        needed_likely=round(float(whole.quantiles[0.5][0, -1])),
        needed_careful=round(float(whole.quantiles[0.95][0, -1])),
    )


def _demand(
    plan: ProductionPlan, need: DesignNeed, now: StockNow, days: Days, ahead: StockAhead, arrivals: Array
) -> DesignDemand:
    """The month's own need, and the stock from today to its end."""
    month = days_of(plan.month)
    first, last = max(days.place(month.first), 0), days.place(month.last)
    demand, whole = need.within(first, last), need.within(0, len(days) - 1)
    levels = by_level(demand)
    every = days.each
    short_likely, short_careful = int(ahead.short_likely[0]), int(ahead.short_careful[0])
    return DesignDemand(
        plan=plan,
        design=need.design,
        first_day=every[first],
        daily_mean=[round(value, 4) for value in demand.daily_mean[0].tolist()],
        running_quantiles=levels,
        mean=float(demand.mean[0, -1]),
        quantile_10=levels["10"][-1],
        quantile_50=levels["50"][-1],
        quantile_90=levels["90"][-1],
        quantile_95=levels["95"][-1],
        evidence=evidence_of(need, first, last),
        shortage_day_50=every[short_likely] if 0 <= short_likely <= last else None,
        shortage_day_95=every[short_careful] if 0 <= short_careful <= last else None,
        projection={
            "first_day": days.first.isoformat(),
            "mean": [round(value, 2) for value in ahead.mean[0, : last + 1].tolist()],
            "likely": ahead.likely[0, : last + 1].tolist(),
            "careful": ahead.careful[0, : last + 1].tolist(),
            "lucky": (ahead.mean + whole.mean - whole.quantiles[0.1])[0, : last + 1].tolist(),
            "arrivals": arrivals[: last + 1].tolist(),
            "on_hand": now.on_hand,
        },
        stock_revision=now.revision,
    )


@transaction.atomic
def _write_demands(designs: Collection[int], plans: Sequence[ProductionPlan], demands: Sequence[DesignDemand]) -> None:
    kept = {(one.plan.pk, one.design.pk) for one in demands}
    before = DesignDemand.objects.filter(plan__in=plans, design__in=designs).values_list("pk", "plan", "design")
    gone = [pk for pk, plan, design in before if (plan, design) not in kept]
    DesignDemand.objects.filter(pk__in=gone).delete()
    fields = [one.name for one in DesignDemand._meta.concrete_fields if one.name not in ("id", "plan", "design")]
    DesignDemand.objects.bulk_create(
        demands, update_conflicts=True, unique_fields=["plan", "design"], update_fields=fields
    )
