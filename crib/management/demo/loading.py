"""Loads the demo shop, whole or not at all, and says who is in it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from crib.core import clock
from crib.management.demo import looking_ahead, setting_up, telling
from crib.management.demo.crib_today import stage_a_kit, tell_the_crib_today
from crib.management.demo.history import draw_past
from crib.management.demo.regrinds import tell_regrinds
from crib.management.demo.scenario import Batch, Scenario, read_people, read_scenario
from crib.management.demo.setting_up import Shop
from crib.management.demo.supplies import draw_supplies
from crib.people.models import Person

Progress = Callable[[str], None]


def demo_people() -> list[tuple[str, str, str]]:
    """User name, full name and role of everybody in the demo shop; a counter tablet has no role."""
    return [(row["username"], f"{row['first_name']} {row['last_name']}", row["role"]) for row in read_people()]


@transaction.atomic
def load_demo(progress: Progress, passwords: Mapping[str, str] | None = None) -> dict[str, str]:
    """Load the demo shop into an empty database; answers the passwords by user name.

    Passwords that are not given are made up. In a shop that has people already nothing is done, and no password
    is answered. Everything stands in one transaction, so a load that was cut off leaves nothing behind.
    """
    if Person.objects.exists():
        return {}
    scenario = read_scenario()
    shop = Shop(clock.now().replace(microsecond=0))
    progress("Taking on the people")
    setting_up.take_on_people(scenario, shop, passwords or {})
    progress("Filling the catalogue")
    setting_up.fill_catalogue(scenario, shop)
    setting_up.lay_out_places(scenario, shop)
    progress("Entering jobs and operations")
    setting_up.enter_jobs(scenario, shop)
    looking_ahead.write_starting_lives(scenario, shop)
    _tell_the_past(scenario, shop, progress)
    progress("Fitting the life models and forecasting the edges in use")
    looking_ahead.learn_and_forecast()
    progress("Planning this month and the next")
    looking_ahead.plan_months(scenario, shop)
    stage_a_kit(scenario, shop)
    looking_ahead.order_what_is_on_its_way(scenario, shop)
    progress("The demo shop is loaded")
    return shop.passwords


def _tell_the_past(scenario: Scenario, shop: Shop, progress: Progress) -> None:
    progress("Drawing nine months of production")
    minutes = {name: operation.minutes_per_part or 0.0 for name, operation in shop.operations.items()}
    past = draw_past(scenario, minutes, shop.now)
    supplies = draw_supplies(scenario, past, needs_until_next_month(scenario, shop.now), shop.now)
    progress("Building the tools and loading the machines")
    assemblies = telling.build_tools(scenario, shop, past)
    told = telling.tell_goods_and_tools(scenario, shop, past, supplies, assemblies, progress)
    telling.log_past_runs(scenario, shop, past, progress)
    telling.record_readings(shop, told)
    tell_regrinds(shop, told)
    telling.close_jobs(scenario, shop)
    telling.count_a_bin(scenario, shop)
    tell_the_crib_today(scenario, shop)


def needs_until_next_month(scenario: Scenario, now: datetime) -> dict[str, float]:
    """Pieces of each design from now to the end of next month, at the counts the shop changes at today."""
    needs: dict[str, float] = defaultdict(float)
    needs |= {code: float(pieces) for code, pieces in scenario.story["standing_needs"].items()}
    batches: dict[str, Batch] = {batch.code: batch for batch in scenario.batches}
    designs = scenario.design_rows
    last = looking_ahead.months_planned(now)[-1][1]
    planned = looking_ahead.planned_parts(scenario, now, timezone.localdate(now), last)
    for code, (parts, _, _) in planned.items():
        for step in scenario.steps[batches[code].part]:
            seats = int(designs[step.body]["seats"]) if step.body else 1
            edges = math.ceil(parts / (0.9 * step.fixed_count))
            needs[step.tip] += edges * seats / int(designs[step.tip]["edges"])
    return needs
