"""The wear of one edge as it was seen, as it is taken to grow, and when it may reach the criterion: for its page."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from calc.life.wear_forecast import fitted_start
from crib.core import clock
from crib.floor.flute import band_of
from crib.floor.models import Edge, EdgeMinutes, Inspection, Operation
from crib.life.exposure import at_duty_of, exposure, seen_by_fit
from crib.life.laws import Law, beliefs, duty_of, key_at, law_of
from crib.life.models import LifeModel
from crib.life.selectors.due import work_of
from crib.life.selectors.groups import models_by_key
from crib.life.wear import Looked, at_present_duty, forecast_by_wear, habits_of, readings_that_count

STEPS = 40
PERCENT = (10, 50, 90)
# No land is drawn higher than this many criteria: by then the edge has long been off.
HIGHEST = 4 / 3


@dataclass(frozen=True, slots=True)
class WearSeen:
    """One reading; `counts` says whether it went into the growth."""

    minutes: float
    wear_land_mm: float
    counts: bool


@dataclass(frozen=True, slots=True)
class WearGrowth:
    """Readings over minutes in cut, the growth through them, and the minutes of the crossing at 10, 50 and 90 %.

    Without a law, or when the first reading has reached the criterion, there is no growth to show.
    """

    readings: list[WearSeen]
    limit: float
    now: float
    ended: bool
    minutes: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    middle: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    crossing: tuple[float, float, float] | None = None
    learnt_from: int = 0


def wear_growth(*, edge: Edge) -> WearGrowth | None:
    """None for an edge that nobody has looked at."""
    operation = edge.operation
    looks = _looks(edge)
    if operation is None or not looks:
        return None
    used_ones = readings_that_count(looks)
    kept = {id(look) for look in used_ones}
    seen = [WearSeen(look.at_minutes, look.wear_land_mm, id(look) in kept) for look in looks]
    growth = WearGrowth(seen, operation.wear_limit_mm, edge.minutes, edge.state == Edge.State.ENDED)
    model = _model_of(edge, operation)
    below = [look for look in used_ones if look.wear_land_mm < operation.wear_limit_mm]
    if model is None or not below or edge.minutes <= 0:
        return growth
    return _grown(growth, edge, operation, model, below)


def _looks(edge: Edge) -> list[Inspection]:
    """The looks in order, and what was measured when the edge came off."""
    looks = list(edge.inspections.order_by("at_minutes", "seen_at", "pk"))
    if edge.wear_land_mm is not None and not any(look.at_minutes == edge.minutes for look in looks):
        seen_at = edge.ended_at or clock.now()
        looks.append(Inspection(edge=edge, at_minutes=edge.minutes, wear_land_mm=edge.wear_land_mm, seen_at=seen_at))
    return looks


def _model_of(edge: Edge, operation: Operation) -> LifeModel | None:
    key = key_at(operation, edge)
    return models_by_key([key]).get(key)


def _grown(
    growth: WearGrowth, edge: Edge, operation: Operation, model: LifeModel, below: list[Inspection]
) -> WearGrowth:
    law, habits = law_of(model), habits_of(model.wear)
    whole = max(_used(edge, operation, law), 1e-9)
    per_minute = whole / edge.minutes
    # Of an edge that has ended, only how far it was known to be sound.
    used = at_present_duty(below[-1:], minutes=edge.minutes, used=whole)[0] if growth.ended else whole
    reached = [one.minutes for one in growth.readings if one.counts and one.wear_land_mm >= growth.limit]
    used = min([used, *(per_minute * at for at in reached)])
    # An edge that has ended is in the fit with all its minutes.
    counted = used if growth.ended else min(seen_by_fit(edge.pk, operation, law, model), used)
    looked = Looked(edge, operation, law, habits, below, whole, counted, 0, 0.0)
    found = forecast_by_wear([looked], beliefs([law], [duty_of(operation)]), upto=[used])
    lives = used + found.crossing(PERCENT)[0]
    times = np.array(at_present_duty(below, minutes=edge.minutes, used=whole))
    lands = np.array([look.wear_land_mm for look in below])
    starts = np.array([fitted_start(times, lands, growth.limit, float(life), habits) for life in lives])
    # As far as the crossing may be, unless the growth expected leaves the plot before.
    leaves = lives[1] * (1 + (HIGHEST - 1) * growth.limit / max(growth.limit - starts[1], 1e-9))
    ages = np.linspace(0.0, max(float(min(lives[2], leaves)), whole), STEPS)
    lines = starts[:, None] + (growth.limit - starts[:, None]) * ages / lives[:, None]
    lines = np.minimum(lines, HIGHEST * growth.limit)
    crossing = np.minimum(lives / per_minute, min(reached, default=np.inf))
    return WearGrowth(
        growth.readings,
        growth.limit,
        growth.now,
        growth.ended,
        minutes=(ages / per_minute).tolist(),
        low=lines.min(axis=0).tolist(),
        middle=lines[1].tolist(),
        high=lines.max(axis=0).tolist(),
        crossing=(float(crossing[0]), float(crossing[1]), float(crossing[2])),
        learnt_from=int(model.wear.get("edges", 0)),
    )


def _used(edge: Edge, operation: Operation, law: Law) -> float:
    """Minutes at the present duty, as the forecast counts them."""
    if edge.state == Edge.State.IN_USE:
        rows, band = work_of([edge.pk]).totals.get(edge.pk, []), band_of(operation)
    else:
        rows, band = list(EdgeMinutes.objects.filter(edge=edge).select_related("operation", "edge")), None
    return exposure(rows, at_duty_of(operation, rows, law), band, edge=edge.pk)
