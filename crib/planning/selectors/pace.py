"""How many parts a month asks of an operation: by its plan, else as it ran lately."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Sum

from crib.core import clock
from crib.floor.models import Operation, Run
from crib.planning.calendar import month_after, month_of
from crib.planning.models import PlanLine

DAYS = 30


@dataclass(frozen=True, slots=True)
class MonthParts:
    """Parts of a month, and where the number comes from."""

    parts: int
    says: str


def parts_of_month(*, operation: Operation) -> MonthParts | None:
    """The plan's of this month, else of the next; else what was made in the last 30 days; none where nothing was."""
    month = month_of(clock.today())
    months = [month, month_after(month)]
    lines = PlanLine.objects.filter(operation=operation, plan__month__in=months)
    planned = dict(lines.values_list("plan__month").annotate(parts=Sum("parts")).order_by("plan__month"))
    for name in months:
        if planned.get(name):
            return MonthParts(planned[name], f"as planned for {name}")
    since = clock.now() - timedelta(days=DAYS)
    made = Run.objects.filter(operation=operation, started_at__gte=since).aggregate(parts=Sum("parts"))["parts"]
    return MonthParts(made, f"as made in the last {DAYS} days") if made and made > 0 else None
