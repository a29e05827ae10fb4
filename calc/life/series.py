"""Several edges that cut one part after another: which is first to end, and whether the batch comes through.

Each edge keeps its own life, but edges that follow one law share what is not known of it: where the law is worse than
believed it is worse for all of them. What is not known is therefore averaged over once for all the edges of a law,
and the laws are independent of each other. In one part the edges cut in the order in which they are given.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.averaged import BEYOND, PAST_BELIEF, outlived, summed_chance
from calc.life.batch import MOST_PARTS
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero
from calc.life.predictive import Belief

# A batch is followed so far, and twice as far again and again while more than so few have come through.
FEW_PARTS, HARDLY_ANY = 256, 1e-12

Laws = npt.NDArray[np.int64]


class Series(NamedTuple):
    """Edges in the order in which they cut a part; every field but the belief of shape (edges,)."""

    believed: Belief
    law: Laws
    used: Floats
    counted: Floats
    minutes_per_part: Floats
    parts: Floats
    change_in: Floats
    change_every: Floats


class Together(NamedTuple):
    """What several edges do together.

    `first` holds the chance of each edge to be the first that ends by itself in the batch, all being changed as
    planned; `planned_only` the chance that none does; `untouched` the chance that the batch comes through on the edges
    that are in now; `until_stop` the mean of whole parts made until an edge ends or is changed for the first time.
    """

    first: Floats
    planned_only: float
    untouched: float
    until_stop: float


def series(
    believed: Belief,
    law: npt.ArrayLike,
    used: Numbers,
    minutes_per_part: Numbers,
    parts: Numbers,
    change_in: npt.ArrayLike = np.inf,
    change_every: npt.ArrayLike = np.inf,
    counted: Numbers = 0.0,
) -> Series:
    """Check the figures of several edges and hold them together.

    Parameters
    ----------
    believed : what is believed of each edge's law, laid out for all of them in one call
    law : a whole number for each edge, equal where edges follow one law, shape (edges,)
    used : equivalent minutes that each edge has cut at its present duty, shape (edges,)
    minutes_per_part : tau, minutes in cut per part, shape (edges,)
    parts : whole parts that are still to be made at each, at most 20,000, shape (edges,)
    change_in : whole parts until the edge in use is changed as planned, infinite where it runs to the end
    change_every : whole parts after which each fresh edge is changed, infinite where it runs to the end
    counted : how many of the used minutes the fit behind the belief already knew of, shape (edges,)

    Returns
    -------
    Series

    Raises
    ------
    WorkingError : when a figure is out of range, or the batch is too large

    >>> from calc.life.predictive import belief
    >>> series(belief(np.log([60, 40]), np.log(3)), [0, 1], 0, 2, 10).minutes_per_part.tolist()
    [2.0, 2.0]

    Source: none, a check.
    """
    edges = believed.breaks.shape
    if np.any(not_below_zero("parts", parts) > MOST_PARTS):
        raise WorkingError("parts", f"The batch must be of {MOST_PARTS:,} parts at most; split a larger one.")
    until, every = np.asarray(change_in, dtype=np.float64), np.asarray(change_every, dtype=np.float64)
    not_below_zero("change_in", until[~np.isinf(until)])
    above_zero("change_every", every[~np.isinf(every)])
    figures = [
        np.broadcast_to(value, edges)
        for value in (
            not_below_zero("used", used), not_below_zero("counted", counted),
            above_zero("minutes_per_part", minutes_per_part), np.asarray(parts, dtype=np.float64), until, every,
        )
    ]  # fmt: skip
    _, alike = np.unique(np.broadcast_to(np.asarray(law, dtype=np.int64), edges), return_inverse=True)
    return Series(believed, alike, *figures)


def together(edges: Series) -> Together:
    """Who is first to end, and the chances that a batch comes through.

    Parameters
    ----------
    edges : the edges in the order in which they cut a part

    Returns
    -------
    Together

    >>> from calc.life.predictive import belief
    >>> alike = series(belief(np.log([60, 60]), np.log(3)), [0, 1], 0, 2, 10, change_in=[5, np.inf])
    >>> found = together(alike)
    >>> round(found.untouched, 4), round(found.planned_only, 4), round(found.until_stop, 2)
    (0.9286, 0.9548, 4.98)

    Source: independent lives given their laws [nist-ehandbook], averaged over each law's nodes at once [gelman-bda
    (m)]; a breakage rate that is gamma distributed is shared by the minutes of all edges of its law.
    """
    last = int(edges.parts.max(initial=0))
    weight = _weights(edges)
    whole = np.array([0.0, last])  # the whole batch in one step
    outlasted, first = _one_by_one(edges, np.arange(_furthest(edges, last, weight) + 1, dtype=np.float64), weight)
    stop = int(min(np.min(edges.change_in, initial=np.inf, where=edges.change_in < edges.parts), last))
    as_they_are = edges._replace(
        change_in=np.full_like(edges.change_in, np.inf), change_every=np.full_like(edges.change_every, np.inf)
    )
    return Together(
        first,
        float(_one_by_one(edges, whole, weight)[0][-1]),
        float(_one_by_one(as_they_are, whole, weight)[0][-1]),
        float(outlasted[1 : stop + 1].sum()),
    )


def _furthest(edges: Series, last: int, weight: Floats) -> int:
    """Parts until the batch is done, or until hardly any batch has come so far without a failure."""
    count = FEW_PARTS
    while count < last and _one_by_one(edges, np.array([0.0, count]), weight)[0][-1] > HARDLY_ANY:
        count *= 2
    return min(count, last)


def _one_by_one(edges: Series, made: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Chance that no edge has ended after each count of parts, and each edge's chance to be the first to end.

    Between one count and the next the edges cut in their order, so the chances fall edge by edge, and each fall is
    that edge's. Only the law of the edge that cuts has to be averaged anew.
    """
    laws = weight.shape[0]
    wear = np.zeros((laws, made.size - 1, weight.shape[1]))
    watched = np.zeros((laws, made.size - 1))
    spent = [_spent(edges, row, made) for row in range(edges.law.size)]
    for row, (hazard, seen) in enumerate(spent):
        wear[edges.law[row]] += hazard[:-1]
        watched[edges.law[row]] += seen[:-1]
    breaks = edges.believed.breaks[_firsts(edges.law)]
    share = np.array([_lasting(wear[one], watched[one], weight[one], breaks[one]) for one in range(laws)])
    before = share.prod(axis=0)
    first = np.empty(edges.law.size)
    for row, (hazard, seen) in enumerate(spent):
        one = edges.law[row]
        wear[one] += np.diff(hazard, axis=0)
        watched[one] += np.diff(seen)
        share[one] = _lasting(wear[one], watched[one], weight[one], breaks[one])
        after = share.prod(axis=0)
        first[row], before = float(np.maximum(before - after, 0.0).sum()), after
    return np.concatenate(([1.0], before)), first


