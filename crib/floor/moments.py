"""When something happened: now, or a moment in the past that does not upset the order of things."""

from __future__ import annotations

from datetime import datetime

from crib.core import clock
from crib.core.errors import BadInput
from crib.floor.errors import WrongOrder
from crib.floor.run_checks import CLOCKS_APART, said_time


def moment(at: datetime | None, *, after: datetime | None = None, what: str = "") -> datetime:
    """`at`, or now; refused when it lies in the future or before `after`, which was `what`."""
    now = clock.now()
    if at is None:
        # What was just written may carry a moment that a machine's clock set a little ahead.
        return max(now, after) if after is not None and after <= now + CLOCKS_APART else now
    if at.tzinfo is None:
        raise BadInput("at", "The time needs its offset, such as 2026-11-25T10:00:00+01:00.")
    if at > now + CLOCKS_APART:
        raise BadInput("at", f"{said_time(at)} lies in the future.")
    if after is not None and at < after:
        raise WrongOrder(f"{said_time(at)} is too early: {what} at {said_time(after)}.", field="at")
    return at
