"""The life law averaged over what is believed of it: the chance to last from an age on, and a look back before it.

Nothing here is asked directly; `calc.life.predictive` does so.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from calc.life.checks import Floats, Numbers

MOST_STEPS = 100
# Newton's error is about the square of its last step.
SETTLED = 1e-6
# An edge that was sure to come so far has not outlived anything: nothing can have risen.
OUTLIVED = 1e-3
# Ages looked back at follow by ratio from well before the shortest life believed; then closer between two of them. What
# was left is flat about its least, so that the age need not be sharp.
EARLIEST, CLOSE, NEARLY, MOST_AGES, HALVINGS, POINTS_BACK = 0.2, 0.1, 0.03, 150, 12, 40
# Points of edges worked on together, so that their nodes stay in the processor's own memory.
TOGETHER = 768

# Logarithms of summed chances that no edge comes through, so that exp() does not overflow. What an edge has behind it
# stops short of what lies ahead: where even that is past belief, it ends at once.
PAST_BELIEF, BEYOND = 690.0, 700.0

Rows: TypeAlias = npt.NDArray[np.intp]


class Belief(NamedTuple):
    """Nodes of what is believed about each edge's law: shapes (edges, nodes), breakage (edges,)."""

    weight: Floats
    scale: Floats
    shape: Floats
    breaks: Floats
    break_minutes: Floats


