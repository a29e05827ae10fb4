"""What wear land readings say about the minutes left to the criterion, for many edges in one call.

An edge's own life T is how long it works until its wear land VB reaches the criterion. What is believed of T comes from
the life law. Between a start after break-in and the criterion at T the land grows along a straight line, off which it
strays like a random walk pinned at both ends; a gauge reads it with an error. Each reading weighs every possible T by
how well it fits. Breakage goes on competing at its own rate. T is laid on a mesh that is drawn closer twice round what
the readings leave.
"""

from typing import Any, NamedTuple

import numpy as np

from calc.errors import WorkingError
from calc.life.averaged import AveragedLaw, Belief, handfuls, some
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, percentages

MESHES = (96, 96, 256)
# The first mesh reaches from a ten-thousandth to thirty times the lives believed.
NEAREST, FARTHEST = 1e-4, 30.0
# Beyond this many times less likely than the likeliest, a life is left out of the next mesh.
UNLIKELY = 25.0
# Ages since the last reading at which an edge is asked again, so that minutes alone do not raise what is left: in
# shares of what half the edges had left at that reading.
LOOKS_BACK = (0.0, 0.06, 0.12, 0.18, 0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 5.0, 8.0)
POINTS_TOGETHER = 96


class Habits(NamedTuple):
    """How wear lands grow and are read: sd of the gauge, start after break-in with its sd, and straying, all in mm.

    `straying` is the sd with which a land strays off its straight line over a whole life, were it not pinned.
    """

    gauge_sd: Numbers
    start: Numbers
    start_sd: Numbers
    straying: Numbers


# Common practice, no source: what two people read off one edge under a glass, and the land after break-in. Straying is
# wide, since wear speeds up towards the criterion; checked on the published readings of tests/outside.
GAUGE_SD, START, START_SD, STRAYING = 0.02, 0.05, 0.04, 0.06
ASSUMED = Habits(GAUGE_SD, START, START_SD, STRAYING)


class WearForecast(NamedTuple):
    """Possible minutes left of each edge and what the readings leave to them, ready to be asked.

    `minutes` (edges, points) begin at 0 and rise; `lasting` is the chance that wear lets the edge last so long;
    `worn` marks edges with a reading at or past the criterion, of which nothing is left.
    """

    minutes: Floats
    lasting: Floats
    worn: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    breaks: Floats
    break_minutes: Floats

    def chance(self, more: Numbers) -> Floats:
        """Chance to last `more` further minutes, shape (edges, k), breakage included."""
        asked = np.broadcast_to(np.asarray(more, dtype=np.float64), (self.worn.size, np.shape(more)[-1]))
        alive = _read(self.minutes, self.lasting, asked)
        chances = alive * (1 + asked / self.break_minutes[:, None]) ** -self.breaks[:, None]
        return np.where(self.worn[:, None], np.where(asked > 0, 0.0, 1.0), chances)

    def percentiles(self, percent: Numbers = (10, 50, 90)) -> Floats:
        """Minutes left, shape (edges, k); 10 is what nine in ten outlast."""
        wanted = 1 - np.atleast_1d(percentages("percent", percent))
        chances = self.lasting * (1 + self.minutes / self.break_minutes[:, None]) ** -self.breaks[:, None]
        return np.where(self.worn[:, None], 0.0, _crossing(self.minutes, chances, wanted))

    def crossing(self, percent: Numbers = (10, 50, 90)) -> Floats:
        """Minutes left until the criterion is reached, were the edge not to break, shape (edges, k)."""
        wanted = 1 - np.atleast_1d(percentages("percent", percent))
        return np.where(self.worn[:, None], 0.0, _crossing(self.minutes, self.lasting, wanted))


def wear_forecast(
    minutes: Numbers,
    wear_land: Numbers,
    limit: Numbers,
    used: Numbers,
    believed: Belief,
    counted: Numbers = 0.0,
    habits: Habits = ASSUMED,
) -> WearForecast:
    """What the wear readings of each edge leave of its life to the criterion.

    Parameters
    ----------
    minutes : equivalent minutes in cut at each reading, nan where an edge has no more, shape (edges, readings)
    wear_land : VB at each reading, mm, same shape
    limit : criterion on VB, mm, shape (edges,)
    used : equivalent minutes already cut at the present duty, shape (edges,)
    believed : what is believed about each edge's law
    counted : how many of the used minutes the fit behind the belief already knew of, shape (edges,)
    habits : how lands grow and are read; each figure one for all or of shape (edges,)

    Returns
    -------
    WearForecast

    Raises
    ------
    WorkingError : when a figure is out of range or readings and edges do not match

    >>> from calc.life.predictive import belief
    >>> found = wear_forecast([[10, 20, 30]], [[0.11, 0.17, 0.23]], 0.3, 30, belief(np.log(60), np.log(3)))
    >>> found.percentiles().round(1).tolist()
    [[7.6, 17.7, 35.0]]
    >>> found.chance([[6.0, 12.0]]).round(2).tolist()
    [[0.95, 0.73]]

    Source: Bayes' rule on a mesh of lives; a scalar Kalman filter along the readings [kalman-1960 (m)]. Linear growth
    after break-in is common practice, no source.
    """
    case = _checked(minutes, wear_land, limit, used, believed, counted, habits)
    return _never_more(_forecasts(case), case)


