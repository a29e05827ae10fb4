"""The arithmetic between what is planned and what is to be bought; nothing here touches the database."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

from calc.supply.demand import DemandByDay, demand_by_day, tips_from_changes
from calc.supply.paths import Counts, Streams, changes_in_months
from crib.catalogue.models import Design
from crib.floor.models import Operation
from crib.planning.calendar import Days, open_days
from crib.planning.laws import OperationLaw
from crib.planning.models import PlanLine
from crib.planning.selectors.gather import InPlace

Array = npt.NDArray[np.float64]
LevelNames = {0.10: "10", 0.50: "50", 0.90: "90", 0.95: "95"}
# So many ended edges' worth of belief that one end in twenty spoils its tip; assumed, no source.
SPOILT_ASSUMED, ENDS_ASSUMED = 1, 20


@dataclass(slots=True)
class Work:
    """One operation's share of the plan: parts and minutes on each day of the horizon."""

    operation: Operation
    law: OperationLaw
    parts: Array
    lines: list[PlanLine] = field(default_factory=list)

    @property
    def minutes(self) -> Array:
        return np.asarray(self.parts * float(self.operation.minutes_per_part or 0.0))

    @property
    def lives(self) -> Array:
        """Minutes of each day in lives of an edge: what makes duties comparable."""
        return np.asarray(self.minutes / self.law.scale)


@dataclass(slots=True)
class Spindle:
    """One place that keeps taking fresh edges of one design: a tool in a machine, with the work it does."""

    design: Design
    seats: int
    works: list[Work]
    used: float
    edge_in_place: bool

    @property
    def law(self) -> OperationLaw:
        """Of the work that wears it most."""
        return max(self.works, key=lambda work: float(work.lives.sum())).law

    @property
    def exposure(self) -> Array:
        """Minutes up to the end of each day, all work turned into minutes at the duty of `law`."""
        return np.asarray(np.cumsum(sum(work.lives for work in self.works) * self.law.scale))


@dataclass(frozen=True, slots=True)
class DesignNeed:
    """What a design needs over the horizon, as many possible months."""

    design: Design
    tips: Counts
    changes: Counts
    spoilt: float
    fresh: int
    spindles: tuple[Spindle, ...]

    def within(self, first: int, last: int) -> DemandByDay:
        """The need from the beginning of one day to the end of another, counted from nothing."""
        before = self.tips[:, first - 1 : first] if first else np.zeros_like(self.tips[:, :1])
        return demand_by_day((self.tips[:, first : last + 1] - before)[None])

    @property
    def daily(self) -> tuple[float, float]:
        """Mean and standard deviation of one day's need, over the whole horizon."""
        days = self.tips.shape[1]
        last = self.tips[:, -1]
        return float(last.mean()) / days, float(last.std()) / days**0.5


def works_of(
    lines: Sequence[PlanLine],
    laws: Mapping[int, OperationLaw],
    weekdays: Mapping[int, frozenset[int]],
    days: Days,
) -> tuple[list[Work], dict[int, str]]:
    """Spread the lines over the days, by operation; with them a sentence for each that cannot be worked out."""
    works: dict[int, Work] = {}
    trouble: dict[int, str] = {}
    for line in lines:
        operation = line.operation
        if not operation.minutes_per_part:
            trouble[operation.pk] = f"{operation} has no minutes in cut per part yet. Enter its duty or its minutes."
        else:
            work = works.setdefault(operation.pk, Work(operation, laws[operation.pk], np.zeros(len(days))))
            work.lines.append(line)
            on = open_days(line.starts_on, line.ends_on, weekdays[operation.machine_id])
            places = [days.place(day) for day in on if day in days]
            work.parts[places] += line.parts / len(on)
    return list(works.values()), trouble


def spindles_of(works: Sequence[Work], in_place: Mapping[int, InPlace]) -> list[Spindle]:
    """Work that one tool does in one machine goes together, since it wears one and the same edge."""
    groups: dict[tuple[Any, ...], list[Work]] = defaultdict(list)
    for work in works:
        operation = work.operation
        key = (
            operation.tip_id,
            operation.machine_id,
            operation.material_id,
            operation.kind_of_cut,
            seats_of(operation),
        )
        groups[key].append(work)
    laws = {work.operation.pk: work.law for work in works}
    found = []
    for (_, _, _, _, seats), members in groups.items():
        spindle = Spindle(members[0].operation.tip, seats, members, 0.0, False)
        edges = [in_place[work.operation.pk] for work in members if work.operation.pk in in_place]
        if edges:
            minutes = edges[-1].minutes
            scale = spindle.law.scale
            spindle.used = sum(m * scale / laws[op].scale if op in laws else m for op, m in minutes.items())
            spindle.edge_in_place = True
        found.append(spindle)
    return found


def seats_of(operation: Operation) -> int:
    """Tips that are changed together."""
    return max(operation.body.seats, 1) if operation.body is not None else 1


