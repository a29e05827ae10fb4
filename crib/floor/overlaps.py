"""Runs that stand at the same time in the same pocket, found by the index and not run by run."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from typing import Any, cast

from django.db import connection

from crib.floor.models import Run

Span = tuple[int, int, int, datetime, datetime]
# Five values each, and SQLite takes 32,766 in one statement.
AT_ONCE = 5_000

# Runs in force in one pocket never overlap, so only the last one begun before an asked one ends can be in its way:
# one look into the index for each, however many runs there are.
_QUERY = """
WITH asked(place, machine, pocket, starts, ends) AS ({asked})
SELECT asked.place, run.started_at, run.ended_at
FROM asked JOIN {table} AS run ON run.id = (
  SELECT last.id FROM {table} AS last
  WHERE last.machine_id = asked.machine AND last.pocket = asked.pocket AND last.started_at < asked.ends
    AND last.started_at < last.ended_at
    AND last.reverses_id IS NULL AND NOT EXISTS (SELECT 1 FROM {table} AS undo WHERE undo.reverses_id = last.id)
  ORDER BY last.started_at DESC LIMIT 1
)
WHERE run.ended_at > asked.starts
"""
# Five arrays are read much faster than thousands of single values, where the database knows arrays.
_ARRAYS = "SELECT * FROM unnest(%s::int[], %s::bigint[], %s::int[], %s::timestamptz[], %s::timestamptz[])"


def overlapping_runs(spans: Sequence[Span]) -> dict[int, tuple[datetime, datetime]]:
    """For each (index, machine, pocket, start, end) that overlaps a run in force: when that run was."""
    found: dict[int, tuple[datetime, datetime]] = {}
    for first in range(0, len(spans), AT_ONCE):
        found |= _overlapping(spans[first : first + AT_ONCE])
    return found


def _overlapping(spans: Sequence[Span]) -> dict[int, tuple[datetime, datetime]]:
    if not spans:
        return {}
    asked, values = _asked(spans)
    read = _reader()
    with connection.cursor() as cursor:
        cursor.execute(_QUERY.format(asked=asked, table=connection.ops.quote_name(Run._meta.db_table)), values)
        return {index: (read(start), read(end)) for index, start, end in cursor.fetchall()}


def _asked(spans: Sequence[Span]) -> tuple[str, list[Any]]:
    """The asked spans as a part of the statement, and the values that go into it."""
    if connection.vendor == "postgresql":
        *numbers, starts, ends = zip(*spans, strict=True)
        return _ARRAYS, [_array(map(str, column)) for column in numbers] + [
            _array(moment.isoformat() for moment in column) for column in (starts, ends)
        ]
    kept = moment_as_kept()
    values: list[Any] = []
    for index, machine, pocket, start, end in spans:
        values += (index, machine, pocket, kept(start), kept(end))
    return "VALUES " + ",".join(["(%s,%s,%s,%s,%s)"] * len(spans)), values


def _array(words: Iterable[str]) -> str:
    """An array as PostgreSQL reads it: numbers and ISO times need no quotes, and the driver would look for some."""
    return "{" + ",".join(words) + "}"


def moment_as_kept() -> Callable[[datetime], Any]:
    """What turns a moment into what a bare statement hands to this database; SQLite keeps text, in UTC."""
    if connection.vendor == "sqlite":
        return lambda moment: str(moment.astimezone(UTC).replace(tzinfo=None))
    return lambda moment: moment


def _reader() -> Callable[[Any], datetime]:
    """What turns a moment as this database hands it over into a datetime."""
    column = Run._meta.get_field("started_at").get_col(Run._meta.db_table)
    converters = connection.ops.get_db_converters(column)

    def read(value: Any) -> datetime:
        for convert in converters:
            value = convert(value, column, connection)
        return cast(datetime, value)

    return read
