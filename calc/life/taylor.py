"""Taylor's tool life: how the minutes that an edge lasts fall with speed, feed and depth.

vc * T^n = C, so C is the speed at which an edge lasts one minute. Extended to the duty: ln T = c0 + sum(c_k ln x_k),
with negative exponents for speed, feed and depth.
"""

import math
from typing import NamedTuple

import numpy as np

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, numbers, share


class Taylor(NamedTuple):
    """Taylor's n and C (m/min at one minute of life), with their intervals; nan where there is nothing to spare."""

    n: float
    c: float
    n_interval: tuple[float, float]
    c_interval: tuple[float, float]
    residual_sd: float


class ExtendedTaylor(NamedTuple):
    """Coefficients (c0, c1, ...) of ln T, their covariance, and the spread of ln T about them with its freedom."""

    coefficients: Floats
    covariance: Floats
    residual_sd: float
    freedom: int


def tool_life(surface_speed: Numbers, n: Numbers, c: Numbers) -> Floats:
    """Minutes that an edge lasts at a surface speed.

    Parameters
    ----------
    surface_speed : vc, m/min, any shape
    n : Taylor's exponent, above 0 and below 1, shapes that broadcast
    c : C, the speed for a life of one minute, m/min

    Returns
    -------
    T, minutes in cut

    Raises
    ------
    WorkingError : when a speed or C is not above zero, or n does not lie between 0 and 1

    >>> tool_life(25, 0.25, 75).round(6).tolist()
    81.0

    Source: [taylor-1907 (m)].
    """
    speed, exponent, one_minute = above_zero("surface_speed", surface_speed), share("n", n), above_zero("c", c)
    return np.asarray((one_minute / speed) ** (1 / exponent))


def surface_speed(life: Numbers, n: Numbers, c: Numbers) -> Floats:
    """Surface speed at which an edge lasts the given minutes.

    Parameters
    ----------
    life : T, minutes in cut, any shape
    n, c : Taylor's numbers, as in `tool_life`

    Returns
    -------
    vc, m/min

    Raises
    ------
    WorkingError : when a life or C is not above zero, or n does not lie between 0 and 1

    >>> surface_speed(81, 0.25, 75).round(6).tolist()
    25.0

    Source: [taylor-1907 (m)].
    """
    return np.asarray(above_zero("c", c) / above_zero("life", life) ** share("n", n))


def equal_life(n: float, c: float, other_n: float, other_c: float) -> tuple[float, float]:
    """Speed at which two tools last equally long, and that life.

    Parameters
    ----------
    n, c : Taylor's numbers of the one tool
    other_n, other_c : Taylor's numbers of the other

    Returns
    -------
    surface speed in m/min, life in minutes

    Raises
    ------
    WorkingError : when the exponents are equal, or a number is out of range

    >>> [round(value, 3) for value in equal_life(0.1, 150, 0.3, 300)]
    [106.066, 32.0]

    Source: derived from [taylor-1907 (m)].
    """
    first, second = float(share("n", n)), float(share("other_n", other_n))
    if first == second:
        raise WorkingError(
            "other_n", "Two tools with the same exponent never last equally long; compare their C instead."
        )
    ratio = math.log(float(above_zero("other_c", other_c)) / float(above_zero("c", c)))
    life = math.exp(ratio / (second - first))
    return c / life**first, life


def fit_taylor(surface_speeds: Numbers, lives: Numbers, confidence: float = 0.95) -> Taylor:
    """Taylor's n and C from speeds and the lives seen at them: exact for two points, least squares for more.

    Parameters
    ----------
    surface_speeds : vc, m/min, shape (points,)
    lives : T, minutes in cut to the same wear criterion, shape (points,)
    confidence : of the intervals, 0 to 1

    Returns
    -------
    Taylor; the intervals are nan for two points

    Raises
    ------
    WorkingError : when fewer than two speeds differ, or the lives do not fall with speed

    >>> two = fit_taylor([60, 100], [60, 10])
    >>> round(two.n, 6), round(two.c, 4)
    (0.285097, 192.7956)

    Source: [taylor-1907 (m)]; ln T regressed on ln vc, the interval of n by the interval of the slope and that of C at
    the line's own slope and intercept [nist-ehandbook].
    """
    speed = np.atleast_1d(above_zero("surface_speeds", surface_speeds))
    life = np.atleast_1d(above_zero("lives", lives))
    if speed.shape != life.shape or np.unique(speed).size < 2:
        raise WorkingError("points", "Give lives at two or more different speeds.")
    line = fit_extended(life, speed)
    level, slope = (float(value) for value in line.coefficients)
    if not slope < -1:
        raise WorkingError("points", "The lives must fall faster than the speed rises; check the points.")
    if line.freedom == 0:
        return Taylor(-1 / slope, math.exp(-level / slope), (math.nan, math.nan), (math.nan, math.nan), math.nan)
    wide = student_t(1 - (1 - float(share("confidence", confidence))) / 2, line.freedom)
    reach = wide * math.sqrt(line.covariance[1, 1])
    # ln C = -level / slope, its spread by the first-order (delta) rule.
    by = np.array([-1 / slope, level / slope**2])
    reach_c = wide * math.sqrt(by @ line.covariance @ by)
    steep, gentle = -1 / (slope - reach), -1 / (slope + reach) if slope + reach < 0 else math.inf
    log_c = -level / slope
    return Taylor(
        -1 / slope,
        math.exp(log_c),
        (steep, gentle),
        (math.exp(log_c - reach_c), math.exp(log_c + reach_c)),
        line.residual_sd,
    )


