"""The refit: what the ended and censored edges of every group say, learnt in one batch.

It reads the running totals, never the runs. A group whose edges have not changed since its last fit is left alone, and
each batch of groups is saved by itself, so a refit that was killed goes on where it stopped and one run twice does
nothing the second time.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np
from django.db import transaction

from calc.life.fitting import Fit, breakage_belief, fit, lives
from calc.life.likelihood import Prior
from crib.core import clock
from crib.core.wake import wake
from crib.life.laws import Key, Law, starting_law, written
from crib.life.models import LifeModel, RefitMark
from crib.life.selectors.groups import (
    EdgeLife,
    Stretch,
    all_priors,
    designs_and_materials,
    lives_by_group,
    models_by_key,
)
from crib.people.models import Person
from crib.people.services import record_change

# Raised when the way of fitting changes, so that every group is fitted anew.
WAY_OF_FITTING = 1
SAVED_AT_ONCE = 100
SHORTEST_MINUTES = 1e-3


@dataclass(slots=True)
class RefitReport:
    """What a refit did; `troubles` are the groups that could not be fitted, with the reason."""

    groups: int = 0
    refitted: int = 0
    unchanged: int = 0
    edges: int = 0
    steps: int = 0
    troubles: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """For programs."""
        return asdict(self)


@dataclass(slots=True)
class _Group:
    key: Key
    lives: list[EdgeLife]
    start: Law
    mark: str
    model: LifeModel | None


def refit_all(*, keys: Sequence[Key] | None = None) -> RefitReport:
    """Fit every group whose edges changed since its last fit; those of `keys` alone when given."""
    _note_start()
    groups = _groups(keys)
    changed = [group for group in groups if group.model is None or group.model.data_mark != group.mark]
    report = RefitReport(groups=len(groups), unchanged=len(groups) - len(changed))
    if changed:
        answer = _fit(changed)
        report.steps = answer.steps
        for first in range(0, len(changed), SAVED_AT_ONCE):
            _save(changed[first : first + SAVED_AT_ONCE], answer, first, report)
    _note_end()
    return report


@transaction.atomic
def ask_for_refit(*, who: Person) -> None:
    """Have the worker refit soon; the one who asked is written down."""
    RefitMark.objects.update_or_create(pk=1, defaults={"refit_asked_at": clock.now(), "refit_asked_by": who})
    record_change(who=who, what="life models", which="all", act="asked for a refit")
    transaction.on_commit(partial(wake, "refit"))


def refit_is_due() -> bool:
    """Whether a refit was asked for, or was begun and never ended."""
    mark = RefitMark.objects.filter(pk=1).first()
    if mark is None:
        return False
    ended = mark.refit_ended_at
    return any(
        moment is not None and (ended is None or moment > ended)
        for moment in (mark.refit_asked_at, mark.refit_started_at)
    )


def laws_by(*, until: datetime) -> dict[Key, Law]:
    """What the edges that had ended by then would have taught; nothing is saved."""
    groups = _groups(None, until)
    if not groups:
        return {}
    answer = _fit(groups)
    return {group.key: _law(group, answer, row) for row, group in enumerate(groups)}


def _note_start() -> None:
    RefitMark.objects.update_or_create(pk=1, defaults={"refit_started_at": clock.now()})


def _note_end() -> None:
    RefitMark.objects.filter(pk=1).update(refit_ended_at=clock.now())


def _groups(keys: Sequence[Key] | None, until: datetime | None = None) -> list[_Group]:
    by_key = lives_by_group(keys=keys, until=until)
    designs, materials = designs_and_materials(by_key)
    models, priors = models_by_key(by_key), all_priors()
    groups = []
    for key, edges in sorted(by_key.items()):
        if not edges:
            continue
        start = starting_law(
            design=designs[key.design],
            material=materials[key.material],
            kind_of_cut=key.kind_of_cut,
            duty=edges[0].stretches[-1].duty,
            priors=priors,
        )
        model = models.get(key)
        if start.prior is None and model is not None:
            # The general starting value stands at the duty first seen; it must not move with every new edge.
            kept = {name: float(value) for name, value in model.parameters["reference"].items()}
            start = replace(start, reference=kept)
        groups.append(_Group(key, edges, start, _fingerprint(edges, start), model))
    return groups


def _fingerprint(edges: Iterable[EdgeLife], start: Law) -> str:
    """Changes when any edge behind the fit, or its starting value, does."""
    said = [
        [life.edge, life.state, life.outcome, [[s.minutes, *s.duty, s.material, s.kind_of_cut] for s in life.stretches]]
        for life in edges
    ]
    about = [WAY_OF_FITTING, start.mean.tolist(), start.covariance.tolist(), dict(start.reference), start.breaks]
    return hashlib.sha256(json.dumps([about, said], sort_keys=True).encode()).hexdigest()


def _fit(groups: Sequence[_Group]) -> Fit:
    """All groups in one array call."""
    owner: list[int] = []
    ended: list[bool] = []
    edge: list[int] = []
    minutes: list[float] = []
    duty: list[list[float]] = []
    for number, group in enumerate(groups):
        for life in group.lives:
            for stretch in life.stretches:
                edge.append(len(owner))
                minutes.append(max(stretch.minutes, SHORTEST_MINUTES))
                duty.append(_covariates(stretch, group))
            owner.append(number)
            ended.append(life.worn)
    prior = Prior(
        np.array([group.start.mean for group in groups]),
        np.array([np.linalg.inv(group.start.covariance) for group in groups]),
    )
    return fit(lives(owner, ended, minutes, duty, edge), prior)


def _is_own(stretch: Stretch, group: _Group) -> bool:
    return stretch.material == group.key.material and stretch.kind_of_cut == group.key.kind_of_cut


def _covariates(stretch: Stretch, group: _Group) -> list[float]:
    """Of the stretch's duty; nothing tells how another metal compares, so its minutes count as at the reference."""
    return group.start.covariates(stretch.duty) if _is_own(stretch, group) else [1.0, 0.0, 0.0, 0.0]


