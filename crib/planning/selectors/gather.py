"""Everything that working out a plan reads, with a fixed number of queries whatever the number of designs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Sum

from calc.life.flute_wear import over_the_worst
from crib.catalogue.models import Design, Offer
from crib.core import clock
from crib.floor.models import Edge, EdgeMinutes, Fitting, Operation
from crib.life.models import LifeModel
from crib.planning.calendar import month_of
from crib.planning.models import OrderLine, PlanLine, ProductionPlan, PurchaseOrder, Suggestion
from crib.planning.terms import DAYS_OF_USE
from crib.stock.models import Balance, Condition, DesignPulse, Move, Place, Reservation

# A part-used tip has an unknown rest of life, so it is not counted on.
COUNTED = (Condition.NEW, Condition.REGROUND)
OPEN_ORDERS = (PurchaseOrder.State.OPEN, PurchaseOrder.State.PART_RECEIVED)
SPOILING = (Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN)


@dataclass(frozen=True, slots=True)
class Coming:
    """Pieces that an open order will still bring."""

    order: str
    expected_on: date | None
    quantity: int


@dataclass(slots=True)
class StockNow:
    """What counts for the stock ahead of one design."""

    revision: int = 0
    on_hand: int = 0
    part_used: int = 0
    reserved: int = 0
    coming: list[Coming] = field(default_factory=list)
    used_per_day: float = 0.0

    @property
    def on_order(self) -> int:
        return sum(one.quantity for one in self.coming)

    @property
    def position(self) -> int:
        return self.on_hand + self.on_order - self.reserved


@dataclass(frozen=True, slots=True)
class InPlace:
    """The edge that works at an operation now, with the minutes that count for it at each operation."""

    edge: int
    operation: int
    minutes: dict[int, float]


class Spent(NamedTuple):
    """Minutes of an edge at one operation, from where to where on its flute; 0 and 0 where that is not known."""

    operation: int
    minutes: float
    low: float
    high: float


def plan_lines(*, first: date, designs: Collection[int] | None = None) -> list[PlanLine]:
    """Lines of every plan that still have days from `first` on."""
    lines = PlanLine.objects.filter(ends_on__gte=first, operation__retired_at=None)
    if designs is not None:
        lines = lines.filter(operation__tip__in=designs)
    joined = lines.select_related(
        "plan", "operation__job", "operation__machine", "operation__tip", "operation__body", "operation__material"
    )
    return list(joined.order_by("operation", "starts_on", "pk"))


def edges_in_place(*, operations: Collection[Operation]) -> dict[int, InPlace]:
    """By operation, the edge that worked at it last and is still fitted."""
    fitted = Fitting.objects.filter(item=OuterRef("item"), removed_at=None)
    edges = (
        Edge.objects.filter(Exists(fitted), state=Edge.State.IN_USE, operation__in=operations)
        .order_by(F("last_run_ended_at").asc(nulls_first=True), "pk")
        .values_list("pk", "operation", "item", "operation__contact_low", "operation__contact_high")
    )
    latest = {operation: (edge, item, band) for edge, operation, item, *band in edges}
    by_band = {item: edge for edge, item, band in latest.values() if band[1] is not None}
    own = {edge for edge, _, _ in latest.values()}
    rows: dict[int, list[Spent]] = defaultdict(list)
    present = Q(edge__grind=F("edge__item__regrinds_done"))
    wanted = Q(edge__in=own) | Q(present, edge__item__in=by_band, contact_high__gt=0)
    for edge, item, operation, minutes, low, high in EdgeMinutes.objects.filter(wanted, minutes__gt=0).values_list(
        "edge", "edge__item", "operation", "minutes", "contact_low", "contact_high"
    ):
        rows[edge if edge in own else by_band[item]].append(Spent(operation, minutes, low, high))
    return {
        operation: InPlace(edge, operation, _minutes_that_count(rows[edge], *band))
        for operation, (edge, _, band) in latest.items()
    }


def _minutes_that_count(rows: Sequence[Spent], low: float | None, high: float | None) -> dict[int, float]:
    """By operation; in a known band, what its most worn height has done, and what was cut nobody knows where."""
    counting = list(rows)
    if low is not None and high is not None:
        known = [row for row in rows if row.high]
        figures = [row.low for row in known], [row.high for row in known], [row.minutes for row in known]
        there = over_the_worst(*figures, low, high).tolist()
        counting = [row for row in rows if not row.high] + [row for row, on in zip(known, there, strict=True) if on]
    minutes: dict[int, float] = defaultdict(float)
    for row in counting:
        minutes[row.operation] += row.minutes
    return dict(minutes)


def fresh_edges_fitted(*, designs: Collection[int]) -> dict[int, int]:
    """Fresh edges that wait on tips already fitted, by design."""
    fitted = Fitting.objects.filter(item=OuterRef("item"), removed_at=None)
    waiting = Edge.objects.filter(Exists(fitted), state=Edge.State.FRESH, item__design__in=designs)
    return dict(waiting.values_list("item__design").annotate(count=Count("pk")))


def ends_seen(*, designs: Collection[int]) -> dict[int, tuple[int, int]]:
    """By design: edges ended, and how many of them chipped or broke."""
    # An edge that was ground away unused never came in use and spoilt nothing.
    ended = Edge.objects.filter(state=Edge.State.ENDED, put_in_at__isnull=False, item__design__in=designs)
    counted = ended.values_list("item__design").annotate(
        ended=Count("pk"), spoilt=Count("pk", filter=Q(outcome__in=SPOILING))
    )
    return {design: (all_of_them, spoilt) for design, all_of_them, spoilt in counted}


def stock_now(*, designs: Collection[int]) -> dict[int, StockNow]:
    """On hand, reserved, coming, and what was drawn lately, for each of these designs."""
    found = {design: StockNow() for design in designs}
    for design, revision in DesignPulse.objects.filter(design__in=designs).values_list("design", "revision"):
        found[design].revision = revision
    held = Balance.objects.filter(design__in=designs, place__kind__in=Place.ON_HAND, quantity__gt=0)
    for design, condition, quantity in held.values_list("design", "condition").annotate(total=Sum("quantity")):
        if condition in COUNTED:
            found[design].on_hand += quantity
        elif condition == Condition.PART_USED:
            found[design].part_used += quantity
    kept = Reservation.objects.filter(design__in=designs, released_at=None)
    for design, quantity in kept.values_list("design").annotate(total=Sum("quantity")):
        found[design].reserved = quantity
    open_lines = OrderLine.objects.filter(
        design__in=designs, order__state__in=OPEN_ORDERS, received__lt=F("quantity")
    ).select_related("order")
    for line in open_lines.order_by("expected_on", "pk"):
        expected = line.expected_on or line.order.expected_on
        found[line.design_id].coming.append(Coming(line.order.number, expected, line.quantity - line.received))
    for design, per_day in _used_per_day(designs).items():
        found[design].used_per_day = per_day
    return found


def _used_per_day(designs: Collection[int]) -> dict[int, float]:
    """Net of what came back: new pieces that left the crib for good over the last weeks, for each day."""
    since = clock.now() - timedelta(days=DAYS_OF_USE)
    moves = Move.objects.filter(design__in=designs, at__gte=since, condition__in=COUNTED, becomes__in=COUNTED)
    crib = [str(kind) for kind in Place.ON_HAND]
    outward = Q(from_place__kind__in=crib, to_place__kind__in=("person", "machine"))
    inward = Q(to_place__kind__in=crib, from_place__kind__in=("person", "machine"))
    sums = moves.values_list("design").annotate(
        out=Sum("quantity", filter=outward), back=Sum("quantity", filter=inward)
    )
    return {design: max((out or 0) - (back or 0), 0) / DAYS_OF_USE for design, out, back in sums}


def offers_for(*, designs: Collection[int]) -> dict[int, list[Offer]]:
    """What is asked for each design, with the prices at hand."""
    found: dict[int, list[Offer]] = defaultdict(list)
    offers = Offer.objects.filter(design__in=designs, retired_at=None, supplier__retired_at=None)
    for offer in offers.select_related("supplier").prefetch_related("prices").order_by("supplier__name"):
        found[offer.design_id].append(offer)
    return found


def bought_again() -> QuerySet[Design]:
    """What is bought again and again: everything that is handed out for good."""
    return Design.objects.filter(retired_at=None, returnable=False).exclude(
        kind__in=(Design.Kind.BODY, Design.Kind.HOLDER)
    )


def designs_due() -> QuerySet[Design]:
    """Those whose stock or orders have moved since their flags were checked, or that were not looked at today."""
    behind = Q(flag_check__revision__lt=F("pulse__revision"))
    outdated = Q(flag_check=None) | Q(flag_check__checked_on=None) | Q(flag_check__checked_on__lt=clock.today())
    # Somebody has entered an offer since for what nobody seemed to sell.
    offered = Exists(Offer.objects.filter(design=OuterRef("pk"), retired_at=None, prices__isnull=False))
    waiting = Exists(Suggestion.objects.filter(design=OuterRef("pk"), state=Suggestion.State.OPEN, offer=None))
    return bought_again().filter(behind | outdated | Q(offered & waiting))


def learnt_since(plans: Collection[ProductionPlan]) -> bool:
    """Whether a life was fitted after one of the plans was worked out."""
    computed = [plan.computed_at for plan in plans if plan.computed_at is not None]
    if not computed:
        return False
    fitted = LifeModel.objects.filter(fitted_at__gt=min(computed))
    return fitted.exclude(standing=LifeModel.Standing.PRIOR).exists()


def live_plans() -> list[ProductionPlan]:
    """The present month's plan and those to come."""
    return list(ProductionPlan.objects.filter(month__gte=month_of(clock.today())).order_by("month"))
