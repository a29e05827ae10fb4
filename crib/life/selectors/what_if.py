"""An operation at other speeds, feeds and depths: lives, parts per edge, time and cost, side by side with now.

Everything is reckoned in one array call: the operation as it runs now, as asked, and along ranges of speed and feed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from calc.errors import WorkingError
from calc.life.batch import whole_parts
from calc.life.predictive import Belief, remaining
from calc.life.replacement import ChangeParts
from calc.life.what_if import PerPart, Ranged, per_part
from calc.units import System
from crib.core.errors import BadInput
from crib.floor.models import Operation
from crib.life.changing import change_count, change_points, costs_of
from crib.life.laws import Floats, Law, beliefs, duty_of
from crib.life.selectors.cut_here import CutHere, cut_here
from crib.life.selectors.due import paces_of
from crib.life.selectors.predicted import PERCENT, law_at
from crib.life.trying import Range, Run, Stretched, Trial
from crib.life.words import CANNOT_WORK_OUT, evidence, starting_evidence

POINTS = 31
LOWEST, HIGHEST = 0.6, 1.6
CURVED = ("surface_speed", "feed")
NEVER_CUT = "never cut here: extrapolated"


@dataclass(frozen=True, slots=True)
class Spread:
    """A figure in the mean, and where it lies eight times in ten by what is believed of the life."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Way:
    """What the operation does at some conditions; what needs the minutes per part is None without them."""

    operation: Operation
    life: dict[int, float]
    parts: dict[int, int] | None
    change_minutes: float | None
    change_parts: int | None
    chance_of_failure: float
    cost: Spread | None = None
    machine_cost: float | None = None
    edge_cost: float | None = None
    change_cost: float | None = None
    failure_cost: float | None = None
    parts_per_hour: Spread | None = None
    edges_per_month: Spread | None = None


@dataclass(frozen=True, slots=True)
class Best:
    """The best of a curve: where it lies, and whether it lies at the end of what is shown."""

    at: float
    value: float
    at_end: bool


@dataclass(frozen=True, slots=True)
class WhatIfCurve:
    """Cost of a part, life and output along a range of one condition, with the stretches where something holds."""

    over: str
    at: tuple[float, ...]
    life: dict[int, tuple[float, ...]]
    cost: dict[int, tuple[float, ...]] | None
    per_hour: tuple[float, ...] | None
    cheapest: Best | None
    fastest: Best | None
    stretches: tuple[Stretched, ...]


@dataclass(frozen=True, slots=True)
class WhatIf:
    """An operation as it runs now and as asked, with curves and everything that must be said of them."""

    now: Way
    asked: Way
    changed: bool
    fields: tuple[str, ...]
    run: Run
    held_now: str
    curves: tuple[WhatIfCurve, ...]
    beyond: tuple[str, ...]
    untold: tuple[str, ...]
    notes: tuple[str, ...]
    evidence: str


def what_if(
    *, operation: Operation, asked: Mapping[str, float], system: System, parts_per_month: float | None = None
) -> WhatIf:
    """The operation at the conditions asked, beside as it runs now; a fixed number of queries, nothing is changed."""
    trial = Trial(operation, system)
    wanted = {name: value for name, value in asked.items() if value != getattr(operation, name, None)}
    for name in wanted:
        if name not in trial.fields:
            raise BadInput(name, f"{name} cannot be tried here; this operation has: {', '.join(trial.fields)}.")
    run = trial.at(wanted) if wanted else trial.now
    ranges = [trial.along(name, *_ends(operation, run, name), POINTS, run) for name in CURVED if name in trial.fields]
    law, model = law_at(operation=operation)
    seen = cut_here(operation=operation, source=law.source)
    pace = paces_of([operation])[operation.pk].clock_per_part
    every = [operation, run.operation, *(one for along in ranges for one in along.operations)]
    ways = _Ways(every, law, pace, parts_per_month)
    return WhatIf(
        now=ways.way(0),
        asked=ways.way(1),
        changed=bool(wanted),
        fields=trial.fields,
        run=run,
        held_now=trial.now.held_by,
        curves=tuple(_curves(ways, ranges, seen)),
        beyond=seen.beyond(run.operation),
        untold=seen.untold,
        notes=tuple(_notes(trial, run, ways.way(1), pace)),
        evidence=evidence(model) if model else starting_evidence(law.source),
    )


def _ends(operation: Operation, run: Run, name: str) -> tuple[float, float]:
    """From well below to well above both now and asked."""
    both = (getattr(operation, name), getattr(run.operation, name))
    return LOWEST * min(both), HIGHEST * max(both)


def _notes(trial: Trial, run: Run, asked: Way, pace: float | None) -> list[str]:
    said = [trial.time_words] if trial.operation.minutes_per_part else []
    passes, before = run.operation.passes, trial.operation.passes
    if passes != before:
        said.append(f"{passes} passes instead of {before}, so that the same metal comes off.")
    each = run.operation.minutes_per_part
    if each and asked.change_minutes is not None and asked.change_minutes < each:
        said.append("One part alone risks more than is accepted; the edge is changed after each.")
    if trial.operation.minutes_per_part is None:
        said.append("Parts and costs need the minutes in cut per part: type them, or give the length of cut.")
    elif pace is None:
        said.append("Parts per hour count the time in cut and the changes alone, as the cycle time is not known.")
    return said


