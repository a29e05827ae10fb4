"""A line of the run book before it is written, and the facts it stands on."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeAlias

from crib.floor.drafts import RunDraft

Taken: TypeAlias = defaultdict[tuple[int, int], list[tuple[datetime, datetime]]]


@dataclass(frozen=True, slots=True)
class OperationFacts:
    """What a run needs to know of its operation; contact 0 and 0 where no band of the flute is known."""

    pk: int
    says: str
    tip: int
    minutes_per_part: float | None
    job: int
    is_last: bool
    contact_low: float = 0.0
    contact_high: float = 0.0


@dataclass(frozen=True, slots=True)
class MachineFacts:
    """What a run needs to know of its machine."""

    pk: int
    code: str
    pockets: int


@dataclass(slots=True)
class Line:
    """A run that may be written: everything resolved and checked."""

    index: int
    draft: RunDraft
    machine: MachineFacts | None
    operation: OperationFacts
    edge: int = 0
    pocket: int = 0
    minutes: float = 0.0
    computed: bool = False

    @property
    def clock_minutes(self) -> float:
        return (self.draft.ended_at - self.draft.started_at).total_seconds() / 60


@dataclass(slots=True)
class Earlier:
    """What earlier lists would have written, for a check that writes nothing: keys with their content, and times."""

    keys: dict[int, int] = field(default_factory=dict)
    taken: Taken = field(default_factory=lambda: defaultdict(list))
