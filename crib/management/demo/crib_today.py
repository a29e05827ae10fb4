"""What stands in the crib today: a kit laid ready, a count that waits for its review, limits on what is dear."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from django.utils import timezone

from crib.catalogue.models import Job
from crib.floor.models import Operation
from crib.life.selectors.kit_needs import kit_needs
from crib.life.services.kits import stage_job_kit
from crib.management.demo.scenario import Scenario
from crib.management.demo.setting_up import Shop
from crib.stock import services as stock
from crib.stock.models import Balance, Condition
from crib.stock.services.limits import set_take_limit


def tell_the_crib_today(scenario: Scenario, shop: Shop) -> None:
    """What the pages of kits, counts and limits have to show on the first day."""
    _limit(scenario, shop)
    _count_for_review(scenario, shop)


def _limit(scenario: Scenario, shop: Shop) -> None:
    for row in scenario.story["limits"]:
        design = shop.designs[row["design"]]
        set_take_limit(design=design, per=row["per"], most=row["most"], days=row["days"], who=shop.lead)


def _count_for_review(scenario: Scenario, shop: Shop) -> None:
    """Counted twice with the same difference, as the page asks; nobody has looked at it yet."""
    row = scenario.story["counted_for_review"]
    design = shop.designs[row["design"]]
    home = shop.homes[design.code]
    there = Balance.objects.filter(design=design, place=home, condition=Condition.NEW).first()
    found = max(0, (there.quantity - there.labelled if there else 0) - row["missing"])
    count = stock.start_count(place=home, who=shop.attendant)
    for _ in ("counted", "counted again"):
        stock.record_count(count=count, design=design, counted=found, who=shop.attendant)
    stock.finish_count(count=count, who=shop.attendant)


def stage_a_kit(scenario: Scenario, shop: Shop) -> None:
    """Lay ready what the forecast asks for, for the next job to start that needs anything."""
    for job in _next_jobs(shop.jobs.values()):
        if kit_needs(job=job).wants:
            starts = next(batch.from_week for batch in scenario.batches if batch.code == job.code)
            needed_on = timezone.localdate(shop.now - timedelta(weeks=starts))
            stage_job_kit(job=job, who=shop.attendant, needed_on=needed_on)
            return


def _next_jobs(jobs: Iterable[Job]) -> list[Job]:
    cut = set(Operation.objects.filter(job__state=Job.State.PLANNED).values_list("job_id", flat=True))
    return sorted((job for job in jobs if job.pk in cut), key=lambda job: (job.due or date.max, job.pk))
