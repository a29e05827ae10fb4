"""Which jobs start soon, and whether their kits are staged."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Min

from crib.catalogue.models import Job
from crib.core import clock
from crib.planning.models import PlanLine
from crib.stock.records import Kit

# A kit is looked for so many days ahead: long enough to order what is short, short enough to be of the plan.
DAYS_AHEAD = 28
# Before the shift: what starts today or on the next day, and what should have started.
DAYS_BEFORE_SHIFT = 1
DAYS_LATE = 14


@dataclass(frozen=True, slots=True)
class KitToStage:
    """A planned job with its first day by the plan, and its kit once that is staged."""

    job: Job
    starts_on: date
    kit: Kit | None = None

    @property
    def late(self) -> bool:
        return self.starts_on < clock.today()

    @property
    def says(self) -> str:
        days = (self.starts_on - clock.today()).days
        when = {0: "starts today", 1: "starts tomorrow"}.get(days, f"starts in {days} days")
        if days < 0:
            when = f"should have started {-days} day{'' if days == -1 else 's'} ago"
        state = f"kit {self.kit.pk} is staged" if self.kit else "no kit is staged"
        return f"By the plan it {when}; {state}."


def kits_to_stage(*, days: int = DAYS_AHEAD) -> list[KitToStage]:
    """Planned jobs that start within so many days by the plan, the first to start first; two queries.

    A job that runs has its tools, and one whose kit is handed out is served.
    """
    today = clock.today()
    starts = dict(
        PlanLine.objects.filter(
            operation__retired_at=None,
            operation__job__retired_at=None,
            operation__job__state=Job.State.PLANNED,
        )
        .order_by()
        .values_list("operation__job")
        .annotate(first=Min("starts_on"))
        .filter(first__gte=today - timedelta(days=DAYS_LATE), first__lte=today + timedelta(days=days))
    )
    kits = {
        kit.job_id: kit
        for kit in Kit.objects.filter(job__in=starts, state__in=(Kit.State.STAGED, Kit.State.ISSUED)).order_by("-pk")
    }
    found = []
    for job in Job.objects.filter(pk__in=starts):
        kit = kits.get(job.pk)
        if kit is None or kit.state == Kit.State.STAGED:
            found.append(KitToStage(job, starts[job.pk], kit))
    return sorted(found, key=lambda one: (one.starts_on, one.job.code))


def kits_before_the_shift() -> list[KitToStage]:
    """Those that are needed today or on the next day."""
    return kits_to_stage(days=DAYS_BEFORE_SHIFT)
