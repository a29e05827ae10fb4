"""How each kind of database is copied out whole and put back whole."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, Protocol

from django.core.management import CommandError, call_command
from django.core.management.color import no_style
from django.db import DatabaseError, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

DAMAGED = "The database in this backup is damaged, so nothing was changed; use another backup."


class Kind(Protocol):
    """One kind of database."""

    def dump(self, folder: Path) -> dict[str, int]:
        """Write the database, as it is at one moment, to `folder`; answer the rows of each table."""

    def check(self, folder: Path, rows: dict[str, int]) -> None:
        """Refuse what is damaged, without touching the database."""

    def load(self, folder: Path, rows: dict[str, int]) -> None:
        """Put what is in `folder` in the place of all there is, or leave all as it was."""


def of(connection: BaseDatabaseWrapper) -> Kind:
    return Sqlite(connection) if connection.vendor == "sqlite" else Postgres(connection)


class Sqlite:
    """Copied by SQLite's own online backup: whole pages, while others go on working."""

    FILE = "edgetally.sqlite3"

    def __init__(self, connection: BaseDatabaseWrapper) -> None:
        self._live = str(connection.settings_dict["NAME"])
        self._connection = connection

    def dump(self, folder: Path) -> dict[str, int]:
        copy = folder / self.FILE
        with closing(sqlite3.connect(self._live, timeout=20)) as live, closing(sqlite3.connect(copy)) as kept:
            live.backup(kept)
            kept.execute("PRAGMA journal_mode=DELETE")
            return _sqlite_rows(kept)

    def check(self, folder: Path, rows: dict[str, int]) -> None:
        try:
            with closing(sqlite3.connect(folder / self.FILE)) as kept:
                sound = kept.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
                if not sound or kept.execute("PRAGMA foreign_key_check").fetchone() or _sqlite_rows(kept) != rows:
                    raise CommandError(DAMAGED)
        except sqlite3.DatabaseError as unread:
            raise CommandError(DAMAGED) from unread

    def load(self, folder: Path, rows: dict[str, int]) -> None:
        self._connection.close()
        try:
            with (
                closing(sqlite3.connect(folder / self.FILE)) as kept,
                closing(sqlite3.connect(self._live, timeout=20)) as live,
            ):
                kept.backup(live)
                if _sqlite_rows(live) != rows:
                    raise CommandError("The restored database does not hold what the backup holds; restore it again.")
        except sqlite3.Error as refused:
            raise CommandError(f"The database cannot be written ({refused}); stop web and worker first.") from refused
        # A backup of an older version gets the tables of this one.
        call_command("migrate", interactive=False, verbosity=0)


class Postgres:
    """Copied table by table in one snapshot; put back in one transaction."""

    def __init__(self, connection: BaseDatabaseWrapper) -> None:
        self._connection = connection

    def dump(self, folder: Path) -> dict[str, int]:
        rows = {}
        with transaction.atomic(), self._connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            for table in self._tables():
                with (folder / f"{table}.copy").open("wb") as file, cursor.copy(_copy(table, "TO STDOUT")) as copy:
                    for block in copy:
                        file.write(block)
                rows[table] = self._count(cursor, table)
        return rows

    def check(self, folder: Path, rows: dict[str, int]) -> None:
        missing = [table for table in rows if not (folder / f"{table}.copy").exists()]
        if missing or set(rows) != set(self._tables()):
            raise CommandError(
                "This backup has other tables than this version; install the version that wrote it, "
                "restore there, then move on."
            )

    def load(self, folder: Path, rows: dict[str, int]) -> None:
        try:
            with transaction.atomic(), self._connection.cursor() as cursor:
                names = ", ".join(f'"{table}"' for table in rows)
                cursor.execute(f"TRUNCATE {names} RESTART IDENTITY CASCADE")
                for table, expected in rows.items():
                    with (folder / f"{table}.copy").open("rb") as file, cursor.copy(_copy(table, "FROM STDIN")) as copy:
                        while block := file.read(1 << 16):
                            copy.write(block)
                    if self._count(cursor, table) != expected:
                        raise CommandError(DAMAGED)
                self._reset_sequences(cursor)
        except DatabaseError as refused:
            reason = str(refused).strip().splitlines()[0]
            raise CommandError(f"The database refused the backup, so nothing was changed: {reason}") from refused

    def _tables(self) -> list[str]:
        # The record of migrations belongs to the database, not to the shop in it.
        return sorted(set(self._connection.introspection.django_table_names(only_existing=True, include_views=False)))

    def _count(self, cursor: Any, table: str) -> int:
        cursor.execute(f'SELECT count(*) FROM "{table}"')
        return int(cursor.fetchone()[0])

    def _reset_sequences(self, cursor: Any) -> None:
        from django.apps import apps

        models = [model for model in apps.get_models(include_auto_created=True) if not model._meta.proxy]
        for statement in connections["default"].ops.sequence_reset_sql(no_style(), models):
            cursor.execute(statement)


def _copy(table: str, way: str) -> str:
    return f'COPY "{table}" {way} (FORMAT binary)'


def _sqlite_rows(database: sqlite3.Connection) -> dict[str, int]:
    names = database.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    return {name: database.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for (name,) in names.fetchall()}
