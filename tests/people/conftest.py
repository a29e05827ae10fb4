from __future__ import annotations

from collections.abc import Callable

import pytest

from crib.people.models import Person
from crib.people.services import take_on_person

PASSWORD = "turn-the-edge-42"
TakeOn = Callable[..., Person]


@pytest.fixture
def take_on(db: None) -> TakeOn:
    """Takes on a person by role; the user name is the role unless another is given."""

    def one(role: str, username: str | None = None) -> Person:
        person, _ = take_on_person(
            username=username or role,
            first_name=(username or role).capitalize(),
            last_name="Example",
            role=role,
            who=None,
            password=PASSWORD,
        )
        return person

    return one


@pytest.fixture
def lead(take_on: TakeOn) -> Person:
    return take_on("lead")


@pytest.fixture
def machinist(take_on: TakeOn) -> Person:
    return take_on("machinist")


@pytest.fixture
def tablet(db: None) -> Person:
    person, _ = take_on_person(
        username="tablet", first_name="", last_name="", role="", who=None, password=PASSWORD, is_counter=True
    )
    return person
