"""The demo shop's beginning and end, and who may sign in to it.

The passwords are made at the first start and kept beside the data, readable by their owner alone. The
file also marks the database as a demo: without it nothing is ever thrown away.
"""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import TypedDict

from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection, transaction


class Entry(TypedDict):
    """Who may sign in, as it is kept and shown."""

    username: str
    password: str
    role: str
    name: str


def place() -> Path:
    return Path(settings.DATA_DIR) / "demo_people.json"


def known() -> list[Entry] | None:
    """The demo people as they were at the first start; None when this database is no demo."""
    try:
        people: list[Entry] = json.loads(place().read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    return people


def shop_is_empty() -> bool:
    from crib.people.models import Person

    return not Person.objects.exists()


def begin(*, empty: bool, progress: Callable[[str], None]) -> list[Entry]:
    """Load the shop whole or not at all, and keep who may sign in."""
    with transaction.atomic():
        passwords = _take_on_lead() if empty else _load(progress)
        people = _entries(passwords)
        # Before the data is there for good: a shop nobody can sign in to would be worse than none.
        _keep(people)
    return people


def throw_away() -> None:
    """Empty the database, but only one that was begun as a demo."""
    if known() is None and not _untouched():
        raise CommandError("This database is no demo shop, so it is not thrown away.")
    connection.close()
    if settings.ON_SQLITE:
        database = Path(str(settings.DATABASES["default"]["NAME"]))
        for ending in ("", "-wal", "-shm"):
            database.with_name(database.name + ending).unlink(missing_ok=True)
    else:
        call_command("flush", interactive=False, verbosity=0)
    place().unlink(missing_ok=True)


def _untouched() -> bool:
    return "crib_person" not in connection.introspection.table_names() or shop_is_empty()


def _take_on_lead() -> dict[str, str]:
    from crib.people.services import take_on_person

    person, password = take_on_person(username="lead", first_name="First", last_name="Lead", role="lead", who=None)
    return {person.username: password}


def _load(progress: Callable[[str], None]) -> dict[str, str]:
    from crib.management.demo import load_demo

    passwords: dict[str, str] = load_demo(progress)
    return passwords


def _entries(passwords: dict[str, str]) -> list[Entry]:
    from crib.people.selectors import list_people

    entries = [
        Entry(
            username=line.username,
            password=passwords[line.username],
            role=line.role or ("counter tablet" if line.is_counter else ""),
            name=line.name,
        )
        for line in list_people()
        if line.username in passwords
    ]
    # First the one of each role who is called after it: those are the ones to try the shop with.
    return sorted(entries, key=lambda entry: entry["username"] != entry["role"])


def _keep(people: list[Entry]) -> None:
    draft = place().with_suffix(".draft")
    draft.unlink(missing_ok=True)
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        json.dump(people, file, ensure_ascii=False, indent=1)
    draft.replace(place())
