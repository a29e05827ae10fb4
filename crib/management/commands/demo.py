"""`manage.py demo`: the whole service on this machine, with an invented shop in it."""

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import CommandError, call_command
from django.core.management.base import CommandParser
from django.db import DatabaseError

from crib.management import demo_people
from crib.management.base import ShopCommand
from crib.management.starting import collect_static, require_free_port, tables_are_current

LOOPBACK = "127.0.0.1"


class Command(ShopCommand):
    help = "Starts Edgetally on this machine with an invented shop: web server and worker, until Ctrl-C."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--empty", action="store_true", help="start with an empty shop and one lead")
        parser.add_argument("--reset", action="store_true", help="throw the demo shop away and begin it anew")

    def handle(self, *args: Any, **options: Any) -> None:
        require_free_port(LOOPBACK, options["port"])
        try:
            people = self._prepare(empty=options["empty"], reset=options["reset"])
        except DatabaseError as away:
            raise CommandError(f"The database cannot be used: {str(away).strip().splitlines()[0]}") from away
        except KeyboardInterrupt:
            raise CommandError("Stopped; the next start begins the demo shop again.", returncode=130) from None
        _become_supervisor(options["port"], people)

    def _prepare(self, *, empty: bool, reset: bool) -> list[demo_people.Entry] | None:
        if reset:
            self._say("Throwing the demo shop away")
            demo_people.throw_away()
        if not tables_are_current():
            self._say("Making the tables")
            call_command("migrate", interactive=False, verbosity=0)
        collect_static()
        if demo_people.shop_is_empty():
            began = time.monotonic()
            people = demo_people.begin(empty=empty, progress=self._say)
            self._say(f"The shop is ready after {time.monotonic() - began:.0f} s")
            return people
        return demo_people.known()

    def _say(self, sentence: str) -> None:
        self.stdout.write(f"{sentence} …")
        self.stdout.flush()


def _become_supervisor(port: int, people: list[demo_people.Entry] | None) -> None:
    """Give this process over to the supervisor, which needs none of the memory used so far."""
    manage = [sys.executable, str(settings.BASE_DIR / "manage.py")]
    plan = {
        "children": {
            "web server": [*manage, "serve", "--host", LOOPBACK, "--port", str(port)],
            "worker": [*manage, "work"],
        },
        "host": LOOPBACK,
        "port": port,
        "said_when_ready": _greeting(port, people),
        "environment": {"ALLOWED_HOSTS": "127.0.0.1,localhost", "EDGETALLY_PLAIN_HTTP": "1"},
    }
    place = Path(settings.DATA_DIR) / f"start-{os.getpid()}.json"
    place.touch(mode=0o600)
    place.write_text(json.dumps(plan), encoding="utf-8")
    sys.stdout.flush()
    os.execv(sys.executable, [sys.executable, "-P", str(settings.BASE_DIR / "config" / "supervisor.py"), str(place)])


def _greeting(port: int, people: list[demo_people.Entry] | None) -> str:
    lines = ["", f"Edgetally is at http://{LOOPBACK}:{port}/", ""]
    if people is None:
        lines += ["This is no demo shop: people sign in with the passwords they have."]
    else:
        rows = [("user name", "password", "role", "name")]
        rows += [(entry["username"], entry["password"], entry["role"], entry["name"]) for entry in people]
        widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
        for row in rows:
            cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
            lines.append("  " + "  ".join(cells).rstrip())
        lines += ["", f"These passwords are kept only in {demo_people.place()}."]
    return "\n".join([*lines, "Ctrl-C ends it.", ""])
