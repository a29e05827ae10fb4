"""How many times an edge is changed within a stretch of cutting: a renewal count, not minutes divided by life."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.supply.lives import Lives, mean_life, second_moment

Array = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.complex128]

LEVELS = (0.10, 0.50, 0.90, 0.95)
# Points per life of the coarser of two grids, fewer where many lives fit; from both the error of the grid is taken out.
FINEST, COARSEST, POINTS = 64.0, 16.0, 512.0
# Beyond this many lives the count is normal to within a fraction of one change, and a grid would only cost time.
MANY_LIVES = 150.0
MOST_CHANGES = 20_000.0
NEGLIGIBLE = 1e-10
# What a point fades to over a whole grid: small, yet far enough from the last digit of a double.
FADED = 1e-11
# A part of a spectrum that all together can change no chance by more than this is left out.
GONE = 1e-12
# Numbers of changes that are worked out together.
AT_ONCE = 16
CELLS_AT_ONCE = 60_000


@dataclass(frozen=True, slots=True)
class CountDistribution:
    """A whole number that is uncertain: `chances[..., k]` is the chance that it is exactly k.

    >>> coins = CountDistribution(np.array([0.25, 0.5, 0.25]))
    >>> float(coins.mean), float(coins.variance), float(coins.chance_enough(1))
    (1.0, 0.5, 0.75)
    """

    chances: Array

    @property
    def mean(self) -> Array:
        """Return the mean count, shape of the leading axes.

        >>> float(CountDistribution(np.array([0.5, 0.5])).mean)
        0.5
        """
        return np.asarray(self.chances @ np.arange(self.chances.shape[-1], dtype=np.float64))

    @property
    def variance(self) -> Array:
        """Return the variance of the count, shape of the leading axes.

        >>> float(CountDistribution(np.array([0.5, 0.5])).variance)
        0.25
        """
        counts = np.arange(self.chances.shape[-1], dtype=np.float64)
        return np.asarray(((counts - self.mean[..., None]) ** 2 * self.chances).sum(axis=-1))

    def quantile(self, level: float) -> Array:
        """Return the smallest count that is enough with at least this chance.

        Parameters
        ----------
        level : chance, 0 < level < 1

        >>> int(CountDistribution(np.array([0.25, 0.5, 0.25])).quantile(0.9))
        2
        """
        if not 0 < level < 1:
            raise WorkingError("level", "The chance asked for must lie between 0 and 1, both ends left out.")
        enough = np.cumsum(self.chances, axis=-1) >= level - 1e-12
        return np.asarray(np.where(enough.any(axis=-1), enough.argmax(axis=-1), enough.shape[-1] - 1), dtype=np.float64)

    def chance_enough(self, stock: npt.ArrayLike) -> Array:
        """Return the chance that the count is not above `stock` (whole numbers, shape of the leading axes or scalar).

        >>> float(CountDistribution(np.array([0.25, 0.5, 0.25])).chance_enough(0))
        0.25
        """
        held = np.floor(np.asarray(stock, dtype=np.float64))[..., None]
        counts = np.arange(self.chances.shape[-1], dtype=np.float64)
        return np.asarray(np.where(counts <= held, self.chances, 0.0).sum(axis=-1))


def renewal_count(
    shape: npt.ArrayLike,
    scale: npt.ArrayLike,
    horizon: npt.ArrayLike,
    used: npt.ArrayLike = 0.0,
    change_at: npt.ArrayLike = np.inf,
    breakage: npt.ArrayLike = 0.0,
) -> CountDistribution:
    """Count the changes within a horizon when edges fail by a Weibull law or come off at a fixed age.

    The edge in place at the start is not counted. The life law of that first edge is taken given
    that it has lasted what it has cut so far.

    Parameters
    ----------
    shape : Weibull shape, dimensionless, any shape
    scale : Weibull scale, minutes in cut, broadcast with the others
    horizon : minutes in cut to come, at least 0
    used : minutes the first edge has cut already, at least 0
    change_at : age at which an edge comes off if it has not failed, minutes; infinite for never
    breakage : sudden ends per minute in cut, at least 0

    Returns
    -------
    CountDistribution with the broadcast shape of the inputs

    Raises
    ------
    WorkingError : when an input is not above zero, or used or horizon is negative

    >>> changes = renewal_count(3, 45, horizon=240, used=30)
    >>> f"{changes.mean:.3f}", [int(changes.quantile(q)) for q in LEVELS]
    ('6.129', [5, 6, 7, 8])

    Source: [smith-leadbetter-1963 (m)] for the renewal function, [xie-1989 (m)] for convolving on a grid.
    """
    minutes = np.asarray(horizon, dtype=np.float64)[..., None]
    by_day = renewal_count_by_day(shape, scale, minutes, used, change_at, breakage)
    return CountDistribution(by_day.chances[..., 0, :])


def renewal_count_by_day(
    shape: npt.ArrayLike,
    scale: npt.ArrayLike,
    exposure: npt.ArrayLike,
    used: npt.ArrayLike = 0.0,
    change_at: npt.ArrayLike = np.inf,
    breakage: npt.ArrayLike = 0.0,
) -> CountDistribution:
    """Count the changes from the start up to the end of each of several days.

    Parameters
    ----------
    shape, scale, used, change_at, breakage : as for `renewal_count`, one per row (any common shape)
    exposure : minutes in cut from the start to the end of each day, shape of the rows + (days,)

    Returns
    -------
    CountDistribution of shape rows + (days,)

    Raises
    ------
    WorkingError : as for `renewal_count`

    >>> renewal_count_by_day([2.0, 4.0], 60.0, [[40.0, 80.0]]).mean.round(3).tolist()
    [[0.387, 1.139], [0.18, 1.053]]

    Source: [smith-leadbetter-1963 (m)], [xie-1989 (m)].
    """
    minutes = np.asarray(exposure, dtype=np.float64)
    if minutes.ndim == 0 or minutes.shape[-1] == 0:
        raise WorkingError("exposure", "Give the minutes in cut of at least one day.")
    lead = np.broadcast_shapes(minutes.shape[:-1], *(np.shape(v) for v in (shape, scale, used, change_at, breakage)))
    lives = Lives.checked(shape, scale, used, change_at, breakage, lead)
    minutes = np.broadcast_to(minutes, (*lead, minutes.shape[-1])).reshape(-1, minutes.shape[-1])
    if not (np.isfinite(minutes).all() and (minutes >= 0).all()):
        raise WorkingError("horizon", "The minutes in cut to come must be a number and not below 0.")
    chances = _chances_of_rows(lives, minutes)
    return CountDistribution(chances.reshape(*lead, *chances.shape[1:]))


def _chances_of_rows(lives: Lives, minutes: Array) -> Array:
    """Answer each row by the way that suits its length, in bundles that fit the memory."""
    longest = minutes.max(axis=1)
    expected = longest / mean_life(lives)
    if (expected > MOST_CHANGES).any():
        raise WorkingError(
            "horizon", f"That is over {MOST_CHANGES:,.0f} lives of an edge: check the horizon and the life."
        )
    fine = np.clip(POINTS / np.maximum(expected, 1.0), COARSEST, FINEST)
    wanted = np.exp2(np.ceil(np.log2(np.maximum(expected, 1.0) * fine))).astype(np.int64)
    pieces: list[tuple[npt.NDArray[np.intp], Array]] = []
    many = expected > MANY_LIVES
    if many.any():
        rows = np.flatnonzero(many)
        pieces.append((rows, _normal_chances(lives.take(rows), minutes[rows])))
    for points in np.unique(wanted[~many]):
        rows = np.flatnonzero((wanted == points) & ~many)
        for bundle in np.array_split(rows, -(-rows.size * int(points) // CELLS_AT_ONCE)):
            pieces.append((bundle, _refined_chances(lives.take(bundle), minutes[bundle], int(points))))
    width = max((piece.shape[2] for _, piece in pieces), default=1)
    chances = np.zeros((*minutes.shape, width))
    for rows, piece in pieces:
        chances[rows, :, : piece.shape[2]] = piece
    return chances


def _refined_chances(lives: Lives, minutes: Array, points: int) -> Array:
    """Take the error of the grid, which falls with the square of its step, out of two grids' answers."""
    coarse, fine = (_grid_chances(lives, minutes, points * times) for times in (1, 2))
    width = max(coarse.shape[2], fine.shape[2])
    coarse, fine = (np.pad(grid, ((0, 0), (0, 0), (0, width - grid.shape[2]))) for grid in (coarse, fine))
    return np.maximum((4 * fine - coarse) / 3, 0.0)


