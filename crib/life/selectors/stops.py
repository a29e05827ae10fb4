"""Changes ahead: when each machine stops for which edges in this shift and the next, and what to lay ready for it.

Read from the forecasts of the edges in use. After each change the next one follows by the fresh edge's own count. Edges
due close together share a stop where changing the later one early costs less than the stop that it saves.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import F, Sum

from crib.catalogue.models import Design, Machine
from crib.floor.models import Edge
from crib.life.calendar import Stretch
from crib.life.models import Forecast
from crib.life.selectors.sharing import Planned, plan_stops, stop_cost
from crib.life.selectors.slots import MachineWork, Slot, Untold, gather
from crib.stock.models import Balance, Condition, Place

SHELVED = (Condition.NEW, Condition.REGROUND)


@dataclass(frozen=True, slots=True)
class Change:
    """One change in a stop: which pocket, after how many parts from now, and whether a corner is there to turn to."""

    slot: Slot
    parts: int
    early: int
    repeat: int
    turn: bool

    @property
    def edge(self) -> Edge:
        """The edge in the pocket now; a repeated change takes off one of those that follow it."""
        return self.slot.edge

    @property
    def forecast(self) -> Forecast:
        return self.slot.forecast

    @property
    def pocket(self) -> int | None:
        return self.slot.pocket

    @property
    def due_now(self) -> bool:
        return self.parts == 0 and not self.repeat

    @property
    def pieces(self) -> int:
        """Tips to fetch; none where the item has a fresh corner."""
        return 0 if self.turn else self.slot.pieces


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop of a machine with everything changed in it, and what it saves that there is one only."""

    at: datetime
    next_shift: bool
    changes: tuple[Change, ...]
    saved: float

    @property
    def stops_saved(self) -> int:
        return len(self.changes) - 1


@dataclass(frozen=True, slots=True)
class TipNeed:
    """What to lay ready of one design: tips to fetch, corners to turn, and tips at the machine and on the shelf."""

    design: Design
    fetch: int
    turn: int
    at_machine: int
    on_shelf: int

    @property
    def short(self) -> bool:
        return self.fetch > self.at_machine + self.on_shelf


@dataclass(frozen=True, slots=True)
class MachineAhead:
    """The stops of one machine in this shift and the next, and the edges of which no stop can be told."""

    machine: Machine
    this_shift: Stretch
    next_shift: Stretch
    stops: tuple[Stop, ...]
    needs: tuple[TipNeed, ...]
    this_needs: tuple[TipNeed, ...]
    next_needs: tuple[TipNeed, ...]
    untold: tuple[Untold, ...]

    @property
    def this(self) -> list[Stop]:
        return [stop for stop in self.stops if not stop.next_shift]

    @property
    def next(self) -> list[Stop]:
        return [stop for stop in self.stops if stop.next_shift]

    @property
    def saved(self) -> float:
        """Money that sharing stops saves."""
        return sum(stop.saved for stop in self.stops)

    @property
    def stops_saved(self) -> int:
        return sum(stop.stops_saved for stop in self.stops)

    @property
    def minutes_saved(self) -> float:
        return self.stops_saved * self.machine.stop_minutes


@dataclass(frozen=True, slots=True)
class ChangesAhead:
    """Every machine with changes ahead, and what to lay ready for all of them."""

    machines: tuple[MachineAhead, ...]
    needs: tuple[TipNeed, ...] = field(default=())

    @property
    def changes(self) -> int:
        return sum(len(stop.changes) for one in self.machines for stop in one.stops)


def changes_ahead(*, machine: Machine | None = None) -> ChangesAhead:
    """Stops in this shift and the next, of one machine or of all; a fixed number of queries."""
    gathered = gather(machine=machine)
    planned = {work.machine.pk: [_stop(work, stop) for stop in stops] for work, stops in plan_stops(gathered)}
    everything = [change for stops in planned.values() for stop in stops for change in stop.changes]
    shelf, beside = _loose({change.slot.design.pk for change in everything}, [one.machine.pk for one in gathered])
    machines = tuple(_ahead(one, planned[one.machine.pk], beside.get(one.machine.pk, {}), shelf) for one in gathered)
    near: dict[int, int] = defaultdict(int)
    for of_machine in beside.values():
        for design, count in of_machine.items():
            near[design] += count
    return ChangesAhead(machines, _needs([stop for stops in planned.values() for stop in stops], near, shelf))


def _ahead(work: MachineWork, stops: Sequence[Stop], beside: dict[int, int], shelf: dict[int, int]) -> MachineAhead:
    this, after = ([stop for stop in stops if stop.next_shift == later] for later in (False, True))
    return MachineAhead(
        machine=work.machine,
        this_shift=work.this_shift,
        next_shift=work.next_shift,
        stops=tuple(stops),
        needs=_needs(stops, beside, shelf),
        this_needs=_needs(this, beside, shelf),
        next_needs=_needs(after, beside, shelf),
        untold=tuple(work.untold),
    )


def _stop(work: MachineWork, planned: Sequence[Planned]) -> Stop:
    at = work.hours.after(planned[0].at) or work.next_shift.ends
    kept = (len(planned) - 1) * stop_cost(work.machine)
    changes = tuple(Change(one.slot, one.parts, one.early, one.repeat, one.slot.turns(one.repeat)) for one in planned)
    return Stop(at, at > work.this_shift.ends, changes, kept - sum(one.cost for one in planned))


def _needs(stops: Sequence[Stop], beside: dict[int, int], shelf: dict[int, int]) -> tuple[TipNeed, ...]:
    """By design what the changes of these stops take, the first needed first."""
    designs: dict[int, Design] = {}
    fetch: dict[int, int] = defaultdict(int)
    turn: dict[int, int] = defaultdict(int)
    for change in (change for stop in stops for change in stop.changes):
        design = designs.setdefault(change.slot.design.pk, change.slot.design)
        fetch[design.pk] += change.pieces
        turn[design.pk] += change.turn
    return tuple(
        TipNeed(design, fetch[pk], turn[pk], beside.get(pk, 0), shelf.get(pk, 0)) for pk, design in designs.items()
    )


def _loose(designs: set[int], machines: list[int]) -> tuple[dict[int, int], dict[int, dict[int, int]]]:
    """Tips without a label of their own, new or reground: on the shelves by design, and by machine; one query."""
    rows = (
        Balance.objects.filter(design__in=designs, condition__in=SHELVED, quantity__gt=0)
        .filter(place__kind__in=[*Place.ON_HAND, Place.Kind.MACHINE])
        .values_list("design", "place__machine")
        .annotate(all=Sum("quantity"), loose=Sum(F("quantity") - F("labelled")))
    )
    shelf: dict[int, int] = {}
    beside: dict[int, dict[int, int]] = defaultdict(dict)
    for design, machine, on_shelf, loose in rows:
        if machine is None:
            shelf[design] = on_shelf
        elif machine in machines:
            beside[machine][design] = loose
    return shelf, dict(beside)
