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
    """Whole costs of a planned change and of a failure at an operation, in the shop's money."""

    planned: float
    failure: float


def costs_of(operation: Operation) -> Costs:
    """Edge and change time; and, when an edge fails, the chance-weighted lost part besides.

    The tips of a body with several seats are turned together: one edge of the set is an edge of each.
    """
    tip = operation.tip
    pieces = max(operation.body.seats, 1) if operation.body else 1
    lives = max(tip.edges, 1) * (1 + tip.regrinds_allowed)
    edge = (float(tip.unit_cost) + tip.regrinds_allowed * float(tip.regrind_cost)) / lives
    change = pieces * edge + operation.change_minutes * float(operation.machine.hourly_rate) / 60
    planned = max(change, CHEAPEST)
    return Costs(planned, planned + operation.chance_part_lost * float(operation.cost_of_lost_part))


def change_points(pairs: Sequence[tuple[Operation, Law]]) -> ChangeParts:
    """When to change a fresh edge at each operation, in one array call."""
    costs = [costs_of(operation) for operation, _ in pairs]
    return believed_change(
        beliefs([law for _, law in pairs], [duty_of(operation) for operation, _ in pairs]),
        np.array([cost.planned for cost in costs]),
        np.array([cost.failure for cost in costs]),
        np.array([operation.minutes_per_part or math.nan for operation, _ in pairs]),
        np.array([_risk(operation, law, cost) for (operation, law), cost in zip(pairs, costs, strict=True)]),
    )


def _risk(operation: Operation, law: Law, cost: Costs) -> float:
    """The accepted risk, where changing early can lower it and a failure costs something; else none is set."""
    helps = law.shape > 1 and cost.failure > cost.planned
    return operation.accepted_risk if helps else math.nan
