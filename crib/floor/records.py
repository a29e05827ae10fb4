"""What earlier records say of tools: for a shop that brings its past along, and for the demo shop."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crib.catalogue.models import Design
from crib.floor.models import Assembly, Edge, Operation
from crib.people.models import Person
from crib.stock.models import Condition, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeRecord:
    """One edge of a recorded tool; without an outcome it is still in use."""

    number: int
    operation: Operation
    put_in_at: datetime
    ended_at: datetime | None = None
    outcome: str = ""
    wear_land_mm: float | None = None
    note: str = ""
    ended_by: Person | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolRecord:
    """A tip, set of inserts or solid tool from its fitting to its removal; without `removed_at` it is still fitted.

    `removed_to` is where it went: the spent place when it is left out. `lot` is the maker's.
    """

    assembly: Assembly
    design: Design
    from_place: Place
    fitted_at: datetime
    fitted_by: Person
    key: str
    edges: tuple[EdgeRecord, ...]
    condition: str = Condition.NEW
    removed_at: datetime | None = None
    removed_to: Place | None = None
    lot: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionRecord:
    """A wear land that was read at so many minutes."""

    edge: Edge
    at_minutes: float
    wear_land_mm: float
    seen_by: Person
    seen_at: datetime
    note: str = ""
