"""What forecasts were worth: how far off they were, beside naive rivals, on the same forecasts of the same edges.

Everything is summed in the database. For the range that chance leaves, the sums come by lots of edges, so that the
losses of one edge stay together however many there are (docs/decisions/forecasts-beside-rivals.md).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from django.db.models import Case, Count, F, Q, QuerySet, Sum, Value, When
from django.utils import timezone

from calc.life.scoring import skill
from crib.core import clock
from crib.life.models import ForecastScore, LifeModel
from crib.life.selectors.accuracy import FEW, Held, held, held_overall

LOTS = 200
MONTHS = 24
RIVALS = {"fixed_count": "the fixed count", "mean_life": "the mean life", "last_life": "the last life"}


@dataclass(frozen=True, slots=True)
class Against:
    """Our forecasts beside one rival's, where both had an answer: mean minutes off, and the share that ours save."""

    rival: str
    forecasts: int = 0
    edges: int = 0
    ours: float | None = None
    theirs: float | None = None
    skill: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def name(self) -> str:
        return RIVALS[self.rival]

    @property
    def enough(self) -> bool:
        """Whether there are edges enough for the skill to mean anything."""
        return self.edges >= FEW and self.skill is not None

    @property
    def beats_us(self) -> bool:
        return self.enough and self.skill is not None and self.skill < 0

    @property
    def skill_words(self) -> str:
        return "" if self.skill is None else f"{self.skill:.0%}".replace("-", "−")

    @property
    def words(self) -> str:
        """One sentence where the rival would have served better, else nothing."""
        if not self.beats_us or self.ours is None or self.theirs is None:
            return ""
        chance = " Chance alone may explain it." if self.high is None or self.high > 0 else ""
        return (
            f"Here {self.name} would have served better: {self.theirs:.3g} min off on the average against "
            f"{self.ours:.3g} min of the forecasts, over {self.edges} edges.{chance}"
        )


@dataclass(frozen=True, slots=True)
class Worth:
    """What the forecasts of one group, or of one point of life, were worth; minutes."""

    forecasts: int = 0
    crps: float | None = None
    pinball_10: float | None = None
    pinball_50: float | None = None
    pinball_90: float | None = None
    against: tuple[Against, ...] = tuple(Against(rival) for rival in RIVALS)

    @property
    def better_rival(self) -> str:
        """What to say of the rival that would have served best, where one would have."""
        ahead = [one for one in self.against if one.beats_us]
        return max(ahead, key=lambda one: -(one.skill or 0.0)).words if ahead else ""


@dataclass(frozen=True, slots=True)
class Judged:
    """One line of the accuracy page: whose forecasts, how they held, and what they were worth."""

    of: Any
    held: Held
    worth: Worth

    @property
    def warnings(self) -> list[str]:
        dishonest = [f"{self.held.words}."] if self.held.verdict in ("narrow", "wide") else []
        return dishonest + ([self.worth.better_rival] if self.worth.better_rival else [])


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How right the forecasts were: overall, by group, by point of life, and by the month in which they were kept."""

    overall: Judged
    groups: list[Judged] = field(default_factory=list)
    points: list[Judged] = field(default_factory=list)
    months: list[Judged] = field(default_factory=list)


def accuracy() -> Accuracy:
    """The whole record; a fixed number of queries, and none that fetches single scores."""
    scores = ForecastScore.objects.filter(scored_at__isnull=False)
    worth, overall = _with_ranges(scores)
    groups_held = held(scores, "model")
    models = LifeModel.objects.select_related("design", "material").in_bulk(
        {model for model in worth if model is not None}
    )
    groups = [Judged(models[pk], groups_held.get((pk,), Held()), one) for pk, one in worth.items() if pk in models]
    return Accuracy(
        overall=Judged(None, held_overall(), overall),
        groups=sorted(groups, key=lambda one: (str(one.of.design.code), str(one.of.material), one.of.cut_words)),
        points=_by(scores, "point"),
        months=_by_month(scores),
    )


def worth_and_record() -> tuple[dict[int, Worth], Judged]:
    """What each group's forecasts were worth, and how all of them held; three queries."""
    worth, overall = _with_ranges(ForecastScore.objects.filter(scored_at__isnull=False))
    return {pk: one for pk, one in worth.items() if pk is not None}, Judged(None, held_overall(), overall)


def worth_by_model(*, model: LifeModel | None = None) -> dict[int, Worth]:
    """What each group's forecasts were worth, or one group's; one query."""
    scores = ForecastScore.objects.filter(scored_at__isnull=False, model__isnull=False)
    return _with_ranges(scores if model is None else scores.filter(model=model))[0]


