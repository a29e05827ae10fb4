"""Draws the demo shop's months of production: shifts, parts, edges put in, worn, chipped, broken or taken off early.

Each machine is walked part by part. An operation's edge cuts its minutes of each part, comes off at the count the
shop is used to (`fixed_count`), or before that when the law laid its end down earlier. What comes out are plain
records; nothing here reads or writes the database but the settings' time zone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from crib.management.demo.calendar import Shift, shifts_between
from crib.management.demo.laws import Duty, Fate, WearFigures, draw_fate, typical_life, wear_land
from crib.management.demo.lots import bad_lot
from crib.management.demo.past import Past, PastEdge, PastLook, PastRun, PastTool, Seat
from crib.management.demo.scenario import Batch, Part, Row, Scenario, Step

SHORT_OF_MINUTES = 0.02
# The part under way at this moment must be over by now, even when it costs a handful of changes on top.
CHANGES_AT_MOST = timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class Work:
    """An operation of a job while it runs: its duty, the life it gives an edge, its minutes for each part."""

    name: tuple[str, int]
    step: Step
    seat: Seat
    pieces: int
    corners: int
    minutes_per_part: float
    life: float
    paces: tuple[float, ...]

    def pace_of(self, edge: int) -> float:
        """Minutes of the edge of this number, over those of the first one: another band turns another diameter."""
        return self.paces[(edge - 1) % len(self.paces)]


def draw_past(scenario: Scenario, minutes_per_part: Mapping[tuple[str, int], float], now: datetime) -> Past:
    """Draw everything up to `now`; `minutes_per_part` is what the floor worked out, by job and operation number."""
    seats = _seats(scenario)
    tools: list[PastTool] = []
    for number, row in enumerate(scenario.machines):
        chance = np.random.default_rng([scenario.story["seed"], number])
        walk = _MachineWalk(scenario, row["code"], row["shifts"], seats, minutes_per_part, now, chance)
        tools += walk.walk()
    tools.sort(key=lambda tool: (tool.fitted_at, tool.seat.name))
    return Past(list(seats.values()), tools)


def _seats(scenario: Scenario) -> dict[tuple[str, str, str], Seat]:
    """A pocket for each tool that a machine's parts need, numbered in the order of the operations."""
    seats: dict[tuple[str, str, str], Seat] = {}
    for row in scenario.machines:
        pocket = 0
        for part in scenario.parts.values():
            for step in scenario.steps[part.code] if part.machine == row["code"] else []:
                key = (part.machine, step.tip, step.body)
                if key not in seats:
                    pocket += 1
                    seats[key] = Seat(part.machine, pocket, step.tip, step.body)
    return seats


def _paces(design: Row, step: Step) -> tuple[float, ...]:
    """Of each band of the flute, over the first one's: at one surface speed the minutes go with the diameter."""
    if not step.bands:
        return (1.0,)
    flat, slope = float(design["tip_flat_mm"]), math.tan(math.radians(float(design["included_angle_deg"])) / 2)
    across = [flat + 2 * high * slope for _, high in step.bands]
    return tuple(diameter / across[0] for diameter in across)


