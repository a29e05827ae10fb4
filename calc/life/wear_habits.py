"""How wear lands grow and are read in a shop, learnt from edges that were read more than once."""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero
from calc.life.wear_forecast import ASSUMED, GAUGE_SD, START, START_SD, STRAYING, Habits

# What is assumed counts for as much as so many readings between two others, and so many edges.
WEIGHT_READINGS, WEIGHT_EDGES = 12.0, 6.0
# Values tried: from a tenth to ten times what is assumed, and starts up to four assumed ones.
FACTORS = np.geomspace(0.1, 10.0, 61)
STARTS = np.linspace(0.0, 4.0, 81)
LEAST_READINGS = 2


class LearntHabits(NamedTuple):
    """Habits with how many edges and readings lie behind them; as assumed where none do."""

    habits: Habits
    edges: int
    readings: int


def learn_habits(edge: Numbers, minutes: Numbers, wear_land: Numbers, limit: float) -> LearntHabits:
    """Gauge error, start after break-in and straying of a group's wear lands, drawn towards the assumed ones.

    Parameters
    ----------
    edge : whose reading each is, any numbers, shape (readings,)
    minutes : equivalent minutes in cut at each reading, shape (readings,)
    wear_land : VB at each reading, mm, shape (readings,)
    limit : criterion on VB, mm

    Returns
    -------
    LearntHabits; edges with one reading say nothing

    Raises
    ------
    WorkingError : when shapes disagree or a figure is below zero

    >>> found = learn_habits([1, 1, 1, 2, 2], [5, 15, 25, 10, 20], [0.08, 0.13, 0.18, 0.1, 0.16], 0.3)
    >>> found.edges, found.readings, round(found.habits.start_sd, 3)
    (2, 5, 0.037)

    Source: [gelman-bda (m)], the most likely values on a mesh. A reading between two others lies off the line through
    them by the errors of all three and by the straying between; the line of each edge tells where it began.
    """
    whose, time, land = _readings(edge, minutes, wear_land)
    above_zero("limit", limit)
    _, number, count = np.unique(whose, return_inverse=True, return_counts=True)
    several = count[number] >= LEAST_READINGS
    number, time, land = number[several], time[several], land[several]
    order = np.lexsort((time, number))
    number, time, land = number[order], time[order], land[order]
    line = _lines(number, time, land)
    gauge, straying = _scatter(number, time, land, _lives(line, limit, number, time))
    start, start_sd = _start(line, gauge)
    edges = int(line.usable.sum())
    return LearntHabits(Habits(gauge, start, start_sd, straying) if edges else ASSUMED, edges, int(number.size))


class _Lines(NamedTuple):
    """Least squares line of each edge; `spread` is the variance of its start over that of a reading."""

    start: Floats
    slope: Floats
    spread: Floats
    usable: npt.NDArray[np.bool_]


def _readings(edge: Numbers, minutes: Numbers, wear_land: Numbers) -> tuple[npt.NDArray[Any], Floats, Floats]:
    whose = np.atleast_1d(np.asarray(edge))
    time, land = (
        np.atleast_1d(not_below_zero(name, one)) for name, one in (("minutes", minutes), ("wear_land", wear_land))
    )
    if not whose.shape == time.shape == land.shape:
        raise WorkingError("wear", "Give the edge, the minutes and the wear land of each reading.")
    return whose, time, land


def _lines(number: npt.NDArray[np.intp], time: Floats, land: Floats) -> _Lines:
    size = int(number.max()) + 1 if number.size else 0

    def summed(values: Floats) -> Floats:
        return np.asarray(np.bincount(number, weights=values, minlength=size), dtype=np.float64)

    count, middle, height = summed(np.ones(time.size)), summed(time), summed(land)
    count = np.maximum(count, 1.0)
    middle, height = middle / count, height / count
    across = summed((time - middle[number]) ** 2)
    usable = across > 1e-9 * np.maximum(middle, 1e-9) ** 2
    width = np.where(usable, across, 1.0)
    slope = summed((time - middle[number]) * land) / width
    return _Lines(height - slope * middle, slope, 1 / count + middle**2 / width, usable)


def _lives(line: _Lines, limit: float, number: npt.NDArray[np.intp], time: Floats) -> Floats:
    """About when each edge's line crosses the criterion; no sooner than its last reading, no later than ten times."""
    last = np.zeros(line.start.size)
    np.maximum.at(last, number, time)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = np.where(line.slope > 0, (limit - line.start) / line.slope, np.inf)
    return np.clip(crossing, np.maximum(last, 1e-9), 10 * np.maximum(last, 1e-9))


def _scatter(number: npt.NDArray[np.intp], time: Floats, land: Floats, lives: Floats) -> tuple[float, float]:
    """Gauge error and straying, by how far each reading lies off the line between its neighbours."""
    between = (number[2:] == number[:-2]) & (time[2:] > time[:-2])
    before, at, after = (time[side : time.size - 2 + side][between] for side in range(3))
    low, here, high = (land[side : land.size - 2 + side][between] for side in range(3))
    part = (at - before) / (after - before)
    off = here - low * (1 - part) - high * part
    by_gauge, by_straying = 1 + part**2 + (1 - part) ** 2, part * (1 - part) * (after - before)
    by_straying = by_straying / lives[number[2:][between]]
    gauges, strayings = GAUGE_SD * FACTORS, STRAYING * FACTORS
    total = by_gauge * gauges[:, None, None] ** 2 + by_straying * strayings[:, None] ** 2
    misfit = (np.log(total) + off**2 / total).sum(axis=-1)
    own = WEIGHT_READINGS * (2 * np.log(FACTORS) + 1 / FACTORS**2)
    best = np.unravel_index(np.argmin(misfit + own[:, None] + own), misfit.shape)
    return float(gauges[best[0]]), float(strayings[best[1]])


def _start(line: _Lines, gauge: float) -> tuple[float, float]:
    """Where the lands begin, and how far apart, from the lines of the edges and how well each is known."""
    begins, spread = line.start[line.usable], gauge**2 * line.spread[line.usable]
    starts, sds = START * STARTS, START_SD * FACTORS
    total = sds[:, None, None] ** 2 + spread
    misfit = (np.log(total) + (begins - starts[:, None]) ** 2 / total).sum(axis=-1)
    own_sd = WEIGHT_EDGES * (2 * np.log(FACTORS) + 1 / FACTORS**2)
    own_start = WEIGHT_EDGES * ((starts - START) / START_SD) ** 2
    best = np.unravel_index(np.argmin(misfit + own_sd[:, None] + own_start), misfit.shape)
    return float(starts[best[1]]), float(sds[best[0]])
