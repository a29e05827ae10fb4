"""What the shop has learnt: each group's curve with its band, the edges behind it, and how past forecasts held."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from calc.life.batch import believed_edges_to_stage
from calc.life.kaplan_meier import lives_seen
from calc.life.predictive import Belief, life_survival, remaining, survival_band
from crib.floor.models import Edge, Operation
from crib.life.changing import change_points
from crib.life.laws import Duty, Key, Law, beliefs, duty_of, law_of
from crib.life.models import Forecast, LifeModel
from crib.life.selectors.accuracy import Held, held_by_model
from crib.life.selectors.groups import EdgeLife, lives_by_group

STEPS = 60


@dataclass(frozen=True, slots=True)
class CurveRow:
    """One group on the list: its model, the life that one in ten, half and nine in ten have reached, and its record."""

    model: LifeModel
    life_10: float
    life_50: float
    life_90: float
    shape: float
    held: Held


@dataclass(frozen=True, slots=True)
class SeenEdge:
    """One edge behind a curve: minutes as cut and as they count at the curve's duty, and where it stands on it."""

    edge: int
    name: str
    minutes: float
    counted: float
    outcome: str
    state: str
    outlasted: float

    @property
    def ended(self) -> bool:
        return self.outcome in (Edge.Outcome.WORN, Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN)

    @property
    def words(self) -> str:
        return Edge.Outcome(self.outcome).label if self.outcome else "Still in use"


@dataclass(frozen=True, slots=True)
class LifeCurve:
    """Chance to outlast each age at one duty, with the range in which the curve may lie."""

    minutes: list[float]
    outlasted: list[float]
    low: list[float]
    high: list[float]
    duty: Duty
    seen: list[SeenEdge] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class EdgeOutlook:
    """What an edge's own page adds to its forecast: the curve of its duty, and edges to lay ready for the batch."""

    curve: LifeCurve
    used: float
    change_at: float | None
    edges_expected: float | None = None
    edges_to_stage: int | None = None


def all_curves() -> list[CurveRow]:
    """Every group with its typical life and its record; a fixed number of queries."""
    models = list(
        LifeModel.objects.select_related("design", "material", "prior").order_by(
            "design__code", "material__name", "kind_of_cut"
        )
    )
    if not models:
        return []
    laws = [law_of(model) for model in models]
    lives = remaining(np.zeros(len(laws)), beliefs(laws, [_reference(law) for law in laws]))
    held = held_by_model()
    return [
        CurveRow(model, float(life[0]), float(life[1]), float(life[2]), law.shape, held.get(model.pk, Held()))
        for model, law, life in zip(models, laws, lives, strict=True)
    ]


def _reference(law: Law) -> Duty:
    return Duty(*(law.reference.get(name) for name in Duty._fields))


def curve_of(*, model: LifeModel) -> LifeCurve:
    """The group's curve at its typical duty, with every edge behind it counted at that duty."""
    law = law_of(model)
    key = Key(model.design_id, model.material_id, model.kind_of_cut)
    edges = lives_by_group(keys=[key])[key]
    duty = _typical(edges, law, key)
    seen = _seen(edges, law, key, duty)
    longest = max((edge.counted for edge in seen), default=0.0)
    return _curve(beliefs([law], [duty], smooth=True), duty, longest, seen)


def _typical(edges: Sequence[EdgeLife], law: Law, key: Key) -> Duty:
    """The duty at which most of the minutes were cut; the reference where there are none."""
    spent: dict[Duty, float] = {}
    for life in edges:
        for stretch in life.stretches:
            if (stretch.material, stretch.kind_of_cut) == (key.material, key.kind_of_cut):
                spent[stretch.duty] = spent.get(stretch.duty, 0.0) + stretch.minutes
    return max(spent, key=lambda duty: spent[duty]) if spent else _reference(law)


