"""`manage.py backup FILE`."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from crib.management.backup import write_backup
from crib.management.base import ShopCommand


class Command(ShopCommand):
    help = "Writes database and photos to one file, while the service goes on."
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--yes", action="store_true", help="write over a file that is there")

    def handle(self, *args: Any, **options: Any) -> None:
        file: Path = options["file"]
        if file.exists() and not options["yes"]:
            raise CommandError(f"{file} is there already; choose another name, or add --yes to write over it.")
        contents = write_backup(file)
        size = file.stat().st_size / 1e6
        self.stdout.write(f"{file}: {contents.rows} rows, photos: {contents.photos}, {size:.1f} MB.")