def reading_fit(
    minutes: Numbers, wear_land: Numbers, limit: Numbers, lives: Floats, habits: Habits = ASSUMED
) -> Floats:
    """Log-likelihood of each edge's readings for each possible life.

    Parameters
    ----------
    minutes : equivalent minutes in cut at each reading, rising, nan where there is none, shape (edges, readings)
    wear_land : VB at each reading, mm, same shape
    limit : criterion on VB, mm, shape (edges,)
    lives : possible lives to the criterion, minutes, none below the readings', shape (edges, lives)
    habits : as in `wear_forecast`

    Returns
    -------
    log-likelihood without its constant, shape (edges, lives)

    >>> fit = reading_fit([[30.0]], [[0.175]], 0.3, np.array([[40.0, 60.0, 90.0]]))
    >>> int(fit.argmax())
    1

    Source: [kalman-1960 (m)]: the land at one reading, pulled to the criterion at the end, foretells the next.
    """
    times, lands = np.asarray(minutes, dtype=np.float64), np.asarray(wear_land, dtype=np.float64)
    criterion = np.asarray(limit, dtype=np.float64).reshape(-1, 1)
    gauge, start, start_sd, straying = (np.asarray(one, dtype=np.float64).reshape(-1, 1) for one in habits)
    level, spread = np.broadcast_to(start, lives.shape), np.broadcast_to(start_sd**2, lives.shape)
    before, found = np.zeros((lives.shape[0], 1)), np.zeros(lives.shape)
    for place in range(times.shape[1]):
        there = ~np.isnan(times[:, place : place + 1])
        now = np.where(there, times[:, place : place + 1], before)
        ahead = np.maximum(lives - before, 1e-9)
        share = np.maximum(lives - now, 0.0) / ahead
        level = criterion - share * (criterion - level)
        spread = share**2 * spread + straying**2 * (now - before) * share / lives
        total, off = spread + gauge**2, np.where(there, lands[:, place : place + 1], 0.0) - level
        found = found - np.where(there, 0.5 * (off**2 / total + np.log(total)), 0.0)
        gain = np.where(there, spread / total, 0.0)
        level, spread, before = level + gain * off, spread * (1 - gain), now
    return found


def fitted_start(minutes: Numbers, wear_land: Numbers, limit: float, life: float, habits: Habits = ASSUMED) -> float:
    """Wear land after break-in of one edge, if it reaches the criterion at a given life: where its line begins.

    Parameters
    ----------
    minutes, wear_land : readings of one edge, shape (readings,)
    limit : criterion on VB, mm
    life : T, minutes
    habits : as in `wear_forecast`, of this edge

    Returns
    -------
    VB at no minutes, mm, not below zero

    >>> round(fitted_start([10, 20, 30], [0.11, 0.17, 0.23], 0.3, 42), 3)
    0.051

    Source: weighted least squares with the assumed start as one more reading [gelman-bda (m)].
    """
    part = np.asarray(minutes, dtype=np.float64) / life
    land, fresh = np.asarray(wear_land, dtype=np.float64), np.maximum(1 - part, 0.0)
    gauge, start, start_sd, straying = (float(np.asarray(one)) for one in habits)
    weight = 1 / (gauge**2 + straying**2 * part * fresh)
    own = 1 / max(start_sd, 1e-6) ** 2
    found = (own * start + (weight * fresh * (land - limit * part)).sum()) / (own + (weight * fresh**2).sum())
    return max(float(found), 0.0)


class _Case(NamedTuple):
    """Edges with their readings, every figure of shape (edges, ...)."""

    times: Floats
    lands: Floats
    limit: Floats
    used: Floats
    known: Floats
    believed: Belief
    habits: Habits

    def only(self, rows: Any) -> "_Case":
        times, lands, limit, used, known = (one[rows] for one in self[:5])
        habits = Habits(*(np.asarray(one)[rows] for one in self.habits))
        return _Case(times, lands, limit, used, known, some(self.believed, rows), habits)


def _checked(
    minutes: Numbers,
    wear_land: Numbers,
    limit: Numbers,
    used: Numbers,
    believed: Belief,
    counted: Numbers,
    habits: Habits,
) -> _Case:
    edges = believed.breaks.shape
    times, lands = (np.atleast_2d(np.asarray(one, dtype=np.float64)) for one in (minutes, wear_land))
    if times.shape != lands.shape or times.shape[0] != edges[0]:
        raise WorkingError("wear", "Give one wear land for each reading, and readings for each edge.")
    there = ~np.isnan(times)
    not_below_zero("minutes", times[there])
    not_below_zero("wear_land", lands[there])
    figures = [above_zero("gauge_sd", habits.gauge_sd), not_below_zero("start", habits.start)]
    figures += [above_zero("start_sd", habits.start_sd), not_below_zero("straying", habits.straying)]
    gone = np.broadcast_to(not_below_zero("used", used), edges)
    if np.any(times[there] > np.broadcast_to(gone[:, None], times.shape)[there] * (1 + 1e-9) + 1e-9):
        raise WorkingError("wear", "A reading was made after more minutes than the edge has cut; check them.")
    known = np.minimum(np.broadcast_to(not_below_zero("counted", counted), edges), gone)
    order = np.argsort(times, axis=1, kind="stable")
    times, lands = (np.take_along_axis(one, order, axis=1) for one in (times, lands))
    criterion = np.broadcast_to(above_zero("limit", limit), edges)
    return _Case(
        times, lands, criterion, gone, known, believed, Habits(*(np.broadcast_to(one, edges) for one in figures))
    )


