"""Rules by which edges are changed: what the shop's own functions learn, the laws known, and first guesses."""

from __future__ import annotations

import numpy as np

from calc.life.centring import centred
from calc.life.fitting import Fit, breakage_belief, fit, lives, normal_prior, scale_at
from calc.life.likelihood import Lives
from calc.life.pooling import fit_pooled, kin
from calc.life.predictive import Belief, belief, remaining
from calc.life.replacement import believed_change
from tests.simulated.spindles import BROKE, HAIR, WORN, Asked, Marks, Spindles
from tests.simulated.truth import DUTIES, Floats, Told, Whole

SHORTEST_MINUTES = 1e-3


class ToTheEnd:
    """Nothing is changed before it fails."""

    def week_begins(self, spindles: Spindles) -> None:
        """Nothing is learnt."""

    def note(self, spindles: Spindles, failed: Marks) -> None:
        """Nothing is learnt."""

    def full(self, spindles: Spindles) -> Marks:
        return np.zeros(spindles.age.size, dtype=bool)


class FixedCount(ToTheEnd):
    """The usual first guess: a count of parts for each duty, from a share of the life that is promised there."""

    def __init__(self, told: Told, share: float) -> None:
        self.minutes = share * np.exp(np.einsum("gdx,gx->gd", told.duty, told.mean[:, :-1]))

    def full(self, spindles: Spindles) -> Marks:
        return _no_room(spindles.age, spindles, spindles.now(self.minutes))


class MeanLife(ToTheEnd):
    """The mean of the lives that ended so far; the promised one before there is any."""

    def __init__(self, told: Told) -> None:
        self.promised = FixedCount(told, 1.0).minutes
        self.summed, self.count = np.zeros(told.groups), np.zeros(told.groups)

    def note(self, spindles: Spindles, failed: Marks) -> None:
        self.summed += failed * spindles.age
        self.count += failed

    def full(self, spindles: Spindles) -> Marks:
        seen = self.summed / np.maximum(self.count, 1)
        return _no_room(spindles.age, spindles, np.where(self.count > 0, seen, spindles.now(self.promised)))


class LastLife(MeanLife):
    """The life of the edge that ended last."""

    def note(self, spindles: Spindles, failed: Marks) -> None:
        self.summed = np.where(failed, spindles.age, self.summed)
        self.count = np.maximum(self.count, failed)


class KnownLaws(ToTheEnd):
    """The change that is cheapest by the true laws."""

    def __init__(self, change: Floats) -> None:
        self.change = change

    def full(self, spindles: Spindles) -> Marks:
        return _no_room(spindles.spent * spindles.now(spindles.truth.scale), spindles, spindles.now(self.change))


