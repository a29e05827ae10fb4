"""Was it right: forecasts kept at fixed points of a life, scored when the edge has ended."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from django.db import transaction

from calc.life.kaplan_meier import where_it_fell
from calc.life.scoring import pinball_loss
from crib.core import clock
from crib.floor.models import Edge
from crib.life.models import ForecastScore
from crib.life.selectors.due import unscored_ends

AT_ONCE = 500
REAL_ENDS = (Edge.Outcome.WORN, Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN)
SCORED = [
    "scored_at", "minutes_really_left", "censored", "pinball_10", "pinball_50", "pinball_90", "covered",
    "position",
]  # fmt: skip


def score_ended() -> int:
    """Score every kept forecast whose edge has ended; answers how many. Scored once, however often it is run."""
    done = 0
    while batch := list(unscored_ends()[:AT_ONCE]):
        score_against_ends(scores=batch)
        with transaction.atomic():
            ForecastScore.objects.bulk_create(
                batch, update_conflicts=True, unique_fields=["edge", "point"], update_fields=SCORED
            )
        done += len(batch)
    return done


def score_against_ends(*, scores: Sequence[ForecastScore]) -> None:
    """Set what came of kept forecasts, from their edges that have ended; the caller saves them."""
    came = np.array([max(score.edge.minutes - score.minutes_then, 0.0) for score in scores])
    said = np.array([(score.minutes_left_10, score.minutes_left_50, score.minutes_left_90) for score in scores])
    fell = where_it_fell(came, said)
    losses = np.column_stack([pinball_loss(came, said[:, row], level) for row, level in enumerate((0.1, 0.5, 0.9))])
    now = clock.now()
    for row, score in enumerate(scores):
        score.scored_at, score.minutes_really_left, score.position = now, float(came[row]), float(fell[row])
        # Of an edge taken off before its end only this is known: that it would have lasted longer.
        score.censored = score.edge.outcome not in REAL_ENDS
        if not score.censored:
            score.pinball_10, score.pinball_50, score.pinball_90 = map(float, losses[row])
            score.covered = bool(score.minutes_left_10 <= came[row] <= score.minutes_left_90)
