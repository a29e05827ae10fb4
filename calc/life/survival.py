"""How long an edge lasts, and how much is left: Weibull wear beside a constant chance of breakage.

The chance that an edge outlasts t minutes is S(t) = exp(-(t/eta)^beta - lambda t): wear with shape beta and scale eta
(the life that 63.2 % of edges do not reach), and breakage with a constant rate lambda per minute. The two compete:
the edge ends by whichever comes first. An edge that has worked at several duties enters with its *equivalent* minutes
at the present duty, u * eta, where u = sum(m_i / eta_i).
"""

from typing import NamedTuple

import numpy as np

from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, percentages

NODES, WEIGHTS = np.polynomial.legendre.leggauss(96)
NODES, WEIGHTS = (NODES + 1) / 2, WEIGHTS / 2
# Beyond a summed chance of exp(-40) there is no life left that a double can tell from none.
NOTHING_LEFT = 40.0
MOST_STEPS = 60


class Law(NamedTuple):
    """A life law with every number checked: arrays that broadcast against each other."""

    shape: Floats
    scale: Floats
    breakage: Floats

    def cumulative(self, minutes: Floats) -> Floats:
        """Summed chance up to an age, -ln S."""
        return np.asarray((minutes / self.scale) ** self.shape + self.breakage * minutes)

    def hazard(self, minutes: Floats) -> Floats:
        """Chance per minute at an age."""
        with np.errstate(divide="ignore"):  # below shape 1 a fresh edge's chance per minute is without bound
            wear = self.shape / self.scale * (minutes / self.scale) ** (self.shape - 1)
        return np.asarray(wear + self.breakage)


def life_law(shape: Numbers, scale: Numbers, breakage: Numbers = 0.0) -> Law:
    """Check a life law's numbers and hold them together.

    Parameters
    ----------
    shape : beta of wear, dimensionless, any shape that broadcasts
    scale : eta of wear, minutes in cut
    breakage : lambda, sudden ends per minute in cut, 0 when breakage is left out

    Returns
    -------
    Law

    Raises
    ------
    WorkingError : when shape or scale is not above zero, or breakage is below zero

    >>> life_law(2, 60).scale.tolist()
    60.0

    Source: [weibull-1951 (m)].
    """
    return Law(above_zero("shape", shape), above_zero("scale", scale), not_below_zero("breakage", breakage))


def survival(minutes: Numbers, shape: Numbers, scale: Numbers, breakage: Numbers = 0.0) -> Floats:
    """Chance that a fresh edge outlasts the given minutes.

    Parameters
    ----------
    minutes : t, minutes in cut, any shape that broadcasts with the law
    shape : beta, dimensionless
    scale : eta, minutes
    breakage : lambda, per minute

    Returns
    -------
    S(t), between 0 and 1

    Raises
    ------
    WorkingError : when minutes are below zero or the law is not one

    >>> survival([0, 60], 3, 60).round(4).tolist()
    [1.0, 0.3679]

    Source: [weibull-1951 (m)]; breakage as a competing end with a constant rate.
    """
    return np.exp(-life_law(shape, scale, breakage).cumulative(not_below_zero("minutes", minutes)))


def hazard(minutes: Numbers, shape: Numbers, scale: Numbers, breakage: Numbers = 0.0) -> Floats:
    """Chance per minute that an edge of this age ends now.

    Parameters
    ----------
    minutes : age, minutes in cut
    shape, scale, breakage : the law, as in `survival`

    Returns
    -------
    h(t), 1/min

    Raises
    ------
    WorkingError : when minutes are below zero or the law is not one

    >>> hazard(45, 3, 60).tolist()
    0.028125

    Source: [weibull-1951 (m)].
    """
    return life_law(shape, scale, breakage).hazard(not_below_zero("minutes", minutes))


def chance_of_lasting(more: Numbers, used: Numbers, shape: Numbers, scale: Numbers, breakage: Numbers = 0.0) -> Floats:
    """Chance that an edge which has lasted `used` minutes lasts `more` minutes beyond.

    Parameters
    ----------
    more : x, further minutes in cut
    used : equivalent minutes already cut at this duty
    shape, scale, breakage : the law, as in `survival`

    Returns
    -------
    S(used + more) / S(used)

    Raises
    ------
    WorkingError : when minutes are below zero or the law is not one

    >>> chance_of_lasting(12, 45, 3, 60).round(6).tolist()
    0.646941

    Source: [nist-ehandbook], conditional reliability.
    """
    law = life_law(shape, scale, breakage)
    before, after = not_below_zero("used", used), not_below_zero("more", more)
    return np.exp(law.cumulative(before) - law.cumulative(before + after))


