"""The one place that says what time it is, so that a test can set it."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone


def now() -> datetime:
    """The present moment, aware and in UTC."""
    return timezone.now()


def today() -> date:
    """The present day in the shop's own time zone."""
    return timezone.localdate(now())
