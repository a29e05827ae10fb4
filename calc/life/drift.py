"""Whether lives have changed: one change point in the row of a group's edges, and how often chance shows as much.

Every edge brings what its group's law expected of it, the summed chance L = u^beta + breakage up to where it stands,
and whether it ended (d). Were the law right, each L of an ended edge would be a draw of mean 1, and d - L would average
to nothing. When lives become shorter from some edge on, more edges end from there than the law expected: the ends D
and the expectations E before and after stand in different ratios. The best split is the one with the largest
D1 ln(D1/E1) + D2 ln(D2/E2) - D ln(D/E), a ratio of likelihoods. The law was fitted to the same edges, and the best of
many splits was chosen, so no table says what is large: the edges are shuffled, and each shuffle is searched as well.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero

Ints = npt.NDArray[np.intp]

# Fewer ends than this on one side of a split say nothing of it.
LEAST_ENDS = 3
# A group that chance matches so often is dropped after a stage: it cannot come out as a rare one any more.
STAGES, ENOUGH = (99, 400, 1500, 4000), 10
AT_ONCE = 4_000_000
# The standard normal's 90 % value: the ends of an 80 % range.
NINETY = 1.2815515655446004
LEAST_CHANCE = 1e-9


class Drift(NamedTuple):
    """Per group: where lives changed best, how much, and the chance that shuffled edges show as much."""

    change: Ints
    ended_since: Ints
    factor: Floats
    low: Floats
    high: Floats
    p_value: Floats


def find_drift(group: Numbers, ended: Numbers, summed_chance: Numbers, shape: Numbers, seed: int = 1) -> Drift:
    """Find in each group the edge from which lives differ most from those before, and whether that is chance.

    Parameters
    ----------
    group : number of the group of each edge, 0, 1, 2 ..., in the order the edges were put in, shape (edges,)
    ended : d, whether the edge ended by itself; an edge taken off, excused or in use did not, shape (edges,)
    summed_chance : L = -ln S where the edge stands, by its group's law, shape (edges,)
    shape : beta of each group, turns a factor on the chance into one on life, shape (groups,)
    seed : of the shuffles; the same edges get the same answer whatever other groups are asked about

    Returns
    -------
    Drift, shape (groups,) each: place of the first edge after the change in its group (-1 where no split has three
    ends on either side), edges that ended since, factor on life with its 80 % range (nan where there is no split;
    below 1 lives fell), and the p-value, 1 where there is no split. The range takes in that the place is not known.

    Raises
    ------
    WorkingError : when shapes disagree, a group is not numbered, or a number is out of its bounds

    >>> found = find_drift([0] * 16, [True] * 16, [1.1, 0.8] * 4 + [0.2, 0.3] * 4, [3.0])
    >>> found.change.tolist(), found.factor.round(1).tolist(), bool(found.p_value[0] < 0.05)
    ([8], [0.7], True)

    Source: [change-point (m)], [besag-clifford-1991 (m)]; the likelihood is the exponential one of the summed chances.
    """
    numbers, done, chance, beta = _checked(group, ended, summed_chance, shape)
    order = np.argsort(numbers, kind="stable")
    sizes = np.bincount(numbers, minlength=beta.size)
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    factor, low, high = np.full((3, beta.size), np.nan)
    answer = Drift(np.full(beta.size, -1), np.zeros(beta.size, dtype=np.intp), factor, low, high, np.ones(beta.size))
    for size in np.unique(sizes[sizes >= 2 * LEAST_ENDS]).tolist():
        rows = np.flatnonzero(sizes == size)
        places = order[starts[rows][:, None] + np.arange(size)]
        _search(answer, rows, done[places], chance[places], beta[rows], [seed, size])
    return answer


def _checked(
    group: Numbers, ended: Numbers, summed_chance: Numbers, shape: Numbers
) -> tuple[Ints, npt.NDArray[np.bool_], Floats, Floats]:
    numbers = np.atleast_1d(np.asarray(group, dtype=np.intp))
    done = np.atleast_1d(np.asarray(ended, dtype=bool))
    chance = np.atleast_1d(not_below_zero("summed_chance", summed_chance))
    beta = np.atleast_1d(above_zero("shape", shape))
    if not numbers.shape == done.shape == chance.shape:
        raise WorkingError("ended", "Give one group, one ended mark and one summed chance for each edge.")
    if numbers.size and (numbers.min() < 0 or numbers.max() >= beta.size):
        raise WorkingError("group", "Number the groups 0, 1, 2 …, and give one shape for each.")
    return numbers, done, np.maximum(chance, LEAST_CHANCE), beta


def _search(
    answer: Drift, rows: Ints, done: npt.NDArray[np.bool_], chance: Floats, beta: Floats, seed: list[int]
) -> None:
    """Groups of one size: the best split of each, then its rank among those of the shuffles."""
    ratio = _ratios(done, chance)
    best = ratio.max(axis=-1)
    seen = np.isfinite(best)
    rows, done, chance, ratio, best = rows[seen], done[seen], chance[seen], ratio[seen], best[seen]
    place = ratio.argmax(axis=-1)
    answer.change[rows] = place + 1
    answer.ended_since[rows] = done.sum(axis=-1) - np.take_along_axis(done.cumsum(axis=-1), place[:, None], -1)[:, 0]
    middle, spread = _log_factor(done, chance, ratio - best[:, None], beta[seen])
    answer.factor[rows] = np.exp(middle)
    answer.low[rows], answer.high[rows] = np.exp(middle - NINETY * spread), np.exp(middle + NINETY * spread)
    answer.p_value[rows] = _rank(done, chance, best, seed)


def _sides(done: npt.NDArray[np.bool_], chance: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Ends and expectations before and after each split; both sides of the last axis are one shorter."""
    ends, expected = done.cumsum(axis=-1, dtype=np.float64), chance.cumsum(axis=-1)
    before, owed = ends[..., :-1], expected[..., :-1]
    return before, owed, ends[..., -1:] - before, np.maximum(expected[..., -1:] - owed, LEAST_CHANCE)