def _forecasts(case: _Case) -> WearForecast:
    parts = [_forecast(case.only(rows)) for rows in handfuls(case.used.size, POINTS_TOGETHER)]
    return WearForecast(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _forecast(case: _Case) -> WearForecast:
    """What is left by the mesh of lives, drawn closer round those that the readings leave."""
    law = AveragedLaw(case.used, case.believed, case.known)
    typical = np.exp((law.weight * law.log_scale).sum(axis=1, keepdims=True))
    # Far beyond its law an edge has about the turn of its chance per minute left.
    soon = 1 / np.maximum(law.wear(np.zeros(typical.shape))[1], 1 / typical)
    low, high = NEAREST * soon, FARTHEST * np.maximum(typical, np.exp(law.log_scale.max(axis=1, keepdims=True)) / 8)
    for points in MESHES:
        steps = np.linspace(0.0, 1.0, points + 1)
        sides = low * (high / low) ** steps
        middles = np.sqrt(sides[:, 1:] * sides[:, :-1])
        reached, slope = law.wear(middles)
        fit = reading_fit(case.times, case.lands, case.limit, case.used[:, None] + middles, case.habits)
        mass = np.log(np.maximum(slope, 1e-300)) - reached + fit + np.log(np.diff(sides, axis=1))
        likely = mass > mass.max(axis=1, keepdims=True) - UNLIKELY
        first = np.maximum(likely.argmax(axis=1) - 1, 0)
        last = np.minimum(points - likely[:, ::-1].argmax(axis=1), points - 1) + 1
        rows = np.arange(low.shape[0])
        low, high = sides[rows, first][:, None], sides[rows, last][:, None]
    with np.errstate(under="ignore"):
        weight = np.exp(mass - mass.max(axis=1, keepdims=True))
    after = np.cumsum(weight[:, ::-1], axis=1)[:, ::-1] / weight.sum(axis=1, keepdims=True)
    edge = np.ones((low.shape[0], 1))
    lasting = np.concatenate((edge, after, 0 * edge), axis=1)
    worn = np.any(case.lands >= case.limit[:, None], axis=1)
    return WearForecast(
        np.concatenate((0 * edge, sides), axis=1), lasting, worn, case.believed.breaks, case.believed.break_minutes
    )


def _never_more(here: WearForecast, case: _Case) -> WearForecast:
    """No more left than at any age since the last reading: of each further stretch the least chance it ever had."""
    last = np.maximum(np.nanmax(np.where(np.isnan(case.times), 0.0, case.times), axis=1, initial=0.0), case.known)
    rows = np.flatnonzero((case.used > last * (1 + 1e-9)) & ~here.worn)
    lasting, half = here.lasting.copy(), np.zeros(last.size)
    for share in LOOKS_BACK:
        rows = rows[(last + share * half)[rows] < case.used[rows]]
        if not rows.size:
            break
        then = case.only(rows)._replace(used=(last + share * half)[rows])
        earlier = _forecasts(then)
        if not share:
            half[rows] = earlier.crossing([50])[:, 0]
        lasting[rows] = np.minimum(lasting[rows], _read(earlier.minutes, earlier.lasting, here.minutes[rows]))
    return here._replace(lasting=lasting)


def _read(xs: Floats, ys: Floats, at: Floats) -> Floats:
    """Value at each point of each row, straight between neighbours; as the last beyond the end. `xs` rise."""
    above = np.clip(_count_below(xs, at), 1, xs.shape[1] - 1)
    left, right, low, high = (
        np.take_along_axis(values, above + side, axis=1) for values in (xs, ys) for side in (-1, 0)
    )
    part = np.clip((at - left) / np.maximum(right - left, 1e-300), 0.0, 1.0)
    return np.asarray(low + part * (high - low))


def _count_below(xs: Floats, at: Floats) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
    """How many of each row's rising values lie below each point."""
    found = np.zeros(at.shape, dtype=np.intp)
    for step in (1 << bit for bit in range(xs.shape[1].bit_length() - 1, -1, -1)):
        there = np.minimum(found + step, xs.shape[1])
        found = np.where((found + step <= xs.shape[1]) & (np.take_along_axis(xs, there - 1, axis=1) < at), there, found)
    return found


def _crossing(minutes: Floats, chances: Floats, wanted: Floats) -> Floats:
    """Minutes at which the chance falls to the wanted ones."""
    return _read(-chances, minutes, np.broadcast_to(-wanted, (minutes.shape[0], wanted.size)))