def remaining_minutes(
    used: Numbers, shape: Numbers, scale: Numbers, breakage: Numbers = 0.0, percent: Numbers = (10, 50, 90)
) -> Floats:
    """Percentiles of the minutes left; 10 is the value that nine in ten edges outlast.

    Parameters
    ----------
    used : equivalent minutes already cut at this duty, shape (...)
    shape, scale, breakage : the law, shapes that broadcast with `used`
    percent : percentiles wanted, shape (k,), each between 0 and 100

    Returns
    -------
    minutes left, shape (..., k)

    Raises
    ------
    WorkingError : when minutes are below zero, the law is not one, or a percentile lies outside 0 to 100

    >>> remaining_minutes(45, 3, 60, percent=[5, 50, 95]).round(4).tolist()
    [1.7545, 17.2175, 45.3771]

    Source: [nist-ehandbook]; closed form without breakage, Newton steps with it.
    """
    law = life_law(shape, scale, breakage)
    wanted = -np.log1p(-np.atleast_1d(percentages("percent", percent)))
    before = not_below_zero("used", used)[..., None]
    wide = Law(law.shape[..., None], law.scale[..., None], law.breakage[..., None])
    return np.maximum(_minutes_at(wide.cumulative(before) + wanted, wide) - before, 0.0)


def life_percentile(percent: Numbers, shape: Numbers, scale: Numbers, breakage: Numbers = 0.0) -> Floats:
    """Age by which the given percent of fresh edges have ended (B10 life at 10).

    Parameters
    ----------
    percent : share of edges that have ended, 0 to 100, any shape that broadcasts with the law
    shape, scale, breakage : the law, as in `survival`

    Returns
    -------
    minutes in cut

    Raises
    ------
    WorkingError : when a percentile lies outside 0 to 100 or the law is not one

    >>> life_percentile(10, 3, 60).round(4).tolist()
    28.3385

    Source: [nist-ehandbook].
    """
    wanted = -np.log1p(-percentages("percent", percent))
    return _minutes_at(wanted, life_law(shape, scale, breakage))


def mean_remaining(used: Numbers, shape: Numbers, scale: Numbers, breakage: Numbers = 0.0) -> Floats:
    """Mean of the minutes left to an edge of this age; with `used` 0, the mean life.

    Parameters
    ----------
    used : equivalent minutes already cut at this duty, shape (...)
    shape, scale, breakage : the law, shapes that broadcast with `used`

    Returns
    -------
    minutes

    Raises
    ------
    WorkingError : when minutes are below zero or the law is not one

    >>> mean_remaining([0, 45], 3, 60).round(4).tolist()
    [53.5788, 19.525]

    Source: [nist-ehandbook], the integral of conditional reliability, by Gauss-Legendre quadrature.
    """
    law = life_law(shape, scale, breakage)
    before = not_below_zero("used", used)
    start = law.cumulative(before)
    end = _minutes_at(start + NOTHING_LEFT, law)
    return time_outlasted(end, law, before) * np.exp(start)


def time_outlasted(minutes: Floats, law: Law, since: Floats | float = 0.0) -> Floats:
    """Mean minutes that an edge works between two ages, integral of S from `since` to `minutes`.

    Parameters
    ----------
    minutes : upper age, shape (...)
    law : a checked law whose shapes broadcast with `minutes`
    since : lower age, minutes

    Returns
    -------
    minutes, shape (...)

    >>> float(time_outlasted(np.array(1e4), life_law(1, 50)).round(6))
    50.0

    Source: Gauss-Legendre quadrature in the cube root of age, which smooths the start of the curve.
    """
    span = np.asarray(minutes - since)[..., None]
    age = np.asarray(since)[..., None] + span * NODES**3
    wide = Law(law.shape[..., None], law.scale[..., None], law.breakage[..., None])
    return np.asarray((np.exp(-wide.cumulative(age)) * (3 * NODES**2 * WEIGHTS)).sum(axis=-1) * span[..., 0])


def _minutes_at(cumulative: Floats, law: Law) -> Floats:
    """Age at which the summed chance reaches a value: exact for wear alone, else Newton steps on log-log axes.

    On log-log axes the summed chance is convex and rising, so the steps cannot run away.
    """
    by_wear = law.scale * cumulative ** (1 / law.shape)
    if not np.any(law.breakage):
        return np.asarray(by_wear)
    tiny = np.finfo(np.float64).tiny
    with np.errstate(divide="ignore"):
        by_breakage = np.where(law.breakage > 0, cumulative / law.breakage, np.inf)
    age = np.maximum(np.minimum(by_wear, by_breakage), tiny)
    goal = np.log(np.maximum(cumulative, tiny))
    moved, steps = np.inf, 0
    while moved > 1e-14 and steps < MOST_STEPS:
        steps += 1
        reached = law.cumulative(age)
        step = (np.log(np.maximum(reached, tiny)) - goal) * reached / np.maximum(law.hazard(age) * age, tiny)
        age = age * np.exp(-np.clip(step, -2.0, 2.0))
        moved = float(np.max(np.abs(step), initial=0.0))
    return np.asarray(np.where(cumulative > 0, age, 0.0))
