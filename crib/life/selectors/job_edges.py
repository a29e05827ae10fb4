"""The edges that cut one part of a job, one after another: which is first to end, and does the batch come through."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.db.models import F

from calc.errors import WorkingError
from calc.life.batch import MOST_PARTS, whole_parts
from calc.life.predictive import lasting
from calc.life.series import series, together
from crib.catalogue.models import Job
from crib.floor.models import Edge, Operation
from crib.floor.selectors import edges_at_work, operations_of
from crib.life.changing import change_points
from crib.life.exposure import used_and_counted
from crib.life.laws import Law, beliefs, duty_of, law_of
from crib.life.selectors.board import BoardRow, board_rows
from crib.life.selectors.due import Pace, Work, still_to_make, work_of
from crib.life.words import CANNOT_WORK_OUT, NO_MINUTES_PER_PART

NO_EDGE = "No edge is in use here. Load its tool in a pocket, and its edge is counted too."
COMING = "The forecast is on its way; reload in a moment."


@dataclass(frozen=True, slots=True)
class StepEdge:
    """One operation with the edge that cuts at it; `why_not` says why an edge is left out of the reckoning.

    `early` is the chance that the edge ends before it is changed, `first` that of all edges it is the first to end in
    the batch, all being changed as planned. `waiting` are further edges in use at the same operation.
    """

    operation: Operation
    row: BoardRow | None = None
    parts_to_make: int | None = None
    early: float | None = None
    first: float | None = None
    waiting: int = 0
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class JobEdges:
    """All edges of a part together; the chances are None while no edge can be reckoned with."""

    steps: tuple[StepEdge, ...]
    planned_only: float | None = None
    untouched: float | None = None
    until_stop: float | None = None
    first_change: int | None = None
    changed_first: StepEdge | None = None

    @property
    def left_out(self) -> int:
        """Operations whose edge is not in the chances."""
        return sum(bool(step.why_not) for step in self.steps)

    @property
    def wear_seen(self) -> bool:
        """Whether wear was read on any of the edges."""
        forecasts = [step.row.forecast for step in self.steps if step.row is not None]
        return any(one.wear_readings for one in forecasts if one is not None)

    @property
    def first_to_end(self) -> StepEdge | None:
        """The edge that is most likely the first to end."""
        counted = [step for step in self.steps if step.first]
        return max(counted, key=lambda step: step.first or 0.0, default=None)


@dataclass(frozen=True, slots=True)
class _Case:
    edge: Edge
    operation: Operation
    law: Law
    model: int
    used: float
    counted: float
    parts: int
    change_in: float
    by_wear: float | None


def job_edges(*, job: Job) -> JobEdges:
    """Every step of a job with the edge in use; a fixed number of queries."""
    steps = [one for one in operations_of(job) if one.retired_at is None]
    edges = list(
        edges_at_work()
        .filter(operation__in=steps)
        .select_related("item__design", "operation", "forecast__model")
        .order_by(F("last_run_ended_at").asc(nulls_first=True), "pk")
    )
    rows = {row.edge.pk: row for row in board_rows(edges=edges)}
    # Of several edges at one operation, the one that ran last is the one that cuts.
    at: dict[int, list[Edge]] = {}
    for edge in edges:
        at.setdefault(edge.operation_id or 0, []).append(edge)
    work = work_of([there[-1].pk for there in at.values()])
    cases: dict[int, _Case] = {}
    found: list[StepEdge] = []
    for step in steps:
        there = at.get(step.pk, [])
        case, why_not = _case(step, there[-1], work) if there else (None, NO_EDGE)
        if case is not None:
            cases[step.pk] = case
        row = rows[there[-1].pk] if there else None
        to_make = case.parts if case else None
        found.append(StepEdge(step, row, to_make, waiting=max(len(there) - 1, 0), why_not=why_not))
    return _reckoned(found, cases) if cases else JobEdges(tuple(found))


def _case(operation: Operation, edge: Edge, work: Work) -> tuple[_Case | None, str]:
    """What an edge enters the reckoning with, or why it cannot."""
    forecast = edge.forecast if hasattr(edge, "forecast") else None
    if forecast is None:
        return None, COMING
    if forecast.model is None or forecast.life_used is None:
        return None, forecast.trouble or COMING
    if not operation.minutes_per_part:
        return None, NO_MINUTES_PER_PART
    law = law_of(forecast.model)
    used, counted = used_and_counted(edge.pk, operation, law, work.totals.get(edge.pk, []), forecast.model)
    parts = _to_make(operation, work.paces[operation.pk])
    change_in = math.inf if forecast.change_by_parts is None else forecast.change_by_parts
    by_wear = forecast.chance_of_batch if forecast.wear_readings else None
    return _Case(edge, operation, law, forecast.model.pk, used, counted, parts, change_in, by_wear), ""


def _to_make(operation: Operation, pace: Pace) -> int:
    return min(still_to_make(operation, pace), MOST_PARTS)


def _reckoned(steps: Sequence[StepEdge], by_step: dict[int, _Case]) -> JobEdges:
    """All chances in one array call; steps whose figures cannot be worked with stand without them."""
    cases = [by_step[step.operation.pk] for step in steps if step.operation.pk in by_step]
    each = np.array([case.operation.minutes_per_part for case in cases], dtype=np.float64)
    used, counted = np.array([case.used for case in cases]), np.array([case.counted for case in cases])
    parts, change_in = np.array([(case.parts, case.change_in) for case in cases], dtype=np.float64).T
    try:
        believed = beliefs([case.law for case in cases], [duty_of(case.operation) for case in cases])
        ages = np.maximum(change_points([(case.operation, case.law) for case in cases]).minutes, each)
        every = np.where(np.isinf(ages), np.inf, whole_parts(np.where(np.isinf(ages), each, ages), each))
        law = [case.model for case in cases]
        joint = together(series(believed, law, used, each, parts, change_in, every, counted))
        early = 1 - lasting(np.minimum(change_in, parts) * each, used, believed, counted)
        # All together are promised no more than the least sure of them is by itself, its wear readings in it.
        alone = lasting(parts * each, used, believed, counted)
        own = [case.by_wear for case in cases if case.by_wear is not None]
        through = min(joint.untouched, float(alone.min()), *own)
    except (WorkingError, ArithmeticError):
        return JobEdges(tuple(_without(step, by_step) for step in steps))
    chances = {case.operation.pk: row for row, case in enumerate(cases)}
    counted_in = tuple(
        _with(step, early[row], joint.first[row])
        if (row := chances.get(step.operation.pk)) is not None
        else step
        for step in steps
    )  # fmt: skip
    planned = np.where(change_in < parts, change_in, np.inf)
    soonest = int(np.argmin(planned))
    change = None if math.isinf(planned[soonest]) else int(planned[soonest])
    who = next(step for step in counted_in if step.operation.pk == cases[soonest].operation.pk)
    return JobEdges(
        counted_in,
        joint.planned_only,
        through,
        joint.until_stop,
        change,
        None if change is None else who,
    )


def _with(step: StepEdge, early: float, first: float) -> StepEdge:
    return StepEdge(step.operation, step.row, step.parts_to_make, float(early), float(first), step.waiting)


def _without(step: StepEdge, by_step: dict[int, _Case]) -> StepEdge:
    why_not = CANNOT_WORK_OUT if step.operation.pk in by_step else step.why_not
    return StepEdge(step.operation, step.row, step.parts_to_make, waiting=step.waiting, why_not=why_not)