def handfuls(rows: int, points: int) -> Iterator[slice]:
    """Slices of edges, each small enough that all its points stay in the processor's own memory.

    Parameters
    ----------
    rows : how many edges
    points : asked of each

    Returns
    -------
    slices that cover all edges

    >>> [len(range(100)[one]) for one in handfuls(100, 12)]
    [64, 36]

    Source: none, a way of working.
    """
    size = max(TOGETHER // max(points, 1), 1)
    return (slice(first, first + size) for first in range(0, rows, size))


def some(believed: Belief, rows: Any) -> Belief:
    """Belief about some of the edges.

    Parameters
    ----------
    believed : about all of them
    rows : which, anything that picks from an array

    Returns
    -------
    Belief of those edges

    >>> two = Belief(np.ones((2, 1)), np.ones((2, 1)), np.ones((2, 1)), np.zeros(2), np.ones(2))
    >>> some(two, [0]).weight.shape
    (1, 1)

    Source: none, a way of working.
    """
    return Belief(*(part[rows] for part in believed))


def summed_chance(age: Numbers, log_scale: Floats, shape: Floats, most: float = PAST_BELIEF) -> Floats:
    """(age / scale)^shape, the summed chance of wear up to an age; the logarithm of age is taken once for all nodes.

    Parameters
    ----------
    age : minutes in cut at the present duty, shapes that broadcast
    log_scale : ln eta, eta in minutes
    shape : beta
    most : logarithm of the most that is answered

    Returns
    -------
    -ln of the chance that wear lets an edge come so far, no more than exp(most)

    >>> summed_chance([0.0, 30.0, 1e9], np.log(60), np.array(100.0), 5.0).round(3).tolist()
    [0.0, 0.0, 148.413]

    Source: [nist-ehandbook].
    """
    with np.errstate(divide="ignore", under="ignore"):
        return np.asarray(np.exp(np.minimum(shape * (np.log(age) - log_scale), most)))


def outlived(used: Floats, known: Floats, log_scale: Floats, shape: Floats) -> tuple[Floats, Floats]:
    """Summed chance that an edge has behind it, and what of it weighs against a node: all that no fit knew of.

    Parameters
    ----------
    used : equivalent minutes cut, shapes that broadcast
    known : how many of them the fit behind the belief already knew of
    log_scale, shape : ln eta and beta

    Returns
    -------
    both, no more than exp(690); past that all of it weighs, whatever the fit knew of, since nobody comes through it

    >>> spent, weighs = outlived(np.array([30.0, 90.0]), np.array([0.0, 90.0]), np.log(60), np.array(3.0))
    >>> spent.round(3).tolist(), weighs.round(3).tolist()
    ([0.125, 3.375], [0.125, 0.0])

    Source: [nist-ehandbook].
    """
    spent = summed_chance(used, log_scale, shape)
    return spent, np.where(spent < np.exp(PAST_BELIEF), spent - summed_chance(known, log_scale, shape), spent)


class AveragedLaw:
    """The averaged law of the minutes left, ready to be asked at many points."""

    def __init__(self, used: Floats, believed: Belief, known: Floats) -> None:
        self.used = used[:, None]
        self.log_scale, self.shape = np.log(believed.scale), believed.shape
        self.spent, extra = outlived(self.used, known[:, None], self.log_scale, self.shape)
        with np.errstate(under="ignore"):
            weight = believed.weight * np.exp(extra.min(axis=1, keepdims=True) - extra)
        self.weight = weight / weight.sum(axis=1, keepdims=True)
        self.breaks, self.watched = believed.breaks[:, None], believed.break_minutes[:, None]

    def only(self, rows: Any) -> "AveragedLaw":
        """The same for some of the edges."""
        part = object.__new__(AveragedLaw)
        for name, values in vars(self).items():
            setattr(part, name, values[rows])
        return part

    def left(self, goal: Floats) -> Floats:
        """Minutes left until -ln of the chance to last reaches the goal, shape (edges, k)."""
        wanted = np.log(goal)
        at = np.log(np.maximum(self._guess(goal), 1e-12))
        low, high = at - 60.0, at + 60.0
        answer, rows, ready = np.empty(goal.shape), np.arange(goal.shape[0]), self
        steps = 0
        while rows.size and steps < MOST_STEPS:
            steps += 1
            reached, rate = ready.cumulative(np.exp(at))
            level = np.log(np.maximum(reached, 1e-300))
            low, high = np.where(level < wanted, at, low), np.where(level < wanted, high, at)
            step = (level - wanted) * reached / np.maximum(rate * np.exp(at), 1e-300)
            there = at - np.clip(step, -3.0, 3.0)
            done = np.abs(step) < SETTLED
            there = np.where(((there <= low) | (there >= high)) & ~done, (low + high) / 2, there)
            answer[rows] = there
            moving = ~done.all(axis=1)
            if not moving.all():
                ready = ready.only(moving)
            rows, at, low, high, wanted = rows[moving], there[moving], low[moving], high[moving], wanted[moving]
        return np.exp(answer)

    def hazard(self, more: Floats) -> Floats:
        """Chance per minute by wear after so many minutes more, shape (edges,)."""
        return self.wear(more[:, None])[1][:, 0]

    def cumulative_from(self, age: Floats, more: Floats) -> Floats:
        """-ln of the chance to last `more` minutes once `age` further ones are behind, shape (edges,)."""
        wear = self.wear((age + more)[:, None])[0] - self.wear(age[:, None])[0]
        return (wear + self.breaks * np.log1p(more[:, None] / self.watched))[:, 0]

    def _guess(self, cumulative: Floats) -> Floats:
        """Minutes left by the node that weighs most, shape (edges, k): where to begin."""
        heavy = np.argmax(self.weight, axis=1)[:, None]
        scale, shape, spent = (
            np.take_along_axis(part, heavy, axis=1) for part in (np.exp(self.log_scale), self.shape, self.spent)
        )
        return np.asarray(scale * (spent + cumulative) ** (1 / shape) - self.used)

    def cumulative(self, more: Floats) -> tuple[Floats, Floats]:
        """-ln of the chance to last, and its slope per minute; `more` has shape (edges, k)."""
        reached, slope = self.wear(more)
        return reached + self.breaks * np.log1p(more / self.watched), slope + self.breaks / (self.watched + more)

    def wear(self, more: Floats) -> tuple[Floats, Floats]:
        """The same of wear alone, without breakage."""
        age = np.maximum(self.used + more, 1e-300)
        shape, weight = self.shape[:, None, :], self.weight[:, None, :]
        summed = summed_chance(age[..., None], self.log_scale[:, None, :], shape, BEYOND)
        gained = np.maximum(summed - self.spent[:, None, :], 0.0)
        least = gained.min(axis=-1, keepdims=True)
        # expm1 keeps the small chances of the first minutes, which 1 - (1 - x) would round away.
        fallen = weight * np.expm1(least - gained)
        lost = fallen.sum(axis=-1)
        with np.errstate(over="ignore"):
            rates = np.minimum(shape * summed, 1e300)
            slope = ((weight + fallen) * rates).sum(axis=-1) / ((1 + lost) * age)
        return least[..., 0] - np.log1p(lost), np.minimum(slope, 1e300)

    def turns(self, span: Floats, more: Floats) -> tuple[Rows, Rows, Floats, Floats, Floats]:
        """Minutes from here, before `span`, after which `more` further ones turn out the least likely to be lasted.

        `more` has shape (edges, k). Answers edge and place, about how many minutes, and between which; nothing where
        that is `span` itself. What comes close to the worst is answered beside it.
        """
        end = self.used + span[:, None]
        early = np.minimum(np.maximum(self.used, EARLIEST * np.exp(self.log_scale.min(axis=1, keepdims=True))), end)
        back = 2 + min(int(np.max(np.log(end / early)) / CLOSE), MOST_AGES)
        step = np.maximum(np.log(end / early) / (back - 1), 1e-3)
        far = min(int(np.max(np.log((end + more) / end) / step)), MOST_AGES)
        ages = early * np.exp(step * np.arange(back + far + 2))
        reached, slope = self.wear(ages - self.used)
        ages, here = np.minimum(ages[:, :back], end) - self.used, reached[:, :back].copy()
        ages[:, 0], ages[:, -1], here[:, 0] = 0.0, span, np.where(early[:, 0] > self.used[:, 0], 0.0, here[:, 0])
        beyond = self.used[:, :, None] + ages[:, None, :] + more[:, :, None]
        later = np.log(np.maximum(beyond / early[..., None], 1.0)) / step[..., None]
        there, pace = _between(later, reached, slope, early, step)
        risk = there - here[:, None, :]
        worst = risk >= risk.max(axis=-1, keepdims=True) * (1 - NEARLY)
        worst[..., 1:] &= risk[..., 1:] >= risk[..., :-1]
        worst[..., :-1] &= risk[..., :-1] >= risk[..., 1:]
        worst[..., -1] &= pace[..., -1] < slope[:, back - 1, None]
        edges, places, at = np.nonzero(worst)
        around = (at, np.maximum(at - 1, 0), np.minimum(at + 1, back - 1))
        return edges, places, *(ages[edges, one] for one in around)


def _between(at: Floats, reached: Floats, slope: Floats, early: Floats, step: Floats) -> tuple[Floats, Floats]:
    """Values and slopes between ages that follow by ratio, cubic in the logarithm of age; `at` counts the steps."""
    shape = at.shape
    at = np.clip(at.reshape(shape[0], -1), 0.0, reached.shape[1] - 1.0)
    first = np.minimum(at.astype(np.intp), reached.shape[1] - 2)
    part = at - first
    steep = slope * early * np.exp(step * np.arange(reached.shape[1])) * step
    (low, rise_low), (high, rise_high) = (
        [np.take_along_axis(values, first + side, axis=1) for values in (reached, steep)] for side in (0, 1)
    )
    curve = low + part * (
        rise_low
        + part * (3 * (high - low) - 2 * rise_low - rise_high + part * (2 * (low - high) + rise_low + rise_high))
    )
    pace = np.take_along_axis(slope, first, axis=1) * (1 - part) + np.take_along_axis(slope, first + 1, axis=1) * part
    return curve.reshape(shape), pace.reshape(shape)


class LookBack:
    """Minutes further that were less likely to be lasted at an earlier age than now.

    `rows` and `places` say of which edge and which of its figures each is; `law` is that of the age the fit knew.
    """

    def __init__(self, used: Floats, believed: Belief, known: Floats, more: Floats) -> None:
        self.believed, self.known, self.span = believed, known, used - known
        law = AveragedLaw(known, believed, known)
        outlived = np.flatnonzero((self.span > 0) & (law.wear(self.span[:, None])[0][:, 0] > OUTLIVED))
        rows, places = np.broadcast_arrays(outlived[:, None], np.arange(more.shape[1]))
        self._look(rows, places, law.only(outlived), more[outlived])

    def _look(self, rows: Rows, places: Rows, law: "AveragedLaw", more: Floats) -> None:
        span = self.span[rows[:, 0]]
        # Edges with as long a past go together, since they look back at as many ages.
        order = np.argsort(span / (law.used[:, 0] + np.exp(law.log_scale.min(axis=1))))
        found = [(*[np.empty(0, dtype=np.intp)] * 2, *[np.empty(0)] * 3)]
        for few in handfuls(span.size, POINTS_BACK):
            few_rows = order[few]
            edges, *turns = law.only(few_rows).turns(span[few_rows], more[few_rows])
            found.append((few_rows[edges], *turns))
        edges, columns, *self.turns = (np.concatenate(part) for part in zip(*found, strict=True))
        self.rows, self.places = rows[edges, columns], places[edges, columns]
        self.law, self.more = law.only(edges), more[edges, columns]

    def again(self, more: Floats) -> "LookBack":
        """The same for fewer further minutes, where they are fewer by now; each figure once."""
        _, first = np.unique(np.column_stack((self.rows, self.places)), axis=0, return_index=True)
        points = first[more[first] < self.more[first] * (1 - SETTLED)]
        past = object.__new__(LookBack)
        past.believed, past.known, past.span = self.believed, self.known, self.span
        rows, places, fewer = (values[points][:, None] for values in (self.rows, self.places, more))
        past._look(rows, places, self.law.only(points), fewer)
        return past

    def worst_age(self) -> Floats:
        """Minutes since the fit after which the further ones were the least likely to be lasted."""
        about, low, high = self.turns
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            grows = self.law.hazard(middle + self.more) > self.law.hazard(middle)
            low, high = np.where(grows, middle, low), np.where(grows, high, middle)
        # Where the chance turns more than once in between, the age first found may be the better.
        close, rough = (self.law.cumulative_from(age, self.more) for age in (low, about))
        return np.where(close > rough, low, about)

    def law_after(self, age: Floats) -> "AveragedLaw":
        """The law of what was left at each earlier age."""
        known = self.known[self.rows]
        return AveragedLaw(known + age, some(self.believed, self.rows), known)
