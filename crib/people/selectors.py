"""Who belongs to the shop, what each may do, and who changed what."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib.auth.models import Group
from django.db.models import Prefetch, QuerySet

from crib.core.errors import NotFound
from crib.people.models import ChangeRecord, Person
from crib.people.roles import RIGHTS, ROLES


@dataclass(frozen=True)
class PersonLine:
    """One line of the list of people."""

    username: str
    name: str
    role: str
    is_active: bool
    is_counter: bool
    last_login: datetime | None


def role_of(person: Person) -> str:
    """The one role a person has, or nothing; a counter tablet has none."""
    return next((group.name for group in person.groups.all() if group.name in ROLES), "")


def list_people() -> list[PersonLine]:
    """Everybody, those who left last; two queries whatever the number."""
    people = Person.objects.order_by("-is_active", "is_counter", "last_name", "first_name", "username")
    with_groups = people.prefetch_related(Prefetch("groups", queryset=Group.objects.order_by("name")))
    return [
        PersonLine(one.username, str(one), role_of(one), one.is_active, one.is_counter, one.last_login)
        for one in with_groups
    ]


def find_person(username: str) -> Person:
    """The person with this user name, or a sentence that says where to look."""
    person = Person.objects.filter(username=username).first()
    if person is None:
        raise NotFound(f"Nobody here has the user name {username}. Look in the list of people.", field="username")
    return person


def find_leads(*, other_than: Person | None = None) -> QuerySet[Person]:
    """Everybody at work who may set roles."""
    leads = Person.objects.filter(is_active=True, groups__permissions__codename="keep_people").distinct()
    return leads.exclude(pk=other_than.pk) if other_than else leads


def rights_of_role(role: str) -> list[str]:
    """What a role may do, in words."""
    may = ROLES.get(role, ())
    return [right.says for right in RIGHTS if right.codename in may]


def list_changes(*, what: str | None = None, which: str | None = None, limit: int = 50) -> Iterable[ChangeRecord]:
    """The latest changes, of one thing or of all, newest first."""
    wanted: dict[str, Any] = {name: value for name, value in (("what", what), ("which", which)) if value is not None}
    return ChangeRecord.objects.filter(**wanted).select_related("who")[:limit]
