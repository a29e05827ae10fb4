"""Fixtures that every test may use."""

from __future__ import annotations

import os

# Playwright's loop would otherwise make Django refuse every query of a browser test.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

from crib.core.wake import stop_sending
from tests.shop import Shop

# The same examples on every machine, and no verdict on how fast that machine is.
settings.register_profile(
    "steady", deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("steady")

# A message to a queue that is away gives up within two seconds.
SECONDS_OF_A_MESSAGE = 10


@pytest.fixture(autouse=True)
def _wake_ups_end_with_their_test() -> Iterator[None]:
    yield
    assert stop_sending(SECONDS_OF_A_MESSAGE), "the thread that sends wake-ups outlived its test"


@pytest.fixture
def shop(db: None) -> Shop:
    """The small named cast."""
    return Shop()
