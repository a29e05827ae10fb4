"""Many possible months at once: for each design and day, how many edges each of them has changed so far.

`renewal.py` gives the exact law of one place in a spindle. A plan has hundreds of places, unsure life laws, corners
and spoilt tips; there a sample of months is far cheaper. The lives are drawn by strata (a Latin hypercube), so
that a few hundred months are as good as thousands drawn at random, and the seed is fixed: the same plan gives
the same answer, and two scenarios differ only by what was changed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.supply.lives import Lives, mean_life
from calc.supply.renewal import MOST_CHANGES

Array = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]
Counts = npt.NDArray[np.int32]

MONTHS = 512
SEED = 20_250_101
STREAMS_AT_ONCE = 48
# Slots per day of the table that turns minutes into days; the day is then settled exactly by one comparison.
SLOTS_PER_DAY = 8


@dataclass(frozen=True, slots=True)
class Streams:
    """What cuts during the plan: one row per spindle place that keeps getting fresh edges of one design.

    Attributes are flat arrays of one length S unless said otherwise.

    design : index of the design, whole number from 0
    shape, scale : Weibull law of one edge at this duty, dimensionless and minutes in cut
    exposure : minutes in cut from the start to the end of each day, S x days or scenarios x S x days
    used : minutes in cut that the edge in place has behind it
    change_at : planned change age, minutes; infinite for never
    shape_spread, scale_spread : standard deviation of ln shape and ln scale, how unsure the fit is
    breakage : sudden ends per minute in cut

    >>> Streams.of(design=[0], shape=3.0, scale=45.0, exposure=[[60.0, 120.0]]).used.tolist()
    [0.0]
    """

    design: Indices
    shape: Array
    scale: Array
    exposure: Array
    used: Array
    change_at: Array
    shape_spread: Array
    scale_spread: Array
    breakage: Array

    @classmethod
    def of(
        cls,
        *,
        design: npt.ArrayLike,
        shape: npt.ArrayLike,
        scale: npt.ArrayLike,
        exposure: npt.ArrayLike,
        used: npt.ArrayLike = 0.0,
        change_at: npt.ArrayLike = np.inf,
        shape_spread: npt.ArrayLike = 0.0,
        scale_spread: npt.ArrayLike = 0.0,
        breakage: npt.ArrayLike = 0.0,
    ) -> Streams:
        """Check and line up the rows; single numbers serve every row. Parameters as the attributes.

        Raises
        ------
        WorkingError : naming the input at fault

        >>> Streams.of(design=[0, 0], shape=[3.0, 2.0], scale=45.0, exposure=[[60.0], [80.0]]).scale.tolist()
        [45.0, 45.0]
        """
        designs = np.asarray(design, dtype=np.intp)
        if designs.ndim != 1 or (designs < 0).any():
            raise WorkingError("design", "Give one design number from 0 upward for each stream.")
        minutes = np.asarray(exposure, dtype=np.float64)
        if minutes.ndim not in (2, 3) or minutes.shape[-2] != designs.size or minutes.shape[-1] == 0:
            raise WorkingError("exposure", "Give the minutes in cut of each day for each stream.")
        if not np.isfinite(minutes).all() or (minutes < 0).any() or (np.diff(minutes, axis=-1) < 0).any():
            raise WorkingError("exposure", "The minutes in cut add up from day to day: they cannot fall or be below 0.")
        lives = Lives.checked(shape, scale, used, change_at, breakage, designs.shape)
        doubt, doubt_scale = (
            np.broadcast_to(np.asarray(v, dtype=np.float64), designs.shape) for v in (shape_spread, scale_spread)
        )
        for name, values in (("shape_spread", doubt), ("scale_spread", doubt_scale)):
            if not np.isfinite(values).all() or (values < 0).any():
                raise WorkingError(name, "How unsure the life law is must be a number and not below 0.")
        return cls(
            designs, lives.shape, lives.scale, minutes, lives.used, lives.change_at, doubt, doubt_scale, lives.breakage
        )


def changes_in_months(streams: Streams, designs: int, months: int = MONTHS, seed: int = SEED) -> Counts:
    """Play many possible months and count the edge changes up to the end of every day.

    Streams of one design are independent given their life laws. The laws themselves are unsure;
    within one design they are taken to err together, which is the careful side.

    Parameters
    ----------
    streams : what cuts
    designs : how many designs there are; one without a stream needs nothing
    months : how many possible months
    seed : of the draws

    Returns
    -------
    running changes, whole numbers, (scenarios,) designs x months x days

    Raises
    ------
    WorkingError : when a stream names a design that is not there, or its edges last next to nothing

    >>> one = Streams.of(design=[0], shape=3.0, scale=45.0, exposure=[[120.0, 240.0]], used=30.0)
    >>> changes_in_months(one, 2).mean(axis=1).round(1).tolist()
    [[3.2, 6.1], [0.0, 0.0]]

    Source: [mckay-1979 (m)] for the strata.
    """
    if streams.design.size and int(streams.design.max()) >= designs:
        raise WorkingError("design", "A stream names a design that is not in the list.")
    laws = Lives(streams.shape, streams.scale, streams.used, streams.change_at, streams.breakage)
    scenarios = streams.exposure if streams.exposure.ndim == 3 else streams.exposure[None]
    if streams.design.size and (scenarios[..., -1] / mean_life(laws) > MOST_CHANGES).any():
        raise WorkingError("scale", f"An edge would be changed over {MOST_CHANGES:,.0f} times: check its life.")
    total = np.zeros((len(scenarios), designs, months, scenarios.shape[-1]), dtype=np.int32)
    rng = np.random.default_rng(seed)
    doubts = _doubts(rng, months)
    turns = rng.integers(0, months, streams.design.size)
    for exposure, sums in zip(scenarios, total, strict=True):
        # Streams of like length go together, so that no short one waits for a long one.
        order = np.argsort(exposure[:, -1] / np.minimum(streams.scale, streams.change_at))
        for rows in np.array_split(order, max(1, -(-order.size // STREAMS_AT_ONCE))):
            counts = _play(streams, rows, exposure[rows], doubts, turns[rows], seed)
            for row, count in zip(rows, counts, strict=True):
                sums[streams.design[row]] += count
    return total if streams.exposure.ndim == 3 else total[0]


def _doubts(rng: np.random.Generator, months: int) -> Array:
    """Two standard normal numbers per month, evenly spread over the plane, for the unsure shape and scale."""
    from scipy.special import ndtri

    # The plastic number's fractions: the plane's counterpart of the golden section.
    plastic = 1.3247179572447460
    even = (0.5 + np.outer(np.arange(months), [1 / plastic, 1 / plastic**2]) + rng.random(2)) % 1.0
    return np.asarray(ndtri(rng.permutation(np.clip(even, 1e-9, 1 - 1e-9))))


def _play(streams: Streams, rows: Indices, exposure: Array, doubts: Array, turns: Indices, seed: int) -> Counts:
    """Let the edges of some streams follow each other until every month is over: streams x months x days."""
    months, days = len(doubts), exposure.shape[1]
    shape = streams.shape[rows][:, None] * np.exp(doubts[:, 0] * streams.shape_spread[rows][:, None])
    scale = streams.scale[rows][:, None] * np.exp(doubts[:, 1] * streams.scale_spread[rows][:, None])
    stretch, start = 1 / shape, np.log(scale)
    change_at, used = streams.change_at[rows][:, None], streams.used[rows][:, None]
    rng = np.random.default_rng(seed + 1)
    # Each stream reads the same draws from another month on: independent of its neighbours, and drawn only once.
    pick = (turns[:, None] + np.arange(months)) % months
    end = exposure[:, -1:]
    day_of = _DayTable(exposure)
    breaking = _Breaking(streams.breakage[rows][:, None], pick, seed)
    hazard = (used / scale) ** shape + np.exp(_gumbel(rng, months).take(pick))
    clock = np.maximum(np.minimum(scale * hazard**stretch, change_at) - used, 0.0)
    clock = breaking.sooner(clock)
    cells = (np.arange(rows.size)[:, None] * months + np.arange(months)) * days
    landed: list[Indices] = []
    while True:
        inside = (clock <= end) & (end > 0)
        if not inside.any():
            break
        landed.append((cells + day_of.find(np.minimum(clock, end)))[inside])
        life = np.minimum(np.exp(start + stretch * _gumbel(rng, months).take(pick)), change_at)
        clock = clock + breaking.sooner(life)
    everywhere = np.concatenate(landed) if landed else np.empty(0, dtype=np.intp)
    per_day = np.bincount(everywhere, minlength=rows.size * months * days).reshape(rows.size, months, days)
    return np.cumsum(per_day, axis=-1, dtype=np.int32)


def _gumbel(rng: np.random.Generator, months: int) -> Array:
    """Logarithms of standard exponential lives, one from each of `months` equal strata, shuffled."""
    return np.asarray(np.log(-np.log1p(-(rng.permutation(months) + rng.random(months)) / months)))


class _Breaking:
    """Ends some edges early by a constant chance per minute; costs nothing where no design breaks."""

    def __init__(self, rate: Array, pick: Indices, seed: int) -> None:
        self.mean = np.where(rate > 0, 1 / np.where(rate > 0, rate, 1.0), np.inf)
        self.pick, self.any = pick, bool((rate > 0).any())
        self.rng = np.random.default_rng(seed + 3)

    def sooner(self, life: Array) -> Array:
        if not self.any:
            return life
        months = self.pick.shape[1]
        return np.asarray(np.minimum(life, self.mean * np.exp(_gumbel(self.rng, months)[self.pick])))


class _DayTable:
    """Finds the day within which a clock of minutes in cut falls, without a search."""

    def __init__(self, exposure: Array) -> None:
        rows, days = exposure.shape
        slots = days * SLOTS_PER_DAY
        self.last, self.last_slot = days - 1, slots - 1
        self.pace = slots / np.maximum(exposure[:, -1:], 1e-12)
        starts = np.arange(slots) / self.pace
        table = np.empty((rows, slots), dtype=np.intp)
        later = np.empty((rows, days), dtype=np.intp)
        for row in range(rows):
            # The first day that reaches past the minutes: idle days in between belong to nobody.
            table[row] = np.searchsorted(exposure[row], starts[row], side="right")
            later[row] = np.searchsorted(exposure[row], exposure[row], side="right")
        # Flat, since one index is found several times faster than two.
        self.table, self.later = np.minimum(table, self.last).ravel(), np.minimum(later, self.last).ravel()
        self.exposure = exposure.ravel()
        self.slot_base, self.day_base = np.arange(rows)[:, None] * slots, np.arange(rows)[:, None] * days

    def find(self, clock: Array) -> Indices:
        slot = np.minimum((clock * self.pace).astype(np.intp), self.last_slot)
        day = self.table.take(self.slot_base + slot)
        # A slot can begin before one or more days' ends and reach past them.
        while ((beyond := clock > self.exposure.take(self.day_base + day)) & (day < self.last)).any():
            day = np.where(beyond, self.later.take(self.day_base + day), day)
        return np.asarray(day)
