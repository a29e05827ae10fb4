"""How long edges are watched: the ages at which the shop takes them off, whatever its habit is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from calc.life.kaplan_meier import later_ends, lives_seen
from crib.floor.models import Edge
from crib.life.selectors.due import REAL_ENDS

GUESSES = 12


def change_ages(*, edges: Sequence[Edge]) -> npt.NDArray[np.float64]:
    """Ages at which each edge would have been taken off, had it outlasted its own: equally likely; one query.

    By what became of the other edges of its operation; infinite where none was ever taken off later.
    """
    ages: dict[int, list[float]] = defaultdict(list)
    taken_off: dict[int, list[bool]] = defaultdict(list)
    operations = {edge.operation_id for edge in edges if edge.operation_id}
    gone = Edge.objects.filter(state=Edge.State.ENDED, operation__in=operations, minutes__gt=0)
    for operation, minutes, outcome, excuse in gone.values_list("operation", "minutes", "outcome", "excuse"):
        ages[operation].append(minutes)
        taken_off[operation].append(bool(excuse) or outcome not in REAL_ENDS)
    found = np.full((len(edges), GUESSES), np.inf)
    rows: dict[int, list[int]] = defaultdict(list)
    for row, edge in enumerate(edges):
        if edge.operation_id in ages:
            rows[edge.operation_id].append(row)
    for operation, here in rows.items():
        curve = lives_seen(ages[operation], taken_off[operation])
        found[here] = later_ends(curve, [edges[row].minutes for row in here], GUESSES)
    return found
