"""What an edge does, costs and lets a machine make at several ways to run, with the range of what is not known.

A fresh edge is changed after a planned count of parts or when it ends; a part in which it ends is made again with the
next. By renewal reward its costs, minutes and stops fall on the good parts that it makes in the mean. Each way to run
is a row; the nodes of a belief give the range of every answer.
"""

from typing import NamedTuple

import numpy as np

from calc.errors import WorkingError
from calc.life.averaged import Belief
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero
from calc.life.nodes import node_percentiles, node_survival
from calc.life.replacement import FEWEST_PARTS
from calc.life.survival import NOTHING_LEFT

# Enough for the survival of one node up to its end, in the cube root of age.
NODES, WEIGHTS = np.polynomial.legendre.leggauss(32)
NODES, WEIGHTS = (NODES + 1) / 2, WEIGHTS / 2
# So many parts are summed one by one; beyond, the curve is smooth from part to part and its integral does.
ONE_BY_ONE = 32


class Ranged(NamedTuple):
    """A figure of each way to run in the mean over what is believed, and its 10 and 90 % values; shape (ways,)."""

    middle: Floats
    low: Floats
    high: Floats


class PerPart(NamedTuple):
    """What one part takes at each way to run: edges, money in all and by what it is spent on, and parts per hour.

    `early` is the chance that an edge ends before its change, 1 where it runs to the end.
    """

    early: Floats
    edges: Ranged
    cost: Ranged
    hourly: Ranged
    machine: Floats
    planned: Floats
    failures: Floats


def worked(age: Numbers, believed: Belief) -> tuple[Floats, Floats]:
    """Chance that a fresh edge reaches its change, and the mean minutes that it works, node by node.

    Parameters
    ----------
    age : minutes in cut at which each is changed, infinite where it runs to the end, shape (ways,)
    believed : what is believed of each law

    Returns
    -------
    chance and minutes, both of shape (ways, nodes)

    Raises
    ------
    WorkingError : when an age is missing or not above zero

    >>> from calc.life.predictive import belief
    >>> chance, minutes = worked([np.inf, 40], belief(np.log([60, 60]), np.log(3)))
    >>> chance[:, 0].round(4).tolist(), minutes[:, 0].round(3).tolist()
    ([0.0, 0.7436], [53.579, 37.271])

    Source: Gauss-Legendre quadrature of survival; the mean over a gamma distributed breakage rate has a closed form.
    """
    planned = np.atleast_1d(np.asarray(age, dtype=np.float64))
    if not np.all(planned > 0):
        raise WorkingError("age", "The age of the change must be above zero.")
    beyond = believed.scale * NOTHING_LEFT ** (1 / believed.shape)
    until = np.minimum(planned[:, None], beyond)
    fine = until[..., None] * NODES**3
    minutes = (node_survival(fine, believed) * (3 * NODES**2 * WEIGHTS)).sum(axis=-1) * until
    chance = np.where(np.isinf(planned)[:, None], 0.0, node_survival(until[..., None], believed)[..., 0])
    return chance, minutes


def good_parts(age: Numbers, minutes_per_part: Numbers, believed: Belief) -> Floats:
    """Mean of the good parts that a fresh edge makes until its change or its end, node by node.

    Parameters
    ----------
    age : minutes in cut at which each is changed, a whole number of parts, infinite where it runs to the end
    minutes_per_part : tau, minutes in cut per part, shape (ways,)
    believed : what is believed of each law

    Returns
    -------
    parts, shape (ways, nodes)

    Raises
    ------
    WorkingError : when an age or minutes per part are not above zero

    >>> from calc.life.predictive import belief
    >>> good_parts(24.8, 6.2, belief(np.log(45), np.log(3.5)))[0, 0].round(2).tolist()
    3.83

    Source: sum of the chances to make at least 1, 2, 3 .. parts [cox-renewal (m)], by the trapezoidal rule beyond 32.
    """
    each = np.atleast_1d(above_zero("minutes_per_part", minutes_per_part))
    count = np.round(np.atleast_1d(np.asarray(age, dtype=np.float64)) / each)
    numbered = np.arange(1, ONE_BY_ONE + 1)
    singly = node_survival((numbered * each[:, None])[:, None, :], believed)
    parts = np.where((numbered <= count[:, None])[:, None, :], singly, 0.0).sum(axis=-1)
    (chance, minutes), (first, before) = worked(age, believed), worked(ONE_BY_ONE * each, believed)
    further = (minutes - before) / each[:, None] - (first - chance) / 2
    return np.asarray(parts + np.where((count > ONE_BY_ONE)[:, None], np.maximum(further, 0.0), 0.0))


