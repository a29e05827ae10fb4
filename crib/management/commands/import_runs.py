"""`import_runs FILE`: loads a CSV of runs; the good rows stand, the bad ones are listed by line, column and reason."""

from __future__ import annotations

import argparse
import json
import sys
import time
from contextlib import nullcontext
from pathlib import Path
from typing import Any, BinaryIO

from django.core.management.base import BaseCommand, CommandError

from crib.core.errors import ShopError
from crib.floor.run_file import BadRow
from crib.floor.services import FileReport, import_run_file
from crib.people.models import Person
from crib.people.selectors import find_leads

SECONDS_BETWEEN_WORDS = 1.0
# A file of nothing but bad rows must not fill the memory; all of them are counted.
MOST_LISTED = 10_000


class Command(BaseCommand):
    help = "Loads a CSV of runs: machine,pocket,operation,started_at,ended_at,minutes_in_cut,parts,source_key"

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("file", help="the CSV file in UTF-8, or - for what is piped in")
        parser.add_argument("--check", action="store_true", help="only report, write nothing")
        parser.add_argument("--json", action="store_true", help="answer as JSON")
        parser.add_argument("--who", metavar="USER", help="in whose name the runs are logged; a lead when left out")

    def handle(self, *args: Any, file: str, check: bool, json: bool, who: str | None, **options: Any) -> None:
        person = _person(who)
        listed: list[BadRow] = []
        started = time.monotonic()
        progress = _Progress(self.stderr.write)

        def tell_bad(row: BadRow) -> None:
            if not json:
                self.stdout.write(f"line {row.line}, {row.column}: {row.reason}")
            elif len(listed) < MOST_LISTED:
                listed.append(row)

        try:
            with _opened(file) as rows:
                report = import_run_file(
                    file=rows, who=person, tell_bad=tell_bad, tell_progress=progress.tell, only_check=check
                )
        except ShopError as refused:
            raise CommandError(refused.sentence) from refused
        self._say(report, listed, as_json=json, check=check, seconds=time.monotonic() - started)
        if report.refused:
            sys.exit(1)

    def _say(self, report: FileReport, listed: list[BadRow], *, as_json: bool, check: bool, seconds: float) -> None:
        if as_json:
            answer = {
                "rows": report.rows,
                "logged": 0 if check else report.logged,
                "would_log": report.logged if check else None,
                "already_there": report.already_there,
                "refused": report.refused,
                "bad_rows": [row.as_dict() for row in listed],
                "bad_rows_not_listed": report.refused - len(listed),
                "seconds": round(seconds, 3),
            }
            self.stdout.write(json.dumps(answer, indent=2))
            return
        verb = "could be logged" if check else "logged"
        self.stdout.write(
            f"{report.rows} rows: {report.logged} {verb}, {report.already_there} there already, "
            f"{report.refused} refused."
        )


class _Progress:
    """Says about once a second how far the file has come."""

    def __init__(self, write: Any) -> None:
        self._write = write
        self._started = self._said = time.monotonic()

    def tell(self, report: FileReport) -> None:
        now = time.monotonic()
        if now - self._said < SECONDS_BETWEEN_WORDS:
            return
        self._said = now
        pace = report.rows / (now - self._started)
        self._write(f"{report.rows} rows read, {report.refused} refused, {pace:.0f} rows a second")


def _person(username: str | None) -> Person:
    if username is None:
        lead = find_leads().first()
        if lead is None:
            raise CommandError("There is no lead in this shop; say with --who in whose name the runs are logged.")
        return lead
    person = Person.objects.filter(username=username, is_active=True, is_counter=False).first()
    if person is None:
        raise CommandError(f"There is nobody with the user name {username}; give one with --who.")
    if not person.has_perm("crib.log_runs"):
        raise CommandError(f"The role of {username} does not let them log runs; a lead can change that.")
    return person


def _opened(name: str) -> Any:
    if name == "-":
        return nullcontext(sys.stdin.buffer)
    try:
        file: BinaryIO = Path(name).open("rb")  # noqa: SIM115  # closed by the caller's with
    except OSError as unread:
        raise CommandError(f"{name} cannot be read: {unread.strerror or 'it is no file'}.") from unread
    return file
