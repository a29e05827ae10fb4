"""Was it right, and what did it cost: the measures of simulated shops."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from tests.simulated.rules import FixedCount, KnownLaws, LastLife, Learnt, MeanLife, ToTheEnd
from tests.simulated.spindles import Marks, Rule, Spindles, Weeks
from tests.simulated.truth import Floats, Told, Truth, Whole

# Worn edges of the group itself that stood behind a forecast.
ENDS = {"0": (0, 0), "1–2": (1, 2), "3–5": (3, 5), "6–10": (6, 10), "over 10": (11, 10**9)}
POINTS = {"when put in": 0, "at a quarter": 1, "at half": 2, "at three quarters": 3}
# How dear a failure is, in planned changes.
PRICES = {"under 2.5": (0.0, 2.5), "2.5 to 7": (2.5, 7.0), "over 7": (7.0, np.inf)}


@dataclass(frozen=True, slots=True)
class Forecasts:
    """Every forecast asked for: at which point of a life, after how many worn edges of its group, and what came."""

    group: Whole
    duty: Whole
    point: Whole
    ends: Whole
    low: Floats
    middle: Floats
    high: Floats
    came: Floats

    def of(self, which: Marks) -> Forecasts:
        return Forecasts(*(getattr(self, part.name)[which] for part in fields(self)))

    def after(self, fewest: int, most: int) -> Forecasts:
        return self.of((self.ends >= fewest) & (self.ends <= most))

    @property
    def count(self) -> int:
        return self.group.size

    @property
    def inside(self) -> float:
        return float(((self.came >= self.low) & (self.came <= self.high)).mean())

    @property
    def below(self) -> float:
        return float((self.came < self.low).mean())

    @property
    def above(self) -> float:
        return float((self.came > self.high).mean())

    def width(self, known: Floats) -> float:
        """Width of the ranges of fresh edges over that of one who knows the laws."""
        fresh = self.of(self.point == 0)
        best = known[fresh.group, fresh.duty]
        return float((fresh.high - fresh.low).sum() / (best[:, 2] - best[:, 0]).sum())


@dataclass(frozen=True, slots=True)
class Bill:
    """What a rule cost, per group: money and good parts of all weeks, and of the second half of them."""

    money: Floats
    good: Floats
    late_money: Floats
    late_good: Floats
    edges: int
    failures: int

    def to_make(self, parts: Floats, which: Marks, *, late: bool = False) -> float:
        """Money for so many good parts of each group, at this rule's cost per part."""
        money, good = (self.late_money, self.late_good) if late else (self.money, self.good)
        return float((parts * money / np.maximum(good, 1.0))[which].sum())


def run(told: Told, truth: Truth, weeks: Weeks, rule: Rule, seed: int) -> Bill:
    """All weeks under one rule."""
    spindles, count = Spindles(told, truth, seed), weeks.duty.shape[0]
    early = spindles.money.copy(), spindles.good.copy()
    for week in range(count):
        if week == count // 2:
            early = spindles.money.copy(), spindles.good.copy()
        rule.week_begins(spindles)
        spindles.work(week, weeks, rule, getattr(rule, "typical", None))
    rule.week_begins(spindles)
    money, good = spindles.money, spindles.good
    ended = sum(part.group.size for part in spindles.ended)
    return Bill(money, good, money - early[0], good - early[1], ended, int(spindles.failures.sum()))


def forecasts(rule: Learnt) -> Forecasts:
    """What was said and what came, of a rule that has been run."""
    asked, said, ends = zip(*rule.rows, strict=True)
    group, duty, point, _, _, came = (np.concatenate(part) for part in zip(*asked, strict=True))
    low, middle, high = np.concatenate(said).T
    return Forecasts(group, duty, point, np.concatenate(ends), low, middle, high, came)


def rivals(told: Told, change: Floats) -> dict[str, Rule]:
    """What the product must be better than, and what none can be better than."""
    return {
        "the laws known": KnownLaws(change),
        "run to the end": ToTheEnd(),
        "fixed count, 70 % of the promised life": FixedCount(told, 0.7),
        "mean of the lives seen": MeanLife(told),
        "last life seen": LastLife(told),
    }


def losses(bills: Mapping[str, Bill], told: Told) -> dict[str, list[float]]:
    """Money above that of the laws known, as a share: all weeks, the second half, and by how dear a failure is."""
    best = bills["the laws known"]
    ratio = told.failure / told.planned
    every = np.ones(told.groups, dtype=bool)
    answer = {}
    for name, bill in bills.items():
        row = [bill.to_make(best.good, every) / best.to_make(best.good, every) - 1]
        row.append(bill.to_make(best.late_good, every, late=True) / best.to_make(best.late_good, every, late=True) - 1)
        for low, high in PRICES.values():
            which = (ratio >= low) & (ratio < high)
            row.append(bill.to_make(best.good, which) / best.to_make(best.good, which) - 1)
        answer[name] = row
    return answer
