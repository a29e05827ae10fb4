"""How each edge of a group stood to its law, in the order they were put in, and what the last look at drift found."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, QuerySet

from calc.life.drift import not_by_chance, running_residuals
from crib.floor.models import Edge
from crib.life.exposure import MOST_LOG
from crib.life.laws import Key, Law, key_of, law_of
from crib.life.models import LifeModel
from crib.life.selectors.groups import EdgeLife, lives_by_group

# Of ends among fewer edges than this no change can be told.
LEAST_ENDED = 8


@dataclass(frozen=True, slots=True)
class Stood:
    """One edge against its group's law: the summed chance of an end where it stands, and whether it ended."""

    edge: int
    put_in_at: datetime
    ended: bool
    chance: float
    minutes: float
    lot: str


@dataclass(frozen=True, slots=True)
class Drift:
    """Evidence that lives fall or rise, as it is kept with the model."""

    since: datetime
    edges_since: int
    ended_since: int
    factor: float
    low: float
    high: float
    p_value: float
    falling: bool
    words: str


@dataclass(frozen=True, slots=True)
class DriftShown:
    """A drift with what its chart draws: ends beyond what the law expected, edge by edge."""

    drift: Drift
    edges: tuple[Stood, ...]
    beyond: tuple[float, ...]
    began_at: int


def how_edges_stood(*, models: Sequence[LifeModel]) -> dict[int, list[Stood]]:
    """Every edge behind each model, in the order they were put in; a fixed number of queries."""
    if not models:
        return {}
    by_key = {key_of(model): model for model in models}
    lives = lives_by_group(keys=list(by_key))
    designs = {model.design_id for model in models}
    lots = dict(Edge.objects.filter(item__design__in=designs, minutes__gt=0).values_list("pk", "item__lot"))
    found: dict[int, list[Stood]] = {}
    for key, model in by_key.items():
        law = law_of(model)
        rows = [_stood(life, law, key, lots.get(life.edge, "")) for life in lives[key]]
        found[model.pk] = sorted(rows, key=lambda one: (one.put_in_at, one.edge))
    return found


def _stood(life: EdgeLife, law: Law, key: Key, lot: str) -> Stood:
    """Exposed as the refit counts it, minutes over the scale at each duty: more speed is not taken for a fall."""
    exposure = sum(one.minutes * math.exp(min(-one.log_scale(law, key), MOST_LOG)) for one in life.stretches)
    summed = min(exposure, 1e6) ** law.shape + _chance_of_break(life, law)
    first = life.put_in_at or min(one.since for one in life.stretches if one.since)
    return Stood(life.edge, first, life.worn or life.broke, summed, life.minutes, lot)


def _chance_of_break(life: EdgeLife, law: Law) -> float:
    if law.breaks_by_entry and life.entries is not None:
        return law.breaks / law.break_entries * life.entries
    return law.breaks / max(law.break_minutes, 1.0) * life.minutes


def due_for_drift(*, keys: Iterable[Key] | None = None) -> list[LifeModel]:
    """Models whose data changed since drift was last looked for; those of `keys` alone when given. One query."""
    models: QuerySet[LifeModel] = LifeModel.objects.select_related("design")
    wanted = None if keys is None else set(keys)
    if wanted is not None:
        models = models.filter(design__in={key.design for key in wanted})
    return [
        model
        for model in models.order_by("pk")
        if (wanted is None or key_of(model) in wanted)
        and model.drift.get("mark", "") != model.data_mark
        and (model.drift or enough_ends(model))
    ]


def enough_ends(model: LifeModel) -> bool:
    """Whether so many edges have ended that a change could be told from chance."""
    return model.ended + model.broken >= LEAST_ENDED


def drift_of(model: LifeModel) -> Drift | None:
    """The evidence kept with a model; None where its lives neither fall nor rise."""
    kept: dict[str, Any] = model.drift
    if "direction" not in kept:
        return None
    return Drift(
        since=datetime.fromisoformat(kept["since"]),
        edges_since=kept["edges_since"],
        ended_since=kept["ended_since"],
        factor=kept["factor"],
        low=kept["low"],
        high=kept["high"],
        p_value=kept["p"],
        falling=kept["direction"] == "fall",
        words=kept["words"],
    )


@dataclass(frozen=True, slots=True)
class LearnsSince:
    """From when on a group learns, who said so and what showed it then."""

    since: datetime
    by: str
    words: str


def learns_since(model: LifeModel) -> LearnsSince | None:
    """Where a group learns only from edges put in since a day; None where it learns from all."""
    kept: dict[str, Any] = model.drift
    if "learn_since" not in kept:
        return None
    return LearnsSince(datetime.fromisoformat(kept["learn_since"]), kept["learn_by"], kept["learn_words"])


def drift_shown(*, model: LifeModel) -> DriftShown | None:
    """The evidence with its edges, for the model's page."""
    drift = drift_of(model)
    if drift is None:
        return None
    edges = how_edges_stood(models=[model])[model.pk]
    beyond = running_residuals([one.ended for one in edges], [one.chance for one in edges])
    began = sum(one.put_in_at < drift.since for one in edges)
    return DriftShown(drift, tuple(edges), tuple(beyond.tolist()), began)


@dataclass(frozen=True, slots=True)
class Falling:
    """A group with evidence that its lives fall; `sure` where it holds although many groups were looked at."""

    model: LifeModel
    sure: bool


def falling_lives() -> list[Falling]:
    """Groups with evidence that lives fall, of designs still kept, the surest first; two queries."""
    kept = LifeModel.objects.filter(design__retired_at=None)
    found = list(kept.filter(drift__direction="fall").select_related("design", "material"))
    if not found:
        return []
    looked_at = kept.annotate(ends=F("ended") + F("broken")).filter(ends__gte=LEAST_ENDED).count()
    sure = not_by_chance([model.drift["p"] for model in found], max(looked_at, len(found)))
    rows = [Falling(model, bool(one)) for model, one in zip(found, sure, strict=True)]
    return sorted(rows, key=lambda one: (one.model.drift["p"], one.model.pk))
