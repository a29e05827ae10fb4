"""Operations: a job's steps with their duty, and where their minutes in cut come from."""

from __future__ import annotations

from decimal import Decimal
from functools import partial
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Sum

from crib.catalogue.models import Design, Job, Machine, WorkMaterial
from crib.catalogue.services import check_coupling
from crib.core import clock
from crib.core.errors import BadInput, Refused
from crib.core.wake import wake
from crib.floor.duty import check_duty, is_complete, work_out
from crib.floor.errors import InUseStill, MinutesNotKnown
from crib.floor.models import Edge, EdgeMinutes, KindOfCut, Operation, Run
from crib.floor.selectors import edges_at_work
from crib.people.models import Person
from crib.people.services import record_change

Source = Operation.MinutesSource
# What the minutes are worked out from; changing any of it works them out again.
DUTY = frozenset(
    {
        "machine", "tip", "body", "material", "kind_of_cut", "surface_speed", "feed", "depth", "width", "length_of_cut",
        "passes", "work_diameter", "inner_diameter", "coolant", "contact_low", "contact_high",
    }
)  # fmt: skip
ECONOMY = frozenset(
    {"accepted_risk", "cost_of_lost_part", "chance_part_lost", "change_minutes", "fixed_count", "cycle_minutes"}
)
WEAR = frozenset({"entries_per_part", "wear_limit_mm"})
CHANGEABLE = DUTY | ECONOMY | WEAR | {"number", "name", "minutes_per_part"}
MOST_ENTRIES = 1_000_000
# Even flank wear at which a tool counts as worn, by ISO 3685 (m).
USUAL_WEAR_LIMIT_MM = 0.3
# Beyond a wear land of 2 mm nothing is left of an edge; common practice, no source.
LARGEST_WEAR_LAND_MM = 2.0
# Fewer parts than these say more about one edge than about the operation.
PARTS_TO_LEARN_FROM = 20


@transaction.atomic
def create_operation(
    *,
    job: Job,
    number: int,
    name: str,
    machine: Machine,
    tip: Design,
    material: WorkMaterial,
    kind_of_cut: str,
    who: Person,
    body: Design | None = None,
    surface_speed: float | None = None,
    feed: float | None = None,
    depth: float | None = None,
    width: float | None = None,
    length_of_cut: float | None = None,
    passes: int = 1,
    work_diameter: float | None = None,
    inner_diameter: float | None = None,
    coolant: str = "",
    contact_low: float | None = None,
    contact_high: float | None = None,
    minutes_per_part: float | None = None,
    cycle_minutes: float | None = None,
    accepted_risk: float = 0.05,
    cost_of_lost_part: Decimal = Decimal("0"),
    chance_part_lost: float = 1.0,
    change_minutes: float = 3.0,
    fixed_count: int | None = None,
    entries_per_part: int | None = None,
    wear_limit_mm: float = USUAL_WEAR_LIMIT_MM,
) -> Operation:
    """Add a step to a job; minutes per part that are not given are worked out from the duty when it says enough."""
    operation = Operation(
        job=job, number=number, name=name.strip(), machine=machine, tip=tip, body=body, material=material,
        kind_of_cut=kind_of_cut, surface_speed=surface_speed, feed=feed, depth=depth, width=width,
        length_of_cut=length_of_cut, passes=passes, work_diameter=work_diameter, inner_diameter=inner_diameter,
        coolant=coolant.strip(), contact_low=contact_low, contact_high=contact_high,
        minutes_per_part=minutes_per_part, cycle_minutes=cycle_minutes,
        accepted_risk=accepted_risk, cost_of_lost_part=cost_of_lost_part, chance_part_lost=chance_part_lost,
        change_minutes=change_minutes, fixed_count=fixed_count, entries_per_part=entries_per_part,
        wear_limit_mm=wear_limit_mm,
    )  # fmt: skip
    _check(operation)
    if minutes_per_part is not None:
        operation.minutes_source = Source.TYPED
    else:
        _compute_if_complete(operation)
    _save(operation)
    _count_made(job)
    record_change(who=who, what="operation", which=str(operation), act="created", details={"name": operation.name})
    return operation


@transaction.atomic
def change_operation(*, operation: Operation, who: Person, **changes: Any) -> Operation:
    """Change an operation; what is left out stays. Minutes that were worked out follow a changed duty."""
    if unknown := set(changes) - CHANGEABLE:
        raise TypeError(f"An operation has no {', '.join(sorted(unknown))} to change.")
    before = {name: getattr(operation, name) for name in changes}
    for name, value in changes.items():
        setattr(operation, name, value.strip() if name in ("name", "coolant") else value)
    typed = "minutes_per_part" in changes and changes["minutes_per_part"] != before["minutes_per_part"]
    if typed and operation.minutes_per_part is not None:
        operation.minutes_source, operation.minutes_working = Source.TYPED, {}
    _check(operation)
    if operation.minutes_per_part is None:
        operation.minutes_source, operation.minutes_working = Source.MISSING, {}
        _compute_if_complete(operation)
    elif not typed and operation.minutes_source == Source.COMPUTED and DUTY & set(changes):
        _compute_if_complete(operation)
    _save(operation)
    _count_made(operation.job)
    _expect_anew(operation)
    record_change(
        who=who, what="operation", which=str(operation), act="changed", details={"before": before, "after": changes}
    )
    return operation


@transaction.atomic
def recompute_minutes(*, operation: Operation, who: Person, source: str = Source.COMPUTED) -> Operation:
    """Take an operation's minutes per part from its duty, or from what was measured at its runs."""
    if source == Source.COMPUTED:
        _check(operation)
        _compute(operation)
    elif source == Source.LEARNT:
        _learn(operation)
    else:
        raise BadInput(
            "source",
            "Minutes are worked out (computed) or learnt from runs (learnt); type them in the operation otherwise.",
        )
    _save(operation)
    _expect_anew(operation)
    details = {"minutes_per_part": operation.minutes_per_part, "source": operation.minutes_source}
    record_change(who=who, what="operation", which=str(operation), act="minutes", details=details)
    return operation


