"""Fixtures that every test may use."""

from __future__ import annotations

import os

# Playwright's loop would otherwise make Django refuse every query of a browser test.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

import pytest

from tests.shop import Shop


@pytest.fixture
def shop(db: None) -> Shop:
    """The small named cast."""
    return Shop()
