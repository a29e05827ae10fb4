"""What the shop has learnt: each group's curve with its band, the edges behind it, and how past forecasts held."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from calc.errors import WorkingError
from calc.life.kaplan_meier import lives_seen
from calc.life.predictive import Belief, life_survival, remaining, survival_band
from calc.life.staging import batch_edges_to_stage
from crib.floor.models import Edge, Operation
from crib.life.changing import change_count, change_points
from crib.life.laws import Duty, Key, Law, beliefs, duty_of, key_of, law_of
from crib.life.models import Forecast, LifeModel
from crib.life.selectors.accuracy import Held, held_by_model
from crib.life.selectors.groups import EdgeLife, lives_by_group
from crib.life.selectors.skill import Judged, Worth, worth_and_record

STEPS = 60
# With fewer edges still watched than this, the stairs without a law are chance.
WATCHED = 3
NO_DUTY = Duty(*[None] * len(Duty._fields))


@dataclass(frozen=True, slots=True)
class CurveRow:
    """One group on the list: its model, the life that one in ten, half and nine in ten have reached, and its record."""

    model: LifeModel
    life_10: float
    life_50: float
    life_90: float
    shape: float
    held: Held
    worth: Worth

    @property
    def attention(self) -> list[str]:
        """Why somebody should look at it; nothing where all is well."""
        unfitted = ["The lives could not be fitted."] if self.model.standing == LifeModel.Standing.FALLBACK else []
        falls = ["Lives are falling."] if self.model.drift.get("direction") == "fall" else []
        return falls + unfitted + Judged(self.model, self.held, self.worth).warnings


@dataclass(frozen=True, slots=True)
class SeenEdge:
    """One edge behind a curve: minutes as cut and as they count at the curve's duty, and where it stands on it.

    Its own duty is the one at which most of its minutes were cut; `at_its_speed` are its minutes as they count at its
    own speed, feed and depth being the reference's.
    """

    edge: int
    name: str
    minutes: float
    counted: float
    outcome: str
    state: str
    outlasted: float
    excuse: str = ""
    duty: Duty = NO_DUTY
    at_its_speed: float | None = None
    parts: int = 0
    lot: str = ""
    wear_land_mm: float | None = None

    @property
    def ended(self) -> bool:
        return not self.excuse and self.outcome in (Edge.Outcome.WORN, Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN)

    @property
    def look(self) -> Literal["", "broken", "excused"]:
        """How it is drawn, where not as an edge that ended or was still good."""
        if self.excuse:
            return "excused"
        return "broken" if self.outcome in (Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN) else ""

    @property
    def words(self) -> str:
        if self.excuse:
            said = f"{Edge.Outcome(self.outcome).label}, left out: {Edge.Excuse(self.excuse).label}"
            return f"{said[0]}{said[1:].lower()}"
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

    @property
    def without_a_law(self) -> tuple[list[float], list[float]]:
        """Corners of the stairs by which the edges seen fell away (Kaplan-Meier), as far as enough were watched."""
        ages = sorted(edge.counted for edge in self.seen)
        last = ages[-min(WATCHED, len(ages))] if ages else 0.0
        if not any(edge.ended and edge.counted <= last for edge in self.seen):
            return [], []
        steps = lives_seen([edge.counted for edge in self.seen], [edge.ended for edge in self.seen])
        there = steps.minutes <= last
        levels = np.concatenate(([1.0], steps.outlasted[there]))
        corners = np.concatenate(([0.0], np.repeat(steps.minutes[there], 2), [last]))
        return corners.tolist(), np.repeat(levels, 2).tolist()


@dataclass(frozen=True, slots=True)
class EdgeOutlook:
    """What an edge's own page adds to its forecast: the curve of its duty, and edges to lay ready for the batch."""

    curve: LifeCurve
    used: float
    change_at: float | None
    edges_expected: float | None = None
    edges_to_stage: int | None = None


def curves_and_record() -> tuple[list[CurveRow], Judged]:
    """Every group with its typical life and its record, and the record of all; a fixed number of queries."""
    worth, record = worth_and_record()
    models = list(
        LifeModel.objects.select_related("design", "material", "prior").order_by(
            "design__code", "material__name", "kind_of_cut", "reground"
        )
    )
    if not models:
        return [], record
    laws = [law_of(model) for model in models]
    lives = remaining(np.zeros(len(laws)), beliefs(laws, [reference_duty(law) for law in laws]))
    held = held_by_model()
    rows = [
        _row(model, law, life.tolist(), held.get(model.pk, Held()), worth.get(model.pk, Worth()))
        for model, law, life in zip(models, laws, lives, strict=True)
    ]
    return rows, record


def _row(model: LifeModel, law: Law, life: Sequence[float], held: Held, worth: Worth) -> CurveRow:
    return CurveRow(model, life[0], life[1], life[2], law.shape, held, worth)


def reference_duty(law: Law) -> Duty:
    """The duty at which a law's scale is meant."""
    return Duty(*(law.reference.get(name) for name in Duty._fields))


