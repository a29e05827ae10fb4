"""Wear along a flute, where several bands of it have cut: how much each height has done, and the worst of a stretch.

A chamfer mill touches the work along a stretch of its flute, a band. Bands of different work may overlap, and the
heights that both cover have done the work of both. Heights run along the tool's axis from the tip flat upward.
"""

from typing import NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, not_below_zero

Marks: TypeAlias = npt.NDArray[np.bool_]

# Heights nearer to each other than this, in mm, are one height: bands that only touch must not overlap by rounding.
DECIMALS = 6


class Profile(NamedTuple):
    """Wear along the flute: `levels[i]` between `breaks[i]` and `breaks[i + 1]`, and none outside."""

    breaks: Floats
    levels: Floats


def profile(lows: Numbers, highs: Numbers, amounts: Numbers) -> Profile:
    """Add up what was done in each band, height by height.

    Parameters
    ----------
    lows, highs : where each band begins and ends above the tip flat, mm, shape (n,)
    amounts : what was done in it, such as minutes in cut over the life at that duty, shape (n,) or one for all

    Returns
    -------
    Profile; without breaks or levels when there are no bands

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
    low, high, amount = np.broadcast_arrays(np.round(low, DECIMALS), np.round(high, DECIMALS), amount)
    if np.any(high <= low):
        raise WorkingError("highs", "Each band must end above where it begins.")
    breaks = np.unique(np.concatenate((low, high)))
    steps = np.zeros(breaks.size)
    np.add.at(steps, np.searchsorted(breaks, low), amount)
    np.add.at(steps, np.searchsorted(breaks, high), -amount)
    # What is added and taken away again may leave a hair below zero.
    return Profile(breaks, np.maximum(np.cumsum(steps)[:-1], 0.0))


def worst_within(worn: Profile, low: Numbers, high: Numbers) -> Floats:
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
    meets = _meets(worn, *_stretch(low, high))
    return np.asarray(np.where(meets, worn.levels, 0.0).max(axis=-1, initial=0.0))


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
    meets = _meets(worn, *_stretch(low, high))
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


def _meets(worn: Profile, start: Floats, end: Floats) -> Marks:
    return np.asarray((worn.breaks[:-1] < end[..., None]) & (worn.breaks[1:] > start[..., None]))
