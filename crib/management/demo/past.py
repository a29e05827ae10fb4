"""What happened in the demo shop, as plain records: drawn by `history`, written into the books by `telling`."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from crib.management.demo.laws import Fate


@dataclass(frozen=True, slots=True)
class Seat:
    """A standing place for a tool: a pocket of a machine with what the assembly in it is made of."""

    machine: str
    pocket: int
    tip: str
    body: str

    @property
    def name(self) -> str:
        return f"{self.machine} {self.pocket:02d} {self.tip}"


@dataclass(slots=True)
class PastRun:
    """A stretch of one shift in which one edge cut."""

    starts: datetime
    ends: datetime
    minutes: float
    parts: int
    by: str


@dataclass(slots=True)
class PastLook:
    """A wear land that was read while the edge was still at work."""

    minutes: float
    wear_land: float
    at: datetime
    by: str


@dataclass(slots=True)
class PastEdge:
    """One edge from the moment it was put in; with no outcome it is still at work."""

    number: int
    operation: tuple[str, int]
    put_in_at: datetime
    fate: Fate
    life: float
    minutes: float = 0.0
    parts: int = 0
    limit: int = 0
    outcome: str = ""
    ended_at: datetime | None = None
    ended_by: str = ""
    wear_land: float | None = None
    note: str = ""
    runs: list[PastRun] = field(default_factory=list)
    looks: list[PastLook] = field(default_factory=list)


@dataclass(slots=True)
class PastTool:
    """A tip, a set of inserts or a solid tool, from its fitting on; not taken out yet when `removed_at` is None."""

    seat: Seat
    pieces: int
    job: str
    fitted_at: datetime
    fitted_by: str
    edges: list[PastEdge] = field(default_factory=list)
    removed_at: datetime | None = None
    spoiled: bool = False


@dataclass(frozen=True, slots=True)
class Past:
    """Everything that happened on the floor."""

    seats: list[Seat]
    tools: list[PastTool]

    @property
    def runs(self) -> int:
        return sum(len(edge.runs) for tool in self.tools for edge in tool.edges)
