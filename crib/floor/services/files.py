"""Taking in a file of runs: the good rows stand, each bad one is told, and the same file again adds nothing."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import BinaryIO, TypeVar

from django.db import connection, transaction

from crib.core import clock
from crib.floor.drafts import LoggedRuns
from crib.floor.lines import Earlier
from crib.floor.run_book import RunBook
from crib.floor.run_file import BadRow, GoodRow, read_rows
from crib.floor.services.runs import log_runs
from crib.people.models import Person

T = TypeVar("T")
# One transaction each. SQLite has one writer, so a pause lets the people at the counter in between.
ROWS_AT_ONCE = {"sqlite": 500, "postgresql": 5_000}
PAUSE_SECONDS = {"sqlite": 0.005, "postgresql": 0.0}


@dataclass(slots=True)
class FileReport:
    """How far a file has come."""

    rows: int = 0
    logged: int = 0
    already_there: int = 0
    refused: int = 0


def import_run_file(
    *,
    file: BinaryIO,
    who: Person,
    tell_bad: Callable[[BadRow], None],
    tell_progress: Callable[[FileReport], None] = lambda report: None,
    only_check: bool = False,
) -> FileReport:
    """Log every good row of a CSV file, a few hundred or thousand in each transaction; `only_check` writes nothing."""
    report = FileReport()
    earlier = Earlier()
    for rows in _chunks(read_rows(file), ROWS_AT_ONCE[connection.vendor]):
        good = [row for row in rows if isinstance(row, GoodRow)]
        bad = [row for row in rows if isinstance(row, BadRow)]
        logged = _check(good, earlier) if only_check else log_runs(drafts=[row.draft for row in good], who=who)
        bad += [BadRow(good[one.index].line, one.field, one.sentence) for one in logged.refused]
        for row in sorted(bad, key=lambda row: row.line):
            tell_bad(row)
        report.rows += len(rows)
        report.logged += len(logged.accepted)
        report.already_there += len(logged.already_there)
        report.refused += len(bad)
        tell_progress(report)
        if not only_check and PAUSE_SECONDS[connection.vendor]:
            time.sleep(PAUSE_SECONDS[connection.vendor])
    return report


def _check(rows: list[GoodRow], earlier: Earlier) -> LoggedRuns:
    with transaction.atomic():
        book = RunBook([row.draft for row in rows], clock.now(), earlier=earlier)
        book.check()
    return book.outcome()


def _chunks(things: Iterable[T], size: int) -> Iterator[list[T]]:
    things = iter(things)
    while chunk := list(islice(things, size)):
        yield chunk
