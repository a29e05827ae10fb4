"""Writes runs and adds them to the running totals, all of a list in a few statements.

The totals are what every page and forecast reads; the runs themselves are never read again for them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeAlias

from django.db import connection
from django.db.models import F, Model, Value
from django.db.models.functions import Greatest

from crib.catalogue.models import Job
from crib.floor.lines import Line
from crib.floor.models import Edge, EdgeMinutes, Run
from crib.floor.overlaps import moment_as_kept
from crib.people.models import Person

# Below this a COPY costs more than it saves.
COPY_FROM = 50
# Nine values each, and SQLite takes 32,766 in one statement.
AT_ONCE = 3_500
RUN_COLUMNS = (
    "machine_id", "pocket", "operation_id", "edge_id", "started_at", "ended_at", "minutes", "minutes_computed",
    "parts", "contact_low", "contact_high", "source", "source_key", "logged_by_id", "logged_at",
)  # fmt: skip


# Edge, operation, and from where to where on the flute; 0 and 0 is no known band.
Name: TypeAlias = tuple[int, int, float, float]


@dataclass(slots=True)
class Sum:
    """What a list of runs adds to one edge at one operation and band of its flute, which are its name."""

    name: Name
    first: datetime
    last: datetime
    minutes: float = 0.0
    parts: int = 0
    clock_minutes: float = 0.0

    def add(self, *, minutes: float, parts: int, clock_minutes: float, started: datetime, ended: datetime) -> None:
        self.minutes += minutes
        self.parts += parts
        self.clock_minutes += clock_minutes
        if started < self.first:
            self.first = started
        if ended > self.last:
            self.last = ended


def write_runs(lines: Sequence[Line], *, who: Person, now: datetime) -> None:
    """Write the runs and all that they add up to; the caller has the transaction and holds the edges."""
    if not lines:
        return
    if connection.vendor == "postgresql" and len(lines) >= COPY_FROM:
        _copy(lines, who=who, now=now)
    else:
        _insert(lines, who=who, now=now)
    sums: dict[Name, Sum] = {}
    made: dict[int, int] = {}
    for line in lines:
        operation, draft = line.operation, line.draft
        name = (line.edge, operation.pk, operation.contact_low, operation.contact_high)
        total = sums.get(name)
        if total is None:
            total = sums[name] = Sum(name, first=draft.started_at, last=draft.ended_at)
        total.add(
            minutes=line.minutes, parts=draft.parts, clock_minutes=line.clock_minutes,
            started=draft.started_at, ended=draft.ended_at,
        )  # fmt: skip
        if operation.is_last:
            made[operation.job] = made.get(operation.job, 0) + draft.parts
    add_to_totals(list(sums.values()))
    add_to_jobs(made)


def _insert(lines: Sequence[Line], *, who: Person, now: datetime) -> None:
    """Plain rows: building a model object for each costs more than the database needs to keep it."""
    kept = moment_as_kept()
    rows = [
        [kept(value) if isinstance(value, datetime) else value for value in _values(line, who, now)] for line in lines
    ]
    places = ", ".join(["%s"] * len(RUN_COLUMNS))
    with connection.cursor() as cursor:
        cursor.executemany(f"INSERT INTO {_table(Run)} ({', '.join(RUN_COLUMNS)}) VALUES ({places})", rows)


def _values(line: Line, who: Person, now: datetime) -> tuple[Any, ...]:
    draft, machine = line.draft, line.machine
    assert machine is not None  # placed before it comes here
    operation = line.operation
    return (
        machine.pk, line.pocket, operation.pk, line.edge, draft.started_at, draft.ended_at, line.minutes,
        line.computed, draft.parts, operation.contact_low, operation.contact_high,
        str(draft.source), draft.source_key, who.pk, now,
    )  # fmt: skip


def _copy(lines: Sequence[Line], *, who: Person, now: datetime) -> None:
    """PostgreSQL's own way for many rows."""
    columns = ", ".join(RUN_COLUMNS)
    with connection.cursor() as cursor, cursor.copy(f"COPY {_table(Run)} ({columns}) FROM STDIN") as copy:
        copy.write("".join([_copy_row(_values(line, who, now)) for line in lines]))


_COPY_ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})


def _copy_row(values: Iterable[Any]) -> str:
    words = [value.translate(_COPY_ESCAPES) if isinstance(value, str) else str(value) for value in values]
    return "\t".join(words) + "\n"


