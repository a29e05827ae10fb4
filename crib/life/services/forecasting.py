"""Forecasts of the edges in use: claimed when due, computed in one array call, saved in batches.

Each forecast remembers the revision of its edge and the version of its model. A worker killed between reading and
saving leaves both unequal, so the next sweep finds the edge again; a forecast saved from an older revision is due
again at once.
"""

from __future__ import annotations

import logging
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial

import numpy as np
from django.db import transaction
from django.utils import timezone

from calc.errors import WorkingError
from calc.life.batch import whole_parts
from calc.life.predictive import lasting, remaining
from calc.life.replacement import ChangeParts
from crib.core import clock
from crib.core.wake import wake
from crib.floor.flute import band_of
from crib.floor.models import Edge, Operation
from crib.life.calendar import moment_after
from crib.life.changing import change_points
from crib.life.exposure import MOST_LOG, at_duty_of, exposure
from crib.life.laws import Key, Law, beliefs, duty_of, law_of, starting_law, written
from crib.life.models import Forecast, ForecastScore, LifeModel
from crib.life.selectors.due import Pace, Work, due_edges, work_of
from crib.life.selectors.groups import all_priors, designs_and_materials, models_by_key
from crib.life.words import CANNOT_WORK_OUT, NO_OPERATION, advice, evidence

log = logging.getLogger(__name__)

AT_ONCE = 500
POINTS = (0, 25, 50, 75)
# Beyond these nothing is meant any more, and they still fit the columns.
LONGEST_MINUTES, MOST_PARTS = 1e7, 1_000_000
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
        used, counted = _equivalent(edge, edge.operation, law, work, models[key])
        cases.append(Case(edge, edge.operation, models[key], law, used, counted))
    return cases


def _key(edge: Edge) -> Key | None:
    operation = edge.operation
    return Key(edge.item.design_id, operation.material_id, operation.kind_of_cut) if operation else None


def _models(edges: dict[Key, Edge]) -> dict[Key, LifeModel]:
    """The model of each group; one that was never seen begins with its starting value."""
    found = models_by_key(edges)
    missing = [key for key in edges if key not in found]
    if not missing:
        return found
    designs, materials = designs_and_materials(missing)
    priors = all_priors()
    for key in missing:
        operation = edges[key].operation
        assert operation is not None  # a key is made from it
        start = starting_law(
            design=designs[key.design],
            material=materials[key.material],
            kind_of_cut=key.kind_of_cut,
            duty=duty_of(operation),
            priors=priors,
        )
        parameters, covariance = written(start)
        found[key], _ = LifeModel.objects.get_or_create(
            design_id=key.design,
            material_id=key.material,
            kind_of_cut=key.kind_of_cut,
            defaults={
                "prior": start.prior,
                "prior_source": start.source[:160],
                "parameters": parameters,
                "covariance": covariance,
                "fitted_at": clock.now(),
            },
        )
    return found


def _equivalent(edge: Edge, operation: Operation, law: Law, work: Work, model: LifeModel) -> tuple[float, float]:
    """Minutes that count so far, turned into minutes at the present duty; and those that the fit had seen already."""
    rows, band = work.totals.get(edge.pk, []), band_of(operation)
    used = exposure(rows, at_duty_of(operation, rows, law), band, edge=edge.pk)
    now = min(law.log_scale(duty_of(operation)), MOST_LOG)
    counted = model.parameters["seen"].get(str(edge.pk), 0.0) * math.exp(now)
    if band is not None:
        # The fit may have seen the edge in another band, which says nothing against this one.
        counted = min(counted, used)
    return min(used, LONGEST_MINUTES), min(counted, LONGEST_MINUTES)


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
    forecasts, kept = [], []
    for row, case in enumerate(cases):
        point = place[case.operation.pk, case.model.pk]
        forecast = _forecast(case, left[row], points, point)
        if not math.isnan(each[row]):
            forecast.batch_parts_left, forecast.chance_of_batch = int(batch[row]), float(chance[row])
        forecast.change_by_at = _clock_time(case, forecast, work)
        forecasts.append(forecast)
        kept += _kept(case, forecast, work.points_kept.get(case.edge.pk, set()))
    return forecasts, kept


def _batch_left(operation: Operation, pace: Pace) -> int:
    return min(max(operation.job.quantity - pace.parts_made, 0), MOST_PARTS)


def _forecast(
    case: Case, left: np.ndarray[tuple[int, ...], np.dtype[np.float64]], points: ChangeParts, row: int
) -> Forecast:
    operation, each = case.operation, case.operation.minutes_per_part
    age = max(float(points.minutes[row]), each or 0.0)  # less than one part cannot be made
    to_end = math.isinf(age)
    ahead = None if to_end else max(age - case.used, 0.0)
    parts = None if ahead is None or not each else min(int(whole_parts(ahead, each)), MOST_PARTS)
    by_risk = bool(points.limited_by_risk[row])
    forecast = Forecast(
        edge=case.edge,
        model=case.model,
        model_version=case.model.version,
        operation=operation,
        edge_revision=case.edge.revision,
        minutes_used=case.edge.minutes,
        # Run to the end there is no change-by: the life used is then a share of what half the edges reach.
        life_used=case.used / max(age if not to_end else case.used + float(left[1]), 1e-9),
        minutes_left_10=float(left[0]),
        minutes_left_50=float(left[1]),
        minutes_left_90=float(left[2]),
        change_by_minutes=None if ahead is None else min(ahead, LONGEST_MINUTES),
        change_by_parts=parts,
        advice=advice(parts=parts, minutes=ahead, to_end=to_end, by_risk=by_risk, minutes_per_part=each)[:200],
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


def _kept(case: Case, forecast: Forecast, have: set[int]) -> list[ForecastScore]:
    """The forecast at the point of life just reached, once for each point."""
    reached = 100 * (forecast.life_used or 0.0)
    point = max(one for one in POINTS if one <= reached)
    if point in have:
        return []
    return [
        ForecastScore(
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
    ]
