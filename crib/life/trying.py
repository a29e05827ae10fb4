"""An operation at other conditions: what of them can be run, and how many minutes in cut a part then takes."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calc.errors import WorkingError
from calc.units import System
from crib.floor.as_working import ONE_PASS, Opened, as_working, duty_of_answer, minutes_of_answer
from crib.floor.duty import TURNED, check_duty, check_figures
from crib.floor.models import KindOfCut, Operation
from crib.life.known import look_up
from crib.life.laws import Floats

if TYPE_CHECKING:
    from calc.workings import Answer, Known
    from calc.workings.sweep import Curve, Stretch

FASTEST_LIMIT = "the highest spindle speed"
NOT_HELD = ("", "nothing")
# What may be changed at each kind of cut; where the shape of the part sets the depth, depth is no condition to try.
TRIED = {
    KindOfCut.MILLING: ("surface_speed", "feed", "depth", "width"),
    KindOfCut.CHAMFERING: ("surface_speed", "feed"),
    KindOfCut.DRILLING: ("surface_speed", "feed"),
    KindOfCut.TAPPING: ("surface_speed",),
    KindOfCut.TURNING: ("surface_speed", "feed", "depth"),
    KindOfCut.FACING: ("surface_speed", "feed", "depth"),
}
ASSUMED_TIME = "The time in cut is assumed to fall as speed times feed rises; it cannot be worked out here: {why}"
WORKED_OUT = "The time in cut is worked out from the conditions."
SCALED: dict[str, str] = {
    Operation.MinutesSource.TYPED: "The minutes typed are scaled as the times worked out from the conditions.",
    Operation.MinutesSource.LEARNT: "The minutes learnt from runs are scaled as the times worked out.",
}
NO_LENGTH = "give the operation its length of cut."


def conditions_of(operation: Operation) -> tuple[str, ...]:
    """The conditions that can be tried: those of its kind of cut that are known."""
    tried = TRIED[KindOfCut(operation.kind_of_cut)]
    return tuple(name for name in tried if getattr(operation, name) is not None)


@dataclass(frozen=True, slots=True)
class Run:
    """Conditions as they can be run; `wrong` says why the calculator could not tell, and they stand as asked."""

    operation: Operation
    time: float | None = None
    held_by: str = ""
    warnings: tuple[str, ...] = ()
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class Stretched:
    """Where along a range a limit or a warning applies."""

    says: str
    start: float
    stop: float


@dataclass(frozen=True, slots=True)
class Range:
    """An operation along a range of one condition, each point as it can be run."""

    over: str
    at: tuple[float, ...]
    operations: tuple[Operation, ...]
    stretches: tuple[Stretched, ...]


class Trial:
    """One operation tried at other conditions; what the catalogue knows is looked up once."""

    def __init__(self, operation: Operation, system: System) -> None:
        self.operation, self.system = operation, system
        self.fields = conditions_of(operation)
        self._look_up = _once(look_up)
        self.now = self._run(operation)

    def at(self, asked: Mapping[str, float]) -> Run:
        """The operation at other conditions, held inside the limits; refuses what no cut can have."""
        wanted = _changed(self.operation, asked)
        check_figures(wanted)
        wanted.passes = self._passes(wanted)
        run = self._run(wanted)
        check_duty(run.operation)
        return run

    def along(self, over: str, low: float, high: float, points: int, run: Run) -> Range:
        """The operation along a range of speed or feed, everything else as in the run."""
        from calc.workings.sweep import sweep  # the register costs half a second, and most pages never ask

        opened = self._opened(run.operation)
        name = over if over == "surface_speed" or "feed_per_tooth" not in opened.inputs else "feed_per_tooth"
        try:
            swept = sweep(opened.working, opened.inputs, name, low, high, points, self.system, self._look_up)
        except WorkingError:
            at = np.linspace(low, high, points)
            return Range(over, tuple(at.tolist()), self._points(run, over, at, {}), ())
        at = np.array(swept.at)
        curves = {curve.name: curve for curve in swept.curves}
        return Range(over, swept.at, self._points(run, over, at, curves), self._stretches(swept.stretches))

    def _run(self, operation: Operation) -> Run:
        from calc import workings

        opened = self._opened(operation)
        try:
            answer = workings.run(opened.working, opened.inputs, self.system, self._look_up)
        except WorkingError as problem:
            return Run(self._timed(operation, None), wrong=problem.sentence)
        held = answer.results["capped_by"].text if "capped_by" in answer.results else ""
        time = minutes_of_answer(answer, operation.passes)
        warnings = tuple(answer.warnings)
        if held in NOT_HELD:
            return Run(self._timed(operation, time), time, "", warnings)
        if operation is self.operation:  # as it runs now is as the shop has it, whatever a limit says
            return Run(operation, time, self._named(held), warnings)
        kept = {name: value for name, value in _as_run(answer).items() if name in ("surface_speed", "feed")}
        return Run(self._timed(_changed(operation, kept), time), time, self._named(held), warnings)

    def _opened(self, operation: Operation) -> Opened:
        """The calculator, with the slowest of what turns beside the machine's own limit."""
        opened = as_working(operation)
        fastest = self._fastest()
        more = {"max_spindle_speed": f"{fastest[0]:.10g} 1/min"} if fastest else {}
        return Opened(opened.working, {**opened.inputs, **more})

    def _fastest(self) -> tuple[float, str] | None:
        """The lowest of the highest speeds of machine, tip and body, and whose it is."""
        operation = self.operation
        turning = [] if operation.kind_of_cut in TURNED else [operation.tip, operation.body]
        known = [(one.max_spindle_speed, one.code) for one in (operation.machine, *turning) if one is not None]
        return min(((speed, code) for speed, code in known if speed), default=None)

    def _named(self, words: str) -> str:
        fastest = self._fastest()
        return words.replace(FASTEST_LIMIT, f"{FASTEST_LIMIT} of {fastest[1]}") if fastest else words

    def _stretches(self, stretches: tuple[Stretch, ...]) -> tuple[Stretched, ...]:
        return tuple(Stretched(self._named(one.says), one.start, one.stop) for one in stretches)

    def _points(self, run: Run, over: str, at: Floats, curves: Mapping[str, Curve]) -> tuple[Operation, ...]:
        """The operation at each point; without curves as asked, its time by speed and feed."""
        working = self._opened(run.operation).working
        times = run.operation.passes if working in ONE_PASS else 1
        found = []
        for place, value in enumerate(at.tolist()):
            told = {name: curve.values[place] for name, curve in curves.items()}
            as_run = {over: value, "surface_speed": told.get("surface_speed"), "feed": self._feed(told)}
            point = _changed(run.operation, {name: one for name, one in as_run.items() if one is not None})
            time = told.get("time_in_cut")
            found.append(self._timed(point, None if time is None else time * times))
        return tuple(found)

    def _feed(self, told: Mapping[str, float | None]) -> float | None:
        """The feed that can be run; a tap's is its pitch, which is no condition."""
        if "feed" not in self.fields:
            return None
        speed, rate = told.get("spindle_speed"), told.get("feed_rate")
        return told.get("feed_per_tooth") or (rate / speed if speed and rate else None)

    def _passes(self, wanted: Operation) -> int:
        """As many as take off the same metal; a cut that one pass takes needs no fewer."""
        more = 1.0
        for name in ("depth", "width"):
            before, after = getattr(self.operation, name), getattr(wanted, name)
            if before and after:
                more *= before / after
        return max(math.ceil(self.operation.passes * more - 1e-6), 1)

    def _timed(self, operation: Operation, time: float | None) -> Operation:
        """The operation with its minutes per part: as the times worked out, else as speed times feed."""
        now = self.operation
        if operation is now:
            return operation
        timed = copy.copy(operation)
        known, before = now.minutes_per_part, self.now.time
        if known is None:
            timed.minutes_per_part = time
        elif time and before:
            timed.minutes_per_part = known * time / before
        else:
            timed.minutes_per_part = known * _pace(now) / _pace(operation) * operation.passes / now.passes
        return timed

    @property
    def time_words(self) -> str:
        """How the minutes in cut at other conditions are found."""
        if self.now.time is None:
            return ASSUMED_TIME.format(why=self.now.wrong or NO_LENGTH)
        return SCALED.get(self.operation.minutes_source, WORKED_OUT)


def _pace(operation: Operation) -> float:
    """Speed times feed, to which the way per minute is proportional; what is not known stays the same."""
    return (operation.surface_speed or 1.0) * (operation.feed or 1.0)


def _changed(operation: Operation, figures: Mapping[str, float]) -> Operation:
    """The operation with other figures; never saved."""
    changed = copy.copy(operation)
    for name, value in figures.items():
        setattr(changed, name, value)
    return changed


def _as_run(answer: Answer) -> dict[str, float]:
    return {name: float(value) for name, value in duty_of_answer(answer).items()}


def _once(shop: Callable[[str, str, Mapping[str, str]], Known]) -> Callable[[str, str, Mapping[str, str]], Known]:
    """Look each thing up but once."""
    kept: dict[tuple[str, str], Known] = {}

    def remembered(what: str, text: str, words: Mapping[str, str]) -> Known:
        if (what, text) not in kept:
            kept[what, text] = shop(what, text, words)
        return kept[what, text]

    return remembered
