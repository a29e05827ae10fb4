"""How past forecasts held, with the edges that were taken off before their end counted rightly.

Edges that fail before they are changed are the short-lived ones, so the share of *ends* inside a range says little
where most edges are taken off early. A life table over where each fell in its forecast uses both: an edge taken off
counts as watched for as long as it was.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, IntegerField, QuerySet
from django.db.models.functions import Cast, Floor

from calc.life.kaplan_meier import ends_against_due, life_table
from crib.life.models import ForecastScore, LifeModel

# Below this many ends the share inside says nothing; beyond it these are the bounds of an honest 80 % range.
FEW, NARROW, WIDE = 20, 0.65, 0.95
INTERVALS = 20
# The 80 % range in intervals of a twentieth: from the 10 % value to the 90 % value.
LOW, HIGH = 2, 18
# With fewer edges still watched than this, a life table's tail is chance.
WATCHED = 8
HELD_WORDS = {
    "none": "No forecast has been scored yet",
    "few": "Too few ends yet to judge",
    "narrow": "Too sure: fewer edges end inside the range than the 80 % it promises",
    "wide": "Too unsure: nearly every edge ends inside the range",
    "fair": "Held as promised",
}
TENTHS = 10
# Of the first two tenths, which should hold one edge in five.
MUCH_EARLY, LITTLE_EARLY = 0.3, 0.1
HEAPED = {
    "narrow": "Heaped at the ends: more edges end outside the range than it says; the forecasts are too sure.",
    "wide": "Heaped in the middle: the range is wider than the edges need; the forecasts are too unsure.",
    "early": "Heaped at the left: edges end earlier than forecast; lives are believed too long.",
    "late": "Little at the left: edges end later than forecast; lives are believed too short.",
    "even": "Near even, as it should be: one edge in ten ends in each tenth of its forecast.",
}
TONES = {"none": "plain", "few": "plain", "narrow": "bad", "wide": "caution", "fair": "good"}


@dataclass(frozen=True)
class Held:
    """How forecasts held: ends, and edges taken off, by the twentieth of the forecast in which they fell.

    An edge has up to four forecasts; `edges` counts each edge that ended once.
    """

    ended: tuple[int, ...] = (0,) * INTERVALS
    off: tuple[int, ...] = (0,) * INTERVALS
    edges: int = 0

    @property
    def scored(self) -> int:
        """Forecasts whose edge ended by itself."""
        return sum(self.ended)

    @property
    def taken_off(self) -> int:
        return sum(self.off)

    @property
    def _furthest(self) -> int:
        """The intervals through which edges were watched: not those in which being taken off left hardly any."""
        total = left = self.scored + self.taken_off
        for place, outlasted in enumerate(life_table(self.ended, self.off)):
            left -= self.ended[place] + self.off[place]
            if left < WATCHED and not left >= outlasted * total / 2:
                return place
        return INTERVALS

    @property
    def early(self) -> float | None:
        """Share of edges that ended before the value nine in ten should outlast; one in ten is right."""
        if not self.scored or self._furthest < LOW:
            return None
        return 1 - float(life_table(self.ended, self.off)[LOW - 1])

    @property
    def share(self) -> float | None:
        """Share of edges that end inside the 80 % range.

        Where too few were watched to its end, they are taken to go on ending as they did in the part that was watched:
        at the same multiple of the chance that the forecasts gave.
        """
        to = min(self._furthest, HIGH)
        if not self.scored or to <= LOW:
            return None
        outlasted = life_table(self.ended, self.off)
        lasted = float(outlasted[LOW - 1])
        if to == HIGH:
            return lasted - float(outlasted[to - 1])
        pace = ends_against_due(self.ended, self.off, LOW, to)
        return lasted * (1 - math.pow((INTERVALS - HIGH) / (INTERVALS - LOW), pace))

    @property
    def verdict(self) -> str:
        if not self.scored:
            return "none"
        if self.edges < FEW or self.share is None:
            return "few"
        return "narrow" if self.share < NARROW else "wide" if self.share > WIDE else "fair"

    @property
    def tenths(self) -> list[float | None]:
        """Share of edges that ended in each tenth of the forecast, one in ten being right; none where none was watched.

        It is the histogram of where ends fell, with edges taken off counted for as long as they were watched.
        """
        if not self.scored:
            return [None] * TENTHS
        outlasted, step = [1.0, *map(float, life_table(self.ended, self.off))], INTERVALS // TENTHS
        return [
            outlasted[first] - outlasted[first + step] if first + step <= self._furthest else None
            for first in range(0, INTERVALS, step)
        ]

    @property
    def tenths_words(self) -> str:
        """What the histogram says."""
        shares = self.tenths
        if self.verdict in ("none", "few") or shares[0] is None or shares[1] is None:
            return "Too few ends yet to read anything from it."
        if self.verdict in ("narrow", "wide"):
            return HEAPED[self.verdict]
        early = shares[0] + shares[1]
        return HEAPED["early" if early > MUCH_EARLY else "late" if early < LITTLE_EARLY else "even"]

    @property
    def edges_words(self) -> str:
        return f"{self.edges:,} edges ended by themselves".replace(",", "\u202f")

    @property
    def share_words(self) -> str:
        return "" if self.share is None else f"{self.share:.0%} inside"

    @property
    def words(self) -> str:
        return HELD_WORDS[self.verdict]

    @property
    def tone(self) -> str:
        return TONES[self.verdict]


def held_overall() -> Held:
    """How all forecasts kept so far held."""
    return held(ForecastScore.objects.all()).get((), Held())


def held_by_point(*, model: LifeModel) -> list[tuple[int, Held]]:
    """How one group's forecasts held, by the share of life used when they were kept."""
    found = held(ForecastScore.objects.filter(model=model), "point")
    return [(point, one) for (point,), one in sorted(found.items())]


def held_of(*, model: LifeModel) -> Held:
    """How one group's forecasts held; two queries."""
    return held(ForecastScore.objects.filter(model=model)).get((), Held())


def held_by_model() -> dict[int, Held]:
    """How each group's forecasts held; two queries."""
    return {model: one for (model,), one in held(ForecastScore.objects.all(), "model").items()}


def held(scores: QuerySet[ForecastScore], *by: str) -> dict[tuple[Any, ...], Held]:
    """Scores counted by the twentieth of the forecast in which the edge ended or was taken off."""
    done = scores.filter(position__isnull=False)
    fell = Cast(Floor(F("position") * INTERVALS), IntegerField())
    counts: dict[tuple[Any, ...], tuple[list[int], list[int]]] = defaultdict(lambda: ([0] * INTERVALS, [0] * INTERVALS))
    for *key, place, censored, count in (
        done.annotate(fell=fell).values_list(*by, "fell", "censored").annotate(count=Count("pk")).order_by()
    ):
        ended, off = counts[tuple(key)]
        (off if censored else ended)[min(place, INTERVALS - 1)] += count
    edges = done.filter(censored=False)
    if not by:
        ends: dict[tuple[Any, ...], int] = {(): edges.values("edge").distinct().count()}
    else:
        seen = edges.values_list(*by).annotate(ends=Count("edge", distinct=True)).order_by()
        ends = {tuple(key): count for *key, count in seen}
    return {key: Held(tuple(ended), tuple(off), ends.get(key, 0)) for key, (ended, off) in counts.items()}
