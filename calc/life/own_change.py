"""When to change one edge of which more is known than of a fresh one, such as by its wear readings."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, numbers, share
from calc.life.replacement import HARDLY_ANY


class OwnChange(NamedTuple):
    """When each edge should come off, from now: infinite where it is best run to its end. All of shape (edges,)."""

    minutes: Floats
    chance_of_failure: Floats
    limited_by_risk: npt.NDArray[np.bool_]


def own_change(
    ahead: Numbers,
    lasting: Numbers,
    cost_planned: Numbers,
    cost_failure: Numbers,
    cost_each: Numbers,
    accepted_risk: Numbers | None = None,
    minutes_per_part: Numbers | None = None,
) -> OwnChange:
    """When changing an edge costs least, set against the fresh edges that take its place.

    Parameters
    ----------
    ahead : minutes from now at which it may come off, rising, such as the ends of its next parts, shape (edges, steps)
    lasting : chance that it lasts so long, same shape
    cost_planned, cost_failure : Cp and Cf, whole costs of a planned change and of a failure, money, shape (edges,)
    cost_each : g*, what fresh edges cost in the long run for each good part where minutes per part are known, for each
        minute elsewhere, money, shape (edges,)
    accepted_risk : largest accepted chance, from now on, that it fails before its change; nan where none is set
    minutes_per_part : tau, minutes, where the steps ahead are whole parts; left out, or nan for an edge, minutes count

    Returns
    -------
    OwnChange; 0 minutes where it should come off now

    Raises
    ------
    WorkingError : when shapes disagree, a cost is below zero, minutes per part are not above zero or the risk lies
        outside 0 to 1

    >>> ahead = np.arange(1, 9) * 5.0
    >>> best = own_change(ahead, np.exp(-((ahead / 25) ** 4)), 5, 25, 0.3)
    >>> best.minutes.tolist(), best.limited_by_risk.tolist()
    ([10.0], [False])
    >>> own_change(ahead, np.exp(-((ahead / 25) ** 4)), 5, 25, 1.5, minutes_per_part=5).minutes.tolist()
    [10.0]

    Source: [barlow-hunter-1960 (m)] for an edge at work: Cp S + Cf (1 - S) - g* E[good parts] at its least, a part in
    which it ends left out; or E[minutes worked], by the trapezoidal rule between the steps.
    """
    ends, alive = (np.atleast_2d(numbers(name, one)) for name, one in (("ahead", ahead), ("lasting", lasting)))
    if ends.shape != alive.shape:
        raise WorkingError("lasting", "Give one chance for each time at which the edge may come off.")
    planned, failure, worth = (
        np.broadcast_to(one, ends.shape[:1])[:, None]
        for one in (
            above_zero("cost_planned", cost_planned),
            not_below_zero("cost_failure", cost_failure),
            not_below_zero("cost_each", cost_each),
        )
    )
    risk = np.asarray(np.nan if accepted_risk is None else accepted_risk, dtype=np.float64)
    share("accepted_risk", risk[~np.isnan(risk)])
    each = np.asarray(np.nan if minutes_per_part is None else minutes_per_part, dtype=np.float64)
    above_zero("minutes_per_part", each[~np.isnan(each)])
    each = np.broadcast_to(each, ends.shape[:1])[:, None]
    now = np.zeros((ends.shape[0], 1))
    ends, alive = np.concatenate((now, ends), axis=1), np.concatenate((now + 1, alive), axis=1)
    cost = planned * alive + failure * (1 - alive) - worth * _made(ends, alive, each)
    rows, last = np.arange(ends.shape[0]), ends.shape[1] - 1
    best = cost.argmin(axis=1)
    to_end = (best == last) | (alive[rows, best] < HARDLY_ANY) | (failure <= planned)[:, 0]
    most = np.nan_to_num(np.broadcast_to(risk, rows.shape), nan=1.0)[:, None]
    allowed = np.where(most[:, 0] >= 1, last + 1, (1 - alive <= most).sum(axis=1) - 1)
    limited = allowed < np.where(to_end, last + 1, best)
    chosen = np.minimum(np.where(to_end, last, best), allowed)
    minutes = np.where(to_end & ~limited, np.inf, ends[rows, chosen])
    return OwnChange(minutes, np.where(np.isinf(minutes), 1.0, 1 - alive[rows, chosen]), limited)


def _made(ends: Floats, alive: Floats, each: Floats) -> Floats:
    """Mean good parts up to each step from 0, or mean minutes worked where minutes per part are nan."""
    worked = np.zeros_like(ends)
    worked[:, 1:] = np.cumsum(np.diff(ends, axis=1) * (alive[:, 1:] + alive[:, :-1]) / 2, axis=1)
    # With half of what is lost taken off, the trapezium rule is the sum of the chances at the end of each part.
    return np.where(np.isnan(each), worked, worked / each - (1 - alive) / 2)
