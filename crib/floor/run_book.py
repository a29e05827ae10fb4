"""Turns drafts into lines of the run book, or into the reason why not: many at once, with a fixed number of queries."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import defaultdict
from collections.abc import Callable, Sequence
from datetime import datetime

from django.db.models import Max, Q

from crib.catalogue.models import Design, Machine
from crib.floor import errors
from crib.floor.drafts import LoggedRuns, RefusedRun, RunDraft
from crib.floor.lines import Earlier, Line, MachineFacts, OperationFacts, Taken
from crib.floor.models import Edge, Operation, Run
from crib.floor.overlaps import overlapping_runs
from crib.floor.references import edge_number_in, split_operation
from crib.floor.run_checks import ROUNDING_MINUTES, Fault, fault_in_words, said_minutes, said_time
from crib.floor.run_keys import is_same_run, key_used, said_earlier, sent_before
from crib.floor.timeline import Timeline, Working
from crib.stock.labels import make_label


class RunBook:
    """One sitting over a list of drafts. Made inside a transaction: the edges it names are held until that ends."""

    def __init__(self, drafts: Sequence[RunDraft], now: datetime, *, earlier: Earlier | None = None) -> None:
        self.drafts = drafts
        self.now = now
        self.earlier = earlier
        self.faults: dict[int, Fault] = {}
        self.already_there: list[int] = []
        self.lines: list[Line] = []
        self._machines: dict[str | int, MachineFacts] = {}
        self._operations: dict[tuple[str, int] | int | str, OperationFacts] = {}
        self._timeline = Timeline()

    def check(self) -> None:
        """Sort the drafts into lines to write, runs that are there already, and faults."""
        lines = self._named([index for index in range(len(self.drafts)) if self._sound(index)])
        if not lines:
            return
        self._timeline = Timeline.read(
            machines={line.machine.pk for line in lines if line.machine},
            edges={line.edge for line in lines if line.edge},
            first=min(line.draft.started_at for line in lines),
            last=max(line.draft.started_at for line in lines),
        )
        lines = self._not_there_yet(lines)
        lines = [line for line in lines if self._keeps(line, self._place) and self._keeps(line, self._work_out_minutes)]
        self.lines = self._without_overlaps(lines)

    def outcome(self) -> LoggedRuns:
        """What became of each draft, by its place in the list."""
        refused = sorted(self.faults.items())
        return LoggedRuns(
            accepted=[line.index for line in self.lines],
            already_there=self.already_there,
            refused=[RefusedRun(index, fault.field, fault.sentence, fault.error.code) for index, fault in refused],
        )

    def _keeps(self, line: Line, step: Callable[[Line], Fault | None]) -> bool:
        fault = step(line)
        if fault is not None:
            self.faults[line.index] = fault
        return fault is None

    def _sound(self, index: int) -> bool:
        fault = fault_in_words(self.drafts[index], self.now)
        if fault is not None:
            self.faults[index] = fault
        return fault is None

    # --- names --------------------------------------------------------------------------------------

    def _named(self, indices: list[int]) -> list[Line]:
        self._read_machines()
        self._read_operations([self.drafts[index].operation for index in indices])
        lines = []
        for index in indices:
            found = self._line(index)
            if isinstance(found, Fault):
                self.faults[index] = found
            else:
                lines.append(found)
        return self._with_known_edges(lines)

    def _read_machines(self) -> None:
        for pk, code, pockets in Machine.objects.values_list("pk", "code", "pockets"):
            self._machines[code] = self._machines[pk] = MachineFacts(pk, code, pockets)

    def _read_operations(self, named: list[Operation | str]) -> None:
        numbers = {one.pk for one in named if isinstance(one, Operation)}
        texts = {one: split_operation(one) for one in set(named) if isinstance(one, str)}
        numbers |= {name for name in texts.values() if isinstance(name, int)}
        jobs = {name[0] for name in texts.values() if not isinstance(name, int)}
        rows = Operation.objects.filter(Q(pk__in=numbers) | Q(job__code__in=jobs)).values_list(
            "pk", "job__code", "number", "tip_id", "minutes_per_part", "job_id", "contact_low", "contact_high"
        )
        last = dict(
            Operation.objects.filter(job__in={row[5] for row in rows}, retired_at=None)
            .order_by()
            .values_list("job_id")
            .annotate(last=Max("number"))
        )
        for pk, job, number, tip, minutes, job_pk, low, high in rows:
            is_last = last.get(job_pk) == number
            facts = OperationFacts(pk, f"{job}/{number}", tip, minutes, job_pk, is_last, low or 0.0, high or 0.0)
            self._operations[pk] = self._operations[job, number] = facts
        for text, name in texts.items():
            if name in self._operations:
                self._operations[text] = self._operations[name]

    def _line(self, index: int) -> Line | Fault:
        draft = self.drafts[index]
        named = draft.operation
        operation = self._operations.get(named.pk if isinstance(named, Operation) else named)
        if operation is None:
            return Fault(
                "operation", f"There is no operation “{str(named)[:60]}”; it is a job and a number, such as J-100/20."
            )
        machine = None
        if draft.machine is not None and draft.machine != "":
            machine = self._machines.get(
                draft.machine.pk if isinstance(draft.machine, Machine) else draft.machine.strip()
            )
            if machine is None:
                return Fault("machine", f"There is no machine “{str(draft.machine)[:60]}”.")
        if self._names_an_edge(draft):
            return Line(index, draft, machine, operation)
        if machine is None:
            return Fault("machine", "Say which machine and pocket cut, or which edge.")
        if draft.pocket is None:
            return Fault("pocket", f"Say which pocket of {machine.code} cut.")
        if not 1 <= draft.pocket <= machine.pockets:
            return Fault(
                "pocket", f"{machine.code} has pockets 1 to {machine.pockets}; there is no pocket {draft.pocket}."
            )
        return Line(index, draft, machine, operation, pocket=draft.pocket)

    def _with_known_edges(self, lines: list[Line]) -> list[Line]:
        """Find edges named by label and number, and refuse those that do not exist."""
        named = {line.index: line for line in lines if self._names_an_edge(line.draft)}
        if not named:
            return lines
        wanted = {index: self._edge_wanted(line) for index, line in named.items()}
        items = {want[0] for want in wanted.values() if isinstance(want, tuple)}
        numbers = {want for want in wanted.values() if isinstance(want, int)}
        known: dict[object, int] = {}
        # A label and a number mean the edge since the last regrind, so later grinds come last.
        edges = Edge.objects.filter(Q(item__in=items) | Q(pk__in=numbers)).order_by("grind", "pk")
        for pk, item, number in edges.values_list("pk", "item_id", "number"):
            known[pk] = known[item, number] = pk
        for index, line in named.items():
            line.edge = known.get(wanted[index], 0)
            if not line.edge:
                self.faults[index] = Fault("edge", _no_edge(line.draft.edge))
        return [line for line in lines if line.index not in self.faults]

    @staticmethod
    def _names_an_edge(draft: RunDraft) -> bool:
        return draft.edge is not None and draft.edge != ""

    @staticmethod
    def _edge_wanted(line: Line) -> object:
        edge = line.draft.edge
        return edge.pk if isinstance(edge, Edge) else edge_number_in(str(edge))

    # --- sent before --------------------------------------------------------------------------------

    def _not_there_yet(self, lines: list[Line]) -> list[Line]:
        """Leave out runs whose key came before; with the same content they count as there, else as a fault."""
        keys: dict[str, list[str]] = defaultdict(list)
        for line in lines:
            keys[line.draft.source].append(line.draft.source_key)
        before: dict[tuple[str, str], Run | Line] = {
            (run.source, run.source_key): run
            for source, of_source in keys.items()
            for run in sent_before(source, of_source)
        }
        fresh = []
        for line in lines:
            name = (str(line.draft.source), line.draft.source_key)
            same = said_earlier(self.earlier, line) if self.earlier is not None and name not in before else None
            if same is not None:
                if same:
                    self.already_there.append(line.index)
                else:
                    self.faults[line.index] = key_used(line.draft.source_key)
                continue
            twin = before.get(name)
            if twin is None:
                before[name] = line
                fresh.append(line)
            elif is_same_run(line, twin):
                self.already_there.append(line.index)
            else:
                self.faults[line.index] = key_used(line.draft.source_key)
        return fresh

    # --- which edge ---------------------------------------------------------------------------------

    def _place(self, line: Line) -> Fault | None:
        """Find the edge that was in the pocket, or the pocket that the edge was in, when the run started."""
        return self._place_by_edge(line) if line.edge else self._place_by_pocket(line)

    def _place_by_pocket(self, line: Line) -> Fault | None:
        assert line.machine is not None  # a line without an edge has a machine
        start, end = line.draft.started_at, line.draft.ended_at
        where = f"pocket {line.pocket} of {line.machine.code}"
        load = self._timeline.in_pocket.at((line.machine.pk, line.pocket), start)
        if load is None or (load.until is not None and load.until <= start):
            return Fault("pocket", f"Nothing was loaded in {where} at {said_time(start)}.", errors.NothingLoaded)
        if load.until is not None and load.until < end:
            return Fault(
                "ended_at",
                f"{where.capitalize()} was unloaded at {said_time(load.until)}, before this run ended.",
                errors.NothingLoaded,
            )
        fit = self._timeline.in_assembly.at(load.assembly, start)
        if fit is None or (fit.until is not None and fit.until <= start):
            return Fault(
                "pocket", f"The assembly in {where} had no tip in it at {said_time(start)}.", errors.NothingLoaded
            )
        if fit.until is not None and fit.until < end:
            return Fault(
                "ended_at",
                f"The tip in {where} was taken out at {said_time(fit.until)}, before this run ended.",
                errors.NothingLoaded,
            )
        work = self._timeline.edges.at(fit.item, start)
        if work is None:
            return Fault(
                "pocket",
                f"No edge of {make_label('I', fit.item)} in {where} was in use at {said_time(start)}.",
                errors.NothingLoaded,
            )
        line.edge = work.edge
        return _fault_of_edge(work, start, end) or self._fault_of_design(line, fit.design)

    def _place_by_edge(self, line: Line) -> Fault | None:
        start, end = line.draft.started_at, line.draft.ended_at
        work = self._timeline.edge.get(line.edge)
        if work is None or work.since > start:
            return Fault("edge", f"That edge was not yet in use at {said_time(start)}.", errors.NothingLoaded)
        if (fault := _fault_of_edge(work, start, end)) is not None:
            return Fault("edge", fault.sentence, fault.error)
        fit = self._timeline.of_item.at(work.item, start)
        load = (
            self._timeline.of_assembly.at(fit.assembly, start)
            if fit and (fit.until is None or fit.until > start)
            else None
        )
        if fit is None or load is None or (load.until is not None and load.until <= start):
            return Fault("edge", f"That edge was in no machine at {said_time(start)}.", errors.NothingLoaded)
        for until in (fit.until, load.until):
            if until is not None and until < end:
                return Fault(
                    "ended_at",
                    f"The edge left the machine at {said_time(until)}, before this run ended.",
                    errors.NothingLoaded,
                )
        machine = self._machines[load.machine]
        if line.machine is not None and line.machine.pk != machine.pk:
            return Fault(
                "machine",
                f"That edge was in {machine.code} at {said_time(start)}, not in {line.machine.code}.",
                errors.NothingLoaded,
            )
        line.machine, line.pocket = machine, load.pocket
        return self._fault_of_design(line, fit.design)

    @staticmethod
    def _fault_of_design(line: Line, fitted: int) -> Fault | None:
        if fitted == line.operation.tip:
            return None
        code = dict(Design.objects.filter(pk__in=[fitted, line.operation.tip]).values_list("pk", "code"))
        return Fault(
            "operation",
            f"Operation {line.operation.says} is cut by {code[line.operation.tip]}, but {code[fitted]} was "
            "fitted then; "
            "name the operation that it cut, or change the operation's tip.",
            errors.AnotherDesign,
        )

    def _work_out_minutes(self, line: Line) -> Fault | None:
        draft = line.draft
        if draft.minutes_in_cut is not None:
            line.minutes = draft.minutes_in_cut
            return None
        each = line.operation.minutes_per_part
        if each is None:
            return Fault(
                "minutes_in_cut",
                f"Operation {line.operation.says} has no minutes per part yet, so give the minutes in cut.",
                errors.MinutesNotKnown,
            )
        line.minutes, line.computed = draft.parts * each, True
        if line.minutes > line.clock_minutes + ROUNDING_MINUTES:
            return Fault(
                "minutes_in_cut",
                f"{draft.parts} parts at {each:.3g} min each are {said_minutes(line.minutes)} minutes in cut, "
                "more than the "
                f"{said_minutes(line.clock_minutes)} clock minutes of the run; check the times and the parts.",
            )
        return None

    # --- overlaps -----------------------------------------------------------------------------------

    def _without_overlaps(self, lines: list[Line]) -> list[Line]:
        """One pocket cuts one thing at a time; the run that stands first in the list, or in the book, stays."""
        standing = overlapping_runs(
            [
                (line.index, line.machine.pk, line.pocket, line.draft.started_at, line.draft.ended_at)
                for line in lines
                if line.machine
            ]
        )
        kept: list[Line] = []
        taken: Taken = self.earlier.taken if self.earlier else defaultdict(list)
        for line in lines:
            assert line.machine is not None  # placed by now
            span = (line.draft.started_at, line.draft.ended_at)
            of_pocket = taken[line.machine.pk, line.pocket]
            other = standing.get(line.index) or _meets(of_pocket, span)
            if other is not None:
                self.faults[line.index] = Fault(
                    "started_at",
                    f"Pocket {line.pocket} of {line.machine.code} has a run from {said_time(other[0])} to "
                    f"{said_time(other[1])}, "
                    "which this one overlaps.",
                    errors.RunOverlaps,
                )
                continue
            insort(of_pocket, span)
            kept.append(line)
        return kept


def _meets(spans: list[tuple[datetime, datetime]], span: tuple[datetime, datetime]) -> tuple[datetime, datetime] | None:
    """The one of `spans`, which do not overlap each other, that overlaps `span`. Touching is no overlap."""
    place = bisect_left(spans, span)
    for other in spans[max(place - 1, 0) : place + 1]:
        if other[0] < span[1] and span[0] < other[1]:
            return other
    return None


def _fault_of_edge(work: Working, start: datetime, end: datetime) -> Fault | None:
    if work.until is None or end <= work.until:
        return None
    label = f"Edge {work.number} of {make_label('I', work.item)}"
    if work.until <= start:
        return Fault(
            "started_at", f"{label} came off at {said_time(work.until)}, before this run started.", errors.EdgeEnded
        )
    return Fault("ended_at", f"{label} came off at {said_time(work.until)}, before this run ended.", errors.EdgeEnded)


def _no_edge(named: object) -> str:
    return f"There is no edge “{str(named)[:60]}”; it is an item's label and the edge's number, such as ET1:I00012X/2."