def per_part(
    believed: Belief,
    age: Numbers,
    minutes_per_part: Numbers,
    cost_planned: Numbers,
    cost_failure: Numbers,
    machine_rate: Numbers,
    stand_minutes: Numbers = 0.0,
    idle_minutes: Numbers = 0.0,
) -> PerPart:
    """Edges, money and time that a part takes when edges are changed at an age or when they end.

    Parameters
    ----------
    believed : what is believed of each law, a row for each way to run
    age : minutes in cut at which an edge is changed, a whole number of parts, infinite where it runs to the end
    minutes_per_part : tau, minutes in cut per part, shape (ways,)
    cost_planned, cost_failure : whole costs of a planned change and of a failure, money
    machine_rate : money per minute in cut
    stand_minutes : minutes that the machine stands for each change
    idle_minutes : minutes by the clock for each part outside the cut

    Returns
    -------
    PerPart

    Raises
    ------
    WorkingError : when a figure is below zero, or an age or minutes per part are not above zero

    >>> from calc.life.predictive import belief
    >>> found = per_part(belief(np.log(45), np.log(3.5)), [24.8], [6.2], 5, 25, 1.5, 3)
    >>> round(float(found.cost.middle[0]), 3), round(float(found.hourly.middle[0]), 2)
    (11.379, 8.46)

    Source: renewal reward [cox-renewal (m)]; ranges are percentiles over the belief's nodes.
    """
    each = above_zero("minutes_per_part", minutes_per_part)
    planned, failure = not_below_zero("cost_planned", cost_planned), not_below_zero("cost_failure", cost_failure)
    rate = not_below_zero("machine_rate", machine_rate)
    stands, idle = not_below_zero("stand_minutes", stand_minutes), not_below_zero("idle_minutes", idle_minutes)
    chance, minutes = worked(age, believed)
    parts = np.maximum(good_parts(age, each, believed), FEWEST_PARTS)
    wide = np.broadcast_arrays(np.atleast_1d(each), planned, failure, rate, stands, idle, chance[:, 0])
    planned, failure, rate, stands, idle = (one[:, None] for one in wide[1:-1])
    # The mean of all is that of edges as they come: means of costs over means of parts, as when a change is chosen.
    nodes = believed.weight
    middle = [(one * nodes).sum(axis=1, keepdims=True) for one in (chance, minutes, parts)]

    def cost(reached: Floats, worked_for: Floats, made: Floats) -> Floats:
        return np.asarray((worked_for * rate + planned + (failure - planned) * (1 - reached)) / made)

    def hourly(reached: Floats, worked_for: Floats, made: Floats) -> Floats:
        begun = made + (1 - reached)
        return np.asarray(60 * made / (worked_for + idle * begun + stands))

    reached, worked_for, made = middle
    return PerPart(
        early=np.asarray(1 - reached[:, 0]),
        edges=_ranged(1 / made, 1 / parts, nodes),
        cost=_ranged(cost(*middle), cost(chance, minutes, parts), nodes),
        hourly=_ranged(hourly(*middle), hourly(chance, minutes, parts), nodes),
        machine=np.asarray((worked_for * rate / made)[:, 0]),
        planned=np.asarray((planned / made)[:, 0]),
        failures=np.asarray(((failure - planned) * (1 - reached) / made)[:, 0]),
    )


def _ranged(middle: Floats, by_node: Floats, weight: Floats) -> Ranged:
    low, high = node_percentiles(by_node, weight, (10, 90)).T
    return Ranged(middle[:, 0], low, high)
