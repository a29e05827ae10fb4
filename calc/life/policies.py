"""What a way of changing edges costs for each good part, and what a change before its time costs.

On whole parts: an edge makes parts one after the other until it is changed or ends; a part in which it ends is lost or
reworked, does not count, and is made again with the next edge. Over many edges a part then costs what an edge costs
(edge, change, chance-weighted lost part) over the good parts that it makes.
"""

from typing import NamedTuple

import numpy as np

from calc.life.checks import Floats, Numbers, above_zero, not_below_zero
from calc.life.predictive import Belief, lasting, life_survival, mean_time_outlasted
from calc.life.replacement import FEWEST_PARTS
from calc.life.survival import NOTHING_LEFT

# So many parts are summed one by one; further ones by the integral of the life curve.
ONE_BY_ONE = 512
# A change is looked at so many parts before its time one by one; further off on so many points.
EARLY_STEPS = 64


class PolicyCosts(NamedTuple):
    """What each count costs for each good part, shape (edges, counts): money, parts and chances."""

    parts: Floats
    edge: Floats
    change: Floats
    failure: Floats
    chance_of_failure: Floats

    @property
    def total(self) -> Floats:
        """Edge, change and failures together, money for each good part."""
        return np.asarray(self.edge + self.change + self.failure)

    @property
    def edges_per_part(self) -> Floats:
        """Edges used up for each good part."""
        return np.asarray(1 / self.parts)

    @property
    def failures_per_part(self) -> Floats:
        """Edges that fail at work for each good part."""
        return np.asarray(self.chance_of_failure / self.parts)


def policy_costs(
    believed: Belief, minutes_per_part: Numbers, counts: Numbers, edge: Numbers, change: Numbers, failure: Numbers
) -> PolicyCosts:
    """Cost of each good part when every edge is changed after a fixed count of parts, or as it ends.

    Parameters
    ----------
    believed : what is believed about each law, shape (edges,)
    minutes_per_part : tau, minutes in cut per part, shape (edges,)
    counts : n, whole parts after which a fresh edge is changed, infinite for "run to the end", shape (edges, k) or (k,)
    edge, change : what an edge and its change cost, money, shape (edges,)
    failure : what an edge that fails costs besides, chance-weighted, money, shape (edges,)

    Returns
    -------
    PolicyCosts of shape (edges, k)

    Raises
    ------
    WorkingError : when a cost is below zero, or minutes per part or a count are not above zero

    >>> from calc.life.predictive import belief
    >>> known = policy_costs(belief(np.log(45), np.log(3.5)), 6.2, [4, np.inf], 3, 2, 20)
    >>> known.total.round(3).tolist(), known.parts.round(2).tolist()
    ([[1.917, 4.146]], [[3.83, 6.03]])

    Source: renewal-reward [cox-renewal (m)]: (edge + change + F(n) failure) / sum of P(at least k parts), k = 1 .. n.
    """
    rows = (believed.breaks.size, 1)
    each = np.broadcast_to(np.reshape(above_zero("minutes_per_part", minutes_per_part), (-1, 1)), rows)
    money = [
        np.reshape(not_below_zero(name, value), (-1, 1))
        for name, value in (("edge", edge), ("change", change), ("failure", failure))
    ]
    wanted = np.asarray(counts, dtype=np.float64)
    above_zero("counts", np.where(np.isinf(wanted), 1.0, wanted))
    wanted = np.broadcast_to(np.atleast_2d(wanted), (rows[0], wanted.shape[-1]))
    parts, failing = _yield_of(believed, each, wanted)
    return PolicyCosts(parts, money[0] / parts, money[1] / parts, money[2] * failing / parts, failing)


