"""Wear land readings of one edge: the line through them, and what they say about its own end of life."""

import math
from typing import NamedTuple

import numpy as np

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, percentages
from calc.life.survival import remaining_minutes

# Common practice, no source: what two people read off one edge under a glass, and the land after break-in.
GAUGE_SD, START, START_SD = 0.02, 0.05, 0.04
POSSIBLE = 600


class WearLine(NamedTuple):
    """Wear land VB = intercept + slope * minutes, in mm and mm/min."""

    intercept: float
    slope: float
    residual_sd: float


def fit_wear_line(minutes: Numbers, wear_land: Numbers, through_origin: bool = False) -> WearLine:
    """Straight line through wear land readings by least squares.

    Parameters
    ----------
    minutes : minutes in cut at each reading, shape (readings,)
    wear_land : VB at each reading, mm, shape (readings,)
    through_origin : force the line through zero wear at zero minutes

    Returns
    -------
    WearLine; residual_sd is nan when no reading is left over

    Raises
    ------
    WorkingError : when shapes disagree or the minutes of the readings do not differ

    >>> line = fit_wear_line([3, 9, 15, 21], [0.08, 0.13, 0.20, 0.31])
    >>> round(line.slope, 5), round(line.intercept, 4)
    (0.01267, 0.028)

    Source: least squares [nist-ehandbook].
    """
    time, land = _readings(minutes, wear_land)
    columns = time[:, None] if through_origin else np.column_stack([np.ones(time.size), time])
    if np.linalg.matrix_rank(columns) < columns.shape[1]:
        raise WorkingError("minutes", "Give readings at different minutes.")
    found = np.linalg.lstsq(columns, land, rcond=None)[0]
    freedom = time.size - found.size
    spread = math.sqrt(float(((land - columns @ found) ** 2).sum()) / freedom) if freedom else math.nan
    return WearLine(0.0 if through_origin else float(found[0]), float(found[-1]), spread)


def minutes_to_limit(line: WearLine, limit: float) -> float:
    """Minutes in cut at which a wear line reaches the criterion.

    Parameters
    ----------
    line : answer of `fit_wear_line`
    limit : criterion on VB, mm

    Returns
    -------
    minutes in cut from fresh

    Raises
    ------
    WorkingError : when the wear does not grow

    >>> round(minutes_to_limit(WearLine(0.04, 0.01, 0.0), 0.3), 6)
    26.0

    Source: derived; criterion by the shop, [iso-3685 (m)] and [iso-8688 (m)] name 0.3 mm even and 0.6 mm worst.
    """
    if line.slope <= 0:
        raise WorkingError("wear", "The wear land does not grow with the minutes; check the readings.")
    return (float(above_zero("limit", limit)) - line.intercept) / line.slope


def minutes_between_readings(minutes: Numbers, wear_land: Numbers, limit: float) -> float:
    """Minutes in cut at which the readings cross the criterion, straight from one to the next.

    Parameters
    ----------
    minutes : minutes in cut at each reading, rising, shape (readings,)
    wear_land : VB at each reading, mm, shape (readings,)
    limit : criterion on VB, mm

    Returns
    -------
    minutes in cut from fresh; nan when no reading has reached it

    Raises
    ------
    WorkingError : when shapes disagree or the minutes do not rise

    >>> round(minutes_between_readings([15, 20, 25], [0.58, 0.73, 0.97], 0.75), 4)
    20.4167

    Source: derived, linear interpolation.
    """
    time, land = _readings(minutes, wear_land)
    if np.any(np.diff(time) <= 0):
        raise WorkingError("minutes", "Give the readings in the order they were made.")
    past = np.flatnonzero(land >= float(above_zero("limit", limit)))
    if not past.size:
        return math.nan
    at = int(past[0])
    if at == 0:
        return float(time[0])
    part = (limit - land[at - 1]) / (land[at] - land[at - 1])
    return float(time[at - 1] + part * (time[at] - time[at - 1]))


def life_given_wear(
    minutes: Numbers,
    wear_land: Numbers,
    limit: float,
    shape: float,
    scale: float,
    used: float,
    percent: Numbers = (10, 50, 90),
) -> tuple[Floats, Floats, Floats]:
    """What the wear readings of one edge say about the minutes left to the criterion.

    The edge's own life T is believed to follow the life law; the land grows in a straight line from a start after
    break-in to the limit at T; each reading weighs every possible T by how well it fits.

    Parameters
    ----------
    minutes : equivalent minutes in cut at each reading, shape (readings,)
    wear_land : VB at each reading, mm, shape (readings,)
    limit : criterion on VB, mm
    shape, scale : beta and eta (minutes) of the life law
    used : equivalent minutes already cut
    percent : percentiles wanted, shape (k,)

    Returns
    -------
    percentiles of the minutes left, shape (k,), none when a reading has reached the limit; possible minutes left, and
    the weight of each, shape (600,)

    Raises
    ------
    WorkingError : when a figure is out of range or shapes disagree

    >>> left, _, _ = life_given_wear([10, 20, 30], [0.11, 0.17, 0.23], 0.3, 3, 60, 30)
    >>> left.round(1).tolist()
    [7.7, 13.2, 22.1]

    Source: Bayes' rule on a grid of lives; linear growth after break-in and the spreads above are common practice, no
    source.
    """
    time, land = _readings(minutes, wear_land)
    criterion, gone = float(above_zero("limit", limit)), float(not_below_zero("used", used))
    wanted = np.atleast_1d(percentages("percent", percent))
    if np.any(land >= criterion):
        return np.zeros(wanted.size), np.zeros(POSSIBLE), np.full(POSSIBLE, 1 / POSSIBLE)
    # Lives spread evenly over the law's own chances carry the prior.
    evenly = 100 * (np.arange(POSSIBLE) + 0.5) / POSSIBLE
    left = remaining_minutes(gone, shape, scale, percent=evenly)
    lives = np.maximum(gone + left, 1e-9)
    part = time[:, None] / lives
    mean = START * np.maximum(1 - part, 0.0) + criterion * part
    variance = GAUGE_SD**2 + (START_SD * np.maximum(1 - part, 0.0)) ** 2
    fit = -0.5 * ((land[:, None] - mean) ** 2 / variance + np.log(variance)).sum(axis=0)
    weight = np.exp(fit - fit.max())
    weight /= weight.sum()
    return np.interp(wanted, np.cumsum(weight) - weight / 2, left), left, weight


def _readings(minutes: Numbers, wear_land: Numbers) -> tuple[Floats, Floats]:
    time, land = (
        np.atleast_1d(not_below_zero("minutes", minutes)),
        np.atleast_1d(not_below_zero("wear_land", wear_land)),
    )
    if time.shape != land.shape or not time.size:
        raise WorkingError("wear", "Give one wear land for each reading, and at least one reading.")
    return time, land