def _by(scores: QuerySet[ForecastScore], name: str) -> list[Judged]:
    all_held, worth = held(scores, name), _worth(_sums(scores, name))
    return [Judged(key, all_held.get((key,), Held()), one) for key, one in sorted(worth.items())]


def _by_month(scores: QuerySet[ForecastScore]) -> list[Judged]:
    """The last two years; the months are told apart by their beginnings, which a database compares fast."""
    zone, this = timezone.get_default_timezone(), clock.today().replace(day=1)
    months = [this]
    while len(months) < MONTHS:
        months.append((months[-1] - timedelta(days=1)).replace(day=1))
    begins = [datetime(month.year, month.month, 1, tzinfo=zone) for month in months]
    place = Case(*(When(kept_at__gte=begin, then=Value(number)) for number, begin in enumerate(begins)))
    lines = _by(scores.filter(kept_at__gte=begins[-1]).annotate(month=place), "month")
    return [Judged(months[line.of], line.held, line.worth) for line in reversed(lines)]


def _sums(scores: QuerySet[ForecastScore], *by: str) -> list[dict[str, Any]]:
    """Counts, means and the sums of both rivals' losses where both had an answer."""
    asked: dict[str, Any] = {
        "forecasts": Count("pk"), "scored": Count("crps"), "all_crps": Sum("crps"),
        "ends": Count("pinball_50"),
    }  # fmt: skip
    asked |= {f"sum_pinball_{level}": Sum(f"pinball_{level}") for level in (10, 50, 90)}
    for rival in RIVALS:
        both = Q(crps__isnull=False) & Q(**{f"{rival}_crps__isnull": False})
        asked[f"{rival}_pairs"] = Count("pk", filter=both)
        asked[f"{rival}_edges"] = Count("edge", filter=both, distinct=True)
        asked[f"{rival}_ours"] = Sum("crps", filter=both)
        asked[f"{rival}_theirs"] = Sum(f"{rival}_crps", filter=both)
    return [dict(row, of=tuple(row[name] for name in by)) for row in scores.values(*by).annotate(**asked).order_by()]


def _worth(rows: Sequence[dict[str, Any]]) -> dict[Any, Worth]:
    """Without ranges: for tables by point and month."""
    return {row["of"][0]: _one([row]) for row in rows}


def _with_ranges(scores: QuerySet[ForecastScore]) -> tuple[dict[Any, Worth], Worth]:
    """By group, and all together, with the range of each skill."""
    rows = _sums(scores.annotate(lot=F("edge_id") % LOTS), "model", "lot")
    by_model: dict[Hashable, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        by_model[row["model"]].append(row)
    if not rows:
        return {}, Worth()
    place = {model: column for column, model in enumerate(by_model)}
    ours, theirs = np.zeros((2, LOTS, len(place) + 1, len(RIVALS)))
    for row in rows:
        at = row["lot"], place[row["model"]]
        ours[at] = [row[f"{rival}_ours"] or 0.0 for rival in RIVALS]
        theirs[at] = [row[f"{rival}_theirs"] or 0.0 for rival in RIVALS]
    ours[:, -1], theirs[:, -1] = ours.sum(axis=1), theirs.sum(axis=1)
    _, ranges = skill(ours.reshape(LOTS, -1), theirs.reshape(LOTS, -1))
    spans = ranges.reshape(len(place) + 1, len(RIVALS), 2)
    return {model: _one(by_model[model], spans[column]) for model, column in place.items()}, _one(rows, spans[-1])


def _one(rows: Sequence[dict[str, Any]], spans: Any = None) -> Worth:
    def total(name: str) -> float:
        return float(sum(row[name] or 0 for row in rows))

    def mean(name: str, count: str) -> float | None:
        return total(name) / total(count) if total(count) else None

    against = []
    for column, rival in enumerate(RIVALS):
        pairs, theirs = int(total(f"{rival}_pairs")), total(f"{rival}_theirs")
        share = 1 - total(f"{rival}_ours") / theirs if theirs else None
        edges = int(total(f"{rival}_edges"))
        span = None if spans is None or share is None or edges < FEW else spans[column]
        low, high = (None, None) if span is None else map(float, span)
        ours, others = (mean(f"{rival}_{whose}", f"{rival}_pairs") for whose in ("ours", "theirs"))
        against.append(Against(rival, pairs, edges, ours, others, share, low, high))
    return Worth(
        forecasts=int(total("forecasts")),
        crps=mean("all_crps", "scored"),
        **{f"pinball_{level}": mean(f"sum_pinball_{level}", "ends") for level in (10, 50, 90)},
        against=tuple(against),
    )
