"""`check_ledger`: do the balances equal the moves, and is every piece in exactly one place?"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand

from crib.stock.selectors import check_ledger


class Command(BaseCommand):
    # The books can be checked whatever else is wrong.
    requires_system_checks = ()
    help = "Checks the crib's books: balances against moves, and labelled pieces against both."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="answer as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        found = check_ledger()
        if options["json"]:
            listed = [asdict(one) for one in found]
            self.stdout.write(json.dumps({"clean": not found, "differences": listed}, indent=2))
        else:
            for one in found:
                self.stdout.write(one.sentence)
                if one.cause:
                    named = f" Lines: {', '.join(map(str, one.moves))}." if one.moves else ""
                    self.stdout.write(f"    {one.cause}{named}")
            said = f"{len(found)} differences." if len(found) != 1 else "1 difference."
            self.stdout.write(said if found else "The ledger is clean.")
        if found:
            sys.exit(1)
