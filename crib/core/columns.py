"""Texts as they are compared in the database: the signs that count for nothing are taken out there."""

from __future__ import annotations

from typing import Any

from django.db.models import CharField, Func

_PLAIN = "REPLACE(REPLACE(REPLACE(LOWER({0}), '-', ' '), '/', ' '), '.', ' ')"
_SQUEEZED = "REPLACE(REPLACE(REPLACE(REPLACE(LOWER({0}), '-', ''), '/', ''), '.', ''), ' ', '')"


class SqueezedText(Func):
    """Small letters without blanks and the signs that part a code.

    The signs stand in the SQL itself and never beside it as values, or SQLite would not see that an index on the same
    words serves; PostgreSQL compares byte by byte, so that the index serves for what begins alike as well.
    """

    template = _SQUEEZED.format("%(expressions)s")
    output_field = CharField()

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(compiler, connection, template=f'({self.template}) COLLATE "C"', **context)


class TextOf(Func):
    """A code as one word, its words, and the words said of it, each between blanks.

    One expression, because the mapper takes longer to spell out a dozen nested ones than the database to work them out.
    """

    output_field = CharField()

    def as_sql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        columns = [compiler.compile(one) for one in self.get_source_expressions()]
        if any(values for _, values in columns):
            raise TypeError("TextOf takes columns alone.")
        texts = [sql for sql, _ in columns]
        parts = [_SQUEEZED.format(texts[0]), *(_PLAIN.format(text) for text in texts)]
        return "(' ' || " + " || ' ' || ".join(parts) + " || ' ')", []
