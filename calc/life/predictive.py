"""What is left of an edge when shape and scale are themselves only half known.

A fit (or a prior) leaves a bell curve over (ln scale, ln shape). Forecasts average over it at fixed Gauss-Hermite
nodes, so that few ends give wide intervals and the answer is the same every time it is asked. An edge that has
already outlived what was believed shifts the weights towards longer lives. The breakage rate is gamma distributed;
its average has a closed form.

Lives that may be short or long make an average whose chance per minute falls at last: who has come so far has the long
life. Taken at its word, such an average would promise an edge more the longer it cuts. Minutes in cut alone never do so
here: an edge is promised no more than it was at any age since the fit knew of it (`lasting`, `remaining`).
"""

import numpy as np

from calc.life.averaged import AveragedLaw, LookBack, handfuls, some
from calc.life.averaged import Belief as Belief
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, numbers, percentages
from calc.life.nodes import node_percentiles, node_survival
from calc.life.survival import NODES, WEIGHTS

SCALE_NODES, SHAPE_NODES = 9, 5
# Wider than this (a factor of 20 either way at one standard deviation) nothing useful is known, and exp() overflows.
WIDEST = 3.0
# How often an earlier age is looked for that had still less left.
LOOKS = 8


def belief(
    log_scale: Numbers,
    log_shape: Numbers,
    variance_scale: Numbers = 0.0,
    variance_shape: Numbers = 0.0,
    covariance: Numbers = 0.0,
    breaks: Numbers = 0.0,
    break_minutes: Numbers = 1.0,
    nodes: tuple[int, int] = (SCALE_NODES, SHAPE_NODES),
) -> Belief:
    """Lay out the nodes of a normal belief about (ln scale, ln shape) and a gamma belief about breakage.

    Parameters
    ----------
    log_scale : mean of ln eta at the edge's present duty, eta in minutes, shape (edges,)
    log_shape : mean of ln beta, shape (edges,)
    variance_scale, variance_shape, covariance : of (ln eta, ln beta), shape (edges,)
    breaks : gamma shape of the breakage rate, 0 when breakage is left out
    break_minutes : gamma rate of the breakage rate, minutes in cut watched
    nodes : nodes over ln eta and over ln beta; more draw a smoother band, and forecasts do not need them

    Returns
    -------
    Belief of 45 nodes per edge, or as many as asked for

    Raises
    ------
    WorkingError : when a number is missing, a variance is below zero or break_minutes is not above zero

    >>> known = belief(np.log(60), np.log(3))
    >>> known.weight.shape, float(known.weight.sum().round(12))
    ((1, 45), 1.0)

    Source: Gauss-Hermite quadrature; Laplace approximation of the posterior [gelman-bda (m)].
    """
    centre = [
        np.atleast_1d(numbers(name, value)) for name, value in (("log_scale", log_scale), ("log_shape", log_shape))
    ]
    spread = [
        np.atleast_1d(not_below_zero(name, value))
        for name, value in (("variance_scale", variance_scale), ("variance_shape", variance_shape))
    ]
    both = np.atleast_1d(numbers("covariance", covariance))
    counted = np.atleast_1d(not_below_zero("breaks", breaks))
    watched = np.atleast_1d(above_zero("break_minutes", break_minutes))
    middle_scale, middle_shape, scale2, shape2, both, counted, watched = np.broadcast_arrays(
        *centre, *spread, both, counted, watched
    )
    sd_shape = np.minimum(np.sqrt(shape2), WIDEST)
    along = np.divide(both, np.sqrt(shape2), out=np.zeros(both.shape), where=shape2 > 0)
    sd_rest = np.minimum(np.sqrt(np.maximum(scale2 - along**2, 0.0)), WIDEST)
    first, first_weight = np.polynomial.hermite_e.hermegauss(nodes[1])
    second, second_weight = np.polynomial.hermite_e.hermegauss(nodes[0])
    z_shape = np.repeat(first, nodes[0])
    z_scale = np.tile(second, nodes[1])
    weight = np.outer(first_weight, second_weight).ravel()
    return Belief(
        np.broadcast_to(weight / weight.sum(), (middle_scale.size, weight.size)),
        np.exp(middle_scale[:, None] + along[:, None] * z_shape + sd_rest[:, None] * z_scale),
        np.exp(middle_shape[:, None] + sd_shape[:, None] * z_shape),
        counted,
        watched,
    )


def lasting(more: Numbers, used: Numbers, believed: Belief, counted: Numbers = 0.0) -> Floats:
    """Chance that each edge lasts `more` minutes beyond those it has cut.

    Parameters
    ----------
    more : x, further minutes in cut at the present duty, shape (edges,) or (edges, k)
    used : equivalent minutes already cut at that duty, shape (edges,)
    believed : what is believed about each edge's law
    counted : how many of the used minutes the fit behind the belief already knew of, shape (edges,)

    Returns
    -------
    chance, in the shape of `more`

    Raises
    ------
    WorkingError : when minutes are below zero

    >>> lasting(12, 45, belief(np.log(60), np.log(3))).round(6).tolist()
    [0.646941]

    Source: average of S(used + x) / S(used) over the belief, reweighted by S(used) / S(counted); the least of them
    at any age since the counted one.
    """
    wide = not_below_zero("more", more)
    flat = wide if wide.ndim == 2 else np.atleast_1d(wide)[:, None]
    before, known = _ages(used, counted, believed)
    flat = np.broadcast_to(flat, (before.size, flat.shape[1]))
    reached = np.empty(flat.shape)
    for rows in handfuls(*flat.shape):
        reached[rows] = AveragedLaw(before[rows], some(believed, rows), known[rows]).cumulative(flat[rows])[0]
    past = LookBack(before, believed, known, flat)
    then = past.law.cumulative_from(past.worst_age(), past.more)
    np.maximum.at(reached, (past.rows, past.places), then)
    answer = np.exp(-reached)
    return answer if wide.ndim == 2 else answer[:, 0]


