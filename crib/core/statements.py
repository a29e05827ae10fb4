"""Several SQL statements in one trip to the database, for the few places where the trips cost more than the work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.backends.utils import CursorWrapper

Statement = tuple[str, Sequence[str | int | datetime | None]]


@dataclass(frozen=True, slots=True)
class Done:
    """How many rows a statement touched, and what it returned of them."""

    touched: int
    rows: list[tuple[Any, ...]]


def in_one_trip(statements: Sequence[Statement]) -> list[Done]:
    """Run the statements in their order and answer what each did; the caller holds the transaction.

    PostgreSQL takes them as one text when values are filled in on this side, as is usual; otherwise one by one.
    """
    together = connection.vendor == "postgresql" and not connection.features.uses_server_side_binding  # type: ignore[attr-defined]
    with connection.cursor() as cursor:
        if not together:
            return [_done(cursor, *statement) for statement in statements]
        values = [value for _, some in statements for value in some]
        done = [_done(cursor, ";".join(text for text, _ in statements), values)]
        while cursor.nextset():
            done.append(_answer(cursor))
        return done


def _done(cursor: CursorWrapper, text: str, values: Sequence[str | int | datetime | None]) -> Done:
    cursor.execute(text, values)
    return _answer(cursor)


def _answer(cursor: CursorWrapper) -> Done:
    # Both databases end a statement only when its rows have been read.
    rows = cursor.fetchall() if cursor.description else []
    return Done(cursor.rowcount, rows)
