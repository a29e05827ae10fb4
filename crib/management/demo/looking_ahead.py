"""Lets the demo shop look ahead: starting lives, life models, forecasts, plans, orders, flags and the budget."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from django.utils import timezone

from crib.core import clock
from crib.life import services as life
from crib.management.demo.calendar import month_after
from crib.management.demo.scenario import Scenario
from crib.management.demo.setting_up import Shop, batch_parts
from crib.planning import services as planning
from crib.planning.models import Suggestion

RECALLED_DAYS = 60
TEXT = ("design", "family", "material", "iso_group", "kind_of_cut", "source")


def write_starting_lives(scenario: Scenario, shop: Shop) -> None:
    """What the shop assumed before it had edges of its own."""
    for row in scenario.priors:
        life.write_starting_life(
            design=shop.designs.get(row["design"]),
            material=shop.materials.get(row["material"]),
            family=row["family"],
            iso_group=row["iso_group"],
            kind_of_cut=row["kind_of_cut"],
            source=row["source"],
            who=shop.engineer,
            **{name: float(figure) for name, figure in row.items() if name not in TEXT},
        )


def learn_and_forecast() -> None:
    """What the worker does at night and whenever a run is logged, here at once."""
    life.refit_all()
    # What would have been forecast of the last weeks' edges by what was known before them, and how it held.
    life.recall_forecasts(since=clock.now() - timedelta(days=RECALLED_DAYS))
    life.refresh_all_due()


def months_planned(now: datetime) -> list[tuple[date, date]]:
    """This month and the next: their first and last days."""
    today = timezone.localdate(now)
    following = month_after(today)
    return [(today.replace(day=1), following[0] - timedelta(days=1)), following]


def planned_parts(scenario: Scenario, now: datetime, first: date, last: date) -> dict[str, tuple[int, date, date]]:
    """Per job: the parts to be made between two days, and from which day to which."""
    zone = timezone.get_current_timezone()
    opens = datetime.combine(first, time(), tzinfo=zone)
    closes = datetime.combine(last + timedelta(days=1), time(), tzinfo=zone)
    planned = {}
    for batch in scenario.batches:
        starts = max(opens, now - timedelta(weeks=batch.from_week))
        ends = min(closes, now - timedelta(weeks=batch.to_week))
        if starts < ends:
            parts = batch_parts(scenario, batch, starts, ends)
            until = timezone.localdate(ends - timedelta(seconds=1))
            planned[batch.code] = (parts, timezone.localdate(starts), until)
    return planned


def plan_months(scenario: Scenario, shop: Shop) -> None:
    """Enter this month's plan and the next one's, with what each may cost."""
    for first, last in months_planned(shop.now):
        month = f"{first:%Y-%m}"
        lines = [
            planning.LineDraft(operation=shop.jobs[code], parts=parts, starts_on=starts, ends_on=ends)
            for code, (parts, starts, ends) in planned_parts(scenario, shop.now, first, last).items()
        ]
        planning.enter_plan(month=month, lines=lines, who=shop.planner)
        planning.set_budget(month=month, amount=Decimal(scenario.story["budget"]), who=shop.planner)


def order_what_is_on_its_way(scenario: Scenario, shop: Shop) -> None:
    """Work the plans out, order what the story says is ordered, and look again: what an order covers keeps quiet."""
    planning.refresh_designs(designs=None)
    low: Mapping[str, float] = scenario.story["spread_of_stock"]["on_its_way"]
    for suggestion in Suggestion.objects.filter(design__code__in=low, state=Suggestion.State.OPEN):
        line = planning.order_suggestion(suggestion=suggestion, who=shop.planner)
        planning.send_order(order=line.order, who=shop.planner)
    planning.refresh_due_flags()
