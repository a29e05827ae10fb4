"""How long edges last at each operation, as planning needs it: read from what `crib.life` has learnt."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from calc.life.fitting import project
from crib.floor.models import Operation
from crib.life.changing import change_points
from crib.life.laws import Key, Law, duty_of, law_of, starting_law
from crib.life.models import LifeModel, LifePrior
from crib.life.selectors.groups import all_priors, models_by_key
from crib.life.words import evidence


@dataclass(frozen=True, slots=True)
class OperationLaw:
    """The life of a fresh edge at one operation, in minutes in cut, and how sure that is.

    `shape_spread` and `scale_spread` are standard deviations of their logarithms; `change_at` is None when edges run
    to their end.
    """

    shape: float
    scale: float
    shape_spread: float = 0.0
    scale_spread: float = 0.0
    breakage: float = 0.0
    change_at: float | None = None
    evidence: str = ""


def laws_of(operations: Collection[Operation]) -> dict[int, OperationLaw]:
    """The law of each operation by its number: what was learnt, else the starting value. A fixed number of queries."""
    wanted = list(operations)
    if not wanted:
        return {}
    keys = {one.pk: Key(one.tip_id, one.material_id, one.kind_of_cut) for one in wanted}
    models = models_by_key(set(keys.values()))
    priors = all_priors()
    pairs: list[tuple[Operation, Law]] = []
    for one in wanted:
        model = models.get(keys[one.pk])
        pairs.append((one, law_of(model) if model else _starting(one, priors)))
    scale, shape, scale_variance, shape_variance, _ = project(
        np.array([law.mean[:-1] for _, law in pairs]),
        np.array([law.mean[-1] for _, law in pairs]),
        np.array([law.covariance for _, law in pairs]),
        np.array([law.covariates(duty_of(one)) for one, law in pairs]),
    )
    change = change_points(pairs).minutes
    found = {}
    for row, (one, law) in enumerate(pairs):
        found[one.pk] = OperationLaw(
            shape=float(np.exp(shape[row])),
            scale=float(np.exp(np.clip(scale[row], -7, 14))),
            shape_spread=float(np.sqrt(shape_variance[row])),
            scale_spread=float(np.sqrt(scale_variance[row])),
            breakage=law.breaks / law.watched_minutes(duty_of(one)),
            change_at=_change_at(float(change[row]), one),
            evidence=_evidence(models.get(keys[one.pk]), law),
        )
    return found


def _starting(operation: Operation, priors: Sequence[LifePrior]) -> Law:
    return starting_law(
        design=operation.tip,
        material=operation.material,
        kind_of_cut=operation.kind_of_cut,
        duty=duty_of(operation),
        priors=priors,
    )


def _change_at(minutes: float, operation: Operation) -> float | None:
    """An edge makes at least one part, even where that part risks more than is accepted."""
    if not math.isfinite(minutes):
        return None
    return max(minutes, operation.minutes_per_part or 0.0, 1e-3)


def _evidence(model: LifeModel | None, law: Law) -> str:
    return evidence(model) if model else f"Starting value ({law.source}); no edge has ended here yet"
