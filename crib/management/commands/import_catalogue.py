"""`import_catalogue FILE`: loads designs, materials, machines, suppliers and offers from one CSV file."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from crib.catalogue.services import CatalogueReport, import_catalogue
from crib.core.errors import ShopError
from crib.people.models import Person
from crib.people.selectors import find_leads, find_person


class Command(BaseCommand):
    help = "Loads a catalogue from a CSV file; its column “record” says what each row is."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("file", help="the CSV file in UTF-8")
        parser.add_argument("--check", action="store_true", help="only report, write nothing")
        parser.add_argument("--json", action="store_true", help="answer as JSON")
        parser.add_argument("--who", metavar="USER", help="in whose name it is written; a lead when left out")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            who = _writer(options["who"])
            with Path(options["file"]).open("rb") as file:
                report = import_catalogue(file=file, who=who, only_check=options["check"])
        except ShopError as refused:
            raise CommandError(refused.sentence) from refused
        except OSError as unread:
            raise CommandError(f"{options['file']} cannot be opened: {unread.strerror}.") from unread
        self._say(report, as_json=options["json"])
        if report.refused:
            sys.exit(1)

    def _say(self, report: CatalogueReport, *, as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps(asdict(report) | {"rows": report.rows}, indent=2))
            return
        for row in report.refused:
            column = f", {row.column}" if row.column else ""
            self.stdout.write(f"line {row.line}{column}: {row.reason}")
        verb = "would be new" if report.only_checked else "new"
        self.stdout.write(
            f"{report.rows} rows: {report.created} {verb}, {report.changed} changed, {report.unchanged} as before, "
            f"{len(report.refused)} refused."
        )


def _writer(username: str | None) -> Person:
    if username:
        return find_person(username)
    lead = find_leads().order_by("pk").first()
    if lead is None:
        raise CommandError("Nobody here is a lead yet. Take one on first: manage.py take_on")
    return lead