def _ratios(done: npt.NDArray[np.bool_], chance: Floats) -> Floats:
    """Log-likelihood ratio of each split; minus infinity where a side has too few ends."""
    before, owed, after, owed_after = _sides(done, chance)
    both, owed_both = before + after, owed + owed_after
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = before * np.log(before / owed) + after * np.log(after / owed_after) - both * np.log(both / owed_both)
    return np.where((before >= LEAST_ENDS) & (after >= LEAST_ENDS), ratio, -np.inf)


def _log_factor(done: npt.NDArray[np.bool_], chance: Floats, weight: Floats, beta: Floats) -> tuple[Floats, Floats]:
    """Mean and spread of ln factor on life, over every split by its likelihood."""
    before, owed, after, owed_after = (np.maximum(one, LEAST_CHANCE) for one in _sides(done, chance))
    weights = np.exp(weight)
    weights /= weights.sum(axis=-1, keepdims=True)
    each = -np.log(after * owed / (owed_after * before)) / beta[:, None]
    own = (1 / before + 1 / after) / beta[:, None] ** 2
    middle = (weights * each).sum(axis=-1)
    return middle, np.sqrt((weights * (own + (each - middle[:, None]) ** 2)).sum(axis=-1))


def _rank(done: npt.NDArray[np.bool_], chance: Floats, best: Floats, seed: list[int]) -> Floats:
    """Share of shuffles, with the row as it was, whose best split is as good; groups of no interest stop early."""
    asked = np.arange(best.size)
    matched, shuffled = np.zeros(best.size), np.zeros(best.size)
    random = np.random.default_rng(seed)
    for count in STAGES:
        shuffles = random.permuted(np.tile(np.arange(done.shape[1]), (count, 1)), axis=1)
        at_once = max(AT_ONCE // shuffles.size, 1)
        for first in range(0, asked.size, at_once):
            some = asked[first : first + at_once]
            found = _ratios(done[some][:, shuffles], chance[some][:, shuffles]).max(axis=-1)
            matched[some] += (found >= best[some][:, None] - 1e-9).sum(axis=-1)
        shuffled[asked] += count
        asked = asked[matched[asked] < ENOUGH]
    return (matched + 1) / (shuffled + 1)


def not_by_chance(p_values: Numbers, looked_at: int, false: float = 0.1) -> npt.NDArray[np.bool_]:
    """Tell which findings among many groups to act on, so that few of those acted on are chance.

    Parameters
    ----------
    p_values : of the groups that showed something, shape (findings,)
    looked_at : how many groups were looked at, these among them
    false : share of what is acted on that may be chance, 0 < false < 1

    Returns
    -------
    whether to act, shape (findings,)

    Raises
    ------
    WorkingError : when a p-value is below zero, fewer groups were looked at than showed something, or the share is none

    >>> not_by_chance([0.0005, 0.008, 0.0015], 60).tolist()
    [True, False, True]

    Source: [benjamini-hochberg-1995 (m)].
    """
    values = np.atleast_1d(not_below_zero("p_values", p_values))
    if looked_at < values.size:
        raise WorkingError("looked_at", "At least the groups that showed something were looked at.")
    if not 0 < false < 1:
        raise WorkingError("false", "The share must lie between 0 and 1, both ends left out.")
    ordered = np.sort(values)
    passed = np.flatnonzero(ordered <= false * np.arange(1, values.size + 1) / max(looked_at, 1))
    return values <= ordered[passed[-1]] if passed.size else np.zeros(values.shape, dtype=bool)


def running_residuals(ended: Numbers, summed_chance: Numbers) -> Floats:
    """Ends beyond what the law expected, summed up over the edges in the order they were put in.

    Parameters
    ----------
    ended : d, whether the edge ended by itself, shape (edges,)
    summed_chance : L = -ln S where the edge stands, shape (edges,)

    Returns
    -------
    sum of d - L after each edge: level while the law holds, rising where lives are shorter, shape (edges,)

    Raises
    ------
    WorkingError : when a summed chance is below zero or no number

    >>> running_residuals([True, False, True], [0.5, 0.25, 0.25]).tolist()
    [0.5, 0.25, 1.0]

    Source: [martingale-residuals (m)].
    """
    return np.cumsum(np.asarray(ended, dtype=np.float64) - not_below_zero("summed_chance", summed_chance))