def fit_extended(lives: Numbers, *duty: Numbers) -> ExtendedTaylor:
    """Extended Taylor law by least squares of ln T on the logarithms of the duty.

    Parameters
    ----------
    lives : T, minutes in cut to the same wear criterion, shape (points,)
    duty : one array per figure of the duty (vc in m/min, f in mm, ap in mm ...), each of shape (points,)

    Returns
    -------
    ExtendedTaylor with coefficients (c0, one per figure)

    Raises
    ------
    WorkingError : when shapes disagree, or the points are too few or too alike

    >>> law = fit_extended([30, 15, 9], [300, 400, 400], [0.2, 0.2, 0.3])
    >>> law.coefficients.round(4).tolist()
    [15.1164, -2.4094, -1.2599]

    Source: [taylor-1907 (m)]; least squares.
    """
    life = np.atleast_1d(above_zero("lives", lives))
    figures = [np.atleast_1d(above_zero("duty", figure)) for figure in duty]
    if any(figure.shape != life.shape for figure in figures):
        raise WorkingError("duty", "Give each figure of the duty once for every life.")
    table = np.column_stack([np.ones(life.size), *(np.log(figure) for figure in figures)])
    centred = table[:, 1:] - table[:, 1:].mean(axis=0)
    if life.size < table.shape[1] or np.linalg.matrix_rank(centred) < centred.shape[1]:
        raise WorkingError("duty", "The duties do not differ enough to tell their effects apart; give more points.")
    coefficients = np.linalg.lstsq(table, np.log(life), rcond=None)[0]
    freedom = life.size - table.shape[1]
    square = float(((np.log(life) - table @ coefficients) ** 2).sum())
    variance = square / freedom if freedom else math.nan
    return ExtendedTaylor(coefficients, variance * np.linalg.inv(table.T @ table), math.sqrt(variance), freedom)


def life_at(coefficients: Numbers, *duty: Numbers) -> Floats:
    """Minutes that an edge lasts at a duty by the extended Taylor law.

    Parameters
    ----------
    coefficients : (c0, one exponent per figure of the duty), shape (p + 1,)
    duty : one array per figure, in the units of the fit, shapes that broadcast

    Returns
    -------
    T, minutes in cut

    Raises
    ------
    WorkingError : when a figure is not above zero or one is missing

    >>> life_at([15.1164246, -2.40942084, -1.259851], 350, 0.25).round(3).tolist()
    15.623

    Source: [taylor-1907 (m)], extended by feed and depth.
    """
    law = np.atleast_1d(numbers("coefficients", coefficients))
    if law.size != len(duty) + 1:
        raise WorkingError("duty", "Give one figure of the duty for each exponent.")
    log_life = law[0] + sum(
        power * np.log(above_zero("duty", figure)) for power, figure in zip(law[1:], duty, strict=True)
    )
    return np.asarray(np.exp(log_life))


def student_t(chance: float, freedom: int) -> float:
    """Quantile of Student's t for a chance of a half or more.

    Parameters
    ----------
    chance : probability below the quantile, 0.5 to 1
    freedom : degrees of freedom, 1 and up

    Returns
    -------
    t

    Raises
    ------
    WorkingError : when the chance or the freedom is out of range

    >>> round(student_t(0.975, 4), 4)
    2.7764

    Source: integral of the density with the substitution t = sqrt(freedom) tan(angle), solved by halving.
    """
    if not 0.5 <= float(numbers("chance", chance)) < 1 or freedom < 1:
        raise WorkingError("chance", "The chance must lie between 0.5 and 1, with one degree of freedom or more.")
    nodes, weights = np.polynomial.legendre.leggauss(80)
    level = math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2) - math.log(math.pi) / 2
    low, high = 0.0, math.pi / 2
    for _ in range(60):
        angle = (low + high) / 2
        inside = angle / 2 * float((np.cos(angle / 2 * (nodes + 1)) ** (freedom - 1) * weights).sum()) * math.exp(level)
        low, high = (angle, high) if inside < chance - 0.5 else (low, angle)
    return math.sqrt(freedom) * math.tan((low + high) / 2)
