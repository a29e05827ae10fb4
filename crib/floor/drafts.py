"""A run as it comes in: by a form, the API, a file or a machine's feed, before anything in it is believed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime

from crib.catalogue.models import Machine
from crib.floor.models import Edge, Operation, Run


@dataclass(frozen=True, slots=True, kw_only=True)
class RunDraft:
    """One run to be logged.

    `machine` and `pocket`, or `edge` in their place, say what cut; names and rows of the database both serve.
    An edge's name is its item's label and its number, such as "ET1:I00012X/2", or its own number in the API.
    `minutes_in_cut` may be left at None: then they are parts × the operation's minutes per part.
    """

    operation: Operation | str
    started_at: datetime
    ended_at: datetime
    parts: int
    source_key: str
    machine: Machine | str | None = None
    pocket: int | None = None
    edge: Edge | str | None = None
    minutes_in_cut: float | None = None
    source: str = Run.Source.TYPED


@dataclass(frozen=True, slots=True)
class RefusedRun:
    """A run that was not logged: its place in the list, the field at fault, the reason, and its stable code."""

    index: int
    field: str
    sentence: str
    code: str = "bad-input"

    def __iter__(self) -> Iterator[int | str]:
        """Unpacks as (index, field, sentence)."""
        return iter((self.index, self.field, self.sentence))


@dataclass(slots=True)
class LoggedRuns:
    """What became of a list of runs; indices are places in that list."""

    accepted: list[int] = field(default_factory=list)
    already_there: list[int] = field(default_factory=list)
    refused: list[RefusedRun] = field(default_factory=list)
