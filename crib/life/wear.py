"""From the wear lands seen on edges to what is left of them, and when they should come off."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from calc.life.averaged import Belief, some
from calc.life.own_change import OwnChange, own_change
from calc.life.wear_forecast import ASSUMED, GAUGE_SD, Habits, WearForecast, wear_forecast
from crib.floor.models import Edge, Inspection, Operation
from crib.life.changing import costs_of, risk_of
from crib.life.laws import Law
from crib.life.models import KEPT_PERCENT

Floats = npt.NDArray[np.float64]
# Steps ahead at which an edge may come off; parts that last longer go by several at once.
STEPS = 240


@dataclass(frozen=True, slots=True)
class Looked:
    """One edge with its wear readings: `counted` and `used` in minutes at its present duty."""

    edge: Edge
    operation: Operation
    law: Law
    habits: Habits
    readings: Sequence[Inspection]
    used: float
    counted: float
    batch: int
    cost_each: float


@dataclass(frozen=True, slots=True)
class OwnOutlook:
    """What the readings of one edge leave of it: percentiles, chance of its batch, and when it should come off.

    `left` are the minutes left at 10, 50 and 90 %, `kept` those at `KEPT_PERCENT`.
    """

    readings: int
    worn: bool
    left: Floats
    kept: Floats
    chance_of_batch: float | None
    change_in: float
    limited_by_risk: bool


def habits_of(kept: Mapping[str, Any]) -> Habits:
    """How lands grow and are read in a group, as its life model keeps it; assumed where nothing is learnt."""
    return Habits(*(kept.get(name, assumed) for name, assumed in ASSUMED._asdict().items()))


def gauge_of(kept: Mapping[str, Any]) -> float:
    """Standard deviation of a reading in a group, mm, as its life model keeps it or as assumed."""
    return float(kept.get("gauge_sd", GAUGE_SD))


def readings_that_count(looks: Sequence[Inspection]) -> list[Inspection]:
    """The readings in the order of their minutes; one that was looked at twice stands against higher ones before it."""
    kept: list[Inspection] = []
    for look in sorted(looks, key=lambda one: (one.at_minutes, one.seen_at)):
        if look.looked_twice:
            kept = [one for one in kept if one.wear_land_mm <= look.wear_land_mm]
        kept.append(look)
    return kept


def at_present_duty(looks: Sequence[Inspection], *, minutes: float, used: float) -> list[float]:
    """Minutes of readings as they count at the edge's present duty: the same share of the whole as when they were cut.

    In a band of a flute that others have worn too, the last minute cut is the last that counts, whoever cut it.
    """
    return [used * min(look.at_minutes / minutes, 1.0) if minutes > 0 else 0.0 for look in looks]


def forecast_by_wear(
    looked: Sequence[Looked], believed: Belief, *, upto: Sequence[float] | None = None
) -> WearForecast:
    """What the readings leave of all these edges, in one array call; `upto` are the minutes each was known to be sound.

    Without it, every edge is sound up to now.
    """
    width = max(len(one.readings) for one in looked)
    times, lands = np.full((2, len(looked), width), math.nan)
    for row, one in enumerate(looked):
        count = len(one.readings)
        times[row, :count] = at_present_duty(one.readings, minutes=one.edge.minutes, used=one.used)
        lands[row, :count] = [look.wear_land_mm for look in one.readings]
    return wear_forecast(
        times,
        lands,
        [one.operation.wear_limit_mm for one in looked],
        [one.used for one in looked] if upto is None else upto,
        believed,
        [one.counted for one in looked],
        Habits(*np.array([one.habits for one in looked], dtype=np.float64).T),
    )


def outlooks_by_wear(looked: Mapping[int, Looked], believed: Belief) -> dict[int, OwnOutlook]:
    """Of each edge that was looked at, by its row in the belief."""
    if not looked:
        return {}
    rows, edges = list(looked), list(looked.values())
    found = forecast_by_wear(edges, some(believed, rows))
    left, kept, nearly_all = found.percentiles(), found.percentiles(KEPT_PERCENT), found.percentiles([99])[:, 0]
    each = np.array([one.operation.minutes_per_part or math.nan for one in edges])
    batch = np.nan_to_num(each * [one.batch for one in edges])
    lasts = found.chance(batch[:, None])[:, 0]
    change = _changes(edges, found, nearly_all, each)
    return {
        row: OwnOutlook(
            readings=len(one.readings),
            worn=bool(found.worn[place]),
            left=left[place],
            kept=kept[place],
            chance_of_batch=None if math.isnan(each[place]) else float(lasts[place]),
            change_in=0.0 if found.worn[place] else float(change.minutes[place]),
            limited_by_risk=bool(change.limited_by_risk[place] and not found.worn[place]),
        )
        for place, (row, one) in enumerate(zip(rows, edges, strict=True))
    }


def _changes(edges: Sequence[Looked], found: WearForecast, nearly_all: Floats, each: Floats) -> OwnChange:
    """On whole parts where the minutes of a part are known, else on minutes."""
    far = np.maximum(nearly_all, 1e-3)
    whole = np.maximum(np.ceil(far / (each * STEPS)), 1.0) * each
    ahead = np.where(np.isnan(each), far / STEPS, whole)[:, None] * np.arange(1, STEPS + 1)
    costs = [costs_of(one.operation) for one in edges]
    return own_change(
        ahead,
        found.chance(ahead),
        [cost.planned for cost in costs],
        [cost.failure for cost in costs],
        [one.cost_each for one in edges],
        [risk_of(one.operation, one.law, cost) for one, cost in zip(edges, costs, strict=True)],
        each,
    )