def _spent(edges: Series, row: int, made: Floats) -> tuple[Floats, Floats]:
    """Summed chance of wear of one edge and its followers, shape (counts, nodes), and the share of minutes watched.

    That share is of the minutes behind the belief about breakage; where edges break by entries, each has its own.
    """
    count = np.minimum(made, edges.parts[row])
    each, age = edges.minutes_per_part[row], edges.used[row]
    scale, shape = edges.believed.scale[row], edges.believed.shape[row]
    own = np.minimum(count, edges.change_in[row])
    every = min(edges.change_every[row], made[-1] + 1)  # an edge that runs to the end outlasts the counting
    whole, begun = np.divmod(count - own, every)

    def summed(minutes: Numbers, most: float = PAST_BELIEF) -> Floats:
        return summed_chance(np.asarray(minutes)[..., None], np.log(scale), shape, most)

    lived = whole[:, None] * summed(every * each) + summed(begun * each)
    return summed(age + own * each, BEYOND) - summed(age) + lived, count * each / edges.believed.break_minutes[row]


def _weights(edges: Series) -> Floats:
    """Weights of the nodes of each law, moved towards longer lives by what its edges have outlived since the fit."""
    known = np.minimum(edges.counted, edges.used)
    _, extra = outlived(edges.used[:, None], known[:, None], np.log(edges.believed.scale), edges.believed.shape)
    against = np.zeros((edges.law.max() + 1, extra.shape[1]))
    np.add.at(against, edges.law, extra)
    with np.errstate(under="ignore"):
        weight = edges.believed.weight[_firsts(edges.law)] * np.exp(against.min(axis=1, keepdims=True) - against)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _firsts(law: Laws) -> Laws:
    """The first edge of each law."""
    return np.unique(law, return_index=True)[1]


def _lasting(wear: Floats, watched: Floats, weight: Floats, breaks: float) -> Floats:
    """Chance that no edge of one law has ended, averaged over what is believed of it."""
    with np.errstate(under="ignore"):
        return np.asarray((np.exp(-wear) @ weight) * np.exp(-breaks * np.log1p(watched)))
