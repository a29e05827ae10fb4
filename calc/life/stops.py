"""Changes that come due close together, made in one stop.

A stop costs time before anything is changed and after. Edges due soon after it may be changed in it as well, at the
price of what is left of them; none is changed later than it is due.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import Numbers, not_below_zero

# What costs no more than this beyond another is as cheap; a stop then takes more edges.
AS_CHEAP = 1e-9


class Stops(NamedTuple):
    """At whose due point each edge is changed, shape (edges,), and what stops and early changes cost together."""

    at: npt.NDArray[np.int64]
    cost: float


def shared_stops(early: Numbers, stop_cost: float) -> Stops:
    """Cheapest stops for edges in the order in which they come due, none changed later than it is due.

    Parameters
    ----------
    early : what it costs more to change edge j when edge i is due, money, shape (edges, edges), read for j >= i only;
        never falling with the time between them, infinite where it may not be
    stop_cost : what a stop costs whatever is changed in it, money

    Returns
    -------
    Stops; of equally cheap plans one whose stops take as many edges as they can

    Raises
    ------
    WorkingError : when a cost is below zero or the table is not square

    >>> shared_stops([[0, 1, 9], [0, 0, 2], [0, 0, 0]], 1.5).at.tolist()
    [0, 0, 2]
    >>> shared_stops([[0, 1, 9], [0, 0, 2], [0, 0, 0]], 2.5).cost
    6.0

    Source: derived. In the cheapest plan each edge joins the last stop before it is due, so that stops take
    neighbours; dynamic programming over where the last stop begins (Bellman's principle).
    """
    table = np.asarray(early, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] != table.shape[1]:
        raise WorkingError("early", "The costs of early changes must be a square table of the edges.")
    if np.isnan(table).any() or (table < 0).any():
        raise WorkingError("early", "The costs of early changes must not be below zero.")
    each = float(not_below_zero("stop_cost", stop_cost))
    size = table.shape[0]
    # together[i, j]: edges i to j changed when edge i is due.
    together = np.cumsum(np.triu(table), axis=1)
    best = np.zeros(size + 1)
    begins = np.zeros(size, dtype=np.int64)
    for last in range(size):
        costs = best[: last + 1] + each + together[: last + 1, last]
        begins[last] = int(np.argmax(costs <= costs.min() + AS_CHEAP))
        best[last + 1] = costs[begins[last]]
    at = np.zeros(size, dtype=np.int64)
    last = size - 1
    while last >= 0:
        at[begins[last] : last + 1] = begins[last]
        last = int(begins[last]) - 1
    return Stops(at, float(best[size]))
