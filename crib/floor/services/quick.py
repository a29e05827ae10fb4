"""Logging at the machine: so many parts just made in this pocket; the rest is known."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction

from crib.catalogue.models import Machine
from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed
from crib.floor.drafts import RunDraft
from crib.floor.errors import NothingLoaded
from crib.floor.models import Operation, Run
from crib.floor.run_checks import LONGEST_RUN
from crib.floor.selectors import PocketNow, pocket_now
from crib.floor.services.runs import log_run
from crib.people.models import Person


@transaction.atomic
def log_parts(
    *,
    machine: Machine,
    pocket: int,
    parts: int,
    who: Person,
    key: str,
    operation: Operation | None = None,
    minutes_in_cut: float | None = None,
    started_at: datetime | None = None,
    ended_at: datetime | None = None,
) -> Run:
    """Log parts just made: the run ends now, and began as long ago as so many parts take.

    It never begins before the run, the loading or the edge that came before it.
    """
    before = Run.objects.filter(source=Run.Source.TYPED, source_key=key).first()
    if before is not None:
        if (before.machine_id, before.pocket, before.parts) == (machine.pk, pocket, parts):
            return before
        raise KeyAlreadyUsed(
            "This key came before with another run; open the pocket anew and log it again.", field="key"
        )
    now = pocket_now(machine=machine, pocket=pocket)
    if now.load is None or now.fitted is None or now.edge is None:
        raise NothingLoaded(
            f"No edge is at work in pocket {pocket} of {machine.code}; load and fit one first.", field="pocket"
        )
    operation = operation or now.edge.operation
    if operation is None:
        raise BadInput("operation", "Say which operation this edge works at.")
    ended_at = ended_at or clock.now()
    started_at = started_at or _likely_start(now, operation, parts, minutes_in_cut, ended_at)
    return log_run(
        draft=RunDraft(
            machine=machine, pocket=pocket, operation=operation, started_at=started_at, ended_at=ended_at,
            minutes_in_cut=minutes_in_cut, parts=parts, source=Run.Source.TYPED, source_key=key,
        ),
        who=who,
    )  # fmt: skip


def _likely_start(
    now: PocketNow, operation: Operation, parts: int, minutes_in_cut: float | None, ended_at: datetime
) -> datetime:
    assert now.load is not None  # looked at by the caller, as are the next two
    assert now.fitted is not None
    assert now.edge is not None
    begun = [now.load.loaded_at, now.fitted.fitting.fitted_at, now.edge.put_in_at, now.edge.last_run_ended_at]
    earliest = max(moment for moment in begun if moment is not None)
    pace = operation.cycle_minutes or operation.minutes_per_part
    long = parts * pace if pace else minutes_in_cut
    if long is None:
        return max(earliest, ended_at - LONGEST_RUN)
    # More minutes in cut than the pace allows were measured; the clock must hold them.
    long = min(max(long, minutes_in_cut or 0.0), LONGEST_RUN.total_seconds() / 60)
    return min(max(earliest, ended_at - timedelta(minutes=long)), ended_at)
