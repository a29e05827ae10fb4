"""When to change an edge: the age at which a planned change costs least per minute, never past the accepted risk.

An edge is changed at age T or when it ends, whichever comes first. A planned change costs cp (edge and change time),
an end by wear cf (edge, change time and the chance-weighted lost part), a sudden breakage cb. Breakage at a constant
rate cannot be prevented by changing early: its cost adds to the rate but moves the best age only by taking edges out.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.life.batch import whole_parts
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, share
from calc.life.predictive import Belief, life_survival, mean_time_outlasted
from calc.life.survival import NOTHING_LEFT, Law, life_law, life_percentile, time_outlasted

# A best age that fewer than one edge in a thousand reaches is "run to the end" by another name.
HARDLY_ANY = 1e-3
# An edge that makes fewer good parts than this makes none.
FEWEST_PARTS = 1e-12
GRID = 160
MOST_STEPS = 100

Marks = npt.NDArray[np.bool_]


class Change(NamedTuple):
    """When to change: infinite where the edge is best run to the end. All arrays of one shape."""

    minutes: Floats
    cost_rate: Floats
    cost_rate_to_end: Floats
    chance_of_failure: Floats
    limited_by_risk: Marks


class ChangeParts(NamedTuple):
    """When to change, on whole parts: infinite where best run to the end, 0 where one part already risks too much.

    `cost_each` is the cost that was weighed: of a good part where a belief was asked on whole parts, else of a minute.
    """

    parts: Floats
    minutes: Floats
    cost_rate: Floats
    cost_rate_to_end: Floats
    chance_of_failure: Floats
    limited_by_risk: Marks
    cost_each: Floats


class _Costs(NamedTuple):
    planned: Floats
    failure: Floats
    breakage: Floats

    def rate(self, age: Floats, law: Law) -> Floats:
        outlasted = time_outlasted(age, law)
        alive = np.exp(-law.cumulative(age))
        each = self.planned * alive + self.failure * (1 - alive)
        return np.asarray(each / outlasted + (self.breakage - self.failure) * law.breakage)


def change_age(
    shape: Numbers,
    scale: Numbers,
    cost_planned: Numbers,
    cost_failure: Numbers,
    breakage: Numbers = 0.0,
    cost_breakage: Numbers | None = None,
    accepted_risk: Numbers | None = None,
) -> Change:
    """Age at which changing the edge costs least per minute in cut.

    Parameters
    ----------
    shape, scale, breakage : beta, eta (minutes) and lambda (per minute) of the life law
    cost_planned : cp, whole cost of a planned change, money
    cost_failure : cf, whole cost of an end by wear (not the extra cost), money
    cost_breakage : cb, whole cost of a breakage, as cost_failure when left out
    accepted_risk : largest accepted chance that a fresh edge ends before its change, 0 to 1

    Returns
    -------
    Change, every field in the shape that the arguments broadcast to

    Raises
    ------
    WorkingError : when the law is not one, a cost is below zero or the risk lies outside 0 to 1

    >>> best = change_age(2.5, 1000, 1, 5)
    >>> float(best.minutes.round(3)), float(best.cost_rate.round(8))
    (493.047, 0.00346204)
    >>> bool(np.isinf(change_age(0.9, 1000, 1, 5).minutes))
    True

    Source: [barlow-hunter-1960 (m)], h(T) * integral of S - F(T) = cp / (cf - cp), solved by guarded Newton steps.
    """
    law, costs = _prepared(shape, scale, cost_planned, cost_failure, breakage, cost_breakage)
    age = _best_age(law, costs)
    age, limited = _within_risk(age, law, accepted_risk)
    to_end = _end_of_life(law)
    at = np.minimum(age, to_end)
    return Change(
        age,
        costs.rate(at, law),
        costs.rate(to_end, law),
        np.where(np.isinf(age), 1.0, 1 - np.exp(-law.cumulative(at))),
        limited,
    )


def change_parts(
    shape: Numbers,
    scale: Numbers,
    cost_planned: Numbers,
    cost_failure: Numbers,
    minutes_per_part: Numbers,
    breakage: Numbers = 0.0,
    cost_breakage: Numbers | None = None,
    accepted_risk: Numbers | None = None,
) -> ChangeParts:
    """Whole parts after which changing the edge costs least per minute in cut.

    Parameters
    ----------
    shape, scale, breakage, cost_planned, cost_failure, cost_breakage, accepted_risk : as in `change_age`
    minutes_per_part : tau, minutes in cut per part

    Returns
    -------
    ChangeParts, every field in the shape that the arguments broadcast to

    Raises
    ------
    WorkingError : when the law is not one, a cost is below zero, or minutes per part are not above zero

    >>> best = change_parts(3.5, 45, 5, 25, 6.2)
    >>> int(best.parts), float(best.cost_rate.round(6))
    (4, 0.303956)

    Source: [barlow-hunter-1960 (m)] at T = n * tau; the cost falls to its minimum and then rises, so only the whole
    numbers beside the best age need comparing.
    """
    each = above_zero("minutes_per_part", minutes_per_part)
    law, costs = _prepared(shape, scale, cost_planned, cost_failure, breakage, cost_breakage, each)
    each = np.broadcast_to(each, law.scale.shape)
    best = _best_age(law, costs)
    to_end = _end_of_life(law)
    below = np.maximum(whole_parts(np.minimum(best, to_end), each), 1.0)
    cheaper_above = costs.rate((below + 1) * each, law) < costs.rate(below * each, law)
    parts = np.where(cheaper_above, below + 1, below)
    hardly = np.exp(-law.cumulative(parts * each)) < HARDLY_ANY
    parts = np.where(np.isinf(best) | hardly, np.inf, parts)
    most, _ = _within_risk(np.full(parts.shape, np.inf), law, accepted_risk)
    allowed = np.where(np.isinf(most), np.inf, whole_parts(np.minimum(most, to_end), each))
    limited = allowed < parts
    parts = np.minimum(parts, allowed)
    minutes = parts * each
    at = np.minimum(np.maximum(minutes, each), np.maximum(to_end, each))
    failing = np.where(np.isinf(parts), 1.0, np.where(parts > 0, 1 - np.exp(-law.cumulative(at)), 0.0))
    rate = costs.rate(at, law)
    return ChangeParts(parts, minutes, rate, costs.rate(to_end, law), failing, limited, rate)


def believed_change(
    believed: Belief,
    cost_planned: Numbers,
    cost_failure: Numbers,
    minutes_per_part: Numbers | None = None,
    accepted_risk: Numbers | None = None,
) -> ChangeParts:
    """When to change with the uncertainty of the law in the costs: on whole parts, or on minutes.

    On whole parts the cost of each good part decides, since one in which the edge ends is made again; the rates told
    are per minute in cut all the same.

    Parameters
    ----------
    believed : what is believed about each law, shape (edges,)
    cost_planned, cost_failure : whole costs of a planned change and of a failure, money, shape (edges,)
    minutes_per_part : tau, minutes; left out, or nan for an edge, the age is found on minutes
    accepted_risk : largest accepted chance that a fresh edge ends before its change; nan where none is set

    Returns
    -------
    ChangeParts of shape (edges,); parts are nan where minutes per part are not known

    Raises
    ------
    WorkingError : when a cost is below zero or the risk lies outside 0 to 1

    >>> from calc.life.predictive import belief
    >>> best = believed_change(belief(np.log(45), np.log(3.5)), 5, 25, 6.2)
    >>> int(best.parts[0]), float(best.cost_rate[0].round(3))
    (4, 0.304)

    Source: renewal-reward [cox-renewal (m)] with the averaged survival, compared on a grid of ages.
    """
    edges = believed.breaks.shape
    planned = np.broadcast_to(above_zero("cost_planned", cost_planned), edges)
    failure = np.broadcast_to(not_below_zero("cost_failure", cost_failure), edges)
    each = np.broadcast_to(
        np.asarray(np.nan if minutes_per_part is None else minutes_per_part, dtype=np.float64), edges
    )
    risk = np.broadcast_to(np.asarray(np.nan if accepted_risk is None else accepted_risk, dtype=np.float64), edges)
    share("accepted_risk", risk[~np.isnan(risk)])
    above_zero("minutes_per_part", each[~np.isnan(each)])
    ages = _candidates(believed, each)
    alive = life_survival(ages, believed)
    outlasted = _running_outlasted(ages, alive, believed)
    spent = planned[:, None] * alive + failure[:, None] * (1 - alive)
    cost, rows = spent / outlasted, np.arange(edges[0])
    yields = np.where(np.isnan(each)[:, None], outlasted, _parts_made(ages, alive, outlasted, each))
    weighed = spent / np.maximum(yields, FEWEST_PARTS)
    best = np.argmin(weighed[:, :-1], axis=1)
    to_end = cost[rows, -1]
    pays = weighed[rows, best] < weighed[:, -1] * (1 - 1e-6)
    run_to_end = ~pays | (failure <= planned) | (alive[rows, best] < HARDLY_ANY)
    allowed = (
        np.where(np.isnan(risk), ages.shape[1], (1 - alive <= np.nan_to_num(risk, nan=1.0)[:, None]).sum(axis=1)) - 1
    )
    wanted = np.where(run_to_end, ages.shape[1] - 1, best)
    limited = allowed < wanted
    chosen = np.maximum(np.minimum(allowed, wanted), 0)
    minutes = np.where(allowed < 0, 0.0, np.where(run_to_end & ~limited, np.inf, ages[rows, chosen]))
    parts = np.where(np.isnan(each) | np.isinf(minutes), minutes + 0 * each, np.round(minutes / each))
    parts = np.where(np.isnan(each), np.nan, parts)
    failing = np.where(np.isinf(minutes), 1.0, np.where(minutes > 0, 1 - alive[rows, chosen], 0.0))
    return ChangeParts(parts, minutes, cost[rows, chosen], to_end, failing, limited, weighed[rows, chosen])


def _prepared(
    shape: Numbers,
    scale: Numbers,
    cost_planned: Numbers,
    cost_failure: Numbers,
    breakage: Numbers,
    cost_breakage: Numbers | None,
    *others: Floats,
) -> tuple[Law, _Costs]:
    law = life_law(shape, scale, breakage)
    planned = above_zero("cost_planned", cost_planned)
    failure = not_below_zero("cost_failure", cost_failure)
    broken = failure if cost_breakage is None else not_below_zero("cost_breakage", cost_breakage)
    alike = np.broadcast_arrays(*law, planned, failure, broken, *others)
    return Law(*alike[:3]), _Costs(*alike[3:6])


def _end_of_life(law: Law) -> Floats:
    return life_percentile(100 * (1 - np.exp(-NOTHING_LEFT / 2)), *law)


def _best_age(law: Law, costs: _Costs) -> Floats:
    """Root of h(T) M(T) - F(T) - cp / (cf - cp): below it the cost per minute falls, beyond it it rises."""
    worth = (law.shape > 1) & (costs.failure > costs.planned)
    extra = np.where(worth, costs.failure - costs.planned, 1.0)
    goal = costs.planned / extra
    steady = Law(np.where(worth, law.shape, 2.0), law.scale, law.breakage)
    low = np.full(law.scale.shape, -60.0)
    high = np.log(life_percentile(100 * (1 - HARDLY_ANY), *steady))
    outlived = _gain(np.exp(high), steady)[0] < goal
    at = np.minimum(np.log(steady.scale) + np.log(np.minimum(goal, 1.0)) / steady.shape, high)
    moved, steps = np.inf, 0
    while moved > 1e-13 and steps < MOST_STEPS:
        steps += 1
        gain, slope = _gain(np.exp(at), steady)
        low, high = np.where(gain < goal, at, low), np.where(gain < goal, high, at)
        step = (gain - goal) / np.maximum(slope * np.exp(at), 1e-300)
        outside = (at - step <= low) | (at - step >= high)
        there = np.where(outside & (np.abs(step) > 1e-13), (low + high) / 2, at - step)
        moved, at = float(np.max(np.abs(there - at), initial=0.0)), there
    return np.where(worth & ~outlived, np.exp(at), np.inf)


def _gain(age: Floats, law: Law) -> tuple[Floats, Floats]:
    """h(T) M(T) - F(T) and its slope h'(T) M(T)."""
    outlasted = time_outlasted(age, law)
    wear = law.hazard(age) - law.breakage
    failed = -np.expm1(-law.cumulative(age))
    return law.hazard(age) * outlasted - failed, wear * (law.shape - 1) / age * outlasted


