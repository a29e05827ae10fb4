"""What an edge costs per part, and the life and speed that cost least or make most (Gilbert)."""

from typing import NamedTuple

import numpy as np

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, share
from calc.life.taylor import tool_life


class Economic(NamedTuple):
    """Lives in minutes in cut and surface speeds in m/min, in the shape that the arguments broadcast to."""

    life_min_cost: Floats
    life_max_output: Floats
    speed_min_cost: Floats
    speed_max_output: Floats


class PartCost(NamedTuple):
    """Cost of one part in money, and what it is made of."""

    total: Floats
    cutting: Floats
    changing: Floats
    edges: Floats
    minutes: Floats


def economic_lives(n: Numbers, c: Numbers, change_time: Numbers, machine_rate: Numbers, edge_cost: Numbers) -> Economic:
    """Tool life and speed for the lowest cost per part and for the highest output.

    Parameters
    ----------
    n, c : Taylor's exponent and C (m/min at one minute)
    change_time : minutes that the machine stands for one change
    machine_rate : money per minute of machine and operator
    edge_cost : money per edge, without the change time

    Returns
    -------
    Economic

    Raises
    ------
    WorkingError : when n does not lie between 0 and 1, a rate is not above zero, or nothing is spent on a change

    >>> best = economic_lives(0.25, 75, 2, 0.15, 2.5)
    >>> [float(value.round(3)) for value in best]
    [56.0, 6.0, 27.417, 47.921]

    Source: [gilbert-1950 (m)], T = (1/n - 1)(change time + edge cost / rate).
    """
    exponent, one_minute = share("n", n), above_zero("c", c)
    stand, rate = not_below_zero("change_time", change_time), above_zero("machine_rate", machine_rate)
    lost = stand + not_below_zero("edge_cost", edge_cost) / rate
    if np.any(lost <= 0):
        raise WorkingError(
            "change_time", "A change that costs neither time nor an edge has no best life; give one of them."
        )
    cheapest, fastest = (1 / exponent - 1) * lost, (1 / exponent - 1) * stand
    with np.errstate(divide="ignore"):  # a change without standing time: the faster the better, without end
        return Economic(cheapest, fastest, one_minute / cheapest**exponent, one_minute / fastest**exponent)


def minutes_per_part(surface_speed: Numbers, diameter: Numbers, length: Numbers, feed: Numbers) -> Floats:
    """Minutes in cut to turn a length once.

    Parameters
    ----------
    surface_speed : vc, m/min
    diameter : work diameter, mm
    length : length of cut, mm
    feed : f, mm per revolution

    Returns
    -------
    minutes in cut

    Raises
    ------
    WorkingError : when a figure is not above zero

    >>> minutes_per_part(25, 60, 400, 0.2).round(4).tolist()
    15.0796

    Source: derived, pi * D * L / (1000 * f * vc).
    """
    speed, across = above_zero("surface_speed", surface_speed), above_zero("diameter", diameter)
    return np.asarray(np.pi * across * above_zero("length", length) / (1000 * above_zero("feed", feed) * speed))


def cost_per_part(
    minutes: Numbers,
    life: Numbers,
    change_time: Numbers,
    machine_rate: Numbers,
    edge_cost: Numbers,
    whole: bool = False,
) -> PartCost:
    """Cost of one part: machine time in cut, its share of the changes, and its share of the edges.

    Parameters
    ----------
    minutes : minutes in cut per part
    life : minutes in cut per edge
    change_time : minutes that the machine stands for one change
    machine_rate : money per minute
    edge_cost : money per edge
    whole : change between parts only, so an edge makes a whole number of parts

    Returns
    -------
    PartCost

    Raises
    ------
    WorkingError : when minutes or life are not above zero, or an edge does not last one whole part

    >>> cost = cost_per_part(15.0796447, 81, 3, 5, 0)
    >>> float(cost.changing.round(4)), float(cost_per_part(15.0796447, 81, 3, 5, 0, whole=True).changing.round(4))
    (2.7925, 3.0)

    Source: [gilbert-1950 (m)].
    """
    cut, lasts = above_zero("minutes", minutes), above_zero("life", life)
    stand, rate = not_below_zero("change_time", change_time), not_below_zero("machine_rate", machine_rate)
    parts = lasts / cut
    if whole:
        parts = np.floor(parts + 1e-9)
        if np.any(parts < 1):
            raise WorkingError("life", "The edge does not last one whole part; lower the speed or split the cut.")
    each = not_below_zero("edge_cost", edge_cost) / parts
    changing = stand * rate / parts
    return PartCost(
        cut * rate + changing + each,
        cut * rate,
        np.asarray(changing),
        np.asarray(each),
        np.asarray(cut + stand / parts),
    )


