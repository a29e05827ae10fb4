"""The lives as they were, without a law: the Kaplan-Meier curve of ended and censored edges."""

import math
from typing import NamedTuple

import numpy as np

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, percentages


class Curve(NamedTuple):
    """Steps of the curve: after each age the chance to have outlasted it, and Greenwood's standard error."""

    minutes: Floats
    outlasted: Floats
    standard_error: Floats


def lives_seen(minutes: Numbers, ended: Numbers) -> Curve:
    """Share of edges that outlasted each age at which one ended.

    Parameters
    ----------
    minutes : minutes in cut of each edge, shape (edges,)
    ended : whether it ended then; False is right-censored and still at risk at its own age, shape (edges,)

    Returns
    -------
    Curve with one step per age at which an edge ended

    Raises
    ------
    WorkingError : when shapes disagree or minutes are not above zero

    >>> lives_seen([9, 13, 13, 18], [True, True, False, True]).outlasted.tolist()
    [0.75, 0.5, 0.0]

    Source: [kaplan-meier-1958 (m)], Greenwood's formula for the error.
    """
    age, done = np.atleast_1d(above_zero("minutes", minutes)), np.atleast_1d(np.asarray(ended, dtype=bool))
    if age.shape != done.shape:
        raise WorkingError("ended", "Give one ended mark for each life.")
    steps = np.unique(age[done])
    at_risk = age.size - np.searchsorted(np.sort(age), steps)
    failing = np.searchsorted(np.sort(age[done]), steps, side="right") - np.searchsorted(np.sort(age[done]), steps)
    outlasted = np.cumprod(1 - failing / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.cumsum(failing / (at_risk * (at_risk - failing)))
        error = np.where(outlasted > 0, outlasted * np.sqrt(spread), 0.0)
    return Curve(steps, np.asarray(outlasted, dtype=np.float64), np.asarray(error, dtype=np.float64))


def later_ends(curve: Curve, since: Numbers, guesses: int = 12) -> Floats:
    """When edges that had outlasted an age ended afterwards, as equally likely ages.

    Parameters
    ----------
    curve : answer of `lives_seen`
    since : age outlasted, minutes, shape (edges,)
    guesses : how many equally likely ages are wanted

    Returns
    -------
    ages, rising, shape (edges, guesses); infinite where the curve does not say that they ended at all

    Raises
    ------
    WorkingError : when an age is below zero

    >>> later_ends(lives_seen([9, 13, 18, 20], [True, True, True, False]), [0, 10], 4).tolist()
    [[9.0, 13.0, 18.0, inf], [13.0, 18.0, 18.0, inf]]

    Source: [kaplan-meier-1958 (m)], the curve beyond an age as a share of what it was there.
    """
    age = np.atleast_1d(not_below_zero("since", since))
    levels = np.concatenate(([1.0], curve.outlasted))
    there = levels[np.searchsorted(curve.minutes, age, side="right")]
    falls = there[:, None] * (1 - (np.arange(guesses) + 0.5) / guesses)
    # The curve falls, so it is turned round for the search: the first step that lies below each level.
    steps = np.searchsorted(-curve.outlasted, -falls, side="left")
    return np.append(curve.minutes, np.inf)[steps]


def median_seen(curve: Curve) -> float:
    """Earliest age by which half the edges have ended; nan when more than half outlasted every age seen.

    Parameters
    ----------
    curve : answer of `lives_seen`

    Returns
    -------
    minutes in cut

    >>> median_seen(lives_seen([2, 4, 6, 8], [True] * 4))
    4.0

    Source: [kaplan-meier-1958 (m)]; the smallest age with half or less outlasting, where others take a midpoint.
    """
    below = np.flatnonzero(curve.outlasted <= 0.5 + 1e-12)
    return float(curve.minutes[below[0]]) if below.size else math.nan


def life_table(ended: Numbers, censored: Numbers) -> Floats:
    """Share that outlasted each of a row of intervals, where only the interval of each end is known.

    Parameters
    ----------
    ended : how many ended in each interval, shape (intervals,)
    censored : how many were taken off in each interval before their end, shape (intervals,)

    Returns
    -------
    chance to outlast the end of each interval, shape (intervals,); nan from where nobody was left to watch

    Raises
    ------
    WorkingError : when shapes disagree or a count is below zero

    >>> life_table([2, 4, 2], [0, 4, 0]).round(3).tolist()
    [0.833, 0.417, 0.0]

    Source: actuarial estimate, those taken off count half in their interval [cutler-ederer-1958 (m)].
    """
    done, off = not_below_zero("ended", ended), not_below_zero("censored", censored)
    if done.shape != off.shape or done.ndim != 1:
        raise WorkingError("censored", "Give how many ended and how many were taken off for each interval.")
    gone = np.cumsum(done + off) - (done + off)
    watched = (done + off).sum() - gone - off / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        outlasted = np.cumprod(1 - np.where(watched > 0, done / watched, np.nan))
    # Where every edge has ended none outlasts what follows; only those taken off leave it unknown.
    return np.where(np.cumsum(outlasted == 0) > 0, 0.0, outlasted)


def ends_against_due(ended: Numbers, censored: Numbers, first: int, last: int) -> float:
    """Ends seen over ends due in some intervals of the forecasts, edges counted for as long as they were watched.

    The forecasts are cut into intervals of even chance, all of them from 0 to 1. Were they right, each edge watched
    from chance a to chance b would owe ln((1 - a) / (1 - b)) ends.

    Parameters
    ----------
    ended : how many ended in each interval, shape (intervals,)
    censored : how many were taken off in each interval before their end, shape (intervals,)
    first, last : the intervals that count, from `first` to before `last`, which is not the end of the row

    Returns
    -------
    ratio, 1 where forecasts hold, above 1 where edges end sooner than they say; nan where none was watched

    Raises
    ------
    WorkingError : when shapes disagree, a count is below zero, or there are no such intervals

    >>> round(ends_against_due([10, 10, 10, 10, 0], [0, 0, 0, 0, 10], 0, 4), 2)
    0.98

    Source: ends over the summed hazard that the forecasts promised, edges that left counting half in their interval
    [cutler-ederer-1958 (m)].
    """
    done, off = not_below_zero("ended", ended), not_below_zero("censored", censored)
    if done.shape != off.shape or done.ndim != 1:
        raise WorkingError("censored", "Give how many ended and how many were taken off for each interval.")
    if not 0 <= first < last < done.size:
        raise WorkingError("last", "The intervals must follow each other and stop before the last of the row.")
    gone = np.cumsum(done + off)
    watched = gone[-1] - gone + (done + off) / 2
    owed = -np.diff(np.log1p(-np.arange(first, last + 1) / done.size))
    due = float((watched[first:last] * owed).sum())
    return float(done[first:last].sum()) / due if due > 0 else math.nan


def where_it_fell(came: Numbers, percentiles: Numbers, percent: Numbers = (10, 50, 90)) -> Floats:
    """Share of a forecast that lay before what came: 0.1 when it came at the 10 % value, and so on between.

    Parameters
    ----------
    came : what was really left, shape (forecasts,)
    percentiles : the percentiles forecast, rising, shape (forecasts, k)
    percent : which percentiles they were, shape (k,)

    Returns
    -------
    share, 0 to 1, shape (forecasts,)

    Raises
    ------
    WorkingError : when a figure is below zero or the percentiles do not rise

    >>> where_it_fell([10, 30, 60], [[10, 30, 60]] * 3).round(6).tolist()
    [0.1, 0.5, 0.9]

    Source: straight lines between the percentiles on Weibull's axes (ln minutes, ln -ln survival) [weibull-1951 (m)].
    """
    really, said = (
        np.atleast_1d(not_below_zero("came", came)),
        np.atleast_2d(not_below_zero("percentiles", percentiles)),
    )
    if np.any(np.diff(said, axis=1) < 0):
        raise WorkingError("percentiles", "The percentiles of a forecast rise from the low one to the high one.")
    level = np.log(-np.log1p(-percentages("percent", percent)))
    tiny = 1e-9
    at, ticks = np.log(np.maximum(really, tiny)), np.log(np.maximum(said, tiny))
    step = np.maximum(np.diff(ticks, axis=1), tiny)
    slope = np.diff(level) / step
    part = np.clip((at[:, None] > ticks[:, 1:]).sum(axis=1), 0, slope.shape[1] - 1)[:, None]
    left, steep = np.take_along_axis(ticks, part, axis=1), np.take_along_axis(slope, part, axis=1)
    fell = level[part[:, 0]] + (at - left[:, 0]) * steep[:, 0]
    return np.asarray(-np.expm1(-np.exp(np.clip(fell, -700.0, 50.0))), dtype=np.float64)
