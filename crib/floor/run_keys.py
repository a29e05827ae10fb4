"""Runs that were sent before under the same key: with the same content they are there already, else the key is used."""

from __future__ import annotations

from django.db import connection
from django.db.models import QuerySet

from crib.core.errors import KeyAlreadyUsed
from crib.floor.lines import Earlier, Line
from crib.floor.models import Run
from crib.floor.run_checks import Fault


def sent_before(source: str, keys: list[str]) -> QuerySet[Run]:
    """Runs in the book under these keys; one query."""
    runs = Run.objects.filter(source=source).defer("logged_at", "logged_by")
    if connection.vendor == "postgresql":
        # One array is read much faster than thousands of single values.
        return runs.extra(where=["source_key = ANY(%s)"], params=[keys])
    return runs.filter(source_key__in=keys)


def said_earlier(earlier: Earlier, line: Line) -> bool | None:
    """Whether an earlier list said the same under this key; None when the key is new, which is then kept."""
    draft, machine = line.draft, line.machine.pk if line.machine else None
    amounts = (draft.started_at, draft.ended_at, draft.parts, draft.minutes_in_cut)
    content = hash((machine, line.pocket, line.edge, line.operation.pk, *amounts))
    name = hash((str(draft.source), draft.source_key))
    if name in earlier.keys:
        return earlier.keys[name] == content
    earlier.keys[name] = content
    return None


def is_same_run(line: Line, twin: Run | Line) -> bool:
    """Whether a line says what a run in the book, or an earlier line, says."""
    draft = line.draft
    if isinstance(twin, Line):
        first = twin.draft
        return (line.machine, line.pocket, line.edge, line.operation.pk) == (
            twin.machine, twin.pocket, twin.edge, twin.operation.pk,
        ) and (draft.started_at, draft.ended_at, draft.parts, draft.minutes_in_cut) == (
            first.started_at, first.ended_at, first.parts, first.minutes_in_cut,
        )  # fmt: skip
    if twin.reverses_id is not None:
        return False
    place = (
        line.edge == twin.edge_id
        if line.edge
        else bool(line.machine and (line.machine.pk, line.pocket) == (twin.machine_id, twin.pocket))
    )
    minutes = twin.minutes_computed if draft.minutes_in_cut is None else twin.minutes == draft.minutes_in_cut
    return (
        place
        and minutes
        and (line.operation.pk, draft.parts) == (twin.operation_id, twin.parts)
        and (draft.started_at, draft.ended_at) == (twin.started_at, twin.ended_at)
    )


def key_used(key: str) -> Fault:
    """The fault of a run whose key stands for another."""
    return Fault(
        "source_key",
        f"The source key “{key}” came before with another run; give this run a key of its own.",
        KeyAlreadyUsed,
    )