def add_to_totals(sums: Sequence[Sum]) -> None:
    """Add sums to the edges and to their totals at each operation, and raise each edge's revision once."""
    for first in range(0, len(sums), AT_ONCE):
        _add_at_operations(sums[first : first + AT_ONCE])
    edges = list(_per_edge(sums))
    for first in range(0, len(edges), AT_ONCE):
        _add_to_edges(edges[first : first + AT_ONCE])
    raise_beside({one.name[0] for one in sums if one.name[3]})


def _per_edge(sums: Sequence[Sum]) -> Iterable[Sum]:
    """One sum per edge; its operation is the one worked at last."""
    of_edge: dict[int, Sum] = {}
    for part in sums:
        edge = part.name[0]
        whole = of_edge.setdefault(edge, Sum(part.name, first=part.first, last=part.last))
        if part.last >= whole.last:
            whole.name = part.name
        whole.add(
            minutes=part.minutes,
            parts=part.parts,
            clock_minutes=part.clock_minutes,
            started=part.first,
            ended=part.last,
        )
    return of_edge.values()


def _add_at_operations(sums: Sequence[Sum]) -> None:
    table = _table(EdgeMinutes)
    kept = moment_as_kept()
    rows = [(*one.name, one.minutes, one.parts, one.clock_minutes, kept(one.first), kept(one.last)) for one in sums]
    _execute(
        f"""
        INSERT INTO {table} (
          edge_id, operation_id, contact_low, contact_high,
          minutes, parts, clock_minutes, first_started_at, last_ended_at
        )
        VALUES {{rows}}
        ON CONFLICT (edge_id, operation_id, contact_low, contact_high) DO UPDATE SET
          minutes = {table}.minutes + excluded.minutes,
          parts = {table}.parts + excluded.parts,
          clock_minutes = {table}.clock_minutes + excluded.clock_minutes,
          first_started_at = CASE WHEN {table}.first_started_at < excluded.first_started_at
            THEN {table}.first_started_at ELSE excluded.first_started_at END,
          last_ended_at = CASE WHEN {table}.last_ended_at > excluded.last_ended_at
            THEN {table}.last_ended_at ELSE excluded.last_ended_at END
        """,
        rows,
    )


def _add_to_edges(sums: Sequence[Sum]) -> None:
    table = _table(Edge)
    kept = moment_as_kept()
    rows = [(*one.name[:2], one.minutes, one.parts, kept(one.last)) for one in sums]
    newest = f"({table}.last_run_ended_at IS NULL OR {table}.last_run_ended_at <= added.last)"
    _execute(
        f"""
        WITH added(edge, operation, minutes, parts, last) AS (VALUES {{rows}})
        UPDATE {table} SET
          minutes = {table}.minutes + added.minutes,
          parts = {table}.parts + added.parts,
          revision = {table}.revision + 1,
          operation_id = CASE WHEN {newest} THEN added.operation ELSE {table}.operation_id END,
          last_run_ended_at = CASE WHEN {newest} THEN added.last ELSE {table}.last_run_ended_at END
        FROM added WHERE {table}.id = added.edge
        """,
        rows,
    )


def raise_beside(edges: Collection[int]) -> None:
    """Edges that cut with a known band wore flute that the edge in use of their item may use too: expect it anew.

    Whoever logs holds the edges in use of the items, so that no two wait for each other.
    """
    told = sorted(edges)
    for first in range(0, len(told), AT_ONCE):
        some = told[first : first + AT_ONCE]
        items = Edge.objects.filter(pk__in=some).values("item")
        in_use = Edge.objects.filter(item__in=items, state=Edge.State.IN_USE)
        in_use.exclude(pk__in=some).update(revision=F("revision") + 1)


def add_to_jobs(made: dict[int, int]) -> None:
    """Add finished parts to the jobs; a job whose first parts are made is running."""
    for job in sorted(made):
        jobs = Job.objects.filter(pk=job)
        jobs.update(made=Greatest(F("made") + made[job], Value(0)))
        jobs.filter(state=Job.State.PLANNED, made__gt=0).update(state=Job.State.RUNNING)


def _execute(statement: str, rows: Sequence[tuple[Any, ...]]) -> None:
    if not rows:
        return
    places = "(" + ",".join(["%s"] * len(rows[0])) + ")"
    with connection.cursor() as cursor:
        cursor.execute(statement.format(rows=",".join([places] * len(rows))), [value for row in rows for value in row])


def _table(model: type[Model]) -> str:
    return connection.ops.quote_name(model._meta.db_table)
