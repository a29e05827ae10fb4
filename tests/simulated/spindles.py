"""Spindles that cut parts week by week, change their edges by a rule, and write down what became of them.

Every rule cuts the same weeks: the same duties, the same ends of jobs, and edges that would last as long. An edge is
changed between parts; a part in which it ends is lost, and costs the failure.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

import numpy as np
import numpy.typing as npt

from tests.simulated.truth import DUTIES, Floats, Told, Truth, Whole

Marks = npt.NDArray[np.bool_]
WORN, BROKE, OFF = range(3)
EDGES_DRAWN = 500
HAIR = 1e-9


class Ended(NamedTuple):
    """Edges that are done: group, what ended them, minutes at each duty, and the duty they worked at last."""

    group: Whole
    end: Whole
    cut: Floats
    last: Whole


class Asked(NamedTuple):
    """Moments at which a forecast is asked for, with what only the simulation knows: the minutes really left."""

    group: Whole
    duty: Whole
    point: Whole
    cut: Floats
    seen: Floats
    left: Floats


class Rule(Protocol):
    """When an edge is changed."""

    def full(self, spindles: Spindles) -> Marks:
        """Which edges shall not begin another part."""

    def note(self, spindles: Spindles, failed: Marks) -> None:
        """Take in that these edges have just failed."""

    def week_begins(self, spindles: Spindles) -> None:
        """Learn from what is known by now."""


@dataclass(slots=True)
class Weeks:
    """What the customers want: duty of each group's spindle in each week, and where the last job's edge comes off."""

    duty: Whole
    job_ends: Marks


def weeks_of_work(told: Told, count: int, seed: int) -> Weeks:
    """A week in three brings another duty, and two in five of those take the edge off first."""
    rng = np.random.default_rng(seed)
    duty = np.zeros((count, told.groups), dtype=np.int64)
    other = rng.random((count, told.groups)) < 0.35
    wanted = rng.integers(0, DUTIES, (count, told.groups))
    for week in range(1, count):
        duty[week] = np.where(other[week], wanted[week], duty[week - 1])
    return Weeks(duty, other & (rng.random(other.shape) < 0.4))


@dataclass(slots=True)
class Spindles:
    """One spindle for each group, and the edge that is in it."""

    told: Told
    truth: Truth
    seed: int
    number: Whole = field(init=False)
    lives: tuple[Floats, Floats] = field(init=False)
    cut: Floats = field(init=False)
    seen: Floats = field(init=False)
    duty: Whole = field(init=False)
    age: Floats = field(init=False)
    spent: Floats = field(init=False)
    worn_at: Floats = field(init=False)
    breaks_at: Floats = field(init=False)
    next_point: Whole = field(init=False)
    good: Floats = field(init=False)
    money: Floats = field(init=False)
    changes: Whole = field(init=False)
    failures: Whole = field(init=False)
    ended: list[Ended] = field(default_factory=list)
    asked: list[Asked] = field(default_factory=list)

    def __post_init__(self) -> None:
        groups = self.told.groups
        self.cut, self.seen = np.zeros((groups, DUTIES)), np.zeros((groups, DUTIES))
        self.duty = np.zeros(groups, dtype=np.int64)
        self.age, self.spent, self.good, self.money = (np.zeros(groups) for _ in range(4))
        self.next_point = np.zeros(groups, dtype=np.int64)
        self.changes, self.failures = np.zeros(groups, dtype=np.int64), np.zeros(groups, dtype=np.int64)
        each = np.repeat(np.arange(groups), EDGES_DRAWN)
        worn, broken = self.truth.draw(np.random.default_rng(self.seed), each)
        self.lives = worn.reshape(groups, -1), broken.reshape(groups, -1)
        self.number = np.zeros(groups, dtype=np.int64)
        self.worn_at, self.breaks_at = (part[:, 0].copy() for part in self.lives)

    def now(self, table: Floats) -> Floats:
        """Each spindle's value at its present duty."""
        return np.asarray(table[np.arange(self.told.groups), self.duty])

    def left(self) -> Floats:
        """Minutes really left at the present duty."""
        wear = (self.worn_at - self.spent) * self.now(self.truth.scale)
        return np.minimum(wear, self.breaks_at - self.age)

    def fresh(self, which: Marks, end: Whole) -> None:
        """Write down these edges and put in new ones."""
        rows = np.flatnonzero(which)
        if not rows.size:
            return
        self.ended.append(Ended(rows, end[rows], self.cut[rows], self.duty[rows]))
        self.number[rows] = (self.number[rows] + 1) % EDGES_DRAWN
        self.worn_at[rows], self.breaks_at[rows] = (part[rows, self.number[rows]] for part in self.lives)
        for part in (self.cut, self.seen, self.age, self.spent, self.next_point):
            part[rows] = 0

    def work(self, week: int, weeks: Weeks, rule: Rule, typical: Floats | None) -> None:
        """One week; `typical` minutes of a life at each duty say when forecasts are asked for."""
        off = weeks.job_ends[week] & (self.age > 0)
        self.money += off * self.told.planned
        self.fresh(off, np.full(off.size, OFF))
        self.duty = weeks.duty[week].copy()
        each = self.now(self.told.minutes_per_part)
        parts = np.maximum(np.round(self.truth.pace / each), 1)
        for part in range(int(parts.max())):
            self._part(part < parts, each, rule, typical)

    def _part(self, at_work: Marks, each: Floats, rule: Rule, typical: Floats | None) -> None:
        change = at_work & (self.age > 0) & rule.full(self)
        self.money += change * self.told.planned
        self.changes += change
        self.fresh(change, np.full(change.size, OFF))
        if typical is not None:
            self._ask(at_work, typical)
        left = self.left()
        failed = at_work & (left < each)
        worked = np.where(at_work, np.minimum(left, each), 0.0)
        wears = (self.worn_at - self.spent) * self.now(self.truth.scale) <= self.breaks_at - self.age
        self.cut[np.arange(worked.size), self.duty] += worked
        self.age += worked
        self.spent += worked / self.now(self.truth.scale)
        self.good += at_work & ~failed
        self.failures += failed
        self.money += failed * self.told.failure
        rule.note(self, failed)
        self.fresh(failed, np.where(wears, WORN, BROKE).astype(np.int64))

    def _ask(self, at_work: Marks, typical: Floats) -> None:
        """A forecast when the edge is put in, and when it has come through a quarter, a half, three quarters."""
        used = (self.cut * self.now_over(typical)).sum(axis=1)
        reached = np.floor(4 * used / self.now(typical) + HAIR).astype(np.int64)
        rows = np.flatnonzero(at_work & (reached >= self.next_point) & (self.next_point < 4) & (reached < 4))
        if rows.size:
            self.asked.append(
                Asked(rows, self.duty[rows], reached[rows], self.cut[rows], self.seen[rows], self.left()[rows])
            )
            self.next_point[rows] = reached[rows] + 1

    def now_over(self, scale: Floats) -> Floats:
        """Factors that turn minutes at each duty into minutes at the present one."""
        return self.now(scale)[:, None] / scale