class _MachineWalk:
    """One machine from its first job to now."""

    def __init__(
        self,
        scenario: Scenario,
        machine: str,
        pattern: str,
        seats: Mapping[tuple[str, str, str], Seat],
        minutes_per_part: Mapping[tuple[str, int], float],
        now: datetime,
        chance: np.random.Generator,
    ) -> None:
        self.scenario = scenario
        self.machine = machine
        self.pattern = [row for row in scenario.shifts if row.pattern == pattern]
        self.seats = seats
        self.minutes_per_part = minutes_per_part
        self.now = now
        self.chance = chance
        self.story = scenario.story
        self.crew: list[str] = scenario.story["crew"][machine]
        self.figures = WearFigures(
            scenario.story["wear_criterion_mm"],
            scenario.story["wear_land_break_in_mm"],
            scenario.story["wear_land_noise_mm"],
        )
        self.bad_lot = bad_lot(scenario, now)
        self.busy_until = now - timedelta(weeks=scenario.story["weeks"] + 1)
        self.fitted: dict[Seat, PastTool] = {}
        self.tools: list[PastTool] = []

    def walk(self) -> list[PastTool]:
        batches = [one for one in self.scenario.batches if self.scenario.parts[one.part].machine == self.machine]
        for batch in sorted(batches, key=lambda one: -one.from_week):
            if batch.from_week > 0:
                self._walk_batch(batch)
        return self.tools

    def _walk_batch(self, batch: Batch) -> None:
        part = self.scenario.parts[batch.part]
        works = [self._work(batch, step, part) for step in self.scenario.steps[batch.part]]
        first = self.now - timedelta(weeks=batch.from_week)
        last = min(self.now, self.now - timedelta(weeks=batch.to_week))
        setting_up = True
        for shift in shifts_between(self.pattern, first, last):
            if self.chance.random() < self.story["chance_machine_stands"]:
                continue
            lost = 150.0 if setting_up else float(self.chance.uniform(6, 22))
            setting_up = False
            _ShiftWalk(self, batch, part, works, shift).walk(lost)
        if batch.to_week > 0:
            self._end_of_job(works)
        else:
            self._make_ready(works)

    def _work(self, batch: Batch, step: Step, part: Part) -> Work:
        design = self.scenario.design_rows[step.tip]
        body = self.scenario.design_rows.get(step.body)
        duty = Duty(step.surface_speed * batch.speed_factor, step.feed * batch.feed_factor, step.depth)
        factor = self.story["material_factor"].get(part.material, 1.0)
        name = (batch.code, step.number)
        return Work(
            name=name,
            step=step,
            seat=self.seats[self.machine, step.tip, step.body],
            pieces=int(body["seats"]) if body else 1,
            corners=int(design["edges"]),
            minutes_per_part=self.minutes_per_part[name],
            life=typical_life(self.scenario.law_of(step.tip, part.material), duty, factor),
            paces=_paces(design, step),
        )

    def _end_of_job(self, works: list[Work]) -> None:
        for work in works:
            tool = self.fitted.get(work.seat)
            edge = tool.edges[-1] if tool else None
            if tool is None or edge is None or edge.outcome or not edge.runs:
                continue
            last = edge.runs[-1]
            self.end_edge(tool, work, "end_of_job", last.ends + timedelta(minutes=5), last.by)

    def _make_ready(self, works: list[Work]) -> None:
        """Where an edge came off with the last part, the next one stands ready for the part to come."""
        at = min(self.busy_until, self.now)
        for work in works:
            self.edge_for(work, at, self.crew[0])

    # --- edges ----------------------------------------------------------------------------------------

    def edge_for(self, work: Work, at: datetime, by: str) -> tuple[PastTool, PastEdge]:
        """The edge at work in this seat; the next corner, or a fresh tool, when there is none."""
        tool = self.fitted.get(work.seat)
        if tool is None:
            tool = PastTool(work.seat, work.pieces, work.name[0], at, by)
            self.fitted[work.seat] = tool
            self.tools.append(tool)
        if not tool.edges or tool.edges[-1].outcome:
            tool.edges.append(self._fresh_edge(work, tool, at))
        return tool, tool.edges[-1]

    def _fresh_edge(self, work: Work, tool: PastTool, at: datetime) -> PastEdge:
        law = self.scenario.law_of(work.step.tip, self.scenario.parts[work.step.part].material)
        life = work.life * self.bad_lot.factor_for(work.step.tip, tool.fitted_at)
        edge = PastEdge(len(tool.edges) + 1, work.name, at, draw_fate(law, life, self.chance), life)
        edge.limit = work.step.fixed_count
        if self.chance.random() < self.story["chance_change_forgotten"]:
            edge.limit += 1 + int(self.chance.integers(0, max(1, edge.limit // 4) + 1))
        elif edge.limit > 5:
            edge.limit -= int(self.chance.random() < 0.15)
        return edge

    def end_edge(self, tool: PastTool, work: Work, outcome: str, at: datetime, by: str) -> None:
        """Write down why the edge came off, and take the tool out when nothing is left of it."""
        edge = tool.edges[-1]
        edge.outcome, edge.ended_at, edge.ended_by = outcome, at, by
        if outcome in ("worn", "taken_off_early") and self.chance.random() < self.story["share_of_ends_measured"]:
            edge.wear_land = wear_land(edge.minutes, edge.fate, self.figures, self.chance)
        elif outcome == "worn":
            edge.wear_land = round(self.figures.criterion + abs(float(self.chance.normal(0, 0.02))), 2)
        if outcome in ("chipped", "broken"):
            edge.note = "Found after a change of sound" if outcome == "chipped" else "Spindle load stopped the machine"
        spoiled = outcome == "broken" and self.chance.random() < self.story["chance_break_spoils_whole_item"]
        if edge.number >= work.corners or spoiled:
            tool.removed_at, tool.spoiled = at, spoiled
            del self.fitted[work.seat]

    def look_at(self, edge: PastEdge, at: datetime, by: str) -> None:
        """Read the wear land of some edges while they work."""
        if edge.fate.minutes_to_worn > edge.minutes > 0.15 * edge.fate.minutes_to_worn:
            reading = wear_land(edge.minutes, edge.fate, self.figures, self.chance)
            edge.looks.append(PastLook(edge.minutes, reading, at, by))


class _ShiftWalk:
    """One shift of one machine, part by part."""

    def __init__(self, machine: _MachineWalk, batch: Batch, part: Part, works: list[Work], shift: Shift) -> None:
        self.machine = machine
        self.chance = machine.chance
        self.part = part
        self.works = works
        self.shift = shift
        self.by = machine.crew[shift.turn % len(machine.crew)]
        self.open: dict[Seat, PastRun] = {}

    def walk(self, lost_minutes: float) -> None:
        clock = max(self.shift.starts + timedelta(minutes=lost_minutes), self.machine.busy_until)
        close = self.shift.ends - timedelta(minutes=float(self.chance.uniform(4, 14)))
        if self.shift.ends == self.machine.now:
            close -= CHANGES_AT_MOST
        while True:
            cycle = self.part.cycle_minutes * float(self.chance.uniform(0.97, 1.12))
            if clock + timedelta(minutes=cycle) > close:
                break
            clock = self._make_part(clock, cycle)
        self.machine.busy_until = clock
        self._look_round()

    def _make_part(self, clock: datetime, cycle: float) -> datetime:
        """Cut one part and answer when the next can start; a failed or worn edge costs its change on top."""
        moment = clock + timedelta(minutes=cycle * 0.12)
        for work in self.works:
            moment = self._cut(work, moment)
        return max(moment + timedelta(minutes=cycle * 0.05), clock + timedelta(minutes=cycle))

    def _cut(self, work: Work, moment: datetime) -> datetime:
        machine = self.machine
        minutes = work.minutes_per_part * float(self.chance.normal(1, machine.story["minutes_spread"]))
        while True:
            tool, edge = machine.edge_for(work, moment, self.by)
            pace = work.pace_of(edge.number)
            outcome, cut, finished = self._what_happens(edge, minutes * pace)
            if cut > SHORT_OF_MINUTES:
                self._book(work.seat, edge, moment, cut, parts=int(finished))
                moment += timedelta(minutes=cut)
            if not outcome and edge.parts >= edge.limit:
                outcome = "taken_off_early"
            if outcome:
                self.open.pop(work.seat, None)
                moment += timedelta(minutes=work.step.change_minutes)
                machine.end_edge(tool, work, outcome, moment - timedelta(minutes=0.5), self.by)
            if finished:
                return moment + timedelta(minutes=0.4)
            if outcome == "worn":
                minutes = max(minutes - cut / pace, SHORT_OF_MINUTES)

    def _what_happens(self, edge: PastEdge, minutes: float) -> tuple[str, float, bool]:
        """What comes of cutting the next part: the outcome if the edge ends, the minutes cut, whether it is finished.

        A part in which an edge fails is cut anew; one in which it is seen to be worn is finished by the next edge.
        """
        fate: Fate = edge.fate
        story = self.machine.story
        if edge.minutes + minutes > fate.minutes_to_break and fate.minutes_to_break < fate.minutes_to_worn:
            chipped = self.chance.random() < story["chance_chipped_not_broken"]
            return ("chipped" if chipped else "broken"), max(0.0, fate.minutes_to_break - edge.minutes), False
        if edge.minutes + minutes > fate.minutes_to_worn:
            if self.chance.random() < story["chance_worn_seen_in_cut"]:
                return "worn", max(0.0, fate.minutes_to_worn - edge.minutes), False
            return "worn", minutes, True
        return "", minutes, True

    def _book(self, seat: Seat, edge: PastEdge, moment: datetime, cut: float, *, parts: int) -> None:
        run = self.open.get(seat)
        ends = moment + timedelta(minutes=cut)
        if run is None:
            run = PastRun(moment, ends, 0.0, 0, self.by)
            self.open[seat] = run
            edge.runs.append(run)
        run.ends, run.minutes, run.parts = ends, run.minutes + cut, run.parts + parts
        edge.minutes += cut
        edge.parts += parts

    def _look_round(self) -> None:
        """At the end of a shift some wear lands are read with the loupe."""
        for work in self.works:
            tool = self.machine.fitted.get(work.seat)
            run = self.open.get(work.seat)
            if tool is None or run is None or tool.edges[-1].outcome:
                continue
            if self.chance.random() < self.machine.story["share_of_edges_inspected"]:
                self.machine.look_at(tool.edges[-1], run.ends + timedelta(minutes=3), self.by)
