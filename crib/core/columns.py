"""Texts as they are compared in the database: the signs that count for nothing are taken out there."""

from __future__ import annotations

from typing import Any

from django.db.models import CharField, Func


class SqueezedText(Func):
    """Small letters without blanks and the signs that part a code.

    The signs stand in the SQL itself and never beside it as values, or SQLite would not see that an index on the same
    words serves; PostgreSQL compares byte by byte, so that the index serves for what begins alike as well.
    """

    template = "REPLACE(REPLACE(REPLACE(REPLACE(LOWER(%(expressions)s), '-', ''), '/', ''), '.', ''), ' ', '')"
    output_field = CharField()

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(compiler, connection, template=f'({self.template}) COLLATE "C"', **context)