def _yield_of(believed: Belief, each: Floats, counts: Floats) -> tuple[Floats, Floats]:
    """Mean good parts of an edge changed at each count, and the chance that it fails before."""
    far = np.max(believed.scale * NOTHING_LEFT ** (1 / believed.shape), axis=1)[:, None]
    ages = np.minimum(counts * each, np.maximum(far, each))
    alive = np.where(np.isinf(counts), 0.0, life_survival(ages, believed))
    finite = counts[np.isfinite(counts)]
    singly = int(min(ONE_BY_ONE, finite.max(initial=ONE_BY_ONE if np.isinf(counts).any() else 1.0)))
    steps = np.arange(1, singly + 1) * each
    lasted = life_survival(steps, believed)
    summed = np.concatenate((np.zeros_like(each), np.cumsum(lasted, axis=1)), axis=1)
    at = np.minimum(np.floor(counts), singly).astype(np.int64)
    parts = np.take_along_axis(summed, at, axis=1)
    beyond = counts > singly
    if beyond.any():
        # The sum over single parts is the integral of the life curve, less half a part's fall at its start.
        ends = np.maximum(np.concatenate((steps[:, -1:], ages), axis=1), steps[:, -1:])
        worked = mean_time_outlasted(ends, believed)
        stretch = (worked[:, 1:] - worked[:, :1]) / each - (lasted[:, -1:] - alive) / 2
        parts = parts + np.where(beyond, np.maximum(stretch, 0.0), 0.0)
    return np.maximum(parts, FEWEST_PARTS), 1 - alive


def early_change_costs(
    used: Numbers,
    ahead: Numbers,
    minutes_per_part: Numbers,
    believed: Belief,
    cost_failure_more: Numbers,
    cost_per_part: Numbers,
    early: Numbers,
    counted: Numbers = 0.0,
) -> Floats:
    """What changing each edge some parts before its own change-by costs more than changing it in time.

    Parameters
    ----------
    used : equivalent minutes already cut at the present duty, shape (edges,)
    ahead : n*, whole parts from now until the edge's own change-by, shape (edges,)
    minutes_per_part : tau, minutes, shape (edges,)
    believed : what is believed about each edge's law
    cost_failure_more : what a failure costs more than a planned change, money, shape (edges,)
    cost_per_part : g*, what a good part costs in the long run when edges are changed in time, money, shape (edges,)
    early : parts before its own change-by at which the edge would be changed, shape (edges, k)
    counted : how many of the used minutes the fit behind the belief already knew of, shape (edges,)

    Returns
    -------
    money, shape (edges, k), never below zero and rising with `early`; infinite where so many parts are not left

    Raises
    ------
    WorkingError : when a number is below zero or minutes per part are not above zero

    >>> from calc.life.predictive import belief
    >>> known = belief(np.log(60), np.log(3))
    >>> early_change_costs(12, 3, 6, known, 10, 1.2, [[0, 1, 2, 9]]).round(2).tolist()
    [[0.0, 0.51, 1.29, inf]]

    Source: J(n') - J(n*) with J(n) = cp S(n) + cf (1 - S(n)) - g* (mean good parts), S given what the edge has used:
    the good parts forgone at their long-run cost, less the failures that are spared.
    """
    rows = believed.breaks.size
    each = np.broadcast_to(above_zero("minutes_per_part", minutes_per_part), (rows,))[:, None]
    left = np.broadcast_to(not_below_zero("ahead", ahead), (rows,))[:, None]
    more = np.broadcast_to(not_below_zero("cost_failure_more", cost_failure_more), (rows,))[:, None]
    rate = np.broadcast_to(not_below_zero("cost_per_part", cost_per_part), (rows,))[:, None]
    asked = np.broadcast_to(not_below_zero("early", early), (rows, np.shape(early)[-1]))
    stride = np.maximum(left / EARLY_STEPS, 1.0)
    back = np.arange(EARLY_STEPS + 1) * stride
    parts = np.maximum(left - back, 0.0)
    alive = lasting(parts * each, used, believed, counted)
    # Between two points of the grid every part counts: ends of a stretch by halves, as in the trapezium rule.
    width = parts[:, :-1] - parts[:, 1:]
    between = (alive[:, :-1] + alive[:, 1:]) / 2 * width - (alive[:, 1:] - alive[:, :-1]) / 2
    forgone = np.concatenate((np.zeros_like(each), np.cumsum(np.where(width > 0, between, 0.0), axis=1)), axis=1)
    cost = np.maximum.accumulate(np.maximum(rate * forgone - more * (alive - alive[:, :1]), 0.0), axis=1)
    place = np.minimum(asked / stride, EARLY_STEPS)
    low = np.floor(place).astype(np.int64)
    high = np.minimum(low + 1, EARLY_STEPS)
    first, second = (np.take_along_axis(cost, at, axis=1) for at in (low, high))
    return np.where(asked > left, np.inf, first + (place - low) * (second - first))
