"""`manage.py restore FILE`."""

from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandError, CommandParser

from crib.management.backup import read_backup
from crib.management.base import ShopCommand
from crib.management.demo_people import shop_is_empty
from crib.management.starting import tables_are_current


class Command(ShopCommand):
    help = "Puts a backup in the place of what is there, after checking all of it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--yes", action="store_true", help="replace the shop that is there")

    def handle(self, *args: Any, **options: Any) -> None:
        if not tables_are_current():
            call_command("migrate", interactive=False, verbosity=0)
        elif not options["yes"] and not shop_is_empty():
            raise CommandError(
                "There is a shop in this database, and a restore replaces all of it; make a backup of it first, "
                "then add --yes."
            )
        contents = read_backup(options["file"])
        self.stdout.write(f"Restored and checked: {contents.rows} rows as they were on {contents.made_at}.")