def _grid_chances(lives: Lives, minutes: Array, points: int) -> Array:
    """Convolve the law of one life with itself on a grid that carries the fixed change age exactly."""
    reach = np.maximum(minutes.max(axis=1), 1e-9 * lives.scale)
    steps = np.where(lives.change_at < reach, np.ceil(points * lives.change_at / reach), 0.0)
    h = np.where(steps > 0, np.where(steps > 0, lives.change_at, 0.0) / np.maximum(steps, 1), reach / points)
    size = int(np.ceil(reach / h).max()) + 2
    failed = lives.failed_new(h[:, None] * np.arange(size, dtype=np.float64))
    ends = _first_edge_weights(lives, minutes, h, size)
    kept = lives.kept_new()
    more = [_all_planned(lives, kept, minutes, np.zeros(1))]
    others = _life_after_life(failed, ends, np.where(steps > 0, kept, 0.0), np.asarray(steps))
    while more[-1][..., -1].max() >= NEGLIGIBLE:
        numbers = np.arange(1.0, AT_ONCE + 1) + AT_ONCE * (len(more) - 1)
        more.append(np.clip(next(others) + _all_planned(lives, kept, minutes, numbers), 0.0, 1.0))
    at_least = np.minimum.accumulate(np.concatenate(more, axis=-1), axis=-1)
    at_least[minutes <= 0] = 0.0
    at_least = at_least[..., : int((at_least.max(axis=(0, 1)) < NEGLIGIBLE).argmax()) + 1]
    chances = np.empty_like(at_least)
    chances[..., 0] = lives.first_lasts(minutes)
    chances[..., 1:] = at_least[..., :-1] - at_least[..., 1:]
    return chances