def needs_of(
    spindles: Sequence[Spindle], fresh: Mapping[int, int], ends: Mapping[int, tuple[int, int]], days: int
) -> dict[int, DesignNeed]:
    """Play the months: edges changed at every spindle, tips opened for them, summed by design."""
    rows: dict[tuple[int, int], list[Spindle]] = defaultdict(list)
    for spindle in spindles:
        rows[spindle.design.pk, spindle.seats].append(spindle)
    names = list(rows)
    flat = [(number, spindle) for number, name in enumerate(names) for spindle in rows[name]]
    if not flat:
        return {}
    streams = Streams.of(
        design=[number for number, _ in flat],
        shape=[one.law.shape for _, one in flat],
        scale=[one.law.scale for _, one in flat],
        exposure=np.array([one.exposure for _, one in flat]).reshape(-1, days),
        used=[one.used for _, one in flat],
        change_at=[one.law.change_at or np.inf for _, one in flat],
        shape_spread=[one.law.shape_spread for _, one in flat],
        scale_spread=[one.law.scale_spread for _, one in flat],
        breakage=[one.law.breakage for _, one in flat],
    )
    changes = changes_in_months(streams, len(names))
    for number, spindle in flat:
        if not spindle.edge_in_place:
            # Nothing is fitted yet: the first edge is drawn on the first day of work.
            changes[number][:, spindle.exposure > 0] += 1
    designs = [rows[name][0].design for name in names]
    spoilt = [spoiling_chance(*ends.get(design.pk, (0, 0))) if design.edges > 1 else 0.0 for design in designs]
    waiting = [_shared(fresh.get(name[0], 0), name, names) for name in names]
    tips = tips_from_changes(changes, [max(design.edges, 1) for design in designs], waiting, spoilt)
    needs: dict[int, DesignNeed] = {}
    for number, (name, design) in enumerate(zip(names, designs, strict=True)):
        before = needs.get(design.pk)
        mine = tips[number] * name[1]
        needs[design.pk] = DesignNeed(
            design=design,
            tips=mine if before is None else before.tips + mine,
            changes=changes[number] if before is None else before.changes + changes[number],
            spoilt=spoilt[number],
            fresh=fresh.get(design.pk, 0),
            spindles=(*(before.spindles if before else ()), *rows[name]),
        )
    return needs


def _shared(fresh: int, name: tuple[int, int], names: Sequence[tuple[int, int]]) -> int:
    """Fresh edges that wait go to one of a design's rows, so that none is counted twice; a set turns as one."""
    first = next(other for other in names if other[0] == name[0])
    return fresh if first == name else 0


def spoiling_chance(ended: int, spoilt: int) -> float:
    """The chance that an ended edge takes the rest of its tip with it, from what was seen and a weak belief."""
    return (spoilt + SPOILT_ASSUMED) / (ended + ENDS_ASSUMED)


def arrivals_by_day(coming: Sequence[tuple[date | None, int]], days: Days, late: date) -> Array:
    """Pieces that arrive on each day; what is late or has no date counts on the day `late`."""
    found = np.zeros(len(days))
    for expected, quantity in coming:
        on = late if expected is None or expected <= days.first else expected
        if on in days:
            found[days.place(on)] += quantity
    return found


def by_level(demand: DemandByDay) -> dict[str, list[float]]:
    """Running quantiles as they are kept."""
    return {name: demand.quantiles[level][0].tolist() for level, name in LevelNames.items()}


def evidence_of(need: DesignNeed, first: int, last: int) -> dict[str, Any]:
    """Why the number is what it is between two days: operations, parts, minutes, lives, and what the tip holds."""
    stretch = slice(first, last + 1)
    works = [(spindle, work) for spindle in need.spindles for work in spindle.works]
    lives = [float(work.lives[stretch].sum()) for _, work in works]
    before = need.changes[:, first - 1].mean() if first else 0.0
    edges = float(need.changes[:, last].mean() - before)
    total = sum(lives) or 1.0
    operations = [
        _work_evidence(spindle, work, stretch, edges * share / total)
        for (spindle, work), share in zip(works, lives, strict=True)
        if share > 0
    ]
    return {
        "operations": operations,
        "edges": round(edges, 1),
        "edges_per_tip": max(need.design.edges, 1),
        "fresh_edges_fitted": need.fresh,
        "chance_spoilt": round(need.spoilt, 3),
    }


def _work_evidence(spindle: Spindle, work: Work, stretch: slice, edges: float) -> dict[str, Any]:
    operation, law = work.operation, work.law
    return {
        "operation": str(operation),
        "id": operation.pk,
        "name": operation.name,
        "job": operation.job.code,
        "part": operation.job.part,
        "machine": operation.machine.code,
        "parts": round(float(work.parts[stretch].sum()), 1),
        "minutes_per_part": operation.minutes_per_part,
        "minutes_source": operation.get_minutes_source_display(),
        "minutes": round(float(work.minutes[stretch].sum()), 1),
        "life_minutes": round(law.scale, 1),
        "shape": round(law.shape, 2),
        "change_at": None if law.change_at is None else round(law.change_at, 1),
        "used": round(spindle.used, 1) if spindle.edge_in_place else None,
        "edges": round(edges, 1),
        "tips_at_once": spindle.seats,
        "life": law.evidence,
    }
