"""Forecasts of the edges in use: claimed when due, computed in one array call, saved in batches.

Each forecast remembers the revision of its edge and the version of its model. A worker killed between reading and
saving leaves both unequal, so the next sweep finds the edge again; a forecast saved from an older revision is due
again at once.
"""

from __future__ import annotations

import logging
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial

import numpy as np
from django.db import transaction
from django.utils import timezone

from calc.errors import WorkingError
from calc.life.averaged import some
from calc.life.batch import whole_parts
from calc.life.predictive import lasting, remaining
from calc.life.replacement import ChangeParts
from crib.core import clock
from crib.core.wake import wake
from crib.floor.models import Edge, Operation
from crib.life.calendar import moment_after
from crib.life.changing import change_points
from crib.life.exposure import LONGEST_MINUTES, used_and_counted
from crib.life.laws import Floats, Key, Law, beliefs, duty_of, key_at, key_of, law_of, written
from crib.life.models import KEPT_PERCENT, Forecast, ForecastScore, LifeModel
from crib.life.selectors.believed import laws_at
from crib.life.selectors.due import Pace, Work, due_edges, still_to_make, work_of
from crib.life.selectors.groups import models_by_key
from crib.life.selectors.rivals import naive_lives
from crib.life.services.keeping import KeptAt, keep_beside
from crib.life.wear import Looked, OwnOutlook, habits_of, outlooks_by_wear, readings_that_count
from crib.life.words import CANNOT_WORK_OUT, NO_OPERATION, advice, evidence, evidence_with_wear

log = logging.getLogger(__name__)

AT_ONCE = 500
POINTS = (0, 25, 50, 75)
# Beyond this nothing is meant any more, and it still fits the columns.
MOST_PARTS = 1_000_000
# After an hour without a run the machine is taken to stand; work goes on from now.
RUNNING_MINUTES = 60.0


@dataclass(frozen=True, slots=True)
class Case:
    """One edge with everything its forecast needs."""

    edge: Edge
    operation: Operation
    model: LifeModel
    law: Law
    used: float
    counted: float


def claim_due(*, limit: int = AT_ONCE) -> list[int]:
    """Edges whose forecasts are due. Two workers may claim the same; both then save the same."""
    return list(due_edges().order_by("pk").values_list("pk", flat=True)[:limit])


def refresh_all_due() -> int:
    """Compute every forecast that is due; answers how many. Safe to run twice, late, or beside itself."""
    done, before = 0, None
    while (batch := claim_due()) and batch != before:
        done += refresh(edge_ids=batch)
        before = batch
    return done


def refresh(*, edge_ids: Sequence[int]) -> int:
    """Compute and save the forecasts of these edges; answers how many."""
    work = work_of(edge_ids)
    cases = _cases(work)
    placed = {case.edge.pk for case in cases}
    forecasts = [_without(edge, NO_OPERATION) for edge in work.edges if edge.pk not in placed]
    made, kept = _compute_all(cases, work)
    forecasts += made
    _save(forecasts, kept)
    return len(forecasts)


@transaction.atomic
def mark_stale(*, model: LifeModel | None = None) -> int:
    """Have forecasts computed anew: those of one model, or all."""
    wanted = Forecast.objects.filter(edge__state=Edge.State.IN_USE)
    count = (wanted if model is None else wanted.filter(model=model)).update(stale=True)
    transaction.on_commit(partial(wake, "forecasts"))
    return count


@transaction.atomic
def _save(forecasts: Sequence[Forecast], kept: Sequence[ForecastScore]) -> None:
    fields = [field.name for field in Forecast._meta.concrete_fields if not field.primary_key]
    Forecast.objects.bulk_create(forecasts, update_conflicts=True, unique_fields=["edge"], update_fields=fields)
    ForecastScore.objects.bulk_create(kept, ignore_conflicts=True)


def _without(edge: Edge, trouble: str) -> Forecast:
    return Forecast(
        edge=edge,
        edge_revision=edge.revision,
        minutes_used=edge.minutes,
        trouble=trouble[:200],
        computed_at=clock.now(),
    )


def _compute_all(cases: Sequence[Case], work: Work) -> tuple[list[Forecast], list[ForecastScore]]:
    """All in one array call; one edge whose figures cannot be worked with must not keep the others waiting."""
    if not cases:
        return [], []
    try:
        return _compute(cases, work)
    except (WorkingError, ArithmeticError) as wrong:
        if len(cases) == 1:
            log.warning("Edge %s has no forecast: %s", cases[0].edge.pk, wrong)
            return [_without(cases[0].edge, f"{CANNOT_WORK_OUT} {wrong}")], []
    made: list[Forecast] = []
    kept: list[ForecastScore] = []
    for case in cases:
        forecasts, scores = _compute_all([case], work)
        made, kept = made + forecasts, kept + scores
    return made, kept


