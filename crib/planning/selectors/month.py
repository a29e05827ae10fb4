"""The month ahead as a planner reads it: a fixed number of queries, whatever the number of designs."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import DecimalField, ExpressionWrapper, F, Prefetch, QuerySet, Sum

from crib.catalogue.models import Design, Job
from crib.core import clock
from crib.core.errors import NotFound
from crib.floor.models import Operation
from crib.planning.calendar import Days, days_of, month_after, month_of
from crib.planning.models import (
    Budget,
    DesignDemand,
    Flag,
    OrderLine,
    PlanLine,
    ProductionPlan,
    PurchaseOrder,
    Suggestion,
)
from crib.planning.selectors.gather import OPEN_ORDERS


@dataclass(slots=True)
class PlannedJob:
    """A job in the plan, with its lines."""

    job: Job
    lines: list[PlanLine] = field(default_factory=list)

    @property
    def parts(self) -> int:
        """Parts of the job; operations of one part are not added up."""
        by_operation: dict[int, int] = defaultdict(int)
        for line in self.lines:
            by_operation[line.operation_id] += line.parts
        return max(by_operation.values(), default=0)

    @property
    def starts_on(self) -> date:
        return min(line.starts_on for line in self.lines)

    @property
    def ends_on(self) -> date:
        return max(line.ends_on for line in self.lines)


@dataclass(frozen=True, slots=True)
class NeedRow:
    """One design's need in the month, and how it stands."""

    demand: DesignDemand
    flags: tuple[Flag, ...]
    suggestion: Suggestion | None

    @property
    def design(self) -> Design:
        return self.demand.design

    @property
    def on_hand(self) -> int:
        return int(self.demand.projection.get("on_hand", 0))

    @property
    def coming(self) -> int:
        return int(sum(self.demand.projection.get("arrivals", [])))

    @property
    def standing(self) -> str:
        """Short, late, covered or enough: the one word that counts."""
        if any(flag.kind == Flag.Kind.WILL_RUN_SHORT and not flag.covered for flag in self.flags):
            return "short"
        if any(not flag.covered for flag in self.flags):
            return "low"
        return "covered" if self.flags else "enough"


@dataclass(frozen=True, slots=True)
class SuggestionRow:
    """What ought to be bought, with what it costs and whether the month's budget still holds it."""

    suggestion: Suggestion
    cost: Decimal
    beyond_budget: bool


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """What the month may cost, what was ordered in it, and what is suggested."""

    amount: Decimal | None
    ordered: Decimal
    suggested: Decimal

    @property
    def left(self) -> Decimal | None:
        return None if self.amount is None else self.amount - self.ordered

    @property
    def over(self) -> bool:
        return self.amount is not None and self.ordered + self.suggested > self.amount


@dataclass(frozen=True, slots=True)
class MonthAhead:
    """Everything on the Month ahead page."""

    month: str
    days: Days
    before: str
    after: str
    over: bool
    plan: ProductionPlan | None
    jobs: tuple[PlannedJob, ...]
    needs: tuple[NeedRow, ...]
    suggestions: tuple[SuggestionRow, ...]
    budget: BudgetLine
    orders: tuple[PurchaseOrder, ...]

    @property
    def behind(self) -> bool:
        """Whether the worker has still to work it out."""
        return self.plan is not None and self.plan.computed_revision != self.plan.revision

    @property
    def most(self) -> float:
        """The largest need, for drawing the ranges to one scale."""
        return max((row.demand.quantile_95 for row in self.needs), default=1.0)

    @property
    def short(self) -> int:
        return sum(row.standing in ("short", "low") for row in self.needs)


def month_to_plan() -> str:
    """The month that a planner most likely means: the first one to come that has a plan, else the next."""
    now = month_of(clock.today())
    planned = ProductionPlan.objects.filter(month__gt=now).order_by("month").values_list("month", flat=True).first()
    return planned or month_after(now)


