"""Was it right: forecasts kept at fixed points of a life, scored when the edge has ended."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from django.db import transaction

from calc.life.kaplan_meier import where_it_fell
from calc.life.scoring import crps_point, crps_quantiles, pinball_loss
from crib.core import clock
from crib.life.models import KEPT_PERCENT, ForecastScore
from crib.life.selectors.due import REAL_ENDS, unscored_ends
from crib.life.selectors.watched import change_ages

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

AT_ONCE = 500
RIVALS = ("fixed_count", "mean_life", "last_life")
SCORED = [
    "scored_at", "minutes_really_left", "censored", "pinball_10", "pinball_50", "pinball_90", "covered",
    "position", "crps", "fixed_count_crps", "mean_life_crps", "last_life_crps",
]  # fmt: skip


def score_ended() -> int:
    """Score every kept forecast whose edge has ended; answers how many. Scored once, however often it is run.

    Where an end was excused since, or counts again, what was scored before no longer says what came: scored anew.
    """
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
    """Set what came of kept forecasts, from their edges that have ended; the caller saves them. One query."""
    came = np.array([max(score.edge.minutes - score.minutes_then, 0.0) for score in scores])
    said = np.array([(score.minutes_left_10, score.minutes_left_50, score.minutes_left_90) for score in scores])
    # Of an edge taken off before its end, or ended by something else, it is only known that it would last longer.
    real = np.array([score.edge.outcome in REAL_ENDS and not score.edge.excuse for score in scores], dtype=bool)
    fell = where_it_fell(came, said)
    losses = np.column_stack([pinball_loss(came, said[:, row], level) for row, level in enumerate((0.1, 0.5, 0.9))])
    now = clock.now()
    for row, score in enumerate(scores):
        score.scored_at, score.minutes_really_left, score.position = now, float(came[row]), float(fell[row])
        score.censored = not real[row]
        ended = bool(real[row])
        score.pinball_10, score.pinball_50, score.pinball_90 = map(float, losses[row]) if ended else (None, None, None)
        score.covered = bool(said[row, 0] <= came[row] <= said[row, 2]) if ended else None
    ages = change_ages(edges=[score.edge for score in scores])
    watched = np.maximum(ages - np.array([[score.minutes_then] for score in scores]), 0.0)
    _score_whole_laws(scores, came, real, watched)
    for rival in RIVALS:
        _score_rival(rival, scores, came, real, watched)


def _score_whole_laws(scores: Sequence[ForecastScore], came: Floats, real: Flags, watched: Floats) -> None:
    """Forecasts kept before their quantiles were cannot be scored whole."""
    rows = [row for row, score in enumerate(scores) if len(score.quantiles) == len(KEPT_PERCENT)]
    if rows:
        said = np.array([scores[row].quantiles for row in rows])
        found = crps_quantiles(came[rows], said, np.array(KEPT_PERCENT) / 100, real[rows], watched[rows])
        for row, loss in zip(rows, found, strict=True):
            scores[row].crps = float(loss)


def _score_rival(rival: str, scores: Sequence[ForecastScore], came: Floats, real: Flags, watched: Floats) -> None:
    left = [getattr(score, f"{rival}_left") for score in scores]
    rows = [row for row, minutes in enumerate(left) if minutes is not None]
    if not rows:
        return
    found = crps_point(came[rows], [left[row] for row in rows], real[rows], watched[rows])
    for row, loss in zip(rows, found, strict=True):
        setattr(scores[row], f"{rival}_crps", float(loss))