def curve_of(*, model: LifeModel) -> LifeCurve:
    """The group's curve at its typical duty, with every edge behind it counted at that duty."""
    law = law_of(model)
    key = key_of(model)
    edges = lives_by_group(keys=[key])[key]
    duty = _typical(edges, law, key)
    seen = _seen(edges, law, key, duty)
    longest = max((edge.counted for edge in seen), default=0.0)
    return _curve(beliefs([law], [duty], smooth=True), duty, longest, seen)


def twin_of(*, model: LifeModel) -> LifeModel | None:
    """The group of the same work with its edges new instead of reground, or the other way; None where there is none."""
    of = {"design": model.design_id, "material": model.material_id, "kind_of_cut": model.kind_of_cut}
    return LifeModel.objects.filter(reground=not model.reground, **of).first()


def _typical(edges: Sequence[EdgeLife], law: Law, key: Key) -> Duty:
    """The duty at which most of the minutes were cut; the reference where there are none."""
    spent: dict[Duty, float] = {}
    for life in edges:
        for stretch in life.stretches:
            if stretch.is_of(key):
                spent[stretch.duty] = spent.get(stretch.duty, 0.0) + stretch.minutes
    return max(spent, key=lambda duty: spent[duty]) if spent else reference_duty(law)


def _seen(edges: Sequence[EdgeLife], law: Law, key: Key, duty: Duty) -> list[SeenEdge]:
    if not edges:
        return []
    there = law.log_scale(duty)
    counted = [
        sum(stretch.minutes * math.exp(min(there - stretch.log_scale(law, key), 20.0)) for stretch in life.stretches)
        for life in edges
    ]
    real = [life.worn or life.broke for life in edges]
    steps = lives_seen(counted, real)
    at = np.searchsorted(steps.minutes, counted, side="right") - 1
    outlasted = np.concatenate(([1.0], steps.outlasted))[at + 1]
    rows = Edge.objects.select_related("item").in_bulk([life.edge for life in edges])
    found = []
    for life, minutes, share in zip(edges, counted, outlasted, strict=True):
        edge, own = rows[life.edge], _typical([life], law, key)
        found.append(
            SeenEdge(
                life.edge, f"{edge.item.label} edge {edge.number}", life.minutes, minutes, life.outcome, life.state,
                float(share), life.excuse, own, _at_its_speed(minutes, there, own, law), edge.parts, edge.item.lot,
                edge.wear_land_mm,
            )
        )  # fmt: skip
    return sorted(found, key=lambda edge: edge.counted)


def _at_its_speed(counted: float, there: float, own: Duty, law: Law) -> float | None:
    """What counts at the curve's duty, as minutes at the edge's own speed and the reference's feed and depth."""
    if not own.surface_speed or not law.reference.get("surface_speed"):
        return None
    beside = reference_duty(law)._replace(surface_speed=own.surface_speed)
    return counted * math.exp(max(min(law.log_scale(beside) - there, 20.0), -20.0))


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
    points = change_points([(operation, law)])
    point = float(points.minutes[0])
    ahead = forecast.change_by_minutes
    # Where the edge stands at this duty: from its change-by as forecast, so that page and board agree.
    change_at = None if math.isinf(point) else max(point, operation.minutes_per_part or 0.0)
    used = _stands_at(forecast, change_at)
    own_at = change_at
    if forecast.wear_readings:
        # Its own readings set its change-by, counted from now; the edges after it keep the one of fresh edges.
        used = _stands_by_wear(forecast)
        own_at = None if ahead is None else used + ahead
    curve = _curve(beliefs([law], [duty], smooth=True), duty, max(used, used + (ahead or 0.0)), [])
    count = change_count(points) if operation.minutes_per_part else None
    expected, ready = _to_stage(operation, believed, used, count, forecast)
    return EdgeOutlook(curve, used, own_at, expected, ready)


def _stands_by_wear(forecast: Forecast) -> float:
    """Minutes behind a life used that is a share of now and the minutes to the change-by, or to the middle end."""
    share = forecast.life_used or 0.0
    ahead = forecast.minutes_left_50 if forecast.change_by_minutes is None else forecast.change_by_minutes
    return share / (1 - share) * (ahead or 0.0) if share < 1 else forecast.minutes_used


def _stands_at(forecast: Forecast, change_at: float | None) -> float:
    """Minutes behind a forecast's life used; run to the end, that is a share of what half the edges reach."""
    share = forecast.life_used
    if not share:
        return forecast.minutes_used
    if change_at is not None:
        return share * change_at
    return share / (1 - share) * (forecast.minutes_left_50 or 0.0) if share < 1 else forecast.minutes_used


def _to_stage(
    operation: Operation, believed: Belief, used: float, count: int | None, forecast: Forecast
) -> tuple[float | None, int | None]:
    each, parts = operation.minutes_per_part, forecast.batch_parts_left
    if not each or not parts:
        return None, None
    ahead = math.inf if forecast.change_by_parts is None else forecast.change_by_parts
    try:
        return batch_edges_to_stage(used, ahead, parts, each, believed, count)
    except WorkingError:
        return None, None  # an edge hardly ever finishes a part; there is no sense in a number
