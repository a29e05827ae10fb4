"""`manage.py refit`: the nightly refit of all life models, by hand."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import CommandParser

from crib.life import services
from crib.management.base import ShopCommand


class Command(ShopCommand):
    help = "Learn the life of edges anew from those that have ended, and forecast the edges in use by it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="answer for a program")

    def handle(self, *args: Any, **options: Any) -> None:
        report = services.refit_all()
        forecasts = services.refresh_all_due()
        if options["json"]:
            self.stdout.write(json.dumps(report.as_dict() | {"forecasts": forecasts}))
            return
        if not report.groups:
            self.stdout.write("No edge has cut yet, so there is nothing to learn. Log runs first.")
            return
        learnt = (
            f"Learnt {report.refitted} of {report.groups} groups anew" if report.refitted else "Nothing has changed"
        )
        self.stdout.write(f"{learnt}; {forecasts} forecasts computed.")
        for trouble in report.troubles:
            self.stdout.write(f"Not fitted, its starting value stands: {trouble}.")