def cost_against_speed(
    surface_speed: Numbers,
    n: Numbers,
    c: Numbers,
    minutes_at_one: Numbers,
    change_time: Numbers,
    machine_rate: Numbers,
    edge_cost: Numbers,
) -> PartCost:
    """Cost of one part as the surface speed changes and everything else stays.

    Parameters
    ----------
    surface_speed : vc, m/min, shape (k,)
    n, c : Taylor's exponent and C (m/min at one minute)
    minutes_at_one : minutes in cut per part at 1 m/min, pi * D * L / (1000 * f) when turning
    change_time, machine_rate, edge_cost : as in `economic_lives`

    Returns
    -------
    PartCost of shape (k,)

    Raises
    ------
    WorkingError : when a figure is out of range

    >>> curve = cost_against_speed([20, 27.4166, 40], 0.25, 75, 300, 2, 0.15, 2.5)
    >>> curve.total.round(3).tolist()
    [2.462, 2.188, 2.824]

    Source: [gilbert-1950 (m)].
    """
    speed = above_zero("surface_speed", surface_speed)
    minutes = above_zero("minutes_at_one", minutes_at_one) / speed
    return cost_per_part(minutes, tool_life(speed, n, c), change_time, machine_rate, edge_cost)


def modular_edge_cost(body_cost: Numbers, body_life_tips: Numbers, tip_cost: Numbers, edges: Numbers) -> Floats:
    """Cost of one edge of a replaceable tip, its share of the body included.

    Parameters
    ----------
    body_cost : money per body
    body_life_tips : tips that a body carries before it is spent
    tip_cost : money per tip
    edges : edges per tip

    Returns
    -------
    money per edge

    Raises
    ------
    WorkingError : when tips or edges are not above zero or a cost is below

    >>> modular_edge_cost(240, 80, 21, 4).tolist()
    6.0

    Source: derived, each cost spread over what it serves.
    """
    body = not_below_zero("body_cost", body_cost) / above_zero("body_life_tips", body_life_tips)
    return np.asarray((not_below_zero("tip_cost", tip_cost) + body) / above_zero("edges", edges))


def solid_edge_cost(cost: Numbers, regrinds: Numbers, regrind_cost: Numbers) -> Floats:
    """Cost of one life of a solid tool that is reground a number of times.

    Parameters
    ----------
    cost : money per new tool
    regrinds : times it is reground before it is spent
    regrind_cost : money per regrind

    Returns
    -------
    money per life

    Raises
    ------
    WorkingError : when a figure is below zero

    >>> solid_edge_cost(90, 3, 14).tolist()
    33.0

    Source: derived, the tool and its regrinds spread over its lives.
    """
    times = not_below_zero("regrinds", regrinds)
    return np.asarray(
        (not_below_zero("cost", cost) + times * not_below_zero("regrind_cost", regrind_cost)) / (1 + times)
    )


def break_even_parts(
    first_outlay: Numbers, cost_per_part: Numbers, other_outlay: Numbers, other_cost_per_part: Numbers
) -> Floats:
    """Parts after which the way with the dearer start has paid; nan when it never does.

    Parameters
    ----------
    first_outlay, other_outlay : money spent before the first part, each way
    cost_per_part, other_cost_per_part : money per part, each way, without those outlays

    Returns
    -------
    parts, not rounded; 0 when the way that starts cheaper or equal also costs no more per part

    Raises
    ------
    WorkingError : when a figure is below zero

    >>> break_even_parts(240, 1.5, 0, 2.7).round(3).tolist()
    200.0
    >>> break_even_parts(240, 3.0, 0, 2.7).tolist()
    nan

    Source: derived.
    """
    dearer = not_below_zero("first_outlay", first_outlay) - not_below_zero("other_outlay", other_outlay)
    saved = not_below_zero("other_cost_per_part", other_cost_per_part) - not_below_zero("cost_per_part", cost_per_part)
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = np.where(saved == 0, np.nan, dearer / saved)
    return np.where((dearer <= 0) & (saved >= 0), 0.0, np.where(saved > 0, parts, np.nan))
