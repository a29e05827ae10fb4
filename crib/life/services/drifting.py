"""After a refit: do the lives of a group fall, or rise, and since when? Kept with the model, for flags and pages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import Any

from django.db import transaction
from django.utils import timezone

from calc.life.drift import Drift, find_drift
from crib.core.wake import wake
from crib.life.laws import Key, law_of
from crib.life.models import LifeModel
from crib.life.selectors.drift import Stood, drift_of, due_for_drift, enough_ends, how_edges_stood

# Evidence of a fall comes up when chance alone shows as much in one group of a hundred, and goes when it does in one of
# twenty: what lies between neither raises a flag nor clears one, so that an edge more or less does not make it flicker.
# A rise waits for surer evidence: nobody comes to harm by hearing of it later.
CERTAIN, DOUBTFUL = 0.01, 0.05
CERTAIN_RISE = 0.002
# So large a share of the edges since, and so small a one of those before, names a lot.
MOST, FEW = 0.7, 0.2


def note_drift(*, keys: Sequence[Key] | None = None) -> int:
    """Look for drift in every model whose data changed, in one array call; answers how many have evidence of it.

    A mark of the data is kept with what was found, so that a look cut short is made good by the next refit.
    """
    due = due_for_drift(keys=keys)
    models = [model for model in due if enough_ends(model)]
    edges = how_edges_stood(models=models)
    rows = [(place, one) for place, model in enumerate(models) for one in edges[model.pk]]
    found = find_drift(
        [place for place, _ in rows],
        [one.ended for _, one in rows],
        [one.chance for _, one in rows],
        [law_of(model).shape for model in models],
    )
    place = {model.pk: number for number, model in enumerate(models)}
    noted = 0
    for model in due:
        evidence = _evidence(model, found, place[model.pk], edges[model.pk]) if model.pk in place else {}
        _keep(model, evidence)
        noted += bool(evidence)
    if due:
        transaction.on_commit(partial(wake, "flags"))
    return noted


@transaction.atomic
def _keep(model: LifeModel, evidence: dict[str, Any]) -> None:
    """Beside what a lead said of it meanwhile; its other figures are the refit's."""
    now = LifeModel.objects.select_for_update().only("drift").get(pk=model.pk)
    said = {name: value for name, value in now.drift.items() if name.startswith("learn_")}
    now.drift = said | {"mark": model.data_mark} | evidence
    now.save(update_fields=["drift"])


def _evidence(model: LifeModel, found: Drift, row: int, edges: Sequence[Stood]) -> dict[str, Any]:
    before = drift_of(model)
    falling, p_value = bool(found.factor[row] < 1), float(found.p_value[row])
    stands = before is not None and before.falling == falling and p_value <= DOUBTFUL
    if found.change[row] < 0 or not (p_value <= (CERTAIN if falling else CERTAIN_RISE) or stands):
        return {}
    change = int(found.change[row])
    factor, low, high = (float(values[row]) for values in (found.factor, found.low, found.high))
    since = edges[change].put_in_at
    count, ended = len(edges) - change, int(found.ended_since[row])
    lot = _lot_since(edges[:change], edges[change:])
    return {
        "since": since.isoformat(),
        "edges_since": count,
        "ended_since": ended,
        "factor": round(factor, 4),
        "low": round(low, 4),
        "high": round(high, 4),
        "p": round(p_value, 5),
        "direction": "fall" if falling else "rise",
        "lot": lot,
        "words": _words(since, factor, low, high, count, ended, p_value, lot),
    }


def _lot_since(before: Sequence[Stood], after: Sequence[Stood]) -> str:
    """The lot that most edges since the change came from, and hardly any before; none where it is not one lot."""
    lot, count = Counter(one.lot for one in after).most_common(1)[0]
    named = lot and count >= MOST * len(after) and sum(one.lot == lot for one in before) <= FEW * len(before)
    return lot if named else ""


def _words(
    since: datetime, factor: float, low: float, high: float, count: int, ended: int, p_value: float, lot: str
) -> str:
    day = timezone.localtime(since)
    shares = sorted((abs(1 - low), abs(1 - high)))
    way = "shorter" if factor < 1 else "longer"
    said = f"Lives are about {abs(1 - factor):.0%} {way} since {day.day} {day:%B}".replace("%", " %")
    if (low < 1) == (high < 1):
        said += f" ({shares[0] * 100:.0f} to {shares[1] * 100:.0f} %, eight times in ten)"
    said += f": {count} edges put in since, {ended} of them ended. Chance shows as much in {_chance(p_value)}."
    return f"{said} Most of them are of lot {lot}." if lot else said


def _chance(p_value: float) -> str:
    return "fewer than 1 group of 1000" if p_value < 0.001 else f"about {p_value * 1000:.0f} groups of 1000"
