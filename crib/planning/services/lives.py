"""The flag that the lives of a design fall: raised once with its evidence, kept up to date, cleared with the reason."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from django.db import IntegrityError, transaction

from crib.core import clock
from crib.life.models import LifeModel
from crib.life.selectors import Falling, falling_lives
from crib.planning.models import Flag
from crib.planning.services.flags import Written


def refresh_life_flags() -> Written:
    """Make the open flags of falling lives those that the life models bear out; three queries when none changes.

    One is raised where the evidence is sure among all the groups of the shop, and stands as long as there is evidence.
    """
    done = Written()
    falling: dict[int, list[Falling]] = defaultdict(list)
    for one in falling_lives():
        falling[one.model.design_id].append(one)
    standing = {flag.design_id: flag for flag in Flag.objects.filter(kind=Flag.Kind.LIVES_FALL, cleared_at=None)}
    for design, groups in falling.items():
        flag = standing.get(design)
        if flag is not None or any(one.sure for one in groups):
            done += _write(flag, [one.model for one in groups])
    for design, flag in standing.items():
        if design not in falling:
            flag.cleared_at, flag.cleared_because = clock.now(), _reason(flag)
            flag.save(update_fields=["cleared_at", "cleared_because"])
            done.cleared += 1
    return done


def _write(flag: Flag | None, models: Sequence[LifeModel]) -> Written:
    first = models[0]
    metal = f"{first.material.name}{', reground' if first.reground else ''}"
    says = f"{first.design.code} in {metal}: {first.drift['words']}"[:300]
    evidence: dict[str, Any] = {"groups": [_group(model) for model in models]}
    if flag is None:
        try:
            with transaction.atomic():
                Flag.objects.create(
                    design=models[0].design, kind=Flag.Kind.LIVES_FALL, raised_at=clock.now(), says=says,
                    evidence=evidence,
                )  # fmt: skip
        except IntegrityError:
            # Another worker raised it in the same moment.
            return Written()
        return Written(raised=1)
    if (flag.says, flag.evidence) != (says, evidence):
        flag.says, flag.evidence = says, evidence
        flag.save(update_fields=["says", "evidence"])
    return Written()


def _group(model: LifeModel) -> dict[str, Any]:
    kept = ("since", "edges_since", "ended_since", "factor", "low", "high", "p", "lot")
    about = {"model": model.pk, "material": model.material.name, "kind_of_cut": model.kind_of_cut}
    return about | {name: model.drift[name] for name in kept}


def _reason(flag: Flag) -> str:
    models = LifeModel.objects.filter(pk__in=[group["model"] for group in flag.evidence.get("groups", [])])
    if any("learn_since" in model.drift for model in models):
        return "Lives are learnt anew from the edges put in since they fell."
    return "Lives are no longer shorter than chance explains."
