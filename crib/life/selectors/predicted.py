"""What a fresh edge is expected to do at an operation, before it has cut anything."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calc.life.predictive import remaining
from crib.floor.models import Operation
from crib.life.changing import change_points
from crib.life.laws import Key, beliefs, duty_of, law_of, starting_law
from crib.life.selectors.groups import all_priors, models_by_key
from crib.life.words import evidence

PERCENT = (10, 50, 90)


@dataclass(frozen=True, slots=True)
class FreshEdge:
    """Minutes and whole parts of a fresh edge at 10/50/90 %, when it should come off, and how that is known."""

    minutes: dict[int, float]
    parts: dict[int, int] | None
    change_minutes: float | None
    change_parts: int | None
    evidence: str


def fresh_edge_at(*, operation: Operation) -> FreshEdge:
    """By the life model of the operation's work, or the starting value while no edge has ended there."""
    key = Key(operation.tip_id, operation.material_id, operation.kind_of_cut)
    model = models_by_key([key]).get(key)
    law = (
        law_of(model)
        if model is not None
        else starting_law(
            design=operation.tip,
            material=operation.material,
            kind_of_cut=operation.kind_of_cut,
            duty=duty_of(operation),
            priors=all_priors(),
        )
    )
    left = remaining(np.zeros(1), beliefs([law], [duty_of(operation)]), percent=PERCENT)[0]
    minutes = {percent: float(value) for percent, value in zip(PERCENT, left, strict=True)}
    point = float(change_points([(operation, law)]).minutes[0])
    change = point if math.isfinite(point) else None
    each = operation.minutes_per_part
    return FreshEdge(
        minutes=minutes,
        parts={percent: math.floor(value / each) for percent, value in minutes.items()} if each else None,
        change_minutes=change,
        change_parts=max(math.floor(change / each), 1) if each and change is not None else None,
        evidence=evidence(model) if model else f"Starting value ({law.source}); no edge has ended here yet",
    )