def _life_after_life(failed: Array, ends: Array, kept: Array, hops: Array) -> Iterator[Array]:
    """Chances that the first edge and n new ones, not all of these changed on time, come off, for n in blocks from 1.

    A convolution is a product of spectra, and one number of it a sum over them, so no spectrum is ever turned back.
    What runs out of the end of a spectrum's grid comes in again at its start; every point is therefore made to fade
    against the one before, and what has gone round once has faded to nothing.

    Parameters
    ----------
    failed : chance that a new edge has failed by each point of the grid, rows x points
    ends : chances that the first edge comes off, by the points then left, rows x days x points
    kept, hops : chance that a new edge lasts to its planned change, and the points that this takes; 0 for never
    """
    size = failed.shape[1]
    length = _fast_length(2 * (size - 2))
    fading = FADED ** (np.arange(size) / length)
    cells = np.diff(failed, axis=1, prepend=0.0, append=failed[:, -1:])
    life = np.fft.rfft((cells[:, :-1] + cells[:, 1:]) / 2 * fading, length)
    turn = np.exp((np.log(FADED) - 2j * np.pi * np.arange(life.shape[1])) * (hops[:, None] / length))
    planned = kept[:, None] * turn
    both = life + planned
    share = np.fft.rfft(failed * fading, length) * 2 / length
    share[:, [0, -1]] /= 2
    left = np.conj(np.fft.rfft(ends / fading, length)) * share[:, None, :]
    alone = left * planned[:, None, :]
    powers, mixed = _powers(both, planned)
    while True:
        yield _summed(left, powers[:-1]) + (_summed(alone, mixed[:-1]) if kept.any() else 0.0)
        left = left * powers[-1][:, None, :] + alone * mixed[-1][:, None, :]
        alone = alone * (planned**AT_ONCE)[:, None, :]
        # Far from zero a spectrum has soon died away, and what is no more need not be carried on.
        alive = np.maximum(np.abs(left), np.abs(alone)).max(axis=(0, 1)) > GONE / length
        if 2 * np.count_nonzero(alive) < alive.size:
            left, alone, both, planned = (np.compress(alive, part, axis=-1) for part in (left, alone, both, planned))
            powers, mixed = _powers(both, planned)


def _powers(both: Numbers, planned: Numbers) -> tuple[Numbers, Numbers]:
    """Spectra of 0, 1, 2 .. lives in a row, and of those one less beside an edge that failed among them."""
    powers, mixed = np.empty((2, AT_ONCE + 1, *both.shape), dtype=np.complex128)
    powers[0], mixed[0], on_time = 1.0, 0.0, np.ones_like(planned)
    for number in range(AT_ONCE):
        np.multiply(powers[number], both, out=powers[number + 1])
        np.multiply(mixed[number], both, out=mixed[number + 1])
        mixed[number + 1] += on_time
        on_time = on_time * planned
    return powers, mixed


