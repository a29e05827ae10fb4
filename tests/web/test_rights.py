"""Who may see and do what, over every address there is."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from crib.people.models import Person
from crib.people.roles import RIGHTS, ROLES
from crib.people.services import take_on_person
from tests.web.walk import addresses

ALL = addresses()
WITHOUT_SIGN_IN = {"sign_in"}
# Addresses that take a POST and ask for no right in particular, each for its reason.
OPEN_TO_ALL_ROLES = {
    "sign_in": "whoever signs in has no right yet",
    "sign_out": "everybody may leave",
    "me": "one's own settings",
    "choose_scheme": "one's own settings",
    "change_password": "one's own password",
    "badge": "says who acts at a tablet; elsewhere it does nothing",
    "counter_scan": "what is scanned decides which right it takes, so the counter asks for it; see tests/stock",
    "counter_undo": "everybody may undo their own, so the counter asks; see tests/stock",
    "badge_done": "says that nobody acts at a tablet any more",
}


@pytest.fixture
def somebody(db: None) -> Any:
    def one(role: str) -> Person:
        return take_on_person(username=role, first_name=role, last_name="Example", role=role, who=None)[0]

    return one


@pytest.fixture
def no_role(somebody: Any) -> Person:
    person: Person = somebody("machinist")
    person.groups.clear()
    return person


def signed_in(person: Person) -> Client:
    # A view that breaks is for the tests of that page; here its answer is all that counts.
    client = Client(raise_request_exception=False)
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_the_walk_finds_the_pages() -> None:
    names = {address.name for address in ALL}
    assert {"sign_in", "people", "person", "me"} <= names
    assert next(address for address in ALL if address.name == "person").url() == "/people/nobody/"
    assert next(address for address in ALL if address.name == "retire_person").needs_right == "keep_people"


@pytest.mark.django_db
def test_whoever_is_signed_out_is_sent_to_sign_in() -> None:
    """Every address, by GET and by POST."""
    let_in = []
    for address in ALL:
        if address.name in WITHOUT_SIGN_IN:
            continue
        for ask in (Client().get, Client().post):
            response = ask(address.url())
            if response.status_code != 302 or response["Location"] != f"/sign-in/?next={address.url()}":
                let_in.append(f"{address.name}: {response.status_code}")
    assert let_in == []


@pytest.mark.parametrize("role", ROLES)
def test_a_guarded_address_lets_in_the_roles_that_have_its_right(role: str, somebody: Any) -> None:
    client = signed_in(somebody(role))
    wrong = []
    for address in ALL:
        if address.needs_right is None:
            continue
        statuses = {client.get(address.url()).status_code, client.post(address.url()).status_code} - {405}
        may = address.needs_right in ROLES[role]
        as_it_should = 403 not in statuses if may else statuses == {403}
        if not statuses or not as_it_should or max(statuses) >= 500:
            wrong.append(f"{address.name} ({address.needs_right}) answered {sorted(statuses)}")
    assert wrong == []


def test_without_a_role_nothing_can_be_written(no_role: Person) -> None:
    client = signed_in(no_role)
    written = []
    for address in ALL:
        if address.name in OPEN_TO_ALL_ROLES:
            continue
        status = client.post(address.url()).status_code
        # What does not exist may be said so before the right is asked for; a full shop is asked in test_full_shop.
        if status not in ((403, 404, 405) if address.takes_arguments else (403, 405)):
            written.append(f"{address.name} answered {status}")
    assert written == []


def test_what_is_open_to_all_roles_is_still_there() -> None:
    assert OPEN_TO_ALL_ROLES.keys() <= {address.name for address in ALL}


def test_everybody_may_read(no_role: Person) -> None:
    client = signed_in(no_role)
    shut = []
    for address in ALL:
        if address.needs_right or address.takes_arguments or address.name in WITHOUT_SIGN_IN:
            continue
        status = client.get(address.url()).status_code
        if status not in (200, 302, 405):
            shut.append(f"{address.name} answered {status}")
    assert shut == []


def test_each_right_is_held_by_some_role_and_some_role_goes_without() -> None:
    for right in RIGHTS:
        holders = [role for role, rights in ROLES.items() if right.codename in rights]
        assert holders
        assert len(holders) < len(ROLES)
