"""Logging runs: each counts once, goes to the edge that cut, and adds to the totals in the same transaction."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from django.db import IntegrityError, transaction
from django.db.models import F, Max, Q

from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed
from crib.core.wake import wake
from crib.floor.drafts import LoggedRuns, RunDraft
from crib.floor.errors import AlreadyReversed
from crib.floor.models import Edge, EdgeMinutes, Operation, Run
from crib.floor.run_book import RunBook
from crib.floor.run_checks import LONGEST_KEY
from crib.floor.totals import add_to_jobs, raise_beside, write_runs
from crib.people.models import Person

# Two that send the same key at the same moment meet in its unique constraint; the loser looks again.
TRIES = 3


def log_run(*, draft: RunDraft, who: Person) -> Run:
    """Log one run; the same source key again answers the run that stands. Raises what is wrong with it."""
    book = _log([draft], who=who)
    if 0 in book.faults:
        raise book.faults[0].as_error()
    return Run.objects.select_related("machine", "operation__job", "edge__item").get(
        source=draft.source, source_key=draft.source_key
    )


def log_runs(*, drafts: Sequence[RunDraft], who: Person) -> LoggedRuns:
    """Log many runs in one transaction; what cannot be logged is told by index, and the rest stands."""
    return _log(drafts, who=who).outcome()


def _log(drafts: Sequence[RunDraft], *, who: Person) -> RunBook:
    for last_try in (False,) * (TRIES - 1) + (True,):
        try:
            with transaction.atomic():
                now = clock.now()
                book = RunBook(drafts, now)
                book.check()
                write_runs(book.lines, who=who, now=now)
                if book.lines:
                    transaction.on_commit(partial(wake, "forecasts"))
                return book
        except IntegrityError:
            if last_try:
                raise
    raise AssertionError("the last try returns or raises")


@transaction.atomic
def reverse_run(*, run: Run, who: Person, source_key: str) -> Run:
    """Take back a run logged by mistake, by one that undoes it; the same key again answers the first reversal."""
    if not source_key or len(source_key) > LONGEST_KEY:
        raise BadInput("source_key", f"Give the reversal a source key of at most {LONGEST_KEY} characters.")
    edge = _held(run)
    before = Run.objects.filter(source=Run.Source.TYPED, source_key=source_key).first()
    if before is not None:
        if before.reverses_id == run.pk:
            return before
        raise KeyAlreadyUsed(f"The source key “{source_key}” came before with another run.", field="source_key")
    if run.reverses_id is not None:
        raise AlreadyReversed("This run itself takes another one back; log the right run anew instead.")
    if Run.objects.filter(reverses=run).exists():
        raise AlreadyReversed("This run was taken back before.")
    undo = Run.objects.create(
        machine_id=run.machine_id,
        pocket=run.pocket,
        operation_id=run.operation_id,
        edge=edge,
        started_at=run.started_at,
        ended_at=run.ended_at,
        minutes=-run.minutes,
        minutes_computed=run.minutes_computed,
        parts=-run.parts,
        contact_low=run.contact_low,
        contact_high=run.contact_high,
        source=Run.Source.TYPED,
        source_key=source_key,
        logged_by=who,
        logged_at=clock.now(),
        reverses=run,
    )
    _take_from_totals(edge, run)
    transaction.on_commit(partial(wake, "forecasts"))
    return undo


def _held(run: Run) -> Edge:
    """The run's edge, held with the edge in use of its item, for which it is news when they share a band."""
    item = Edge.objects.filter(pk=run.edge_id).values("item")
    wanted = Q(pk=run.edge_id) | Q(item__in=item, state=Edge.State.IN_USE)
    held = {edge.pk: edge for edge in Edge.objects.select_for_update().filter(wanted).order_by("pk")}
    return held[run.edge_id]


def _take_from_totals(edge: Edge, run: Run) -> None:
    in_force = Run.objects.filter(edge=edge, reverses=None, reversed_by=None)
    clock_minutes = (run.ended_at - run.started_at).total_seconds() / 60
    same_band = {"operation": run.operation_id, "contact_low": run.contact_low, "contact_high": run.contact_high}
    EdgeMinutes.objects.filter(edge=edge, **same_band).update(
        minutes=F("minutes") - run.minutes,
        parts=F("parts") - run.parts,
        clock_minutes=F("clock_minutes") - clock_minutes,
        last_ended_at=in_force.filter(**same_band).aggregate(last=Max("ended_at"))["last"],
    )
    Edge.objects.filter(pk=edge.pk).update(
        minutes=F("minutes") - run.minutes,
        parts=F("parts") - run.parts,
        revision=F("revision") + 1,
        last_run_ended_at=in_force.aggregate(last=Max("ended_at"))["last"],
    )
    if run.contact_high:
        raise_beside([edge.pk])
    operation = Operation.objects.get(pk=run.operation_id)
    last = Operation.objects.filter(job=operation.job_id, retired_at=None).aggregate(last=Max("number"))["last"]
    if operation.number == last:
        add_to_jobs({operation.job_id: -run.parts})
