"""Taking people on, giving them a role, letting them go; and writing down who changed what."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from axes.utils import reset as forget_wrong_tries
from django.conf import settings
from django.contrib.auth.models import Group, Permission
from django.contrib.auth.password_validation import validate_password
from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, models, transaction

from crib.core.errors import BadInput, NotAllowed, Refused
from crib.people.models import ChangeRecord, Person
from crib.people.roles import RIGHTS, ROLES
from crib.people.selectors import find_leads, role_of

# Words that are addresses below /people/ and so cannot name a person there.
_RESERVED = frozenset({"new"})
# Read aloud and typed at a counter: no letter or figure that looks like another.
_EASY = "abcdefghjkmnpqrstuvwxyz23456789"


class LastLead(Refused):
    """Without anybody who may set roles, nobody could ever mend the roles again."""

    code = "last-lead"


def record_change(
    *, who: Person | None, what: str, which: str, act: str, details: Mapping[str, Any] | None = None
) -> ChangeRecord:
    """Write down who did what to which thing; `who` is None only for what the worker does by itself."""
    kept = {name: _plain(value) for name, value in (details or {}).items()}
    return ChangeRecord.objects.create(who=who, what=what, which=which[:80], act=act, details=kept)


def _plain(value: Any) -> Any:
    """A value as JSON can keep it, exact where it was exact."""
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, models.Model):
        return str(value)
    if isinstance(value, Mapping):
        return {str(name): _plain(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_plain(inner) for inner in value]
    return value


@transaction.atomic
def sync_roles() -> None:
    """Make the groups and their permissions equal to crib/people/roles.py; safe to run at every migration."""
    # A database just emptied and filled anew has other numbers than those remembered.
    ContentType.objects.clear_cache()
    content_type = ContentType.objects.get_for_model(Person)
    for right in RIGHTS:
        # Permissions are otherwise made by a later signal than the one this runs in.
        Permission.objects.update_or_create(
            content_type=content_type, codename=right.codename, defaults={"name": right.says}
        )
    for role, codenames in ROLES.items():
        group, _ = Group.objects.get_or_create(name=role)
        group.permissions.set(Permission.objects.filter(content_type=content_type, codename__in=codenames))


@transaction.atomic
def take_on_person(
    *,
    username: str,
    first_name: str,
    last_name: str,
    role: str,
    who: Person | None,
    email: str = "",
    password: str | None = None,
    is_counter: bool = False,
) -> tuple[Person, str]:
    """Take on a person in a role, or set up a counter tablet; answers the password to hand over.

    Without `password` one is made that can be read aloud; it is never kept in clear.
    """
    person = Person(
        username=_sound_username(username),
        first_name=first_name.strip(),
        last_name=last_name.strip(),
        email=_sound_email(email),
        units=settings.UNITS,
        is_counter=is_counter,
    )
    if not is_counter and not person.get_full_name():
        raise BadInput("first_name", "Give the person a name, so that others know whom they are dealing with.")
    secret = password if password is not None else make_password_to_hand_over()
    _set_sound_password(person, secret, field="password")
    try:
        with transaction.atomic():
            person.save()
    except IntegrityError as taken:
        raise BadInput("username", f"The user name {person.username} is taken; choose another.") from taken
    if is_counter:
        if role:
            raise BadInput("role", "A counter tablet has no role of its own: each action there names its person.")
    else:
        person.groups.set([_group(role)])
    record_change(who=who, what="person", which=person.username, act="took on", details={"role": role or "counter"})
    return person, secret


@transaction.atomic
def set_role(*, person: Person, role: str, who: Person) -> Person:
    """Give `person` this role and no other."""
    if person.is_counter:
        raise BadInput("role", "A counter tablet has no role of its own: each action there names its person.")
    group = _group(role)
    before = role_of(person)
    if before == role:
        return person
    if "keep_people" not in ROLES[role]:
        _keep_a_lead(person)
    person.groups.set([group])
    record_change(who=who, what="person", which=person.username, act="set role", details={"from": before, "to": role})
    return person


@transaction.atomic
def change_person(
    *, person: Person, first_name: str, last_name: str, email: str, who: Person, role: str | None = None
) -> Person:
    """Write a person's name, address and role anew; the user name stays, since labels and records go by it."""
    before = (person.first_name, person.last_name, person.email)
    person.first_name, person.last_name, person.email = first_name.strip(), last_name.strip(), _sound_email(email)
    if not person.is_counter and not person.get_full_name():
        raise BadInput("first_name", "Give the person a name, so that others know whom they are dealing with.")
    if (person.first_name, person.last_name, person.email) != before:
        person.save(update_fields=["first_name", "last_name", "email"])
        record_change(who=who, what="person", which=person.username, act="renamed", details={"name": str(person)})
    if role is not None:
        set_role(person=person, role=role, who=who)
    return person