def remaining(used: Numbers, believed: Belief, counted: Numbers = 0.0, percent: Numbers = (10, 50, 90)) -> Floats:
    """Percentiles of the minutes left with the uncertainty of the law in them; 10 is what nine in ten outlast.

    Parameters
    ----------
    used : equivalent minutes already cut at the present duty, shape (edges,)
    believed : what is believed about each edge's law
    counted : how many of the used minutes the fit already knew of, shape (edges,)
    percent : percentiles wanted, shape (k,)

    Returns
    -------
    minutes left, shape (edges, k)

    Raises
    ------
    WorkingError : when minutes are below zero or a percentile lies outside 0 to 100

    >>> known, vague = belief(np.log(60), np.log(3)), belief(np.log(60), np.log(3), 0.25, 0.04)
    >>> remaining(45, known).round(3).tolist()
    [[3.471, 17.217, 38.8]]
    >>> bool(np.ptp(remaining(0, vague)) > np.ptp(remaining(0, known)))
    True

    Source: [nist-ehandbook] conditional reliability, averaged as in `lasting`, solved by guarded Newton steps.
    """
    goal = -np.log1p(-np.atleast_1d(percentages("percent", percent)))
    before, known = _ages(used, counted, believed)
    left = np.empty((before.size, goal.size))
    for rows in handfuls(*left.shape):
        law = AveragedLaw(before[rows], some(believed, rows), known[rows])
        left[rows] = law.left(np.broadcast_to(goal, left[rows].shape))
    past = LookBack(before, believed, known, left)
    looks = 0
    while past.rows.size and looks < LOOKS:
        looks += 1
        then = past.law_after(past.worst_age())
        np.minimum.at(left, (past.rows, past.places), then.left(goal[past.places][:, None])[:, 0])
        past = past.again(left[past.rows, past.places])
    return left


def life_survival(minutes: Numbers, believed: Belief) -> Floats:
    """Chance that a fresh edge outlasts each age, averaged over the belief.

    Parameters
    ----------
    minutes : ages, shape (k,) or (edges, k)
    believed : what is believed about each edge's law

    Returns
    -------
    chance, shape (edges, k)

    Raises
    ------
    WorkingError : when minutes are below zero

    >>> life_survival([0, 60], belief(np.log(60), np.log(3))).round(4).tolist()
    [[1.0, 0.3679]]

    Source: as `lasting`, from a fresh edge.
    """
    ages = np.broadcast_to(
        np.atleast_2d(not_below_zero("minutes", minutes)), (believed.weight.shape[0], np.shape(minutes)[-1])
    )
    return lasting(ages, np.zeros(believed.weight.shape[0]), believed)


def survival_band(minutes: Numbers, believed: Belief, percent: Numbers = (10, 90)) -> Floats:
    """Range in which the life curve itself may lie, by the percentiles of S(t) over the belief.

    Parameters
    ----------
    minutes : ages, shape (k,)
    believed : what is believed about each edge's law
    percent : the range's lower and upper percentile, shape (2,)

    Returns
    -------
    chances, shape (edges, 2, k)

    Raises
    ------
    WorkingError : when minutes are below zero or a percentile lies outside 0 to 100

    >>> low, high = survival_band([40.0], belief(np.log(60), np.log(3), 0.04))[0, :, 0]
    >>> bool(low < survival_at_best < high) if (survival_at_best := np.exp(-((40 / 60) ** 3))) else False
    True

    Source: as `node_percentiles`, of the survival of each node.
    """
    ages = np.atleast_1d(not_below_zero("minutes", minutes))
    by_node = node_survival(ages, believed).swapaxes(1, 2)
    return node_percentiles(by_node, believed.weight[:, None, :], percent).swapaxes(1, 2)


def mean_time_outlasted(minutes: Numbers, believed: Belief) -> Floats:
    """Mean minutes that a fresh edge works before it ends or reaches each age, averaged over the belief.

    Parameters
    ----------
    minutes : upper ages, shape (edges, k)
    believed : what is believed about each edge's law

    Returns
    -------
    minutes, shape (edges, k)

    Raises
    ------
    WorkingError : when minutes are below zero

    >>> mean_time_outlasted([[1000.0]], belief(np.log(60), np.log(3))).round(4).tolist()
    [[53.5788]]

    Source: Gauss-Legendre quadrature of the averaged survival.
    """
    ends = np.atleast_2d(not_below_zero("minutes", minutes))
    fine = ends[..., None] * NODES**3
    chances = life_survival(fine.reshape(ends.shape[0], -1), believed).reshape(fine.shape)
    return np.asarray((chances * (3 * NODES**2 * WEIGHTS)).sum(axis=-1) * ends)


def _ages(used: Numbers, counted: Numbers, believed: Belief) -> tuple[Floats, Floats]:
    """Minutes used, and those of them that the fit knew, of each edge."""
    before = np.broadcast_to(not_below_zero("used", used), believed.breaks.shape)
    return before, np.minimum(np.broadcast_to(not_below_zero("counted", counted), before.shape), before)
