"""The refit: what the ended and censored edges of every group say, learnt in one batch with what their relatives say.

It reads the running totals, never the runs, and reads them outside of any transaction, so nobody who logs a run waits
for it. A tree of groups in which no edge has changed since the last fit is left alone. Each batch of groups is saved by
itself, so a refit that was killed goes on where it stopped and one run twice does nothing the second time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Q

from crib.core import clock
from crib.core.wake import wake
from crib.floor.models import Edge
from crib.floor.selectors import counted_again_since
from crib.life.laws import Key, Law, law_of, written
from crib.life.learning import MARKED, Group, Learnt, covariates, fit_groups, groups_of_shop
from crib.life.models import ForecastScore, LifeModel, RefitMark
from crib.life.services.drifting import note_drift
from crib.life.services.wearing import learn_wear
from crib.people.models import Person
from crib.people.services import record_change

SAVED_AT_ONCE = 100
# In standard deviations of what is believed; a smaller move changes no forecast that anybody would notice.
REALLY_MOVED = 0.02
# Not more often by itself than this; a refit that was asked for does not wait.
BETWEEN_REFITS = timedelta(minutes=10)
# An end is written down a moment before others can read it.
WRITING_TAKES = timedelta(minutes=1)
COUNTS = ("standing", "reason", "prior_source", "ended", "broken", "censored")


@dataclass(slots=True)
class RefitReport:
    """What a refit did; `troubles` are the groups that could not be fitted, with the reason.

    `refitted` have a law that really moved, `held` were fitted and did not move, `unchanged` needed no fit. `trees` are
    the sets of relatives fitted together, in `rounds` of telling each other, with Newton `steps` in all.
    """

    groups: int = 0
    refitted: int = 0
    held: int = 0
    unchanged: int = 0
    edges: int = 0
    trees: int = 0
    rounds: int = 0
    steps: int = 0
    troubles: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """For programs."""
        return asdict(self)


def refit_all(*, keys: Sequence[Key] | None = None) -> RefitReport:
    """Fit every group of which an edge, or a relative's, changed since its last fit; the trees of `keys` alone when
    given.
    """
    cut_short = _note_start()
    groups = groups_of_shop()
    if keys is not None:
        wanted = {group.tree for group in groups if group.key in set(keys)}
        groups = [group for group in groups if group.tree in wanted]
    trees = {group.tree for group in groups if not _stands(group)}
    changed = [group for group in groups if group.tree in trees]
    report = RefitReport(groups=len(groups), unchanged=len(groups) - len(changed), trees=len(trees))
    if changed:
        learnt, effort = fit_groups(changed)
        report.steps, report.rounds = effort.steps, effort.rounds
        for first in range(0, len(changed), SAVED_AT_ONCE):
            batch = slice(first, first + SAVED_AT_ONCE)
            _save(list(zip(changed[batch], learnt[batch], strict=True)), report)
    # A refit cut short may have left fits behind that stand, but not what their wear readings teach.
    learn_wear(keys=[group.key for group in (groups if cut_short else changed)])
    note_drift(keys=keys)
    _note_end()
    return report


@transaction.atomic
def ask_for_refit(*, who: Person) -> None:
    """Have the worker refit soon; the one who asked is written down."""
    RefitMark.objects.update_or_create(pk=1, defaults={"refit_asked_at": clock.now(), "refit_asked_by": who})
    record_change(who=who, what="life models", which="all", act="asked for a refit")
    transaction.on_commit(partial(wake, "refit"))


def refit_is_due() -> bool:
    """Whether a refit was asked for, was begun and never ended, or has an end, a new group or a new way of fitting.

    By itself one comes due at most ten minutes after an edge's end.
    """
    mark = RefitMark.objects.filter(pk=1).first() or RefitMark()
    asked, started = mark.refit_asked_at, mark.refit_started_at
    # One that was asked for while another ran may have come too late for it.
    if _after(asked, started) or _after(started, mark.refit_ended_at):
        return True
    if started is not None and clock.now() < started + BETWEEN_REFITS:
        return False
    return _something_new(None if started is None else started - WRITING_TAKES)


def _after(moment: datetime | None, other: datetime | None) -> bool:
    return moment is not None and (other is None or moment > other)


def _something_new(since: datetime | None) -> bool:
    if LifeModel.objects.exclude(data_mark__startswith=MARKED).exists():
        return True
    # An end may be written down long after it came; its forecasts are scored as soon as others can read it.
    if since is not None and ForecastScore.objects.filter(scored_at__gt=since + WRITING_TAKES).exists():
        return True
    ended = Edge.objects.filter(state=Edge.State.ENDED)
    if since is not None:
        if counted_again_since(since):
            return True
        ended = ended.filter(Q(ended_at__gt=since) | Q(excused_at__gt=since))
    return ended.filter(totals__minutes__gt=0).exists()


def laws_by(*, until: datetime) -> dict[Key, Law]:
    """What the edges that had ended by then would have taught; nothing is saved."""
    groups = groups_of_shop(until=until)
    if not groups:
        return {}
    learnt, _ = fit_groups(groups)
    return {group.key: one.law for group, one in zip(groups, learnt, strict=True)}


def _note_start() -> bool:
    """Answers whether the refit before this one never came to its end."""
    mark, _ = RefitMark.objects.get_or_create(pk=1)
    cut_short = _after(mark.refit_started_at, mark.refit_ended_at)
    mark.refit_started_at = clock.now()
    mark.save(update_fields=["refit_started_at"])
    return cut_short


def _note_end() -> None:
    RefitMark.objects.filter(pk=1).update(refit_ended_at=clock.now())


def _stands(group: Group) -> bool:
    return group.model is not None and group.model.data_mark == group.mark


@transaction.atomic
def _save(batch: Sequence[tuple[Group, Learnt]], report: RefitReport) -> None:
    marks = []
    for group, learnt in batch:
        report.edges += len(group.lives)
        if learnt.trouble:
            report.troubles.append(f"{_said(group)}: {learnt.trouble}")
        if _stands(group):
            report.unchanged += 1
        elif group.model is None or _moved(group.model, group, learnt):
            _save_one(group, learnt)
            report.refitted += 1
        else:
            group.model.data_mark = group.mark
            marks.append(group.model)
            report.held += 1
    LifeModel.objects.bulk_update(marks, ["data_mark"])
    if report.refitted:
        transaction.on_commit(partial(wake, "forecasts"))


def _said(group: Group) -> str:
    return str(group.model) if group.model is not None else f"design {group.key.design}, {group.key.kind_of_cut}"


def _moved(model: LifeModel, group: Group, learnt: Learnt) -> bool:
    """Whether forecasts would come out differently: other counts or words, or a law that moved by more than a hair."""
    values, before = _values(group, learnt), law_of(model)
    if any(getattr(model, name) != values[name] for name in COUNTS) or "width" not in model.parameters:
        return True
    law = learnt.law
    if dict(before.reference) != dict(law.reference) or before.breaks_by_entry != law.breaks_by_entry:
        return True
    old, new = (np.sqrt(np.maximum(np.diagonal(one.covariance), 1e-300)) for one in (before, law))
    off = np.abs(law.mean - before.mean) / np.minimum(old, new)
    # The uncertainty of a rate of breaks is its own over the root of the breaks counted.
    rate = abs(math.log(law.break_minutes / before.break_minutes)) * math.sqrt(law.breaks)
    return bool(max(off.max(), np.abs(np.log(new / old)).max(), rate) > REALLY_MOVED)


def _values(group: Group, learnt: Learnt) -> Mapping[str, Any]:
    law = learnt.law
    parameters, covariance = written(law, seen=_seen(group, law))
    standing = LifeModel.Standing.FITTED if group.worn else LifeModel.Standing.PRIOR
    return {
        "standing": LifeModel.Standing.FALLBACK if learnt.trouble else standing,
        "reason": (learnt.trouble or group.remark)[:200],
        "prior": group.start.prior,
        "prior_source": group.start.source[:160],
        "parameters": parameters | {"pooled": learnt.pooled},
        "covariance": covariance,
        "ended": group.worn,
        "broken": group.broken,
        "censored": len(group.lives) - group.worn - group.broken,
        "fitted_at": clock.now(),
        "data_mark": group.mark,
    }


def _save_one(group: Group, learnt: Learnt) -> None:
    values = _values(group, learnt)
    about = group.key
    key = {
        "design_id": about.design,
        "material_id": about.material,
        "kind_of_cut": about.kind_of_cut,
        "reground": about.reground,
    }
    model, made = LifeModel.objects.select_for_update().get_or_create(**key, defaults=values)
    if not made:
        for name, value in values.items():
            setattr(model, name, value)
        model.version += 1
        model.save(update_fields=[*values, "version"])
    group.model = model


def _seen(group: Group, law: Law) -> dict[int, float]:
    """Exposure that the fit already counted, of the edges still in use: their forecasts must not count it twice."""
    return {
        life.edge: sum(
            stretch.minutes * float(np.exp(-np.dot(covariates(stretch, group), law.mean[:-1])))
            for stretch in life.stretches
        )
        for life in group.lives
        if life.in_use
    }
