"""Edges to lay ready for the rest of a batch, beside all those in use at its operation."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calc.errors import WorkingError
from calc.life.batch import whole_parts
from calc.life.staging import batch_edges_to_stage
from crib.floor.models import Edge, Operation
from crib.life.changing import change_count, change_points
from crib.life.laws import beliefs, duty_of
from crib.life.selectors.policies import HARDLY_A_PART, parts_still_to_make
from crib.life.selectors.predicted import law_at
from crib.life.words import parts_in_words

NO_MINUTES = "Give the minutes in cut per part, and the edges to lay ready are counted."
ALL_MADE = "Every part of the batch is made."


@dataclass(frozen=True, slots=True)
class Staging:
    """Fresh edges for the parts still to make: their mean, how many do 95 times in 100, and the tips to fetch.

    A tip has `edges_each` edges; so many as sit in a body `together` are turned to the next all at once.
    """

    parts: int
    edges_in_use: int = 0
    waiting: int = 0
    expected: float | None = None
    ready: int | None = None
    tips: int | None = None
    edges_each: int = 1
    together: int = 1
    trouble: str = ""

    @property
    def expected_words(self) -> str:
        return "–" if self.expected is None else f"{self.expected:.1f}"

    @property
    def says(self) -> str:
        """What is counted, in a sentence."""
        use = f"{self.edges_in_use} edge{'' if self.edges_in_use == 1 else 's'} in use"
        wait = f"; {self.waiting} fresh on the same tips" if self.waiting else ""
        counted = f"For {parts_in_words(self.parts)} still to make, beside {use}{wait}."
        edges = f"{self.edges_each} edge{'' if self.edges_each == 1 else 's'}"
        if self.together > 1:
            return f"{counted} {self.together} tips, fitted together, give {edges}."
        return f"{counted} A tip gives {edges}." if self.edges_each > 1 else counted


def staging_at(*, operation: Operation, parts: int | None = None) -> Staging:
    """By the change count of a fresh edge and the change-by of each edge in use; a fixed number of queries.

    For all parts still to make, or so many of them.
    """
    parts = parts_still_to_make(operation=operation) if parts is None else parts
    each = operation.minutes_per_part
    edges = list(
        Edge.objects.filter(operation=operation, state=Edge.State.IN_USE).select_related("forecast").order_by("pk")
    )
    waiting = Edge.objects.filter(item__in={edge.item_id for edge in edges}, state=Edge.State.FRESH).count()
    if not each or not parts:
        return Staging(parts, len(edges), waiting, trouble=ALL_MADE if not parts else NO_MINUTES)
    law, _ = law_at(operation=operation)
    count = change_count(change_points([(operation, law)]))
    standing = [_stands(edge, count, each) for edge in edges]
    used, ahead = (np.array([one[part] for one in standing], dtype=np.float64) for part in (0, 1))
    try:
        expected, ready = batch_edges_to_stage(used, ahead, parts, each, beliefs([law], [duty_of(operation)]), count)
    except WorkingError:
        return Staging(parts, len(edges), waiting, trouble=HARDLY_A_PART)
    edges_each = max(operation.tip.edges, 1)
    tips = math.ceil(max(ready - waiting, 0) / edges_each)
    together = max(operation.body.seats, 1) if operation.body else 1
    return Staging(parts, len(edges), waiting, expected, ready, tips * together, edges_each, together)


def _stands(edge: Edge, count: int | None, each: float) -> tuple[float, float]:
    """Minutes that an edge in use has behind it, and parts before its change; by its forecast where it has one."""
    forecast = getattr(edge, "forecast", None)
    if count is None:
        return edge.minutes, math.inf
    left = int(whole_parts(max(count * each - edge.minutes, 0.0), each))
    ahead = left if forecast is None else forecast.change_by_parts
    return (edge.minutes, math.inf) if ahead is None else (max(count - ahead, 0) * each, ahead)