class _Ways:
    """Every way to run that is asked about, reckoned at once."""

    def __init__(self, every: Sequence[Operation], law: Law, pace: float | None, per_month: float | None) -> None:
        self.every, self.per_month = every, per_month
        laws = [law] * len(every)
        try:
            believed = beliefs(laws, [duty_of(one) for one in every])
            self.life: Floats = remaining(np.zeros(len(every)), believed, percent=PERCENT)
            self.points: ChangeParts = change_points(list(zip(every, laws, strict=True)))
            self.each = np.array([one.minutes_per_part or math.nan for one in every])
            self.spent: PerPart | None = None
            if not np.isnan(self.each).any():
                self.spent = self._spent(believed, pace)
        except (WorkingError, ArithmeticError) as wrong:
            raise BadInput("operation", f"{CANNOT_WORK_OUT} {wrong}") from wrong

    def _spent(self, believed: Belief, pace: float | None) -> PerPart:
        operation = self.every[0]
        cost = costs_of(operation)
        return per_part(
            believed,
            np.maximum(self.points.minutes, self.each),  # less than one part cannot be made
            self.each,
            cost.planned,
            cost.failure,
            float(operation.machine.hourly_rate) / 60,
            operation.change_minutes,
            max((pace or 0.0) - (operation.minutes_per_part or 0.0), 0.0),
        )

    def way(self, row: int) -> Way:
        """One of them in full."""
        operation, each = self.every[row], self.every[row].minutes_per_part
        life = {percent: float(value) for percent, value in zip(PERCENT, self.life[row], strict=True)}
        point = float(self.points.minutes[row])
        change = point if math.isfinite(point) else None
        way = Way(
            operation=operation,
            life=life,
            parts={percent: int(whole_parts(value, each)) for percent, value in life.items()} if each else None,
            change_minutes=change,
            change_parts=change_count(self.points, row) if each else None,
            chance_of_failure=float(self.points.chance_of_failure[row]),
        )
        return self._with_money(way, row) if self.spent is not None else way

    def _with_money(self, way: Way, row: int) -> Way:
        assert self.spent is not None
        operation, edges, cost = way.operation, _spread(self.spent.edges, row), costs_of(way.operation)
        # Of a body with several seats all edges of the set are turned together.
        month = (self.per_month or 0.0) * (max(operation.body.seats, 1) if operation.body else 1)
        return Way(
            operation, way.life, way.parts, way.change_minutes, way.change_parts, float(self.spent.early[row]),
            cost=_spread(self.spent.cost, row),
            machine_cost=float(self.spent.machine[row]),
            edge_cost=edges.middle * cost.edge,
            change_cost=edges.middle * cost.change,
            failure_cost=float(self.spent.failures[row]),
            parts_per_hour=_spread(self.spent.hourly, row),
            edges_per_month=Spread(edges.middle * month, edges.low * month, edges.high * month) if month else None,
        )  # fmt: skip


def _spread(ranged: Ranged, row: int) -> Spread:
    return Spread(float(ranged.middle[row]), float(ranged.low[row]), float(ranged.high[row]))


def _curves(ways: _Ways, ranges: Sequence[Range], seen: CutHere) -> list[WhatIfCurve]:
    found, start = [], 2  # after now and asked
    for along in ranges:
        rows = slice(start, start + len(along.at))
        start += len(along.at)
        spent = ways.spent
        cost = {10: spent.cost.low, 50: spent.cost.middle, 90: spent.cost.high} if spent else None
        hourly = spent.hourly.middle[rows] if spent else None
        found.append(
            WhatIfCurve(
                over=along.over,
                at=along.at,
                life={percent: _tuple(ways.life[rows, place]) for place, percent in enumerate(PERCENT)},
                cost={percent: _tuple(line[rows]) for percent, line in cost.items()} if cost else None,
                per_hour=None if hourly is None else _tuple(hourly),
                cheapest=_best(along.at, -cost[50][rows]) if cost else None,
                fastest=None if hourly is None else _best(along.at, hourly),
                stretches=(*along.stretches, *_never_cut(along, seen)),
            )
        )
    return found


def _tuple(line: Floats) -> tuple[float, ...]:
    return tuple(float(value) for value in line)


def _best(at: Sequence[float], score: Floats) -> Best:
    """The highest score; beyond a limit nothing changes any more, so the first of equals is taken."""
    place = int(np.argmax(np.round(score, 9)))
    return Best(at[place], abs(float(score[place])), place in (0, len(at) - 1))


def _never_cut(along: Range, seen: CutHere) -> list[Stretched]:
    first, last = along.at[0], along.at[-1]
    low, high = seen.ranges.get(along.over, (last, last))
    ends = [first, min(max(low, first), last), max(min(high, last), first), last]
    stretches = [pair for place, pair in enumerate(pairwise(ends)) if place != 1 and pair[1] > pair[0] * 1.0001]
    return [Stretched(NEVER_CUT, start, stop) for start, stop in stretches]