@transaction.atomic
def _save(groups: Sequence[_Group], answer: Fit, first: int, report: RefitReport) -> None:
    for number, group in enumerate(groups, start=first):
        _save_one(group, answer, number)
        report.refitted += 1
        report.edges += len(group.lives)
        if answer.reason[number]:
            report.troubles.append(f"{_said(group)}: {answer.reason[number]}")
    transaction.on_commit(partial(wake, "forecasts"))


def _said(group: _Group) -> str:
    return str(group.model) if group.model is not None else f"design {group.key.design}, {group.key.kind_of_cut}"


def _law(group: _Group, answer: Fit, row: int) -> Law:
    broken, total = sum(life.broke for life in group.lives), sum(life.minutes for life in group.lives)
    breaks, watched = breakage_belief(broken, total, group.start.breaks, group.start.break_minutes)
    return Law(
        mean=np.append(answer.coefficients[row], answer.log_shape[row]),
        covariance=answer.covariance[row],
        reference=group.start.reference,
        breaks=float(breaks),
        break_minutes=float(watched),
        source=group.start.source,
    )


def _save_one(group: _Group, answer: Fit, row: int) -> None:
    worn, broken = sum(life.worn for life in group.lives), sum(life.broke for life in group.lives)
    law = _law(group, answer, row)
    parameters, covariance = written(law, seen=_seen(group, law))
    standing = LifeModel.Standing.FITTED if worn else LifeModel.Standing.PRIOR
    values: Mapping[str, Any] = {
        "standing": standing if answer.converged[row] else LifeModel.Standing.FALLBACK,
        "reason": str(answer.reason[row]),
        "prior": group.start.prior,
        "prior_source": group.start.source[:160],
        "parameters": parameters,
        "covariance": covariance,
        "ended": worn,
        "broken": broken,
        "censored": len(group.lives) - worn - broken,
        "fitted_at": clock.now(),
        "data_mark": group.mark,
    }
    key = {"design_id": group.key.design, "material_id": group.key.material, "kind_of_cut": group.key.kind_of_cut}
    model, made = LifeModel.objects.select_for_update().get_or_create(**key, defaults=values)
    if not made:
        for name, value in values.items():
            setattr(model, name, value)
        model.version += 1
        model.save()
    group.model = model


def _seen(group: _Group, law: Law) -> dict[int, float]:
    """Exposure that the fit already counted, of the edges still in use: their forecasts must not count it twice."""
    return {
        life.edge: sum(
            stretch.minutes * float(np.exp(-np.dot(_covariates(stretch, group), law.mean[:-1])))
            for stretch in life.stretches
        )
        for life in group.lives
        if life.in_use
    }
