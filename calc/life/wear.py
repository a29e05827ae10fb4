"""Wear land readings of one edge: the line through them, and what they say about its own end of life."""

import math
from typing import NamedTuple

import numpy as np

from calc.errors import WorkingError
from calc.life.averaged import Belief
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero
from calc.life.survival import life_law
from calc.life.wear_forecast import wear_forecast


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
    limit: Numbers,
    shape: Numbers,
    scale: Numbers,
    used: Numbers,
    percent: Numbers = (10, 50, 90),
) -> tuple[Floats, Floats, Floats]:
    """What the wear readings of one edge say about the minutes left to the criterion.

    As `wear_forecast` for a law that is taken as known, at one or many points of a sweep.

    Parameters
    ----------
    minutes : equivalent minutes in cut at each reading, shape (readings,)
    wear_land : VB at each reading, mm, shape (readings,)
    limit : criterion on VB, mm, shape (...)
    shape, scale : beta and eta (minutes) of the life law, shapes that broadcast
    used : equivalent minutes already cut, a shape that broadcasts
    percent : percentiles wanted, shape (k,)

    Returns
    -------
    percentiles of the minutes left, shape (..., k), none when a reading has reached the limit; possible minutes left,
    and the weight of each, shape (..., lives)

    Raises
    ------
    WorkingError : when a figure is out of range or shapes disagree

    >>> left, _, _ = life_given_wear([10, 20, 30], [0.11, 0.17, 0.23], 0.3, 3, 60, 30)
    >>> left.round(1).tolist()
    [7.6, 17.7, 35.0]

    Source: as `wear_forecast`.
    """
    time, land = _readings(minutes, wear_land)
    criterion, gone, beta, eta = np.broadcast_arrays(
        above_zero("limit", limit), not_below_zero("used", used), *life_law(shape, scale)[:2]
    )
    edges = criterion.size
    law = Belief(np.ones((edges, 1)), eta.reshape(-1, 1), beta.reshape(-1, 1), np.zeros(edges), np.ones(edges))
    many = [np.broadcast_to(values, (edges, time.size)) for values in (time, land)]
    # Life begins with the first minute: a reading made later than the minutes used is taken as of then.
    found = wear_forecast(np.minimum(many[0], gone.reshape(-1, 1)), many[1], criterion.ravel(), gone.ravel(), law)
    left = np.where(found.worn[:, None], 0.0, (found.minutes[:, 1:] + found.minutes[:, :-1]) / 2)
    weight = -np.diff(found.lasting, axis=1)
    points = criterion.shape
    quantiles = found.percentiles(percent)
    return quantiles.reshape(*points, -1), left.reshape(*points, -1), weight.reshape(*points, -1)


def chance_left(left: Floats, weight: Floats, minutes: Numbers) -> Floats:
    """Chance that an edge lasts so many minutes more, by the possible lives that its readings leave.

    Parameters
    ----------
    left : possible minutes left, rising, shape (..., lives), as of `life_given_wear`
    weight : of each, same shape
    minutes : minutes in cut to come, shape (...)

    Returns
    -------
    chances, shape (...)

    Raises
    ------
    WorkingError : when minutes are below zero

    >>> chance_left(np.array([2.0, 5.0, 9.0]), np.array([0.2, 0.5, 0.3]), 5).round(3).tolist()
    0.8

    Source: derived, the weights of those that last.
    """
    wanted = not_below_zero("minutes", minutes)
    return np.asarray((weight * (left >= wanted[..., None])).sum(axis=-1))


def chances_of_parts(left: Floats, weight: Floats, parts: Numbers, minutes_per_part: Numbers) -> Floats:
    """Chances that an edge makes 1, 2, 3 .. parts more, by the possible lives that its readings leave.

    Parameters
    ----------
    left, weight : as in `chance_left`
    parts : how many parts are to be made, whole numbers, shape (...)
    minutes_per_part : tau, minutes in cut per part, shape (...)

    Returns
    -------
    chances of at least 1, 2 .. of the most parts asked for, shape (..., parts)

    Raises
    ------
    WorkingError : when minutes per part are not above zero

    >>> chances_of_parts(np.array([2.0, 5.0, 9.0]), np.array([0.2, 0.5, 0.3]), 3, 2.5).round(3).tolist()
    [0.8, 0.8, 0.3]

    Source: derived, the weights of those that last.
    """
    each = above_zero("minutes_per_part", minutes_per_part)
    points = np.broadcast_shapes(left.shape[:-1], each.shape, np.shape(parts))
    steps = np.arange(1, int(np.max(parts)) + 1) * each[..., None]
    left, weight = (np.broadcast_to(part, (*points, part.shape[-1])) for part in (left, weight))
    steps = np.broadcast_to(steps, (*points, steps.shape[-1]))
    more = np.concatenate((np.cumsum(weight[..., ::-1], axis=-1)[..., ::-1], np.zeros((*points, 1))), axis=-1)
    found = np.empty(steps.shape)
    for point in np.ndindex(points):
        found[point] = more[point][np.searchsorted(left[point], steps[point])]
    return found


def _readings(minutes: Numbers, wear_land: Numbers) -> tuple[Floats, Floats]:
    time, land = (
        np.atleast_1d(not_below_zero("minutes", minutes)),
        np.atleast_1d(not_below_zero("wear_land", wear_land)),
    )
    if time.shape != land.shape or not time.size:
        raise WorkingError("wear", "Give one wear land for each reading, and at least one reading.")
    return time, land