class Learnt(ToTheEnd):
    """What the product does: fits every group anew each week, and changes where the believed cost is least.

    With `to_the_end` it only forecasts.
    """

    def __init__(self, told: Told, *, to_the_end: bool = False) -> None:
        self.told, self.to_the_end = told, to_the_end
        self.rows: list[tuple[Asked, Floats, Whole]] = []
        self.learn(None)

    def learn(self, spindles: Spindles | None) -> None:
        """Refit from all edges that have cut, and believe what comes of it."""
        told = self.told
        group, end, cut, last = _known(spindles, told.groups)
        self.ends = np.bincount(group[end == WORN], minlength=told.groups)
        broken = np.bincount(group[end == BROKE], minlength=told.groups)
        self.ends_any = self.ends + broken
        minutes = np.bincount(group, weights=cut.sum(axis=1), minlength=told.groups)
        breaks, watched = breakage_belief(broken, minutes, told.breaks, told.break_minutes)
        fitted = self.fit(told, _lives(told, group, end, cut, last) if group.size else None)
        each = np.repeat(np.arange(told.groups), DUTIES)
        numbers = scale_at(fitted, each, told.duty.reshape(each.size, -1))
        self.believed = belief(*numbers, breaks=breaks[each], break_minutes=watched[each])
        self.scale = np.exp(numbers[0]).reshape(-1, DUTIES)
        self.typical = remaining(0.0, self.believed, percent=50).reshape(-1, DUTIES)
        if not self.to_the_end:
            points = believed_change(
                self.believed, told.planned[each], told.failure[each], told.minutes_per_part.ravel()
            )
            self.change = points.minutes.reshape(-1, DUTIES)

    def fit(self, told: Told, data: Lives | None) -> Fit:
        """Each group leans on its relatives."""
        if data is None:
            return _before_any(told)
        return fit_pooled(data, told.mean, told.spread, kin(told.family, told.iso)).fit

    def week_begins(self, spindles: Spindles) -> None:
        self.answer(spindles)
        self.learn(spindles)
        spindles.seen = spindles.cut.copy()

    def answer(self, spindles: Spindles) -> None:
        """Forecast for the moments asked about since the last refit, by what was believed then."""
        if spindles.asked:
            asked = Asked(*(np.concatenate(part) for part in zip(*spindles.asked, strict=True)))
            spindles.asked.clear()
            row = asked.group * DUTIES + asked.duty
            factors = self.scale[asked.group, asked.duty][:, None] / self.scale[asked.group]
            believed = Belief(*(part[row] for part in self.believed))
            said = remaining((asked.cut * factors).sum(axis=1), believed, (asked.seen * factors).sum(axis=1))
            self.rows.append((asked, said, self.ends[asked.group]))

    def full(self, spindles: Spindles) -> Marks:
        if self.to_the_end:
            return super().full(spindles)
        used = (spindles.cut * spindles.now_over(self.scale)).sum(axis=1)
        return _no_room(used, spindles, spindles.now(self.change))


class LearntAlone(Learnt):
    """The same, each group by itself under its own starting value."""

    def fit(self, told: Told, data: Lives | None) -> Fit:
        if data is None:
            return _before_any(told)
        prior = normal_prior(told.mean, told.spread)
        return centred(data, prior, fit(data, prior))


def _no_room(used: Floats, spindles: Spindles, limit: Floats) -> Marks:
    """Whether another whole part would go beyond the limit."""
    return np.asarray(used + spindles.now(spindles.told.minutes_per_part) > limit * (1 + HAIR))


def _known(spindles: Spindles | None, groups: int) -> tuple[Whole, Whole, Floats, Whole]:
    """Every edge that has cut: group, what ended it (nothing, for those in use), minutes at each duty, last duty."""
    if spindles is None:
        none = np.zeros(0, dtype=np.int64)
        return none, none, np.zeros((0, DUTIES)), none
    in_use = np.flatnonzero(spindles.age > 0)
    parts = [*spindles.ended, (in_use, np.full(in_use.size, -1), spindles.cut[in_use], spindles.duty[in_use])]
    group, end, cut, last = (np.concatenate(part) for part in zip(*parts, strict=True))
    return group, end, cut, last


def _lives(told: Told, group: Whole, end: Whole, cut: Floats, last: Whole) -> Lives:
    """One stretch for each duty that an edge worked at, the one it worked at last behind the others."""
    edge, duty = np.nonzero((cut > 0) | (last[:, None] == np.arange(DUTIES)))
    order = np.lexsort((duty == last[edge], edge))
    edge, duty = edge[order], duty[order]
    minutes = np.maximum(cut[edge, duty], SHORTEST_MINUTES)
    return lives(group, end == WORN, minutes, told.duty[group[edge], duty], edge)


def _before_any(told: Told) -> Fit:
    none = np.zeros(told.groups, dtype=np.int64)
    covariance = np.eye(told.mean.shape[1]) * told.spread[:, None, :] ** 2
    return Fit(
        told.mean[:, :-1], told.mean[:, -1], covariance, np.full(told.groups, np.nan), none, none,
        np.ones(told.groups, dtype=bool), np.full(told.groups, ""), 0,
    )  # fmt: skip