def _summed(left: Numbers, right: Numbers) -> Array:
    """Real part of the sums over the last axis: rows x days x points with numbers x rows x points."""
    # As pairs of real numbers, since the imaginary part is not wanted.
    pairs = np.conj(left).view(np.float64)
    found: Array = pairs @ right.view(np.float64).transpose(1, 2, 0)
    return found


def _fast_length(least: int) -> int:
    """The next length that spectra are quick to take of; an even one."""
    power = 1 << (max(least, 16).bit_length() - 1)
    return next(power * eighths // 8 for eighths in (8, 9, 10, 12, 15, 16) if power * eighths // 8 >= least)


def _first_edge_weights(lives: Lives, minutes: Array, h: Array, size: int) -> Array:
    """Turn the law of the part-used first edge into weights on the grid, one row of weights per day."""
    start = h[:, None, None] * np.arange(size)
    left = minutes[:, :, None] - start
    gone = np.where(left > 0, lives.failed_first(np.maximum(left, 0.0)), 0.0)
    share = np.zeros_like(gone)
    share[..., :-1] = gone[..., :-1] - gone[..., 1:]
    last = (left > 0).sum(axis=-1) - 1
    part = np.clip(np.take_along_axis(left, np.maximum(last, 0)[..., None], -1)[..., 0] / h[:, None], 0.0, 1.0)
    upper = np.full_like(share, 0.5)
    np.put_along_axis(upper, np.maximum(last, 0)[..., None], part[..., None] / 2, -1)
    weights: Array = share * (1 - upper)
    weights[..., 1:] += (share * upper)[..., :-1]
    planned = lives.first_planned()
    after = (minutes - np.where(planned > 0, lives.first_room(), 0.0)[:, None]) / h[:, None]
    cell = np.clip(np.floor(after), 0, size - 2).astype(np.int64)
    inside = np.clip(after - cell, 0.0, 1.0)
    mass = np.where(after >= 0, planned[:, None], 0.0)
    row, day = np.indices(cell.shape)
    weights[row, day, cell] += mass * (1 - inside)
    weights[row, day, cell + 1] += mass * inside
    return weights


def _all_planned(lives: Lives, kept: Array, minutes: Array, numbers: Array) -> Array:
    """Chance that the first edge and so many more, all of these changed on time, come off within the minutes."""
    if not kept.any() and numbers[0]:
        return np.zeros((*minutes.shape, numbers.size))
    whole = kept[:, None] ** numbers
    spent = np.where(whole > 0, np.where(np.isfinite(lives.change_at), lives.change_at, 0.0)[:, None] * numbers, 0.0)
    left = minutes[..., None] - spent[:, None]
    failed = np.where(left > 0, lives.failed_first(np.maximum(left, 0.0)), 0.0)
    planned = lives.first_planned()
    room = np.where(planned > 0, lives.first_room(), 0.0)
    on_time = left - room[:, None, None] >= -1e-9 * np.maximum(minutes, 1.0)[..., None]
    return np.asarray(whole[:, None] * (failed + np.where(on_time, planned[:, None, None], 0.0)))


def _normal_chances(lives: Lives, minutes: Array) -> Array:
    """Use the renewal theorem's normal law, right for counts in the hundreds."""
    mu, second = mean_life(lives), second_moment(lives)
    first = lives.first_mean()
    # With next to no spread in the lives the count still cannot be split finer than one change.
    spread = np.sqrt(np.maximum((second - mu**2) / mu**3, 0.0)[:, None] * minutes + 1 / 12)
    centre = np.maximum((minutes - first[:, None]) / mu[:, None] + (second / (2 * mu**2))[:, None], 0.0)
    centre[minutes <= 0] = 0.0
    spread[minutes <= 0] = 1e-6
    top = int(np.ceil((centre + 8 * spread).max())) + 1
    below = _normal_below((np.arange(top + 1) + 0.5 - centre[..., None]) / spread[..., None])
    below[..., -1] = 1.0
    chances: Array = np.diff(below, axis=-1, prepend=0.0)
    return chances


def _normal_below(deviations: Array) -> Array:
    """Chance that a normal number lies below so many standard deviations."""
    below = np.where(deviations > 0, 1.0, 0.0)
    # Beyond nine a double cannot tell the chance from none, and most points of a long row lie there.
    near = np.abs(deviations) < 9.0
    below[near] = [math.erfc(-number) / 2 for number in (deviations[near] / math.sqrt(2)).tolist()]
    return below