def _cases(work: Work) -> list[Case]:
    keys = {edge.pk: _key(edge) for edge in work.edges}
    models = _models({key: edge for edge in work.edges if (key := keys[edge.pk]) is not None})
    laws = {key: law_of(model) for key, model in models.items()}
    cases = []
    for edge in work.edges:
        key = keys[edge.pk]
        if key is None or edge.operation is None:
            continue
        law = laws[key]
        used, counted = used_and_counted(edge.pk, edge.operation, law, work.totals.get(edge.pk, []), models[key])
        cases.append(Case(edge, edge.operation, models[key], law, used, counted))
    return cases


def _key(edge: Edge) -> Key | None:
    operation = edge.operation
    return key_at(operation, edge) if operation else None


def _models(edges: dict[Key, Edge]) -> dict[Key, LifeModel]:
    """The model of each group; one that was never seen begins with what stands nearest."""
    found = models_by_key(edges)
    missing = [key for key in edges if key not in found]
    if not missing:
        return found
    places = [
        (edges[key].item.design, key.reground, operation) for key in missing if (operation := edges[key].operation)
    ]
    for key, (start, _) in zip(missing, laws_at(places), strict=True):
        parameters, covariance = written(start)
        found[key], _ = LifeModel.objects.get_or_create(
            design_id=key.design,
            material_id=key.material,
            kind_of_cut=key.kind_of_cut,
            reground=key.reground,
            defaults={
                "prior": start.prior,
                "prior_source": start.source[:160],
                "parameters": parameters,
                "covariance": covariance,
                "fitted_at": clock.now(),
            },
        )
    return found


def _compute(cases: Sequence[Case], work: Work) -> tuple[list[Forecast], list[ForecastScore]]:
    believed = beliefs([case.law for case in cases], [duty_of(case.operation) for case in cases])
    used, counted = np.array([case.used for case in cases]), np.array([case.counted for case in cases])
    left = np.minimum(remaining(used, believed, counted), LONGEST_MINUTES)
    each = np.array([case.operation.minutes_per_part or math.nan for case in cases])
    batch = np.array([_batch_left(case.operation, work.paces[case.operation.pk]) for case in cases], dtype=np.float64)
    ahead = np.where(np.isnan(each), 0.0, np.minimum(batch * np.nan_to_num(each), LONGEST_MINUTES))
    chance = lasting(ahead, used, believed, counted)
    pairs = {(case.operation.pk, case.model.pk): (case.operation, case.law) for case in cases}
    place = {pair: row for row, pair in enumerate(pairs)}
    points = change_points(list(pairs.values()))
    worth = [points.cost_each[place[case.operation.pk, case.model.pk]] for case in cases]
    outlooks = outlooks_by_wear(_looked(cases, work, batch, worth), believed)
    forecasts: list[Forecast] = []
    kept: dict[int, ForecastScore] = {}
    for row, case in enumerate(cases):
        point, own = place[case.operation.pk, case.model.pk], outlooks.get(row)
        forecast = _forecast(case, left[row], points, point) if own is None else _forecast_by_wear(case, own)
        if not math.isnan(each[row]):
            forecast.batch_parts_left, forecast.chance_of_batch = int(batch[row]), float(chance[row])
            if own is not None:
                forecast.chance_of_batch = own.chance_of_batch
        forecast.change_by_at = _clock_time(case, forecast, work)
        forecasts.append(forecast)
        if (score := _kept(case, forecast, work.points_kept.get(case.edge.pk, set()))) is not None:
            kept[row] = score
    if kept:
        rows = list(kept)
        whole = remaining(used[rows], some(believed, rows), counted[rows], KEPT_PERCENT)
        _keep_beside(kept, cases, dict(zip(rows, whole, strict=True)), outlooks)
    return forecasts, list(kept.values())


def _batch_left(operation: Operation, pace: Pace) -> int:
    return min(still_to_make(operation, pace), MOST_PARTS)


def _looked(cases: Sequence[Case], work: Work, batch: Floats, worth: Sequence[float]) -> dict[int, Looked]:
    """The cases whose wear was seen, by row."""
    return {
        row: Looked(
            edge=case.edge,
            operation=case.operation,
            law=case.law,
            habits=habits_of(case.model.wear),
            readings=readings_that_count(work.looks[case.edge.pk]),
            used=case.used,
            counted=case.counted,
            batch=int(batch[row]),
            cost_each=float(worth[row]),
        )
        for row, case in enumerate(cases)
        if case.edge.pk in work.looks
    }