def _within_risk(age: Floats, law: Law, accepted_risk: Numbers | None) -> tuple[Floats, Marks]:
    if accepted_risk is None:
        return age, np.zeros(age.shape, dtype=bool)
    most = life_percentile(100 * share("accepted_risk", accepted_risk), *law)
    return np.minimum(age, most), np.asarray(most < age)


def _candidates(believed: Belief, each: Floats) -> Floats:
    """Ages to compare, ending with one that hardly any edge reaches; whole parts where minutes per part are known."""
    far = np.max(believed.scale * NOTHING_LEFT ** (1 / believed.shape), axis=1)
    typical = np.median(believed.scale, axis=1)
    grid = typical[:, None] * np.geomspace(0.01, 6.0, GRID)
    count = np.where(np.isnan(each), 1.0, each)
    step = np.maximum(np.ceil(3 * typical / count / GRID), 1.0)
    parts = np.arange(1, GRID + 1) * (step * count)[:, None]
    ages = np.where(np.isnan(each)[:, None], grid, parts)
    far = np.maximum(far, 2 * ages[:, -1])
    return np.concatenate((ages, far[:, None]), axis=1)


def _parts_made(ages: Floats, alive: Floats, outlasted: Floats, each: Floats) -> Floats:
    """Mean good parts up to each age on whole parts: summed where every part is on the grid, else by its integral."""
    inner = alive[:, :-1]
    counted = np.cumsum(inner, axis=1)
    by_integral = outlasted / each[:, None] - (1 - alive) / 2
    beyond = np.maximum(by_integral[:, -1] - by_integral[:, -2], 0.0)
    exact = np.concatenate((counted, (counted[:, -1] + beyond)[:, None]), axis=1)
    every = ages[:, 0] < 1.5 * each
    return np.where(every[:, None], exact, by_integral)


def _running_outlasted(ages: Floats, alive: Floats, believed: Belief) -> Floats:
    """Mean minutes worked up to each age: Simpson's rule between neighbours, by quadrature for the last stretch."""
    before = np.concatenate((np.zeros((ages.shape[0], 1)), ages[:, :-2]), axis=1)
    inner = ages[:, :-1]
    middle = life_survival((before + inner) / 2, believed)
    started = np.concatenate((np.ones((ages.shape[0], 1)), alive[:, :-2]), axis=1)
    running = np.cumsum((inner - before) * (started + 4 * middle + alive[:, :-1]) / 6, axis=1)
    return np.concatenate((running, mean_time_outlasted(ages[:, -1:], believed)), axis=1)
