"""What is kept beside a forecast to judge it by: its law by quantiles, and what naive rivals would have said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crib.floor.models import Operation
from crib.life.laws import Key
from crib.life.models import ForecastScore
from crib.life.selectors.rivals import NaiveLife, rivals_of

# Finer than anybody logs.
DECIMALS = 2


@dataclass(frozen=True, slots=True)
class KeptAt:
    """Where the edge of a kept forecast stood: its work, and the group whose lives the rivals go by."""

    operation: Operation
    key: Key


def keep_beside(
    *,
    scores: Sequence[ForecastScore],
    places: Sequence[KeptAt],
    left: npt.NDArray[np.float64],
    lives: dict[Key, NaiveLife],
) -> None:
    """Write beside forecasts their minutes left at `KEPT_PERCENT` and the rivals' answers; the caller saves them."""
    for score, place, quantiles in zip(scores, places, left, strict=True):
        score.quantiles = quantiles.round(DECIMALS).tolist()
        said = rivals_of(place.operation, score.minutes_then, lives.get(place.key))
        score.fixed_count_left, score.mean_life_left = said.fixed_count, said.mean_life
        score.last_life_left = said.last_life
