"""What a fresh edge is expected to do at an operation, before it has cut anything."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calc.life.batch import whole_parts
from calc.life.predictive import remaining
from crib.floor.models import Operation
from crib.life.changing import change_count, change_points
from crib.life.laws import Law, beliefs, duty_of
from crib.life.models import LifeModel
from crib.life.selectors.believed import laws_at
from crib.life.words import evidence, starting_evidence

PERCENT = (10, 50, 90)


@dataclass(frozen=True, slots=True)
class FreshEdge:
    """Minutes and whole parts of a fresh edge at 10/50/90 %, when it should come off, and how that is known."""

    minutes: dict[int, float]
    parts: dict[int, int] | None
    change_minutes: float | None
    change_parts: int | None
    evidence: str


def law_at(*, operation: Operation) -> tuple[Law, LifeModel | None]:
    """What is believed of a fresh edge at an operation, and its life model; none while no edge was used there."""
    return laws_at([(operation.tip, False, operation)])[0]


def fresh_edge_at(*, operation: Operation) -> FreshEdge:
    """By the life model of the operation's work, or the starting value while no edge has ended there."""
    law, model = law_at(operation=operation)
    left = remaining(np.zeros(1), beliefs([law], [duty_of(operation)]), percent=PERCENT)[0]
    minutes = {percent: float(value) for percent, value in zip(PERCENT, left, strict=True)}
    points = change_points([(operation, law)])
    change = float(points.minutes[0])
    each = operation.minutes_per_part
    return FreshEdge(
        minutes=minutes,
        parts={percent: int(whole_parts(value, each)) for percent, value in minutes.items()} if each else None,
        change_minutes=change if math.isfinite(change) else None,
        change_parts=change_count(points) if each else None,
        evidence=evidence(model) if model else starting_evidence(law.source),
    )
