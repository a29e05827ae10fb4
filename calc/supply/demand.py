"""From a month's production to the tips it takes, day by day, with how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.supply.paths import SEED, Counts
from calc.supply.renewal import LEVELS

Array = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class DemandByDay:
    """Whole units needed from the start to the end of each day, with axes (scenarios,) designs, days.

    mean : mean of the running total
    quantiles : level -> the running total that is enough with that chance
    spread : standard deviation of the running total
    """

    mean: Array
    quantiles: dict[float, Array]
    spread: Array

    @property
    def daily_mean(self) -> Array:
        """Return the mean of each single day.

        >>> DemandByDay(np.array([[1.0, 3.0]]), {}, np.array([[0.0, 0.0]])).daily_mean.tolist()
        [[1.0, 2.0]]
        """
        return np.diff(self.mean, axis=-1, prepend=0.0)


def spread_parts(
    parts: npt.ArrayLike, first_day: npt.ArrayLike, last_day: npt.ArrayLike, working: npt.ArrayLike
) -> Array:
    """Spread the parts of each production line evenly over its working days.

    Parameters
    ----------
    parts : parts to make, one per line, at least 0
    first_day, last_day : day numbers from 0, both included, one per line
    working : true for each day of the plan on which the shop works, length days

    Returns
    -------
    parts per day, lines x days

    Raises
    ------
    WorkingError : negative parts, days outside the plan or turned round, a line without any working day

    >>> spread_parts([30], [1], [4], [True, True, False, True, True]).tolist()
    [[0.0, 10.0, 0.0, 10.0, 10.0]]

    Source: none, by definition.
    """
    wanted = np.atleast_1d(np.asarray(parts, dtype=np.float64))
    open_days = np.asarray(working, dtype=bool)
    first, last = (np.broadcast_to(np.asarray(v, dtype=np.intp), wanted.shape) for v in (first_day, last_day))
    if not np.isfinite(wanted).all() or (wanted < 0).any():
        raise WorkingError("parts", "The parts to make must be a number and not below 0.")
    if (first < 0).any() or (last >= open_days.size).any():
        raise WorkingError("first_day", "A line's days must lie inside the plan.")
    if (first > last).any():
        raise WorkingError("last_day", "A line cannot end before it starts.")
    days = np.arange(open_days.size)
    on = open_days & (days >= first[:, None]) & (days <= last[:, None])
    count = on.sum(axis=1)
    if ((count == 0) & (wanted > 0)).any():
        raise WorkingError("working", "A line has no working day between its first and its last day.")
    return np.where(on, (wanted / np.maximum(count, 1))[:, None], 0.0)


def minutes_in_cut(parts_per_day: npt.ArrayLike, minutes_per_part: npt.ArrayLike) -> Array:
    """Add up the minutes in cut from the start to the end of each day.

    Parameters
    ----------
    parts_per_day : lines x days
    minutes_per_part : minutes in cut per part, one per line, at least 0

    Returns
    -------
    running minutes, lines x days

    Raises
    ------
    WorkingError : when minutes per part are negative or no number

    >>> minutes_in_cut([[10, 0, 5]], [2.5]).tolist()
    [[25.0, 25.0, 37.5]]

    Source: none, by definition.
    """
    each = np.asarray(minutes_per_part, dtype=np.float64)
    if not np.isfinite(each).all() or (each < 0).any():
        raise WorkingError("minutes_per_part", "The minutes in cut per part must be a number and not below 0.")
    return np.asarray(np.cumsum(np.asarray(parts_per_day, dtype=np.float64) * each[..., None], axis=-1))


def tips_from_changes(
    changes: Counts,
    edges_per_tip: npt.ArrayLike,
    fresh_edges: npt.ArrayLike = 0,
    scrap_chance: npt.ArrayLike = 0.0,
    seed: int = SEED,
) -> Counts:
    """Turn edge changes into tips taken from stock, whole tips only, in each possible month.

    Each change takes the next fresh edge of the open tip, or opens a new tip. An edge that breaks
    can spoil the tip: its remaining fresh edges are then lost.

    Parameters
    ----------
    changes : running changes, (scenarios,) designs x months x days
    edges_per_tip : corners or bands, whole number from 1, one per design
    fresh_edges : fresh edges left on the tip that is open at the start, one per design
    scrap_chance : chance that an ended edge spoils the rest of its tip, one per design
    seed : of the draws that say which edges spoil their tip

    Returns
    -------
    running tips, same shape

    Raises
    ------
    WorkingError : naming the input at fault

    >>> nine = np.full((1, 1, 1), 9, dtype=np.int32)
    >>> tips_from_changes(nine, 4).tolist(), tips_from_changes(nine, 4, fresh_edges=1).tolist()
    ([[[3]]], [[[2]]])

    Source: none, by definition.
    """
    if changes.ndim not in (3, 4):
        raise WorkingError("changes", "The edge changes must have axes of designs, months and days.")
    designs = changes.shape[-3]
    corners = np.broadcast_to(np.asarray(edges_per_tip, dtype=np.float64), (designs,))
    fresh = np.broadcast_to(np.asarray(fresh_edges, dtype=np.float64), (designs,))
    spoilt = np.broadcast_to(np.asarray(scrap_chance, dtype=np.float64), (designs,))
    if not ((corners >= 1) & (corners == np.floor(corners))).all():
        raise WorkingError("edges_per_tip", "A tip has at least one edge, and a whole number of them.")
    if not ((fresh >= 0) & (fresh == np.floor(fresh))).all():
        raise WorkingError("fresh_edges", "The fresh edges left must be a whole number from 0.")
    if not ((spoilt >= 0) & (spoilt <= 1)).all():
        raise WorkingError("scrap_chance", "The chance that an edge spoils its tip must lie between 0 and 1.")
    per_tip = corners.astype(np.int32)[:, None, None]
    tips = np.asarray(-(-np.maximum(changes - fresh.astype(np.int32)[:, None, None], 0) // per_tip), dtype=np.int32)
    flat, laid = changes.reshape(-1, *changes.shape[-2:]), tips.reshape(-1, *tips.shape[-2:])
    row = np.tile(np.arange(designs), len(flat) // max(designs, 1))
    risky = np.flatnonzero(((spoilt > 0) & ((corners > 1) | (fresh > 0)))[row])
    # Like counts go together, so that no small one is followed as far as a large one.
    for rows in np.array_split(risky[np.argsort(flat[risky].max(axis=(1, 2), initial=0))], -(-risky.size // 32) or 1):
        if rows.size:
            of = row[rows]
            laid[rows] = _tips_opened(flat[rows], corners[of], fresh[of], spoilt[of], seed)
    return laid.reshape(changes.shape)


def _tips_opened(changes: Counts, corners: Array, fresh: Array, spoilt: Array, seed: int) -> Counts:
    """Follow the open tip of each design through its changes in every month, and read off the tips at each count."""
    months, most = changes.shape[-2], int(changes.max())
    rng = np.random.default_rng(seed + 2)
    whole = corners.astype(np.int32)[:, None] - 1
    left = np.repeat(fresh.astype(np.int32)[:, None], months, axis=1)
    opened = np.zeros((len(corners), months, most + 1), dtype=np.int32)
    for number in range(1, most + 1):
        empty = left == 0
        empty |= (rng.permutation(months) + rng.random(months)) / months < spoilt[:, None]
        np.add(opened[:, :, number - 1], empty, out=opened[:, :, number])
        left = np.where(empty, whole, left - 1)
    return np.take_along_axis(opened, changes, axis=2)


def demand_by_day(units: Counts, per_change: npt.ArrayLike = 1) -> DemandByDay:
    """Read the mean, the spread and the quantiles off many possible months.

    Parameters
    ----------
    units : running tips (or edges), (scenarios,) designs x months x days
    per_change : tips changed together, one per design, whole number from 1

    Returns
    -------
    DemandByDay of shape (scenarios,) designs x days

    Raises
    ------
    WorkingError : when per_change is below 1

    >>> two = np.array([[[1], [2]]], dtype=np.int32)
    >>> demand_by_day(two, 3).quantiles[0.95].tolist()
    [[6.0]]

    Source: none, by definition.
    """
    times = np.asarray(per_change, dtype=np.float64)
    if not (times >= 1).all():
        raise WorkingError("per_change", "At least one tip is changed at a time.")
    times = times[..., None]
    ordered = np.sort(units, axis=-2)
    months = units.shape[-2]
    quantiles = {level: ordered[..., math.ceil(level * months - 1e-9) - 1, :] * times for level in LEVELS}
    return DemandByDay(units.mean(axis=-2) * times, quantiles, units.std(axis=-2) * times)


@dataclass(frozen=True, slots=True)
class WholePartChanges:
    """What a batch takes when an edge is changed between parts only."""

    parts_per_edge: int
    changes: int
    parts_left_on_last_edge: int
    tips: int


def whole_part_changes(
    *, life: str | int, minutes_per_part: str | int, parts: int, parts_on_edge: int = 0, edges_per_tip: int = 1
) -> WholePartChanges:
    """Count the changes in a batch when every edge makes the same whole number of parts.

    Decimals come as text so that 1.2 minutes hold three parts of 0.4 minutes, not two.

    Parameters
    ----------
    life : minutes in cut an edge is allowed, decimal text
    minutes_per_part : minutes in cut per part, decimal text
    parts : parts in the batch, at least 0
    parts_on_edge : parts that the edge in place has made
    edges_per_tip : edges on a fresh tip, at least 1

    Returns
    -------
    WholePartChanges

    Raises
    ------
    WorkingError : naming the input at fault; also when one part takes more than a life

    >>> whole_part_changes(life="1.2", minutes_per_part="0.4", parts=10, parts_on_edge=1, edges_per_tip=2)
    WholePartChanges(parts_per_edge=3, changes=3, parts_left_on_last_edge=1, tips=2)

    Source: none, by definition.
    """
    try:
        allowed, each = Fraction(life), Fraction(minutes_per_part)
    except (ValueError, ZeroDivisionError) as error:
        raise WorkingError("life", "Give the life and the minutes per part as plain decimal numbers.") from error
    if each <= 0:
        raise WorkingError("minutes_per_part", "The minutes in cut per part must be above 0.")
    if parts < 0 or parts_on_edge < 0:
        raise WorkingError("parts", "Parts cannot be below 0.")
    if edges_per_tip < 1:
        raise WorkingError("edges_per_tip", "A tip has at least one edge.")
    per_edge = math.floor(allowed / each)
    if per_edge < 1:
        raise WorkingError("life", "One part takes longer than the life of an edge: no whole part can be made.")
    room = max(per_edge - parts_on_edge, 0)
    after_first = max(parts - room, 0)
    changes = -(-after_first // per_edge)
    left = room + changes * per_edge - parts
    return WholePartChanges(per_edge, changes, left, -(-changes // edges_per_tip))


@dataclass(frozen=True, slots=True)
class StockAhead:
    """Stock at the end of each day, designs x days, and the first day (index, or -1) on which it runs short.

    likely : at the median demand; careful : at the demand that 95 % of months stay under; mean : at the mean
    short_likely : first day short at 50 %; short_careful : first day on which a shortage is a 1 in 20 chance
    """

    mean: Array
    likely: Array
    careful: Array
    short_likely: Indices
    short_careful: Indices


def project_stock(on_hand: npt.ArrayLike, arrivals: npt.ArrayLike, demand: DemandByDay) -> StockAhead:
    """Run the stock forward day by day and name the first day of shortage.

    Parameters
    ----------
    on_hand : usable units at the start, one per design
    arrivals : units that come in on each day, designs x days
    demand : running demand, with quantiles 0.5 and 0.95

    Returns
    -------
    StockAhead; a stock below 0 is what is missing

    Raises
    ------
    WorkingError : when stock or arrivals are negative

    >>> needed = DemandByDay(
    ...     np.array([[1.0, 2.0]]), {0.5: np.array([[1.0, 2.0]]), 0.95: np.array([[2.0, 4.0]])}, np.ones((1, 2))
    ... )
    >>> ahead = project_stock([2], [[0, 1]], needed)
    >>> ahead.careful.tolist(), ahead.short_likely.tolist(), ahead.short_careful.tolist()
    ([[0.0, -1.0]], [-1], [1])

    Source: none, by definition.
    """
    held = np.asarray(on_hand, dtype=np.float64)
    coming = np.asarray(arrivals, dtype=np.float64)
    if (held < 0).any():
        raise WorkingError("on_hand", "Stock on hand cannot be below 0.")
    if (coming < 0).any():
        raise WorkingError("arrivals", "Arrivals cannot be below 0.")
    supply = held[..., None] + np.cumsum(coming, axis=-1)
    likely, careful = supply - demand.quantiles[0.5], supply - demand.quantiles[0.95]
    return StockAhead(supply - demand.mean, likely, careful, _first_short(likely), _first_short(careful))


def _first_short(stock: Array) -> Indices:
    short = stock < 0
    return np.where(short.any(axis=-1), short.argmax(axis=-1), -1)
