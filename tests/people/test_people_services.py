"""People are taken on, given a role, and let go; never deleted, and never so that nobody could set roles any more."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal

import pytest
from django.contrib.auth.models import Group
from django.core.management import call_command
from django.utils.module_loading import import_string

from config import settings as product_settings
from crib.core.errors import BadInput, NotAllowed, NotFound, Refused
from crib.people import selectors, services
from crib.people.models import ChangeRecord, Person
from crib.people.roles import RIGHTS, ROLES
from tests.people.conftest import PASSWORD

TakeOn = Callable[..., Person]


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("right", [right.codename for right in RIGHTS])
def test_a_role_carries_its_rights_and_no_other(take_on: TakeOn, role: str, right: str) -> None:
    person = Person.objects.get(pk=take_on(role).pk)
    assert person.has_perm(f"crib.{right}") is (right in ROLES[role])


def test_the_roles_follow_the_table_after_every_migration(db: None) -> None:
    Group.objects.get(name="planner").permissions.clear()
    Group.objects.get(name="machinist").permissions.set(Group.objects.get(name="lead").permissions.all())
    call_command("migrate", verbosity=0)
    for role, codenames in ROLES.items():
        held = set(Group.objects.get(name=role).permissions.values_list("codename", flat=True))
        assert held == set(codenames)


def test_whoever_is_taken_on_may_sign_in_with_the_password_that_was_made(lead: Person) -> None:
    person, password = services.take_on_person(
        username=" nora ", first_name=" Nora ", last_name="Dahl", role="planner", who=lead, email="nora@example.org"
    )
    assert person.username == "nora"
    assert str(person) == "Nora Dahl"
    assert person.check_password(password)
    assert password not in person.password
    assert len(password) == 14
    assert ChangeRecord.objects.get(which="nora").who == lead
    assert password not in str(ChangeRecord.objects.get(which="nora").details)


def test_made_passwords_differ_and_avoid_look_alikes() -> None:
    made = {services.make_password_to_hand_over() for _ in range(200)}
    assert len(made) == 200
    assert not set("".join(made)) & set("01ilo")


@pytest.mark.parametrize(
    ("field", "change", "sentence"),
    [
        ("username", {"username": "two words"}, "no blanks"),
        ("username", {"username": ""}, "1 to 60"),
        ("username", {"username": "x" * 61}, "1 to 60"),
        ("username", {"username": "New"}, "kept for a page"),
        ("username", {"username": "LEAD"}, "taken"),
        ("first_name", {"first_name": " ", "last_name": ""}, "name"),
        ("role", {"role": "king"}, "machinist, attendant, planner, engineer, lead"),
        ("role", {"role": ""}, "Choose a role"),
        ("role", {"role": "lead", "is_counter": True}, "tablet"),
        ("email", {"email": "not an address"}, "leave it empty"),
        ("password", {"password": "short"}, "8 characters"),
        ("password", {"password": "password123"}, "too common"),
    ],
)
def test_bad_input_names_the_field_and_leaves_nothing_behind(
    lead: Person, field: str, change: dict[str, object], sentence: str
) -> None:
    sound = {"username": "nora", "first_name": "Nora", "last_name": "Dahl", "role": "planner", "who": lead}
    with pytest.raises(BadInput, match=sentence) as refused:
        services.take_on_person(**{**sound, **change})  # type: ignore[arg-type]  # one of them is wrong on purpose
    assert refused.value.field == field
    assert list(Person.objects.values_list("username", flat=True)) == ["lead"]


def test_a_person_has_one_role_at_a_time(lead: Person, machinist: Person) -> None:
    services.set_role(person=machinist, role="planner", who=lead)
    assert selectors.role_of(machinist) == "planner"
    assert machinist.groups.count() == 1
    record = ChangeRecord.objects.get(act="set role")
    assert (record.who, record.details) == (lead, {"from": "machinist", "to": "planner"})
    services.set_role(person=machinist, role="planner", who=lead)
    assert ChangeRecord.objects.filter(act="set role").count() == 1, "no change, no record"


def test_the_last_lead_stays_lead_and_stays(lead: Person, machinist: Person) -> None:
    with pytest.raises(services.LastLead, match="somebody else lead first"):
        services.set_role(person=lead, role="planner", who=lead)
    with pytest.raises(services.LastLead):
        services.retire_person(person=lead, who=machinist)
    services.set_role(person=machinist, role="lead", who=lead)
    services.set_role(person=lead, role="planner", who=machinist)
    assert selectors.role_of(lead) == "planner"


def test_a_retired_lead_does_not_count_as_lead(take_on: TakeOn, lead: Person) -> None:
    second = take_on("lead", "second")
    services.retire_person(person=second, who=lead)
    with pytest.raises(services.LastLead):
        services.set_role(person=lead, role="planner", who=lead)


def test_nobody_retires_themselves(lead: Person) -> None:
    with pytest.raises(Refused, match="cannot retire yourself"):
        services.retire_person(person=lead, who=lead)


def test_whoever_is_retired_is_kept_and_may_come_back(lead: Person, machinist: Person) -> None:
    services.retire_person(person=machinist, who=lead)
    services.retire_person(person=machinist, who=lead)
    machinist.refresh_from_db()
    assert not machinist.is_active
    assert not machinist.has_perm("crib.log_runs")
    services.bring_back_person(person=machinist, who=lead)
    services.bring_back_person(person=machinist, who=lead)
    machinist.refresh_from_db()
    assert Person.objects.get(pk=machinist.pk).has_perm("crib.log_runs")
    acts = list(ChangeRecord.objects.filter(which="machinist").order_by("id").values_list("act", flat=True))
    assert acts == ["took on", "retired", "brought back"]


def test_a_new_password_makes_the_old_one_worthless(lead: Person, machinist: Person) -> None:
    password = services.reset_password(person=machinist, who=lead)
    machinist.refresh_from_db()
    assert machinist.check_password(password)
    assert not machinist.check_password(PASSWORD)


def test_ones_own_password_needs_the_present_one(machinist: Person, tablet: Person) -> None:
    with pytest.raises(BadInput, match="present password") as refused:
        services.change_own_password(person=machinist, old="wrong", new="a-sound-new-one-7")
    assert refused.value.field == "old"
    with pytest.raises(BadInput) as refused:
        services.change_own_password(person=machinist, old=PASSWORD, new="machinist")
    assert refused.value.field == "new"
    with pytest.raises(NotAllowed, match="lead"):
        services.change_own_password(person=tablet, old=PASSWORD, new="a-sound-new-one-7")
    services.change_own_password(person=machinist, old=PASSWORD, new="a-sound-new-one-7")
    machinist.refresh_from_db()
    assert machinist.check_password("a-sound-new-one-7")


def test_names_change_and_user_names_stay(lead: Person, machinist: Person, tablet: Person) -> None:
    changed = services.change_person(
        person=machinist, first_name="Ines", last_name="Halvard", email="", who=lead, role="engineer"
    )
    assert (str(changed), changed.username, selectors.role_of(changed)) == ("Ines Halvard", "machinist", "engineer")
    with pytest.raises(BadInput, match="name"):
        services.change_person(person=machinist, first_name="", last_name=" ", email="", who=lead)
    with pytest.raises(BadInput, match="tablet"):
        services.set_role(person=tablet, role="lead", who=lead)
    services.change_person(person=tablet, first_name="", last_name="By the door", email="", who=lead)
    assert str(tablet) == "By the door"


def test_settings_are_one_of_their_kind(machinist: Person) -> None:
    services.choose_settings(person=machinist, units="inch", scheme="dark")
    machinist.refresh_from_db()
    assert (machinist.units, machinist.scheme) == ("inch", "dark")
    for wrong in ({"units": "cubits"}, {"scheme": "pink"}):
        with pytest.raises(BadInput):
            services.choose_settings(person=machinist, **wrong)


def test_an_unknown_person_is_said_to_be_unknown(db: None) -> None:
    with pytest.raises(NotFound, match="nobody-here"):
        selectors.find_person("nobody-here")


def test_records_keep_exact_values(lead: Person) -> None:
    record = services.record_change(
        who=lead,
        what="design",
        which="T-1" * 60,
        act="changed",
        details={"cost": Decimal("12.30"), "on": date(2026, 11, 25), "by": lead, "more": {"tags": ("a", 1)}},
    )
    record.refresh_from_db()
    assert record.details == {"cost": "12.30", "on": "2026-11-25", "by": "Lead Example", "more": {"tags": ["a", 1]}}
    assert len(record.which) == 80
    assert str(record).startswith("changed design")


def test_the_list_of_people_costs_two_queries_however_many(
    take_on: TakeOn, lead: Person, django_assert_num_queries: Callable[..., object]
) -> None:
    for place in range(12):
        take_on("machinist", f"m{place}")
    with django_assert_num_queries(2):  # type: ignore[attr-defined]  # a context manager by the plugin
        lines = selectors.list_people()
    assert len(lines) == 13
    assert {line.role for line in lines} == {"lead", "machinist"}


def test_passwords_are_kept_by_argon2_outside_the_tests() -> None:
    hasher = import_string(product_settings.PASSWORD_HASHERS[0])()
    kept = hasher.encode("turn-the-edge-42", hasher.salt())
    assert kept.startswith("argon2$argon2id$")
    assert hasher.verify("turn-the-edge-42", kept)
    assert not hasher.verify("turn-the-edge-43", kept)
