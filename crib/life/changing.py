"""What a change and a failure cost at an operation, and when changing costs least."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calc.life.replacement import ChangeParts, believed_change
from crib.floor.models import Operation
from crib.life.laws import Law, beliefs, duty_of

CHEAPEST = 0.01


@dataclass(frozen=True, slots=True)
class Costs:
    """Whole costs of a planned change and of a failure at an operation, in the shop's money.

    `edge` and `change` are what a planned change is made of: the edges used up, and the time.
    """

    planned: float
    failure: float
    edge: float = 0.0
    change: float = 0.0

    @property
    def lost(self) -> float:
        """What a failure costs more than a planned change."""
        return self.failure - self.planned


def costs_of(operation: Operation) -> Costs:
    """Edge and change time; and, when an edge fails, the chance-weighted lost part besides.

    The tips of a body with several seats are turned together: one edge of the set is an edge of each.
    """
    tip = operation.tip
    pieces = max(operation.body.seats, 1) if operation.body else 1
    lives = max(tip.edges, 1) * (1 + tip.regrinds_allowed)
    edge = (float(tip.unit_cost) + tip.regrinds_allowed * float(tip.regrind_cost)) / lives
    edges, change = pieces * edge, operation.change_minutes * float(operation.machine.hourly_rate) / 60
    planned = max(edges + change, CHEAPEST)
    lost = operation.chance_part_lost * float(operation.cost_of_lost_part)
    return Costs(planned, planned + lost, edges, change)


def change_points(pairs: Sequence[tuple[Operation, Law]]) -> ChangeParts:
    """When to change a fresh edge at each operation, in one array call."""
    costs = [costs_of(operation) for operation, _ in pairs]
    return believed_change(
        beliefs([law for _, law in pairs], [duty_of(operation) for operation, _ in pairs]),
        np.array([cost.planned for cost in costs]),
        np.array([cost.failure for cost in costs]),
        np.array([operation.minutes_per_part or math.nan for operation, _ in pairs]),
        np.array([risk_of(operation, law, cost) for (operation, law), cost in zip(pairs, costs, strict=True)]),
    )


def change_count(points: ChangeParts, row: int = 0) -> int | None:
    """Whole parts after which a fresh edge is changed, at least one; None where it runs to its end."""
    parts = float(points.parts[row])
    return None if math.isinf(parts) else max(int(parts), 1)


def why_not_early(law: Law, cost: Costs) -> str:
    """Why no edge should come off before its end, in words; nothing where changing early may pay."""
    if cost.lost <= 0:
        return "a failure costs no more than a change here."
    if law.shape <= 1:
        return "edges here do not fail more often as they age, so that a fresh one is no safer than a used one."
    return ""


def risk_of(operation: Operation, law: Law, cost: Costs) -> float:
    """The accepted risk, where changing early can lower it and a failure costs something; else none is set."""
    return math.nan if why_not_early(law, cost) else operation.accepted_risk
