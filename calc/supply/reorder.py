"""When to order and how much: reorder points, economic quantities, one-off buys."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.supply.checks import not_negative

Array = npt.NDArray[np.float64]

DAYS_PER_YEAR = 365.0
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class ReorderPoint:
    """Stock position at which to order.

    demand_mean, demand_sd : units over the time to protect
    safety_stock : units above the mean demand
    point : unrounded reorder point
    whole : the reorder point in whole units
    """

    demand_mean: Array
    demand_sd: Array
    safety_stock: Array
    point: Array
    whole: Array


def reorder_point(
    daily_mean: npt.ArrayLike,
    daily_sd: npt.ArrayLike,
    lead_mean: npt.ArrayLike,
    lead_sd: npt.ArrayLike,
    service: npt.ArrayLike,
    review: npt.ArrayLike = 0.0,
) -> ReorderPoint:
    """Find the stock position that lasts over a random lead time with the asked chance, by the normal approximation.

    Parameters
    ----------
    daily_mean, daily_sd : demand of one day in units, days independent, any shape
    lead_mean, lead_sd : lead time in days
    service : chance of no shortage in an ordering cycle, 0 < service < 1, any shape
    review : days between two looks at the stock, added to the lead time

    Returns
    -------
    ReorderPoint

    Raises
    ------
    WorkingError : naming the input that is negative or no chance

    >>> week = reorder_point(24, 7, 2.5, 0.6, 0.95)
    >>> f"{week.demand_sd:.4f} {week.safety_stock:.4f} {week.whole:.0f}"
    '18.1620 29.8739 90'

    Source: [random-lead-time (m)]
    """
    not_negative(daily_mean=daily_mean, daily_sd=daily_sd, lead_mean=lead_mean, lead_sd=lead_sd, review=review)
    demand, spread, lead, lead_spread, extra = (
        np.asarray(v, dtype=np.float64) for v in (daily_mean, daily_sd, lead_mean, lead_sd, review)
    )
    mean = demand * (lead + extra)
    sd = np.sqrt((lead + extra) * spread**2 + demand**2 * lead_spread**2)
    safety = _factors(service) * sd
    point = mean + safety
    return ReorderPoint(mean, sd, safety, point, whole_units(point))


def _factors(service: npt.ArrayLike) -> Array:
    """Standard deviations of safety for each chance."""
    chances = np.asarray(service, dtype=np.float64)
    return np.array([normal_quantile(chance) for chance in chances.ravel().tolist()]).reshape(chances.shape)


def normal_quantile(chance: float, argument: str = "service") -> float:
    """Return the standard normal quantile of a chance.

    Parameters
    ----------
    chance : 0 < chance < 1
    argument : name of the input to complain about

    Returns
    -------
    the number of standard deviations

    Raises
    ------
    WorkingError : when the chance is not inside (0, 1)

    >>> f"{normal_quantile(0.95):.6f}"
    '1.644854'

    Source: none, by definition.
    """
    if not 0 < chance < 1:
        raise WorkingError(argument, f"The {argument} must lie between 0 and 1, both ends left out, such as 0.95.")
    return _NORMAL.inv_cdf(chance)


def whole_units(amount: npt.ArrayLike) -> Array:
    """Round up to whole units, and never below none; a rounding error of the arithmetic adds no unit.

    Parameters
    ----------
    amount : units, any shape

    Returns
    -------
    whole units, same shape

    >>> whole_units([2.0000000001, 2.1, -0.4]).tolist()
    [2.0, 3.0, 0.0]

    Source: none, by definition.
    """
    return np.maximum(np.ceil(np.asarray(amount, dtype=np.float64) - 1e-9), 0.0)


def expected_short(safety_factor: npt.ArrayLike, demand_sd: npt.ArrayLike) -> Array:
    """Return the units expected short per ordering cycle when demand is normal.

    Parameters
    ----------
    safety_factor : safety stock in standard deviations
    demand_sd : standard deviation of the demand over the lead time, units

    Returns
    -------
    units, broadcast shape

    >>> f"{expected_short(1.6448536, 18.1620483):.4f}"
    '0.3795'

    Source: [normal-loss (m)]
    """
    factor = np.asarray(safety_factor, dtype=np.float64)
    density = np.exp(-(factor**2) / 2) / math.sqrt(2 * math.pi)
    above = np.vectorize(lambda z: 0.5 * math.erfc(z / math.sqrt(2)), otypes=[np.float64])(factor)
    return np.asarray((density - factor * above) * np.asarray(demand_sd, dtype=np.float64))


def fill_rate(safety_factor: npt.ArrayLike, demand_sd: npt.ArrayLike, order_quantity: npt.ArrayLike) -> Array:
    """Return the share of the demand served straight from the shelf.

    Parameters
    ----------
    safety_factor : safety stock in standard deviations
    demand_sd : of the demand over the lead time, units
    order_quantity : units, above 0

    Returns
    -------
    share, broadcast shape; below 1

    Raises
    ------
    WorkingError : when the order quantity is not above 0

    >>> f"{fill_rate(1.6448536, 18.1620483, 60):.4f}"
    '0.9937'

    Source: [normal-loss (m)]
    """
    quantity = np.asarray(order_quantity, dtype=np.float64)
    if not (quantity > 0).all():
        raise WorkingError("order_quantity", "The order quantity must be above 0.")
    return np.asarray(1 - expected_short(safety_factor, demand_sd) / quantity)


def poisson_quantile(mean: float, chance: float) -> int:
    """Return the smallest count that a Poisson demand stays at or under with this chance.

    Parameters
    ----------
    mean : units expected, at least 0
    chance : 0 < chance < 1

    Returns
    -------
    units

    Raises
    ------
    WorkingError : when the mean is negative or the chance outside (0, 1)

    >>> poisson_quantile(4.8, 0.98)
    10

    Source: none, by definition.
    """
    not_negative(mean=mean)
    normal_quantile(chance, "chance")
    top = int(mean + 12 * math.sqrt(mean) + 12)
    return int(np.searchsorted(poisson_cumulative(mean, top), chance - 1e-12))


def poisson_cumulative(mean: float, top: int) -> Array:
    """Return the chances that a Poisson demand is at most 0, 1, ..., top.

    Parameters
    ----------
    mean : units expected, at least 0
    top : last count, at least 0

    Returns
    -------
    chances, length top + 1

    Raises
    ------
    WorkingError : when the mean is negative

    >>> poisson_cumulative(1.0, 2).round(4).tolist()
    [0.3679, 0.7358, 0.9197]

    Source: none, by definition.
    """
    not_negative(mean=mean)
    counts = np.arange(top + 1)
    log_factorial = np.concatenate([[0.0], np.cumsum(np.log(counts[1:]))])
    logs = counts * (math.log(mean) if mean > 0 else -1e3) - mean - log_factorial
    logs[0] = -mean
    return np.asarray(np.minimum(np.cumsum(np.exp(logs)), 1.0))


def newsvendor_normal(mean: float, sd: float, over_cost: float, under_cost: float, lead_time: float = 0.0) -> float:
    """Return the stock to have for one period (or for lead time and period) of normal demand.

    Parameters
    ----------
    mean, sd : demand of one period, units
    over_cost, under_cost : cost of a unit too many, of a unit too few
    lead_time : periods that an order takes; the stock then covers lead time and one period

    Returns
    -------
    units

    Raises
    ------
    WorkingError : naming the input at fault

    >>> f"{newsvendor_normal(50, 8, 0.18, 0.70):.4f} {newsvendor_normal(50, 8, 0.18, 0.70, lead_time=4):.4f}"
    '56.6040 264.7669'

    Source: [snyder-shen] examples 4.3 and 4.4
    """
    not_negative(mean=mean, sd=sd, lead_time=lead_time)
    cover = lead_time + 1
    return mean * cover + normal_quantile(_critical_ratio(over_cost, under_cost)) * sd * math.sqrt(cover)


def newsvendor_poisson(mean: float, over_cost: float, under_cost: float) -> int:
    """Return the whole stock to have for one period of Poisson demand: for slow movers.

    Parameters
    ----------
    mean : units expected
    over_cost, under_cost : cost of a unit too many, of a unit too few

    Returns
    -------
    whole units

    Raises
    ------
    WorkingError : naming the input at fault

    >>> newsvendor_poisson(6, 1, 4)
    8

    Source: [snyder-shen] example 4.7
    """
    return poisson_quantile(mean, _critical_ratio(over_cost, under_cost))


def newsvendor_cost_normal(stock: float, mean: float, sd: float, over_cost: float, under_cost: float) -> float:
    """Return the expected cost of a stock against normal demand.

    Parameters
    ----------
    stock : units
    mean, sd : demand over the time it covers, sd above 0
    over_cost, under_cost : cost of a unit too many, of a unit too few

    Returns
    -------
    cost of the period

    Raises
    ------
    WorkingError : when the standard deviation is not above 0

    >>> f"{newsvendor_cost_normal(56.6039559, 50, 8, 0.18, 0.70):.4f}"
    '1.9976'

    Source: [normal-loss (m)]
    """
    if not sd > 0:
        raise WorkingError("sd", "The standard deviation must be above 0.")
    short = float(expected_short((stock - mean) / sd, sd))
    return over_cost * (stock - mean + short) + under_cost * short


def _critical_ratio(over_cost: float, under_cost: float) -> float:
    if not (over_cost > 0 and under_cost > 0):
        raise WorkingError("under_cost", "A unit too many and a unit too few must each cost something.")
    return under_cost / (under_cost + over_cost)
