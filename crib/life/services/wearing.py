"""What past looks at edges teach of how wear lands grow and are read, group by group."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from django.db import transaction

from calc.life.wear_habits import learn_habits
from crib.core.wake import wake
from crib.life.laws import Key
from crib.life.models import Forecast, LifeModel
from crib.life.selectors.groups import models_by_key
from crib.life.selectors.wear_seen import SeenLand, lands_seen

# A gauge error below a micrometre and its like are noise of the last digit.
DIGITS = 5


def learn_wear(*, keys: Sequence[Key]) -> int:
    """Keep with each group's model how its wear lands grow, from edges read twice or more; answers how many changed.

    Forecasts that rest on wear readings come due where it changed.
    """
    if not keys:
        return 0
    models, seen = models_by_key(keys), lands_seen(keys=keys)
    changed = []
    for key, model in sorted(models.items()):
        learnt = _learnt(seen.get(key, []))
        if learnt != model.wear:
            model.wear = learnt
            changed.append(model)
    with transaction.atomic():
        LifeModel.objects.bulk_update(changed, ["wear"], batch_size=100)
        due = Forecast.objects.filter(model__in=changed, wear_readings__gt=0).update(stale=True)
        if due:
            transaction.on_commit(partial(wake, "forecasts"))
    return len(changed)


def _learnt(seen: Sequence[SeenLand]) -> dict[str, float | int]:
    """Empty where no edge was read twice: the habits are then as assumed."""
    if not seen:
        return {}
    # Each edge is held against its own line, so that the pace at which its minutes count does not matter.
    limit = max(one.limit for one in seen)
    found = learn_habits(
        [one.edge for one in seen],
        [one.minutes for one in seen],
        [one.wear_land_mm for one in seen],
        limit,
    )
    if not found.edges:
        return {}
    names = {name: round(float(value), DIGITS) for name, value in found.habits._asdict().items()}
    return {**names, "edges": found.edges, "readings": found.readings}
