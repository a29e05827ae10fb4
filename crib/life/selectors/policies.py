"""What the ways of changing edges at an operation cost: ours, today's fixed count, and running to the end."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calc.life.batch import whole_parts
from calc.life.policies import PolicyCosts, policy_costs
from calc.life.predictive import remaining
from calc.life.replacement import believed_change
from crib.floor.models import Operation
from crib.life.changing import Costs, change_count, change_points, costs_of, why_not_early
from crib.life.laws import Law, beliefs, duty_of
from crib.life.selectors.due import paces_of, still_to_make
from crib.life.selectors.predicted import law_at
from crib.life.words import Way, advice_in_money, evidence, starting_evidence

# Points of the curve of costs; and of an edge that makes fewer parts than this nothing sensible can be said.
POINTS, FEWEST = 60, 0.05
NO_MINUTES = "Give the minutes in cut per part, and the ways of changing are compared in money."
NO_COSTS = "No cost is known here: give the tip a price, the machine an hourly rate, or the lost part its cost."
HARDLY_A_PART = "By what is believed an edge hardly ever finishes a part here; check the minutes in cut per part."


@dataclass(frozen=True, slots=True)
class Policy:
    """One way of changing: parts for each edge (none: run to the end), money for each good part, and chances."""

    name: str
    parts: int | None
    edge: float
    change: float
    failure: float
    chance_of_failure: float
    edges_per_1000: float
    failures_per_1000: float
    rest_of_batch: float
    month: float | None

    @property
    def cost(self) -> float:
        """Money for each good part."""
        return self.edge + self.change + self.failure


@dataclass(frozen=True, slots=True)
class CostCurve:
    """Money for each good part over the count of parts at which edges are changed."""

    counts: list[int]
    total: list[float]
    changing: list[float]
    failing: list[float]


@dataclass(frozen=True, slots=True)
class ChangeAdvice:
    """The ways of changing at an operation beside each other; `trouble` says why there are none."""

    operation: Operation
    evidence: str
    trouble: str = ""
    policies: tuple[Policy, ...] = ()
    curve: CostCurve | None = None
    cheapest: int | None = None
    by_risk: bool = False
    why_to_end: str = ""
    batch_left: int = 0
    month_parts: int | None = None
    says: tuple[str, ...] = ()

    def policy(self, name: str) -> Policy | None:
        """The way of this name: ours, today or to_end."""
        return next((one for one in self.policies if one.name == name), None)


def parts_still_to_make(*, operation: Operation) -> int:
    """Parts of the job that this operation has not made yet."""
    return still_to_make(operation, paces_of([operation])[operation.pk])


def change_advice(*, operation: Operation, month_parts: int | None = None) -> ChangeAdvice:
    """Compare the ways of changing a fresh edge at an operation, for the rest of its batch and a month."""
    law, model = law_at(operation=operation)
    known = evidence(model) if model else starting_evidence(law.source)
    costs = costs_of(operation)
    if not operation.minutes_per_part:
        return ChangeAdvice(operation, known, trouble=NO_MINUTES)
    if costs.edge + costs.change + costs.lost <= 0:
        return ChangeAdvice(operation, known, trouble=NO_COSTS)
    return _compared(operation, law, costs, known, parts_still_to_make(operation=operation), month_parts)


def _compared(
    operation: Operation, law: Law, costs: Costs, known: str, batch_left: int, month_parts: int | None
) -> ChangeAdvice:
    each = operation.minutes_per_part or math.nan
    believed = beliefs([law], [duty_of(operation)])
    points = change_points([(operation, law)])
    free = float(believed_change(believed, costs.planned, costs.failure, each).parts[0])
    cheapest = None if math.isinf(free) else int(free)
    ours = change_count(points)
    named = {"ours": ours, "to_end": None, "today": operation.fixed_count}
    wanted = {name: count for name, count in named.items() if name != "today" or count}
    nearly_all = float(whole_parts(remaining(np.zeros(1), believed, percent=[95]), each)[0, 0])
    counts = _counts([count for count in (ours, cheapest, operation.fixed_count) if count], nearly_all)
    asked = np.array([math.inf if count is None else count for count in wanted.values()] + counts)
    found = policy_costs(believed, each, asked, costs.edge, costs.change, costs.lost)
    if found.parts[0, list(wanted).index("to_end")] < FEWEST:
        return ChangeAdvice(operation, known, trouble=HARDLY_A_PART)
    policies = tuple(
        _policy(name, count, found, place, batch_left, month_parts)
        for place, (name, count) in enumerate(wanted.items())
    )
    held = bool(points.limited_by_risk[0])
    why = why_not_early(law, costs)
    return ChangeAdvice(
        operation,
        known,
        policies=policies,
        curve=_curve(counts, found, len(wanted)),
        cheapest=cheapest,
        by_risk=held,
        why_to_end=why,
        batch_left=batch_left,
        month_parts=month_parts,
        says=advice_in_money(
            {policy.name: Way(policy.parts, policy.cost, policy.chance_of_failure) for policy in policies},
            risk=operation.accepted_risk if held else None,
            cheapest=cheapest,
            why_to_end=why,
            batch_left=batch_left,
        ),
    )


def _policy(
    name: str, count: int | None, found: PolicyCosts, place: int, batch_left: int, month_parts: int | None
) -> Policy:
    total = float(found.total[0, place])
    return Policy(
        name=name,
        parts=count,
        edge=float(found.edge[0, place]),
        change=float(found.change[0, place]),
        failure=float(found.failure[0, place]),
        chance_of_failure=float(found.chance_of_failure[0, place]),
        edges_per_1000=1000 * float(found.edges_per_part[0, place]),
        failures_per_1000=1000 * float(found.failures_per_part[0, place]),
        rest_of_batch=batch_left * total,
        month=None if month_parts is None else month_parts * total,
    )


def _counts(marked: list[int], nearly_all: float) -> list[int]:
    """Counts of parts to draw: about the marked ones and as far as hardly an edge reaches, each marked one among them.

    The very first counts are left out, since there a part costs so much that the rest would be a flat line.
    """
    most = max([math.ceil(1.3 * count) for count in marked] + [min(int(nearly_all), 1_000_000), 4])
    least = max(min([count // 4 for count in marked] + [most // 8]), 1)
    return sorted({*np.linspace(least, most, POINTS).round().astype(int).tolist(), *marked})


def _curve(counts: list[int], found: PolicyCosts, first: int) -> CostCurve:
    return CostCurve(
        counts,
        found.total[0, first:].tolist(),
        (found.edge + found.change)[0, first:].tolist(),
        found.failure[0, first:].tolist(),
    )
