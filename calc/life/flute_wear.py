"""Wear along a flute, where several bands of it have cut: how much each height has done, and the worst of a stretch.

A chamfer mill touches the work along a stretch of its flute, a band. Bands of different work may overlap, and the
heights that both cover have done the work of both. Heights run along the tool's axis from the tip flat upward.
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, not_below_zero

Marks: TypeAlias = npt.NDArray[np.bool_]

DECIMALS = 6  # of heights in mm, so that bands that meet share a break
TOUCH = 2e-6  # mm; two ends each rounded to a millionth may lie over each other by this much and still only touch


@dataclass(frozen=True, slots=True)
class WearProfile:
    """Wear along the flute: `levels[i]` between `breaks[i]` and `breaks[i + 1]` in mm, and none outside."""

    breaks: Floats
    levels: Floats

    @property
    def worn_pieces(self) -> tuple[Floats, Floats, Floats]:
        """Lower ends, upper ends and wear of the pieces that are worn at all."""
        worn = self.levels > 0
        return self.breaks[:-1][worn], self.breaks[1:][worn], self.levels[worn]

    def worst(self, low: Numbers, high: Numbers) -> Floats:
        """The largest wear of the pieces that a stretch in mm meets, of stretches that may reach off the flute too."""
        low, high = np.broadcast_arrays(low, high)
        found = np.zeros(low.shape)
        for start, end, level in zip(*self.worn_pieces, strict=True):  # one by one: many times many would fill memory
            found = np.maximum(found, np.where(_meets(start, end, low, high), level, 0.0))
        return np.asarray(found)


def profile(lows: Numbers, highs: Numbers, amounts: Numbers) -> WearProfile:
    """Add up what was done in each band, height by height.

    Parameters
    ----------
    lows, highs : where each band begins and ends above the tip flat, mm, shape (n,)
    amounts : what was done in it, such as minutes in cut over the life at that duty, shape (n,) or one for all

    Returns
    -------
    the wear over height; without breaks or levels when there are no bands

    Raises
    ------
    WorkingError : when a height or an amount is below zero or not a number, or a band does not end above its beginning

    >>> worn = profile([0.0, 1.0], [2.0, 3.0], [5.0, 4.0])
    >>> worn.breaks.tolist(), worn.levels.tolist()
    ([0.0, 1.0, 2.0, 3.0], [5.0, 9.0, 4.0])

    Source: derived; each band adds its amount where it begins and takes it away where it ends.
    """
    low, high, amount = (
        np.atleast_1d(not_below_zero(name, value))
        for name, value in (("lows", lows), ("highs", highs), ("amounts", amounts))
    )
    low, high, amount = np.broadcast_arrays(low, high, amount)
    if np.any(high <= low):
        raise WorkingError("highs", "Each band must end above where it begins.")
    low, high = np.round(low, DECIMALS), np.round(high, DECIMALS)
    breaks = np.unique(np.concatenate((low, high)))
    steps = np.zeros(breaks.size)
    np.add.at(steps, np.searchsorted(breaks, low), amount)
    np.add.at(steps, np.searchsorted(breaks, high), -amount)
    # What is added and taken away again must leave no hair, or equal wear would not compare as equal.
    levels = np.maximum(np.round(np.cumsum(steps)[:-1], 9), 0.0)
    # A piece this thin is where two bands touch, not where both have cut.
    return WearProfile(breaks, np.where(np.round(np.diff(breaks), DECIMALS) > TOUCH, levels, 0.0))


def worst_within(worn: WearProfile, low: Numbers, high: Numbers) -> Floats:
    """The most that any height of a stretch has done.

    Parameters
    ----------
    worn : the wear along the flute
    low, high : the stretch above the tip flat, mm, any shape; ends that only touch a worn band do not meet it

    Returns
    -------
    the largest level inside, zero where nothing was done, in the shape that the arguments broadcast to

    Raises
    ------
    WorkingError : when a height is below zero or not a number, or a stretch does not end above its beginning

    >>> worst_within(profile([0.0, 1.0], [2.0, 3.0], [5.0, 4.0]), [0.0, 2.0, 3.0], [1.5, 2.5, 4.0]).tolist()
    [9.0, 4.0, 0.0]

    Source: derived; the largest level of the pieces that the stretch meets.
    """
    return worn.worst(*_stretch(low, high))


def over_the_worst(lows: Numbers, highs: Numbers, amounts: Numbers, low: float, high: float) -> Marks:
    """Which bands lie over the height of a stretch that has done most.

    Parameters
    ----------
    lows, highs : where each band begins and ends above the tip flat, mm, shape (n,)
    amounts : what was done in it, shape (n,)
    low, high : the stretch above the tip flat, mm

    Returns
    -------
    true for each band over that height, shape (n,); their amounts add up to `worst_within`, and none is true where the
    stretch meets no band

    Raises
    ------
    WorkingError : as `profile` and `worst_within`

    >>> over_the_worst([0.0, 1.0, 2.0], [1.5, 2.5, 4.0], [5.0, 4.0, 3.0], 0.0, 4.0).tolist()
    [True, True, False]

    Source: derived, as `worst_within`.
    """
    worn = profile(lows, highs, amounts)
    meets = _meets(worn.breaks[:-1], worn.breaks[1:], *_stretch(low, high))
    if not meets.any():
        return np.zeros(np.atleast_1d(lows).shape, dtype=np.bool_)
    piece = int(np.argmax(np.where(meets, worn.levels, -1.0)))
    # Every height of a piece lies under the same bands.
    height = (worn.breaks[piece] + worn.breaks[piece + 1]) / 2
    return np.asarray((np.atleast_1d(lows) < height) & (np.atleast_1d(highs) > height))


def _stretch(low: Numbers, high: Numbers) -> tuple[Floats, Floats]:
    start, end = (np.round(not_below_zero(name, value), DECIMALS) for name, value in (("low", low), ("high", high)))
    if np.any(end <= start):
        raise WorkingError("high", "The stretch must end above where it begins.")
    return start, end


def _meets(start: Numbers, end: Numbers, low: Floats, high: Floats) -> Marks:
    """Whether a piece of the flute and a stretch share more than a touch."""
    return np.asarray((np.asarray(start) < high - TOUCH) & (np.asarray(end) > low + TOUCH))