def _forecast(case: Case, left: Floats, points: ChangeParts, row: int) -> Forecast:
    age = max(float(points.minutes[row]), case.operation.minutes_per_part or 0.0)  # less than one part cannot be made
    to_end = math.isinf(age)
    forecast = _with_figures(case, left, None if to_end else age - case.used, bool(points.limited_by_risk[row]))
    # Run to the end there is no change-by: the life used is then a share of what half the edges reach.
    forecast.life_used = case.used / max(age if not to_end else case.used + float(left[1]), 1e-9)
    return forecast


def _forecast_by_wear(case: Case, own: OwnOutlook) -> Forecast:
    """The edge's own readings set its change-by, counted from now."""
    left = np.minimum(own.left, LONGEST_MINUTES)
    to_end = math.isinf(own.change_in)
    forecast = _with_figures(case, left, None if to_end else own.change_in, own.limited_by_risk)
    forecast.life_used = case.used / max(case.used + (float(left[1]) if to_end else own.change_in), 1e-9)
    if own.worn or own.change_in <= 0:
        forecast.life_used = max(forecast.life_used, 1.0)
    forecast.wear_readings = own.readings
    forecast.evidence = evidence_with_wear(case.model, own.readings)
    if own.worn:
        forecast.advice = "Change now: the wear land has reached the criterion."
    return forecast


def _with_figures(case: Case, left: Floats, ahead: float | None, by_risk: bool) -> Forecast:
    """All but the life used; `ahead` are the minutes to the change-by, none where the edge is run to its end."""
    operation, each = case.operation, case.operation.minutes_per_part
    ahead = None if ahead is None else max(ahead, 0.0)
    parts = None if ahead is None or not each else min(int(whole_parts(ahead, each)), MOST_PARTS)
    said = advice(parts=parts, minutes=ahead, to_end=ahead is None, by_risk=by_risk, minutes_per_part=each)
    forecast = Forecast(
        edge=case.edge,
        model=case.model,
        model_version=case.model.version,
        operation=operation,
        edge_revision=case.edge.revision,
        minutes_used=case.edge.minutes,
        minutes_left_10=float(left[0]),
        minutes_left_50=float(left[1]),
        minutes_left_90=float(left[2]),
        change_by_minutes=None if ahead is None else min(ahead, LONGEST_MINUTES),
        change_by_parts=parts,
        advice=said[:200],
        evidence=evidence(case.model),
        computed_at=clock.now(),
    )
    if each:
        counts = np.minimum(whole_parts(left, each), MOST_PARTS)
        forecast.parts_left_10, forecast.parts_left_50, forecast.parts_left_90 = (int(count) for count in counts)
    return forecast


def _clock_time(case: Case, forecast: Forecast, work: Work) -> datetime | None:
    """When the change comes by the clock, where the pace is known and the edge has run."""
    pace, last = work.paces[case.operation.pk].clock_per_part, case.edge.last_run_ended_at
    if forecast.change_by_parts is None or not pace or last is None:
        return None
    now, zone = clock.now(), timezone.get_default_timezone()
    shifts, ahead = work.shifts.get(case.operation.machine_id, []), forecast.change_by_parts * pace
    at = moment_after(start=last, minutes=ahead, shifts=shifts, zone=zone)
    standing = (now - last).total_seconds() / 60 > RUNNING_MINUTES
    # Parts that should be made by now and are not logged: the machine stands, and goes on from now.
    if at is not None and (standing or at < now):
        at = moment_after(start=now, minutes=ahead, shifts=shifts, zone=zone)
    return at


def _keep_beside(
    kept: Mapping[int, ForecastScore],
    cases: Sequence[Case],
    by_minutes: Mapping[int, Floats],
    outlooks: Mapping[int, OwnOutlook],
) -> None:
    """What each kept forecast, by its row, is judged by later: its whole law, and what rivals would have said."""
    keys = [key_of(cases[row].model) for row in kept]
    left = [outlooks[row].kept if row in outlooks else by_minutes[row] for row in kept]
    keep_beside(
        scores=list(kept.values()),
        places=[KeptAt(cases[row].operation, key) for row, key in zip(kept, keys, strict=True)],
        left=np.minimum(left, LONGEST_MINUTES),
        lives=naive_lives(keys=keys),
    )


def _kept(case: Case, forecast: Forecast, have: set[int]) -> ForecastScore | None:
    """The forecast at the point of life just reached, once for each point."""
    reached = 100 * (forecast.life_used or 0.0)
    point = max(one for one in POINTS if one <= reached)
    if point in have:
        return None
    return ForecastScore(
        edge=case.edge,
        model=case.model,
        model_version=case.model.version,
        point=point,
        kept_at=clock.now(),
        minutes_then=case.edge.minutes,
        minutes_left_10=forecast.minutes_left_10 or 0.0,
        minutes_left_50=forecast.minutes_left_50 or 0.0,
        minutes_left_90=forecast.minutes_left_90 or 0.0,
    )
