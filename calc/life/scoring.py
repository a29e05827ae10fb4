"""Was the forecast right? Scores of what was said against what came."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import not_below_zero, percentages

Array = npt.NDArray[np.float64]


def pinball_loss(observed: npt.ArrayLike, quantile: npt.ArrayLike, level: float) -> Array:
    """Return the loss of a quantile forecast, per forecast; at level 0.5 it is half the absolute error.

    Parameters
    ----------
    observed : what came, minutes, any shape
    quantile : what was said, minutes
    level : chance that the value stays under the quantile, 0 < level < 1

    Returns
    -------
    minutes, broadcast shape; smaller is better

    Raises
    ------
    WorkingError : when the level is not a chance

    >>> pinball_loss([10.0, 10.0], [8.0, 14.0], 0.9).round(6).tolist()
    [1.8, 0.4]

    Source: [koenker-1978 (m)]
    """
    if not 0 < level < 1:
        raise WorkingError("level", "The level must lie between 0 and 1, both ends left out.")
    miss = np.asarray(observed, dtype=np.float64) - np.asarray(quantile, dtype=np.float64)
    return np.maximum(level * miss, (level - 1) * miss)


def coverage(observed: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike) -> float:
    """Return the share of what came that fell inside its interval, ends included.

    Parameters
    ----------
    observed, low, high : minutes, one per forecast, at least one

    Returns
    -------
    share, 0 to 1

    Raises
    ------
    WorkingError : when there is nothing to score

    >>> coverage([10.0, 30.0], [8.0, 8.0], [20.0, 20.0])
    0.5

    Source: [gneiting-raftery-2007 (m)]
    """
    came = np.asarray(observed, dtype=np.float64)
    if came.size == 0:
        raise WorkingError("observed", "There is no ended edge to score yet.")
    return float(((came >= np.asarray(low)) & (came <= np.asarray(high))).mean())


def interval_score(observed: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike, inside: float) -> Array:
    """Return the width of an interval plus a penalty for what fell outside it, per forecast.

    Parameters
    ----------
    observed, low, high : minutes
    inside : chance the interval was meant to hold, 0 < inside < 1

    Returns
    -------
    minutes, broadcast shape; smaller is better

    Raises
    ------
    WorkingError : when `inside` is not a chance

    >>> interval_score([10.0, 30.0], [8.0, 8.0], [20.0, 20.0], 0.8).round(6).tolist()
    [12.0, 112.0]

    Source: [gneiting-raftery-2007 (m)]
    """
    tail = (1 - inside) / 2
    return (pinball_loss(observed, low, tail) + pinball_loss(observed, high, 1 - tail)) / tail


def crps_quantiles(
    observed: npt.ArrayLike,
    quantiles: npt.ArrayLike,
    levels: npt.ArrayLike,
    ended: npt.ArrayLike = True,
    watched: npt.ArrayLike = np.inf,
) -> Array:
    """Return the continuous ranked probability score of forecasts of which only some quantiles were kept.

    The chance rises on straight lines from nothing at 0 minutes over the quantiles. Beyond the last one it nears 1 as
    it did between the last two: what is left halves again and again (an exponential tail).

    When an edge came off before it failed, only the minutes it was seen to last are scored. One that did fail is then
    scored no further than it would have been watched; else long forecasts would be blamed for the early ends alone,
    and never praised for the edges that outlived the change.

    Parameters
    ----------
    observed : minutes it lasted from the forecast on, at least 0, shape (forecasts,)
    quantiles : minutes forecast, rising, at least two, shape (forecasts, k)
    levels : chance that the value stays under each quantile, rising between 0 and 1, shape (k,)
    ended : true when it failed, false when it was taken off before (censored), shape (forecasts,)
    watched : minutes after which it would have been taken off, had it not failed: equally likely guesses, infinite
        where edges run to their end, a shape that broadcasts with (forecasts, guesses)

    Returns
    -------
    minutes, shape (forecasts,); smaller is better

    Raises
    ------
    WorkingError : when minutes are below zero, or quantiles or levels do not rise

    >>> crps_quantiles([10.0, 20.0], [[10, 20, 30]] * 2, [0.25, 0.5, 0.75]).round(4).tolist()
    [6.0758, 3.5758]
    >>> crps_quantiles(10.0, [[10, 20, 30]], [0.25, 0.5, 0.75], watched=[[20.0]]).round(4).tolist()
    [4.1667]

    Source: [gneiting-raftery-2007 (m)], the area between the forecast and the step at what came, in closed form on each
    stretch; each minute weighs as the chance that an edge is watched so long [gneiting-ranjan-2011 (m)].
    """
    came, said, chance = _quantiles_checked(observed, quantiles, levels)
    until = np.maximum(np.broadcast_to(_guesses(watched), (came.size, _guesses(watched).shape[-1])), came[:, None])
    real = np.broadcast_to(np.asarray(ended, dtype=bool), came.shape)
    before, after = _areas(came[:, None], said, chance)
    spared = _areas(until, said, chance)[1].mean(axis=1)
    return np.asarray(before[:, 0] + np.where(real, after[:, 0] - spared, 0.0))


def crps_point(
    observed: npt.ArrayLike, said: npt.ArrayLike, ended: npt.ArrayLike = True, watched: npt.ArrayLike = np.inf
) -> Array:
    """Return the same score for whoever says one figure only: how far off it was.

    Parameters
    ----------
    observed : minutes it lasted from the forecast on, at least 0, shape (forecasts,)
    said : minutes forecast, shape (forecasts,)
    ended : true when it failed, false when it was taken off before (censored), shape (forecasts,)
    watched : minutes after which it would have been taken off, as in `crps_quantiles`

    Returns
    -------
    minutes, shape (forecasts,): the error; of an edge taken off, by how much it had outlasted the figure

    Raises
    ------
    WorkingError : when minutes are below zero

    >>> crps_point([10.0, 10.0, 10.0], [14.0, 7.0, 14.0], [True, False, False]).tolist()
    [4.0, 3.0, 0.0]
    >>> crps_point([10.0], [14.0], watched=[[12.0, 13.0]]).tolist()
    [2.5]

    Source: [gneiting-raftery-2007 (m)], the score of a law that is sure of one value.
    """
    came, figure = np.broadcast_arrays(
        np.atleast_1d(not_below_zero("observed", observed)), np.atleast_1d(not_below_zero("said", said))
    )
    late = np.maximum(np.minimum(figure[:, None], _guesses(watched)) - came[:, None], 0.0).mean(axis=1)
    return np.asarray(np.where(np.asarray(ended, dtype=bool), late, 0.0) + np.maximum(came - figure, 0.0))


def skill(
    ours: npt.ArrayLike, theirs: npt.ArrayLike, *, times: int = 400, seed: int = 1, percent: npt.ArrayLike = (10, 90)
) -> tuple[Array, Array]:
    """Return by what share our losses lie below a rival's, and the range that chance leaves it.

    Edges differ, and the losses of one edge hang together. So whole edges (or lots of them) are given random weights
    again and again, the same for both rivals and for every column.

    Parameters
    ----------
    ours, theirs : summed losses of each edge or lot of edges, minutes, shape (lots, columns)
    times : how often the weights are drawn
    seed : of the weights, so that the answer is the same whenever it is asked
    percent : percentiles of the range, shape (2,)

    Returns
    -------
    1 - ours / theirs, shape (columns,), and its range, shape (columns, 2); nan where the rival had no loss at all

    Raises
    ------
    WorkingError : when the shapes disagree, a loss is below zero or there is nothing to compare

    >>> share, span = skill([[3.0], [1.0], [2.0]], [[4.0], [4.0], [4.0]])
    >>> float(share[0]), bool(span[0, 0] < 0.5 < span[0, 1])
    (0.5, True)

    Source: [rubin-1981 (m)], the Bayesian bootstrap: exponential weights, which leave no edge out altogether.
    """
    mine, other = not_below_zero("ours", ours), not_below_zero("theirs", theirs)
    if mine.shape != other.shape or mine.ndim != 2 or not mine.size:
        raise WorkingError("theirs", "Give the losses of both rivals for the same edges, one row for each.")
    ends = percentages("percent", percent)
    weights = np.random.default_rng(seed).exponential(size=(times, mine.shape[0]))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 1 - mine.sum(axis=0) / other.sum(axis=0)
        drawn = 1 - (weights @ mine) / (weights @ other)
    known = other.sum(axis=0) > 0
    share = np.where(known, share, np.nan)
    return share, np.where(known[:, None], np.quantile(np.where(known, drawn, 0.0), ends, axis=0).T, np.nan)


def brier_score(chance: npt.ArrayLike, happened: npt.ArrayLike) -> float:
    """Return the mean squared error of chances given to events.

    Parameters
    ----------
    chance : what was said, 0 to 1
    happened : what came, true or false

    Returns
    -------
    0 for perfect, 1 for always wrong

    Raises
    ------
    WorkingError : when a chance lies outside 0 to 1

    >>> round(brier_score([0.9, 0.2], [True, False]), 6)
    0.025

    Source: [brier-1950 (m)]
    """
    said = np.asarray(chance, dtype=np.float64)
    if said.size == 0 or not ((said >= 0) & (said <= 1)).all():
        raise WorkingError("chance", "Chances must lie between 0 and 1, and there must be at least one.")
    return float(((said - np.asarray(happened, dtype=np.float64)) ** 2).mean())


def _guesses(watched: npt.ArrayLike) -> Array:
    return np.atleast_2d(np.asarray(watched, dtype=np.float64))


def _areas(at: Array, said: Array, chance: Array) -> tuple[Array, Array]:
    """Areas of the chance squared up to each place, and of its rest squared from there on; `at` is (forecasts, n)."""
    knots = np.column_stack([np.zeros(said.shape[0]), said])
    below = np.concatenate(([0.0], chance))
    start, stop = knots[:, None, :-1], knots[:, None, 1:]
    cut = np.clip(at[..., None], start, stop)
    part = np.divide(cut - start, stop - start, out=np.zeros_like(cut), where=stop > start)
    at_cut = below[:-1] + part * np.diff(below)
    before = ((cut - start) * _mean_square(below[:-1], at_cut)).sum(axis=-1)
    after = ((stop - cut) * _mean_square(1 - at_cut, 1 - below[1:])).sum(axis=-1)
    rest, more = 1 - chance[-1], np.maximum(at - said[:, -1:], 0.0)
    decay = np.broadcast_to((said[:, -1:] - said[:, -2:-1]) / np.log((1 - chance[-2]) / rest), more.shape)
    left = np.exp(-np.divide(more, decay, out=np.where(more > 0, np.inf, 0.0), where=decay > 0))
    past = more - 2 * rest * decay * (1 - left) + rest**2 * decay * (1 - left**2) / 2
    return before + past, after + (rest * left) ** 2 * decay / 2


def _mean_square(start: Array, stop: Array) -> Array:
    """Mean of the square along a straight line."""
    return np.asarray((start**2 + start * stop + stop**2) / 3)


def _quantiles_checked(
    observed: npt.ArrayLike, quantiles: npt.ArrayLike, levels: npt.ArrayLike
) -> tuple[Array, Array, Array]:
    came = np.atleast_1d(not_below_zero("observed", observed))
    said = np.atleast_2d(not_below_zero("quantiles", quantiles))
    chance = np.atleast_1d(not_below_zero("levels", levels))
    if chance.size < 2 or chance[0] <= 0 or chance[-1] >= 1 or np.any(np.diff(chance) <= 0):
        raise WorkingError("levels", "Give two levels or more that rise between 0 and 1, both ends left out.")
    if said.shape != (came.size, chance.size) or np.any(np.diff(said, axis=1) < 0):
        raise WorkingError("quantiles", "Give one rising value for each level and each forecast.")
    return came, said, chance