def month_ahead(*, month: str) -> MonthAhead:
    """The plan of a month with its needs, suggestions, budget and open orders."""
    days = days_of(month)
    plan = ProductionPlan.objects.select_related("entered_by").filter(month=month).first()
    suggestions = open_suggestions()
    budget = _budget(month, suggestions)
    return MonthAhead(
        month=month,
        days=days,
        before=month_after(month, -1),
        after=month_after(month),
        over=days.last < clock.today(),
        plan=plan,
        jobs=tuple(_jobs(plan)),
        needs=tuple(_needs(plan, suggestions)),
        suggestions=tuple(_priced(month, suggestions, budget)),
        budget=budget,
        orders=tuple(open_orders()),
    )


def open_suggestions() -> list[Suggestion]:
    """What ought to be bought, the most pressing first."""
    rows = Suggestion.objects.filter(state=Suggestion.State.OPEN).select_related("design", "offer__supplier", "flag")
    return list(rows.order_by(F("order_by").asc(nulls_last=True), "design__code"))


def open_orders() -> QuerySet[PurchaseOrder]:
    """Orders of which something is still to come, the next to arrive first."""
    lines = Prefetch("lines", queryset=OrderLine.objects.select_related("design").order_by("design__code"))
    orders = PurchaseOrder.objects.filter(state__in=OPEN_ORDERS).select_related("supplier", "ordered_by")
    return orders.prefetch_related(lines).order_by(F("expected_on").asc(nulls_last=True), "pk")


def _jobs(plan: ProductionPlan | None) -> list[PlannedJob]:
    if plan is None:
        return []
    found: dict[int, PlannedJob] = {}
    lines = plan.lines.select_related("operation__job", "operation__machine", "operation__tip")
    for line in lines.order_by("operation__job__code", "operation__number", "starts_on"):
        found.setdefault(line.operation.job_id, PlannedJob(line.operation.job)).lines.append(line)
    return list(found.values())


def _needs(plan: ProductionPlan | None, suggestions: list[Suggestion]) -> list[NeedRow]:
    if plan is None:
        return []
    flags: dict[int, list[Flag]] = defaultdict(list)
    # Databases differ in where they put what has no date.
    pressing = F("short_on").asc(nulls_last=True)
    for flag in Flag.objects.filter(cleared_at=None, kind__in=Flag.OF_STOCK, design__demands__plan=plan).order_by(
        pressing
    ):
        flags[flag.design_id].append(flag)
    by_design = {one.design_id: one for one in suggestions}
    rows = [
        NeedRow(demand, tuple(flags[demand.design_id]), by_design.get(demand.design_id))
        for demand in plan.demands.select_related("design")
    ]
    order = {"short": 0, "low": 1, "covered": 2, "enough": 3}
    return sorted(rows, key=lambda row: (order[row.standing], row.demand.shortage_day_95 or date.max, row.design.code))


def _budget(month: str, suggestions: list[Suggestion]) -> BudgetLine:
    budget = Budget.objects.filter(month=month).first()
    cost = ExpressionWrapper(
        F("quantity") * F("unit_price"), output_field=DecimalField(max_digits=20, decimal_places=2)
    )
    placed = OrderLine.objects.filter(for_month=month).exclude(order__state=PurchaseOrder.State.CANCELLED)
    ordered = placed.aggregate(total=Sum(cost))["total"] or Decimal(0)
    suggested = sum((one.quantity * one.unit_price for one in suggestions if one.for_month == month), Decimal(0))
    return BudgetLine(budget.amount if budget else None, ordered, suggested)


def _priced(month: str, suggestions: list[Suggestion], budget: BudgetLine) -> list[SuggestionRow]:
    """In the order of need, until the budget is used up."""
    left, rows = budget.left, []
    for one in suggestions:
        cost = one.quantity * one.unit_price
        beyond = left is not None and one.for_month == month and cost > left
        if left is not None and one.for_month == month and not beyond:
            left -= cost
        rows.append(SuggestionRow(one, cost, beyond))
    return rows


