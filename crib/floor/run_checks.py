"""What can be said of a run from its own words alone: each wrong thing has its own sentence and field."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from crib.core.errors import BadInput, ShopError
from crib.floor.drafts import RunDraft
from crib.floor.models import Run

LONGEST_RUN = timedelta(hours=24)
MOST_PARTS = 100_000
LONGEST_KEY = 120
SOURCES = frozenset(Run.Source.values)
# A clock at a machine may be a little ahead of the server's.
CLOCKS_APART = timedelta(minutes=1)
# Minutes typed to one decimal may pass the clock by a rounding, never by more.
ROUNDING_MINUTES = 0.05


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a run cannot be logged."""

    field: str
    sentence: str
    error: type[ShopError] = BadInput

    def as_error(self) -> ShopError:
        """The error to raise when the run came alone."""
        if issubclass(self.error, BadInput):
            return self.error(self.field, self.sentence)
        return self.error(self.sentence, field=self.field)


def said_time(moment: datetime) -> str:
    """A moment in the shop's zone, as a sentence says it."""
    return f"{timezone.localtime(moment):%Y-%m-%d %H:%M}"


def said_minutes(minutes: float) -> str:
    """Minutes as a sentence says them."""
    return f"{minutes:.1f}".removesuffix(".0")


def fault_in_words(draft: RunDraft, now: datetime) -> Fault | None:
    """The first thing wrong with a draft that needs no look into the database."""
    return _fault_in_key(draft) or _fault_in_times(draft, now) or _fault_in_amounts(draft)


def _fault_in_key(draft: RunDraft) -> Fault | None:
    if not draft.source_key or draft.source_key.isspace():
        return Fault(
            "source_key", "Give each run a source key of its own, so that the same run sent twice counts once."
        )
    if len(draft.source_key) > LONGEST_KEY:
        return Fault(
            "source_key", f"A source key has at most {LONGEST_KEY} characters; this one has {len(draft.source_key)}."
        )
    if not draft.source_key.isprintable():
        return Fault("source_key", "The source key holds a character that cannot be printed; leave it out.")
    if draft.source not in SOURCES:
        return Fault("source", f"The source is one of {', '.join(Run.Source.values)}, not “{draft.source[:20]}”.")
    return None


def _fault_in_times(draft: RunDraft, now: datetime) -> Fault | None:
    started, ended = draft.started_at, draft.ended_at
    if started.tzinfo is None or ended.tzinfo is None:
        field = "started_at" if started.tzinfo is None else "ended_at"
        return Fault(field, "The time needs its offset, such as 2026-11-25T10:00:00+01:00.")
    for field, moment in (("started_at", started), ("ended_at", ended)):
        if not 2000 <= moment.year <= 2999:
            return Fault(field, f"The year {moment.year} cannot be; check the time.")
    if ended < started:
        return Fault("ended_at", f"The run ends at {said_time(ended)}, before it starts at {said_time(started)}.")
    latest = now + CLOCKS_APART
    if ended > latest:
        field, late = ("started_at", started) if started > latest else ("ended_at", ended)
        return Fault(field, f"{said_time(late)} lies in the future; log a run when it has ended.")
    if ended - started > LONGEST_RUN:
        hours = (ended - started).total_seconds() / 3600
        return Fault("ended_at", f"{hours:.0f} hours are too long for one run; log it shift by shift.")
    return None


def _fault_in_amounts(draft: RunDraft) -> Fault | None:
    parts, minutes = draft.parts, draft.minutes_in_cut
    if parts < 0:
        return Fault("parts", f"{parts} parts cannot be made; to take a run back, reverse it.")
    if parts > MOST_PARTS:
        return Fault("parts", f"{parts} parts are more than one run can make; the most is {MOST_PARTS}.")
    if minutes is None:
        if parts == 0:
            return Fault("parts", "Give the parts made or the minutes in cut; with neither there is nothing to log.")
        return None
    if not math.isfinite(minutes):
        return Fault("minutes_in_cut", "The minutes in cut must be a number.")
    if minutes < 0:
        return Fault(
            "minutes_in_cut", f"{said_minutes(minutes)} minutes in cut are below zero; to take a run back, reverse it."
        )
    if minutes == 0 and parts == 0:
        return Fault("parts", "Give the parts made or the minutes in cut; with neither there is nothing to log.")
    clock = (draft.ended_at - draft.started_at).total_seconds() / 60
    if minutes > clock + ROUNDING_MINUTES:
        return Fault(
            "minutes_in_cut",
            f"{said_minutes(minutes)} minutes in cut are more than the {said_minutes(clock)} clock minutes of the run.",
        )
    return None