@transaction.atomic
def reset_password(*, person: Person, who: Person) -> str:
    """Give `person` a new password to be handed over; every place they were signed in is signed out by it.

    Wrong tries before it are forgotten, so that whoever was shut out may sign in with it at once.
    """
    secret = make_password_to_hand_over()
    _set_sound_password(person, secret, field="password")
    person.save(update_fields=["password"])
    forget_wrong_tries(username=person.username)
    record_change(who=who, what="person", which=person.username, act="reset password")
    return secret


@transaction.atomic
def change_own_password(*, person: Person, old: str, new: str) -> None:
    """Change one's own password, knowing the old one."""
    if person.is_counter:
        raise NotAllowed("The counter tablet's password is set by the lead, on the page People.")
    if not person.check_password(old):
        raise BadInput("old", "That is not your present password.")
    _set_sound_password(person, new, field="new")
    person.save(update_fields=["password"])
    record_change(who=person, what="person", which=person.username, act="changed own password")


@transaction.atomic
def choose_settings(*, person: Person, units: str | None = None, scheme: str | None = None) -> Person:
    """Set the units and the colours that a person sees."""
    if units is not None:
        if units not in Person.Units.values:
            raise BadInput("units", "Choose metric or inch.")
        person.units = units
    if scheme is not None:
        if scheme not in Person.Scheme.values:
            raise BadInput("scheme", "Choose light, dark, or as the device.")
        person.scheme = scheme
    person.save(update_fields=["units", "scheme"])
    record_change(
        who=person,
        what="person",
        which=person.username,
        act="chose settings",
        details={"units": person.units, "scheme": person.scheme},
    )
    return person


@transaction.atomic
def retire_person(*, person: Person, who: Person) -> Person:
    """Let a person go: no more sign-in or badge, while everything they did keeps their name."""
    if person.pk == who.pk:
        raise Refused("You cannot retire yourself; another lead can.")
    if not person.is_active:
        return person
    _keep_a_lead(person)
    person.is_active = False
    person.save(update_fields=["is_active"])
    record_change(who=who, what="person", which=person.username, act="retired")
    return person


@transaction.atomic
def bring_back_person(*, person: Person, who: Person) -> Person:
    """Let a person who was retired sign in again, in the role they had."""
    if not person.is_active:
        person.is_active = True
        person.save(update_fields=["is_active"])
        record_change(who=who, what="person", which=person.username, act="brought back")
    return person


def make_password_to_hand_over() -> str:
    """Three groups of four: about 59 bits, easy to read aloud and to type with a glove."""
    return "-".join("".join(secrets.choice(_EASY) for _ in range(4)) for _ in range(3))


def _group(role: str) -> Group:
    if role not in ROLES:
        raise BadInput("role", f"Choose a role: {', '.join(ROLES)}.")
    group, _ = Group.objects.get_or_create(name=role)
    return group


def _keep_a_lead(person: Person) -> None:
    # The rows are locked, or two leads could retire each other at the same moment.
    list(Person.objects.select_for_update().filter(groups__permissions__codename="keep_people"))
    was_lead = find_leads().filter(pk=person.pk).exists()
    if was_lead and not find_leads(other_than=person).exists():
        raise LastLead(f"{person} is the last who may set roles. Make somebody else lead first.")


def _sound_username(username: str) -> str:
    name = Person.normalize_username(username.strip())
    try:
        Person._meta.get_field("username").run_validators(name)
    except ValidationError as unsound:
        raise BadInput("username", "A user name has letters, figures and @ . + - _ only, and no blanks.") from unsound
    if not name or len(name) > 60:
        raise BadInput("username", "Give a user name of 1 to 60 letters and figures.")
    if name.lower() in _RESERVED:
        raise BadInput("username", f"“{name}” is kept for a page; choose another user name.")
    if Person.objects.filter(username__iexact=name).exists():
        raise BadInput("username", f"The user name {name} is taken; choose another.")
    return name


def _sound_email(email: str) -> str:
    email = email.strip()
    if email:
        try:
            validate_email(email)
        except ValidationError as unsound:
            raise BadInput("email", "That is not an e-mail address; leave it empty if there is none.") from unsound
    return email


def _set_sound_password(person: Person, secret: str, *, field: str) -> None:
    try:
        validate_password(secret, person)
    except ValidationError as unsound:
        raise BadInput(field, " ".join(unsound.messages)) from unsound
    person.set_password(secret)
