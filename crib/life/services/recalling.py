"""What the models would have said: forecasts recalled for edges that ended before anybody asked.

For a shop that brings its past along. The laws are fitted on the edges that had ended by a day; the forecasts of the
edges put in after that day are recalled at the fixed points of their lives, and scored like any other. No edge is
judged by a law that has learnt from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

import numpy as np
from django.db import transaction

from calc.life.predictive import remaining
from crib.core import clock
from crib.floor.models import Edge, Operation
from crib.life.changing import change_points
from crib.life.exposure import LONGEST_MINUTES
from crib.life.laws import Duty, Key, Law, beliefs, duty_of, key_at
from crib.life.models import KEPT_PERCENT, ForecastScore, LifeModel
from crib.life.selectors.groups import ended_since, lives_by_group, models_by_key
from crib.life.selectors.rivals import NaiveLife, naive_lives
from crib.life.services.forecasting import POINTS
from crib.life.services.keeping import KeptAt, keep_beside
from crib.life.services.refitting import laws_by
from crib.life.services.scoring import score_against_ends

AT_ONCE = 2000


class Recalled(NamedTuple):
    """One point of an edge's life, at which a forecast is recalled."""

    edge: Edge
    model: LifeModel | None
    point: int
    minutes: float
    place: KeptAt


def recall_forecasts(*, since: datetime) -> int:
    """Keep and score what would have been forecast of the edges put in since that day; answers how many."""
    laws = laws_by(until=since)
    # Edges on flute that was worn before say nothing of the law: they teach none, and judge none.
    alone = {life.edge for lives in lives_by_group(keys=laws).values() for life in lives}
    # The rivals too go by what had ended by that day.
    lives = naive_lives(keys=laws, until=since)
    kept = 0
    for batch in _batches([edge for edge in ended_since(since) if edge.pk in alone]):
        kept += _recall(batch, laws, lives)
    return kept


def _batches(edges: Sequence[Edge]) -> list[Sequence[Edge]]:
    return [edges[first : first + AT_ONCE] for first in range(0, len(edges), AT_ONCE)]


def _recall(edges: Sequence[Edge], laws: dict[Key, Law], lives: dict[Key, NaiveLife]) -> int:
    """All points of these edges in one array call."""
    known: list[tuple[Edge, Operation, Key]] = []
    for edge in edges:
        operation = edge.operation
        if operation is not None:
            key = key_at(operation, edge)
            known += [(edge, operation, key)] if key in laws else []
    if not known:
        return 0
    models = models_by_key({key for _, _, key in known})
    ages = _change_ages({(operation.pk, key): (operation, laws[key]) for _, operation, key in known})
    rows: list[Recalled] = []
    said: list[tuple[Law, Duty]] = []
    for edge, operation, key in known:
        for point, minutes in _points(ages[operation.pk, key], edge.minutes):
            rows.append(Recalled(edge, models.get(key), point, minutes, KeptAt(operation, key)))
            said.append((laws[key], duty_of(operation)))
    believed = beliefs([law for law, _ in said], [duty for _, duty in said])
    left = np.minimum(remaining([row.minutes for row in rows], believed, percent=KEPT_PERCENT), LONGEST_MINUTES)
    return _keep(rows, left, lives)


def _change_ages(pairs: dict[tuple[int, Key], tuple[Operation, Law]]) -> dict[tuple[int, Key], float]:
    return dict(zip(pairs, map(float, change_points(list(pairs.values())).minutes), strict=True))


def _points(change_at: float, lasted: float) -> list[tuple[int, float]]:
    """Points of life that the edge reached, with its minutes there; run to the end, its start alone."""
    reached = [(point, change_at * point / 100 if point else 0.0) for point in POINTS]
    return [(point, minutes) for point, minutes in reached if minutes < lasted]


@transaction.atomic
def _keep(
    rows: Sequence[Recalled],
    left: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    lives: dict[Key, NaiveLife],
) -> int:
    low, middle, high = (KEPT_PERCENT.index(percent) for percent in (10, 50, 90))
    scores = [
        ForecastScore(
            edge=row.edge,
            model=row.model,
            point=row.point,
            kept_at=row.edge.put_in_at or row.edge.ended_at or clock.now(),
            minutes_then=row.minutes,
            minutes_left_10=float(value[low]),
            minutes_left_50=float(value[middle]),
            minutes_left_90=float(value[high]),
        )
        for row, value in zip(rows, left, strict=True)
    ]
    keep_beside(scores=scores, places=[row.place for row in rows], left=left, lives=lives)
    score_against_ends(scores=scores)
    ForecastScore.objects.bulk_create(scores, ignore_conflicts=True, batch_size=1000)
    return len(scores)