@transaction.atomic
def retire_operation(*, operation: Operation, who: Person) -> Operation:
    """Put an operation away; refused while an edge works at it in a machine."""
    if edges_at_work().filter(operation=operation).exists():
        raise InUseStill(f"An edge is still working at {operation}; end it or take it out first.", field="operation")
    if operation.retired_at is None:
        operation.retired_at = clock.now()
        operation.save(update_fields=["retired_at"])
        _count_made(operation.job)
        record_change(who=who, what="operation", which=str(operation), act="retired")
    return operation


def _compute_if_complete(operation: Operation) -> None:
    if is_complete(operation):
        _compute(operation)
    elif operation.minutes_source == Source.COMPUTED:
        operation.minutes_per_part, operation.minutes_source, operation.minutes_working = None, Source.MISSING, {}


def _compute(operation: Operation) -> None:
    worked = work_out(operation)
    operation.minutes_per_part = worked.minutes
    operation.minutes_source = Source.COMPUTED
    operation.minutes_working = worked.working


def _learn(operation: Operation) -> None:
    """The pace of measured runs; runs whose minutes were themselves computed would only repeat the old figure."""
    measured = Run.objects.filter(
        operation=operation, minutes_computed=False, parts__gt=0, reverses=None, reversed_by=None
    ).aggregate(minutes=Sum("minutes"), parts=Sum("parts"))
    parts, minutes = measured["parts"] or 0, measured["minutes"] or 0
    if parts < PARTS_TO_LEARN_FROM or minutes <= 0:
        raise MinutesNotKnown(
            f"Runs with measured minutes have made {parts} parts so far; from {PARTS_TO_LEARN_FROM} on they "
            "say enough.",
            field="source",
        )
    operation.minutes_per_part = minutes / parts
    operation.minutes_source = Source.LEARNT
    operation.minutes_working = {"parts": parts, "minutes": minutes}


def _check(operation: Operation) -> None:
    if not operation.name or len(operation.name) > 80:
        raise BadInput("name", "Say what the operation does, in at most 80 characters.")
    if not 1 <= operation.number <= 9999:
        raise BadInput("number", "The number is a whole one from 1 to 9999, such as 10, 20 or 30.")
    if operation.kind_of_cut not in KindOfCut.values:
        raise BadInput("kind_of_cut", f"The kind of cut is one of: {', '.join(KindOfCut.values)}.")
    for field in ("machine", "tip", "material"):
        thing = getattr(operation, field)
        if operation.pk is None and thing.retired:
            raise BadInput(field, f"{thing} is retired; choose another one.")
    _check_risks(operation)
    _check_wear(operation)
    if operation.body is not None:
        if operation.body.kind != Design.Kind.BODY:
            raise BadInput(
                "body", f"{operation.body.code} is no body; choose the one that carries {operation.tip.code}."
            )
        check_coupling(body=operation.body, tip=operation.tip)
    check_duty(operation)


def _check_risks(operation: Operation) -> None:
    if not 0 < operation.accepted_risk < 1:
        raise BadInput("accepted_risk", "The accepted risk lies between 0 and 1, such as 0.05 for one edge in twenty.")
    if not 0 <= operation.chance_part_lost <= 1:
        raise BadInput("chance_part_lost", "The chance that a failing edge costs the part lies from 0 to 1.")
    if operation.cost_of_lost_part < 0:
        raise BadInput("cost_of_lost_part", "The cost of a lost part cannot be below zero.")
    if not 0 <= operation.change_minutes <= 24 * 60:
        raise BadInput("change_minutes", "The minutes to change an edge lie from 0 to a day.")
    if operation.fixed_count is not None and operation.fixed_count < 1:
        raise BadInput("fixed_count", "The parts per edge are 1 or more; leave it empty when there is no fixed count.")


def _check_wear(operation: Operation) -> None:
    entries, limit = operation.entries_per_part, operation.wear_limit_mm
    if entries is not None and not 1 <= entries <= MOST_ENTRIES:
        raise BadInput(
            "entries_per_part",
            f"The entries per part are from 1 to {MOST_ENTRIES:,}; leave them empty when breakage goes by minutes.",
        )
    if not 0 < limit <= LARGEST_WEAR_LAND_MM:
        raise BadInput(
            "wear_limit_mm",
            f"The wear land at which an edge counts as worn lies above 0, up to {LARGEST_WEAR_LAND_MM:g} mm, "
            "such as 0.3 mm.",
        )


def _save(operation: Operation) -> None:
    try:
        with transaction.atomic():
            operation.save()
    except IntegrityError as twin:
        sentence = (
            f"Job {operation.job.code} has an operation {operation.number} already; give this one another number."
        )
        raise Refused(sentence, field="number") from twin


def _count_made(job: Job) -> None:
    """What a job has made is what its last operation has made; that may be another operation now."""
    last = Operation.objects.filter(job=job, retired_at=None).order_by("number").last()
    made = EdgeMinutes.objects.filter(operation=last).aggregate(parts=Sum("parts"))["parts"] if last else None
    Job.objects.filter(pk=job.pk).update(made=max(made or 0, 0))


def _expect_anew(operation: Operation) -> None:
    """What is expected of the edges at work here has changed."""
    if Edge.objects.filter(operation=operation, state=Edge.State.IN_USE).update(revision=F("revision") + 1):
        transaction.on_commit(partial(wake, "forecasts"))
