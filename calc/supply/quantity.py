"""How much to order at once: economic quantities, price breaks, packs and minimums."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.supply.checks import not_negative

Array = npt.NDArray[np.float64]


def economic_order_quantity(
    demand_rate: npt.ArrayLike, order_cost: npt.ArrayLike, holding_cost: npt.ArrayLike
) -> Array:
    """Return the quantity that balances the cost of ordering with that of holding stock.

    Parameters
    ----------
    demand_rate : units per year, at least 0
    order_cost : cost of placing one order, at least 0
    holding_cost : cost of holding one unit for a year, above 0

    Returns
    -------
    units, broadcast shape

    Raises
    ------
    WorkingError : naming the input at fault

    >>> f"{economic_order_quantity(1300, 8, 0.225):.3f}"
    '304.047'

    Source: [harris-1913 (m)]; example 3.1 of [snyder-shen]
    """
    not_negative(demand_rate=demand_rate, order_cost=order_cost)
    holding = np.asarray(holding_cost, dtype=np.float64)
    if not (holding > 0).all():
        raise WorkingError("holding_cost", "Holding a unit for a year must cost something: price and rate above 0.")
    return np.asarray(np.sqrt(2 * np.asarray(demand_rate, dtype=np.float64) * np.asarray(order_cost) / holding))


def yearly_cost(
    quantity: npt.ArrayLike, demand_rate: npt.ArrayLike, order_cost: npt.ArrayLike, holding_cost: npt.ArrayLike
) -> Array:
    """Return the yearly cost of ordering and holding at an order quantity, without the goods themselves.

    Parameters
    ----------
    quantity : units per order, above 0
    demand_rate : units per year
    order_cost : cost of placing one order
    holding_cost : cost of holding one unit for a year

    Returns
    -------
    cost per year, broadcast shape

    Raises
    ------
    WorkingError : when the quantity is not above 0

    >>> f"{yearly_cost(250, 1300, 8, 0.225):.3f}"
    '69.725'

    Source: [harris-1913 (m)]
    """
    each = np.asarray(quantity, dtype=np.float64)
    if not (each > 0).all():
        raise WorkingError("quantity", "The order quantity must be above 0.")
    ordering = np.asarray(order_cost) * np.asarray(demand_rate, dtype=np.float64) / each
    return np.asarray(ordering + np.asarray(holding_cost) * each / 2)


@dataclass(frozen=True, slots=True)
class Purchase:
    """How much to buy at once, at what unit price, and the yearly cost with the goods."""

    quantity: float
    price: float
    yearly_cost: float


def discounted_quantity(
    demand_rate: float,
    order_cost: float,
    holding_rate: float,
    breaks: npt.ArrayLike,
    prices: npt.ArrayLike,
    pack: int = 0,
    minimum: float = 0.0,
    least: float = 0.0,
) -> Purchase:
    """Choose the order quantity with the least yearly cost when the price of all units falls at certain quantities.

    Parameters
    ----------
    demand_rate : units per year, at least 0
    order_cost : cost of placing one order
    holding_rate : yearly cost of holding stock as a share of its price, above 0
    breaks : quantities from which the prices hold, rising, the first 0 or the smallest that is sold
    prices : price of one unit from that quantity on
    pack : units in a pack; 0 lets any quantity be bought, whole or not
    minimum : smallest order taken
    least : smallest order that makes sense to the buyer (what is missing)

    Returns
    -------
    Purchase

    Raises
    ------
    WorkingError : naming the input at fault

    >>> discounted_quantity(1300, 8, 0.3, [0, 400, 800], [0.75, 0.72, 0.68])
    Purchase(quantity=800.0, price=0.68, yearly_cost=978.6)
    >>> discounted_quantity(120, 30, 0.2, [1, 50], [11.5, 10.9], pack=10, minimum=20)
    Purchase(quantity=60.0, price=10.9, yearly_cost=1433.4)

    Source: [harris-1913 (m)] within each price; [snyder-shen] for comparing them
    """
    from_quantity, price = _price_list(breaks, prices)
    not_negative(demand_rate=demand_rate, order_cost=order_cost, minimum=minimum, least=least)
    if not holding_rate > 0:
        raise WorkingError("holding_rate", "The yearly holding rate must be above 0, such as 0.2.")
    floor = max(float(minimum), float(least), float(from_quantity[0]))
    candidates: set[float] = set()
    for start, unit in zip(from_quantity, price, strict=True):
        best = float(economic_order_quantity(demand_rate, order_cost, holding_rate * unit))
        for wanted in (max(best, floor), max(float(start), floor)):
            up = _in_packs(wanted, pack)
            candidates.update({up, up - pack} if pack and up - pack >= max(floor, 1e-9) else {up})
    costed = []
    for quantity in sorted(c for c in candidates if c > 0):
        unit = float(price[np.searchsorted(from_quantity, quantity, side="right") - 1])
        cost = float(unit * demand_rate + yearly_cost(quantity, demand_rate, order_cost, holding_rate * unit))
        costed.append(Purchase(quantity, unit, round(cost, 9)))
    if not costed:
        raise WorkingError("demand_rate", "Nothing is needed and no minimum is set: there is no quantity to buy.")
    return min(costed, key=lambda purchase: purchase.yearly_cost)


def incremental_quantity(
    demand_rate: float, order_cost: float, holding_rate: float, breaks: npt.ArrayLike, prices: npt.ArrayLike
) -> Purchase:
    """Choose the order quantity when each price holds only for the units beyond its quantity.

    Parameters
    ----------
    demand_rate : units per year, above 0
    order_cost : cost of placing one order
    holding_rate : yearly cost of holding stock as a share of its price, above 0
    breaks, prices : as for `discounted_quantity`

    Returns
    -------
    Purchase with the average price paid

    Raises
    ------
    WorkingError : naming the input at fault

    >>> incremental_quantity(2400, 150, 0.25, [0, 300, 600], [100, 90, 80]).yearly_cost.__round__(3)
    222762.814

    Source: [snyder-shen]
    """
    from_quantity, price = _price_list(breaks, prices)
    if not (demand_rate > 0 and holding_rate > 0):
        raise WorkingError("demand_rate", "Demand and holding rate must be above 0.")
    extra = np.concatenate([[0.0], np.cumsum((price[:-1] - price[1:]) * from_quantity[1:])])
    quantity = np.sqrt(2 * (order_cost + extra) * demand_rate / (holding_rate * price))
    upper = np.append(from_quantity[1:], np.inf)
    cost = (
        price * demand_rate
        + (order_cost + extra) * demand_rate / quantity
        + holding_rate * (price * quantity + extra) / 2
    )
    cost = np.where((quantity >= from_quantity) & (quantity <= upper), cost, np.inf)
    best = int(cost.argmin())
    paid = price[best] + extra[best] / quantity[best]
    return Purchase(float(quantity[best]), float(paid), float(cost[best]))


def _price_list(breaks: npt.ArrayLike, prices: npt.ArrayLike) -> tuple[Array, Array]:
    from_quantity = np.atleast_1d(np.asarray(breaks, dtype=np.float64))
    price = np.atleast_1d(np.asarray(prices, dtype=np.float64))
    if from_quantity.shape != price.shape or (np.diff(from_quantity) <= 0).any() or from_quantity[0] < 0:
        raise WorkingError("breaks", "Give one rising quantity from 0 for each price.")
    if not (price > 0).all():
        raise WorkingError("prices", "Every price must be above 0.")
    return from_quantity, price


def _in_packs(quantity: float, pack: int) -> float:
    return float(math.ceil(quantity / pack - 1e-9) * pack) if pack else quantity


def eoq_with_backorders(
    demand_rate: float, order_cost: float, holding_cost: float, waiting_cost: float
) -> tuple[float, float]:
    """Return the order quantity, and the share of it that may be ordered late, when waiting has a price.

    Parameters
    ----------
    demand_rate : units per year
    order_cost : cost of placing one order
    holding_cost, waiting_cost : cost of one unit on the shelf, or owed, for a year, above 0

    Returns
    -------
    quantity in units, and the share of it

    Raises
    ------
    WorkingError : when a yearly cost is not above 0

    >>> [round(v, 4) for v in eoq_with_backorders(1300, 8, 0.225, 5)]
    [310.8126, 0.0431]

    Source: [snyder-shen] example 3.8
    """
    if not (holding_cost > 0 and waiting_cost > 0):
        raise WorkingError("waiting_cost", "The yearly costs of holding and of waiting must be above 0.")
    plain = float(economic_order_quantity(demand_rate, order_cost, holding_cost))
    return plain * math.sqrt((holding_cost + waiting_cost) / waiting_cost), holding_cost / (holding_cost + waiting_cost)


def units_to_order(
    needed: int, on_hand: int, on_order: int, reserved: int = 0, safety: int = 0, pack: int = 1, minimum: int = 0
) -> int:
    """Return the whole packs to order for what is missing; nothing when nothing is missing.

    Parameters
    ----------
    needed : units the plan takes
    on_hand, on_order, reserved : stock, open orders, promised to jobs
    safety : units to keep back
    pack : units in a pack, at least 1
    minimum : smallest order taken

    Returns
    -------
    units, a whole number of packs

    Raises
    ------
    WorkingError : when a number is negative or the pack below 1

    >>> units_to_order(25, 10, 0, reserved=2, safety=4, pack=10)
    30

    Source: none, by definition.
    """
    not_negative(needed=needed, on_hand=on_hand, on_order=on_order, reserved=reserved, safety=safety, minimum=minimum)
    if pack < 1:
        raise WorkingError("pack", "A pack holds at least one unit.")
    missing = needed + safety + reserved - on_hand - on_order
    if missing <= 0:
        return 0
    return -(-max(missing, minimum) // pack) * pack


def price_at(quantity: int, prices: dict[int, Decimal]) -> Decimal:
    """Return the unit price of an order of that many, from a list of prices by quantity.

    Parameters
    ----------
    quantity : units, at least 1
    prices : quantity from which it holds -> price of every unit

    Returns
    -------
    price of one unit

    Raises
    ------
    WorkingError : when the list is empty

    >>> price_at(25, {1: Decimal("8.35"), 20: Decimal("7.9325")})
    Decimal('7.9325')

    Source: none, by definition.
    """
    if not prices:
        raise WorkingError("prices", "There is no price: enter one for this supplier.")
    reached = [start for start in prices if start <= quantity]
    return prices[max(reached)] if reached else prices[min(prices)]