@dataclass(frozen=True, slots=True)
class DesignAhead:
    """Why a design's number is what it is, and how its stock will go."""

    month: str
    design: Design
    plan: ProductionPlan
    demand: DesignDemand
    flags: tuple[Flag, ...]
    suggestion: Suggestion | None
    coming: tuple[OrderLine, ...]

    @property
    def days(self) -> list[date]:
        first = date.fromisoformat(self.demand.projection["first_day"])
        return [first + timedelta(days=place) for place in range(len(self.demand.projection["mean"]))]

    @property
    def reorder_point(self) -> int | None:
        for flag in self.flags:
            if flag.kind == Flag.Kind.BELOW_REORDER_POINT:
                return int(flag.evidence["reorder_point"])
        return None


def design_ahead(*, month: str, code: str) -> DesignAhead:
    """One design in a month's plan."""
    days_of(month)
    if not code.isprintable():
        raise NotFound("This design is none of ours. Look at the list of the month.", field="design")
    demand = DesignDemand.objects.filter(plan__month=month, design__code=code).select_related("plan", "design").first()
    if demand is None:
        raise NotFound(f"The plan of {month} needs no {code[:40]}. Look at the list of that month.", field="design")
    design = demand.design
    return DesignAhead(
        month=month,
        design=design,
        plan=demand.plan,
        demand=demand,
        flags=tuple(
            Flag.objects.filter(design=design, cleared_at=None, kind__in=Flag.OF_STOCK).order_by(
                F("short_on").asc(nulls_last=True)
            )
        ),
        suggestion=Suggestion.objects.filter(design=design, state=Suggestion.State.OPEN)
        .select_related("offer__supplier", "design")
        .first(),
        coming=tuple(
            OrderLine.objects.filter(design=design, order__state__in=OPEN_ORDERS, received__lt=F("quantity"))
            .select_related("order__supplier")
            .order_by("expected_on")
        ),
    )


@dataclass(frozen=True, slots=True)
class GridRow:
    """One row of the grid in which a month is entered: a job, with what is planned of it now."""

    job: Job
    operations: tuple[Operation, ...]
    lines: tuple[PlanLine, ...]
    parts: int | None
    starts_on: date
    ends_on: date

    @property
    def mixed(self) -> bool:
        """Whether its operations are planned apart, so that one number does not say it all."""
        return len({(line.parts, line.starts_on, line.ends_on) for line in self.lines}) > 1

    @property
    def left(self) -> int:
        return max(self.job.quantity - self.job.made, 0)

    @property
    def ready(self) -> bool:
        """Whether every operation has minutes in cut, so that its tips can be worked out."""
        return bool(self.operations) and all(one.minutes_per_part for one in self.operations)


def plan_grid(*, month: str) -> list[GridRow]:
    """Every job that could be made in a month: those not done, and those that the plan names already."""
    days = days_of(month)
    plan = ProductionPlan.objects.filter(month=month).first()
    planned = {row.job.pk: row for row in _jobs(plan)}
    operations = Operation.objects.filter(retired_at=None).select_related("tip", "machine").order_by("number")
    jobs = Job.objects.filter(retired_at=None).prefetch_related(Prefetch("operations", queryset=operations))
    rows = []
    for job in jobs.order_by("code"):
        line = planned.get(job.pk)
        if line is None and job.state == Job.State.DONE:
            continue
        rows.append(
            GridRow(
                job=job,
                operations=tuple(job.operations.all()),
                lines=tuple(line.lines) if line else (),
                parts=line.parts if line else None,
                starts_on=line.starts_on if line else days.first,
                ends_on=line.ends_on if line else days.last,
            )
        )
    return sorted(rows, key=lambda row: (row.parts is None, row.job.state != Job.State.RUNNING, row.job.code))
