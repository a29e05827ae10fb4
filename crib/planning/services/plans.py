"""Entering what a month is to make, and what it may cost."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from functools import partial

from django.db import transaction
from django.db.models import F

from crib.catalogue.models import Job
from crib.core import clock
from crib.core.errors import BadInput
from crib.core.wake import wake
from crib.floor.models import Operation
from crib.people.models import Person
from crib.people.services import record_change
from crib.planning.calendar import days_of, month_after, month_of
from crib.planning.drafts import LineDraft
from crib.planning.errors import BadCell, BadPlan, MonthOver
from crib.planning.models import Budget, PlanLine, ProductionPlan
from crib.planning.terms import MONTHS_AHEAD, MOST_PARTS


@transaction.atomic
def enter_plan(*, month: str, lines: Sequence[LineDraft], who: Person) -> ProductionPlan:
    """Write down what the shop means to make in a month; it replaces what was planned for that month before.

    Every line is looked at before anything is written; `BadPlan` names all that cannot be used. Lines of no parts
    are left out. The worker works the tips out afterwards.
    """
    _check_month(month)
    wanted = _read_lines(month, lines)
    plan, new = ProductionPlan.objects.select_for_update().get_or_create(month=month, defaults={"entered_by": who})
    if not new:
        if _as_kept(wanted) == _as_kept(list(plan.lines.all())):
            return plan
        plan.lines.all().delete()
        ProductionPlan.objects.filter(pk=plan.pk).update(
            revision=F("revision") + 1, entered_by=who, entered_at=clock.now()
        )
        plan.refresh_from_db()
    for line in wanted:
        line.plan = plan
    PlanLine.objects.bulk_create(wanted)
    parts = {str(line.operation): line.parts for line in wanted}
    record_change(who=who, what="plan", which=month, act="entered", details={"lines": len(wanted), "parts": parts})
    transaction.on_commit(partial(wake, "plan"))
    return plan


@transaction.atomic
def set_budget(*, month: str, amount: Decimal, who: Person) -> Budget:
    """Say what may be ordered in a month."""
    days_of(month)
    if not amount.is_finite() or amount < 0:
        raise BadInput("amount", "The budget is an amount of money, 0 or more.")
    if amount >= Decimal(10) ** 12:
        raise BadInput("amount", "That is more than a budget can hold. Check the amount.")
    budget, _ = Budget.objects.update_or_create(month=month, defaults={"amount": amount})
    record_change(who=who, what="budget", which=month, act="set", details={"amount": amount})
    return budget


def _check_month(month: str) -> None:
    days = days_of(month)
    now = month_of(clock.today())
    if days.last < clock.today():
        raise MonthOver(f"{month} is over. Plan {now} or a month to come.", field="month")
    if month > month_after(now, MONTHS_AHEAD):
        raise BadInput("month", f"{month} lies more than {MONTHS_AHEAD} months ahead. Plan a nearer month.")


def _as_kept(lines: Sequence[PlanLine]) -> list[tuple[object, ...]]:
    return sorted((line.operation_id, line.starts_on, line.ends_on, line.parts) for line in lines)


def _read_lines(month: str, lines: Sequence[LineDraft]) -> list[PlanLine]:
    """Every line as it will be kept; all that is wrong is gathered first."""
    bad: list[BadCell] = []
    kept: list[PlanLine] = []
    for number, (line, operations) in enumerate(zip(lines, _find_operations(lines), strict=True)):
        wrong = [BadCell(number, field, sentence) for field, sentence in _faults(month, line, operations)]
        bad += wrong
        if not wrong and line.parts:
            kept += [
                PlanLine(operation=operation, parts=line.parts, starts_on=line.starts_on, ends_on=line.ends_on)
                for operation in operations
            ]
    if bad:
        raise BadPlan(bad)
    return kept


def _faults(month: str, line: LineDraft, operations: Sequence[Operation]) -> list[tuple[str, str]]:
    days, found = days_of(month), []
    if not operations:
        found.append(("operation", _unknown(line.operation)))
    elif any(one.retired_at or one.job.retired_at for one in operations):
        found.append(("operation", f"{line.operation} is retired; plan one that is still made."))
    if isinstance(line.parts, bool) or not isinstance(line.parts, int):
        found.append(("parts", "Parts are a whole number, such as 120."))
    elif line.parts < 0:
        found.append(("parts", "Parts cannot be below 0. Leave the cell empty if nothing is made."))
    elif line.parts > MOST_PARTS:
        found.append(("parts", f"More than {MOST_PARTS:,} parts cannot be planned in one line. Check the number."))
    for field, day in (("from", line.starts_on), ("to", line.ends_on)):
        if day not in days:
            found.append((field, f"{day.isoformat()} is not in {month}. Give a day of that month."))
    if not found and line.ends_on < line.starts_on:
        found.append(("to", "The last day lies before the first. Turn them round."))
    return found


def _unknown(said: Operation | Job | str) -> str:
    if isinstance(said, Job):
        return f"Job {said.code} has no operation yet. Enter its operations first."
    return f"There is no operation or job “{str(said)[:60]}”. Write it as on the Jobs page, such as J-1001/20."


def _find_operations(lines: Sequence[LineDraft]) -> list[list[Operation]]:
    """The operations behind each line's name, with two queries whatever the number of lines."""
    said = [line.operation for line in lines]
    codes = {_job_code(one) for one in said if not isinstance(one, Operation)}
    by_job: dict[str, list[Operation]] = {}
    for operation in Operation.objects.filter(job__code__in=codes).select_related("job").order_by("number"):
        by_job.setdefault(operation.job.code, []).append(operation)
    return [_behind(one, by_job) for one in said]


def _behind(said: Operation | Job | str, by_job: dict[str, list[Operation]]) -> list[Operation]:
    if isinstance(said, Operation):
        return [said]
    of_job = by_job.get(_job_code(said), [])
    number = "" if isinstance(said, Job) else _operation_number(said)
    if number:
        return [one for one in of_job if str(one.number) == number]
    return [one for one in of_job if one.retired_at is None] or of_job


def _job_code(said: Job | str) -> str:
    """The name before the last stroke, when what follows it is a number: a job's code may hold strokes itself."""
    if isinstance(said, Job):
        return said.code
    text = said.strip().upper()
    return text.rpartition("/")[0] if _operation_number(said) else text


def _operation_number(said: str) -> str:
    before, _, number = said.strip().rpartition("/")
    return number.lstrip("0") if before and number.isascii() and number.isdigit() else ""
