"""Which changes of a machine share a stop, one stop after the other as far as the next shift.

The edges in use are planned together and the first stop is taken; then the edges that follow those changed in it come
due by their own count, and the rest is planned anew. So no edge is ever changed later than it is due.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.life.policies import EARLY_STEPS, early_change_costs, policy_costs
from calc.life.predictive import Belief
from calc.life.stops import shared_stops
from crib.catalogue.models import Machine
from crib.life.changing import change_points, costs_of
from crib.life.exposure import seen_by_fit
from crib.life.laws import Law, beliefs, duty_of, law_of
from crib.life.models import LifeModel
from crib.life.selectors.slots import MachineWork, Slot

# Nobody reads further, and a cycle time typed a thousand times too short must not be followed for ever.
MOST_STOPS = 120
# Two moments so near, as a share of a part, are one.
SAME_PART = 1e-6

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Early:
    """What changing an edge costs at some counts of parts before its change-by; earlier than the last it may not be."""

    parts: Floats
    cost: Floats

    def of(self, early: Floats) -> Floats:
        """Money for each of these counts."""
        finite = np.isfinite(self.cost)
        found = np.interp(early, self.parts[finite], self.cost[finite])
        return np.asarray(np.where(early > self.parts[finite][-1], np.inf, found))


IN_TIME = Early(np.zeros(1), np.zeros(1))


@dataclass(frozen=True, slots=True)
class Followed:
    """How the edge in a slot may be changed early, and the count and costs of those that follow it, where known."""

    own: Early = IN_TIME
    count: int | None = None
    again: Early = IN_TIME


@dataclass(frozen=True, slots=True)
class Planned:
    """A change: minutes of work and parts from now, parts and money before its own change-by, changes before it."""

    slot: Slot
    at: float
    parts: int
    early: int
    cost: float
    repeat: int


@dataclass(slots=True)
class _Turn:
    """Where a slot stands while the stops are planned: when it is due next, and after how many parts of its edge."""

    slot: Slot
    followed: Followed
    due: float
    ahead: int
    done: int = 0
    repeat: int = 0
    early: Early = field(default=IN_TIME)

    def parts_early(self, at: Floats) -> Floats:
        """Whole parts that the edge would come off before its change-by at these minutes."""
        gap = np.maximum(self.due - at, 0.0)
        pace = self.slot.pace
        return np.ceil(gap / pace - SAME_PART) if pace else np.where(gap > 0, np.inf, 0.0)

    def change(self, at: float) -> Planned:
        """Change the edge, and say when the one that follows comes due; never where that is not known."""
        early = int(self.parts_early(np.array([at]))[0])
        self.done += self.ahead - early
        planned = Planned(self.slot, at, self.done, early, float(self.early.of(np.array([early]))[0]), self.repeat)
        count, pace, batch = self.followed.count, self.slot.pace, self.slot.forecast.batch_parts_left
        known = count is not None and pace and not (batch and self.done + count >= batch)
        self.due = at + count * pace if known and count and pace else math.inf
        self.ahead, self.early, self.repeat = count or 0, self.followed.again, self.repeat + 1
        return planned


def stop_cost(machine: Machine) -> float:
    """What a stop of the machine costs before anything is changed, money."""
    return machine.stop_minutes * float(machine.hourly_rate) / 60


def plan_stops(works: Sequence[MachineWork]) -> list[tuple[MachineWork, list[list[Planned]]]]:
    """The stops of each machine until its next shift ends, each with the changes made in it."""
    slots = [slot for work in works for slot in work.slots]
    followed = dict(zip(map(id, slots), _followed(slots), strict=True))
    return [(work, _stops_of(work, [followed[id(slot)] for slot in work.slots])) for work in works]


def _stops_of(work: MachineWork, followed: Sequence[Followed]) -> list[list[Planned]]:
    turns = [
        _Turn(slot, one, slot.due, slot.parts, early=one.own) for slot, one in zip(work.slots, followed, strict=True)
    ]
    horizon, cost = work.horizon, stop_cost(work.machine)
    stops: list[list[Planned]] = []
    while len(stops) < MOST_STOPS:
        coming = sorted((turn for turn in turns if turn.due <= horizon), key=lambda turn: (turn.due, turn.slot.edge.pk))
        if not coming:
            break
        dues = np.array([turn.due for turn in coming])
        table = np.array([turn.early.of(turn.parts_early(dues)) for turn in coming]).T
        shared = shared_stops(np.triu(table), cost).at == 0
        stops.append([turn.change(dues[0]) for turn, now in zip(coming, shared.tolist(), strict=True) if now])
    return stops


# --- what an early change costs -----------------------------------------------------------------------


class _Fresh(NamedTuple):
    """How fresh edges are changed, row by row of the slots: counts infinite where they run to the end."""

    believed: Belief
    each: Floats
    counts: Floats
    lost: Floats
    rate: Floats


def _fresh(slots: Sequence[Slot], laws: Mapping[int, Law]) -> _Fresh:
    """Each operation with each law is worked out once."""
    pairs = {(slot.operation.pk, slot.forecast.model_id): slot for slot in slots}
    place = {pair: row for row, pair in enumerate(pairs)}
    rows = np.array([place[slot.operation.pk, slot.forecast.model_id] for slot in slots])
    operations = [slot.operation for slot in pairs.values()]
    of_pair = [laws[slot.forecast.model_id or 0] for slot in pairs.values()]
    each = np.array([operation.minutes_per_part or math.nan for operation in operations])
    counts = np.maximum(change_points(list(zip(operations, of_pair, strict=True))).parts, 1.0)
    costs = [costs_of(operation) for operation in operations]
    edge, change, lost = (np.array([getattr(cost, name) for cost in costs]) for name in ("edge", "change", "lost"))
    believed = beliefs(of_pair, [duty_of(operation) for operation in operations])
    rate = policy_costs(believed, each, counts[:, None], edge, change, lost).total[:, 0]
    return _Fresh(Belief(*(part[rows] for part in believed)), each[rows], counts[rows], lost[rows], rate[rows])


def _followed(slots: Sequence[Slot]) -> list[Followed]:
    """Of each slot what an early change costs, and the count of the edges that follow; in a few array calls."""
    models = LifeModel.objects.in_bulk({slot.forecast.model_id for slot in slots if slot.forecast.model_id})
    known = [slot for slot in slots if slot.forecast.model_id in models and slot.operation.minutes_per_part]
    if not known:
        return [Followed() for _ in slots]
    laws = {pk: law_of(model) for pk, model in models.items()}
    fresh = _fresh(known, laws)
    own = _early(known, fresh, np.array([slot.parts for slot in known], dtype=np.float64), models, laws)
    again = _early(known, fresh, np.where(np.isinf(fresh.counts), 0.0, fresh.counts))
    made = {
        id(slot): Followed(first, int(count), then) if math.isfinite(count) else Followed(first)
        for slot, first, then, count in zip(known, own, again, fresh.counts.tolist(), strict=True)
    }
    return [made.get(id(slot), Followed()) for slot in slots]


def _early(
    slots: Sequence[Slot],
    fresh: _Fresh,
    ahead: Floats,
    models: Mapping[int, LifeModel] | None = None,
    laws: Mapping[int, Law] | None = None,
) -> list[Early]:
    """Costs of early changes: of the edges in use where their models are given, else of the fresh ones that follow."""
    used, seen = np.zeros(len(slots)), np.zeros(len(slots))
    if models is not None and laws is not None:
        of = [slot.forecast.model_id or 0 for slot in slots]
        # What is left until the change-by says how far the edge is, whatever its forecast took in.
        counts = np.where(np.isinf(fresh.counts), 0.0, fresh.counts)
        used = np.maximum((counts - ahead) * fresh.each, 0.0)
        counted = [
            seen_by_fit(slot.edge.pk, slot.operation, laws[pk], models[pk]) for slot, pk in zip(slots, of, strict=True)
        ]
        seen = np.minimum(counted, used)
    stride = np.maximum(ahead / EARLY_STEPS, 1.0)[:, None]
    grid = np.minimum(np.arange(EARLY_STEPS + 1) * stride, ahead[:, None])
    found = early_change_costs(used, ahead, fresh.each, fresh.believed, fresh.lost, fresh.rate, grid, seen)
    if models is None:
        # An edge just put in is not changed again in the same stop.
        found = np.where((grid >= ahead[:, None]) & (grid > 0), np.inf, found)
    return [Early(*pair) for pair in zip(grid, found, strict=True)]