def _seen(edges: Sequence[EdgeLife], law: Law, key: Key, duty: Duty) -> list[SeenEdge]:
    if not edges:
        return []
    there = law.log_scale(duty)
    counted = [
        sum(
            stretch.minutes
            * math.exp(min(there - _log_scale(stretch.duty, (stretch.material, stretch.kind_of_cut), law, key), 20.0))
            for stretch in life.stretches
        )
        for life in edges
    ]
    real = [life.worn or life.broke for life in edges]
    steps = lives_seen(counted, real)
    at = np.searchsorted(steps.minutes, counted, side="right") - 1
    outlasted = np.concatenate(([1.0], steps.outlasted))[at + 1]
    names = {
        edge.pk: f"{edge.item.label} edge {edge.number}"
        for edge in Edge.objects.filter(pk__in=[life.edge for life in edges]).select_related("item")
    }
    return sorted(
        (
            SeenEdge(life.edge, names[life.edge], life.minutes, minutes, life.outcome, life.state, float(share))
            for life, minutes, share in zip(edges, counted, outlasted, strict=True)
        ),
        key=lambda edge: edge.counted,
    )


def _log_scale(duty: Duty, group: tuple[int, str], law: Law, key: Key) -> float:
    """Work in another metal counts as at the reference, as in the refit."""
    return law.log_scale(duty) if group == (key.material, key.kind_of_cut) else float(law.mean[0])


def _curve(believed: Belief, duty: Duty, longest: float, seen: list[SeenEdge]) -> LifeCurve:
    nearly_all = float(remaining(np.zeros(1), believed, percent=[97])[0, 0])
    ages = np.linspace(0.0, max(min(nearly_all, 20 * max(longest, 1.0)), 1.05 * longest, 1.0), STEPS)
    outlasted = life_survival(ages, believed)[0]
    low, high = survival_band(ages, believed)[0]
    return LifeCurve(ages.tolist(), outlasted.tolist(), low.tolist(), high.tolist(), duty, seen)


def outlook_of(*, edge: Edge) -> EdgeOutlook | None:
    """The curve of an edge's present duty with its own place on it; None while there is no forecast."""
    forecast, operation = getattr(edge, "forecast", None), edge.operation
    if forecast is None or forecast.model is None or operation is None:
        return None
    law, duty = law_of(forecast.model), duty_of(operation)
    believed = beliefs([law], [duty])
    point = float(change_points([(operation, law)]).minutes[0])
    ahead = forecast.change_by_minutes
    # Where the edge stands at this duty: from its change-by as forecast, so that page and board agree.
    change_at = None if math.isinf(point) else max(point, operation.minutes_per_part or 0.0)
    used = _stands_at(forecast, change_at)
    curve = _curve(beliefs([law], [duty], smooth=True), duty, max(used, used + (ahead or 0.0)), [])
    expected, ready = _to_stage(operation, believed, used, change_at, forecast.batch_parts_left)
    return EdgeOutlook(curve, used, change_at, expected, ready)


def _stands_at(forecast: Forecast, change_at: float | None) -> float:
    """Minutes behind a forecast's life used; run to the end, that is a share of what half the edges reach."""
    share = forecast.life_used
    if not share:
        return forecast.minutes_used
    if change_at is not None:
        return share * change_at
    return share / (1 - share) * (forecast.minutes_left_50 or 0.0) if share < 1 else forecast.minutes_used


MOST_PARTS_STAGED = 3000


def _to_stage(
    operation: Operation, believed: Belief, used: float, change_at: float | None, parts: int | None
) -> tuple[float | None, int | None]:
    each = operation.minutes_per_part
    if not each or not parts or parts > MOST_PARTS_STAGED:
        return None, None
    count = None if change_at is None else max(int(change_at / each + 1e-9), 1)
    if each > float(believed.scale.min()) * 2:
        return None, None  # an edge hardly ever finishes a part; there is no sense in a number
    return believed_edges_to_stage(used, parts, each, believed, count)
