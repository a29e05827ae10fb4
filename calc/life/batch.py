"""Whole parts out of an edge, the chance of finishing a batch on it, and the edges to lay ready.

An edge is changed between parts, never inside one. A part in which the edge ends does not count and is cut again with
the next edge. Whole parts are therefore taken inside the probability: N parts are had when n * tau minutes are lasted.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, numbers, share
from calc.life.predictive import Belief, remaining
from calc.life.survival import chance_of_lasting, remaining_minutes
from calc.registry import plain

MOST_PARTS = 20_000
MOST_EDGES = 2**12
CELLS_AT_ONCE = 200_000
HARDLY_EVER = "An edge would hardly ever finish a part; check the minutes per part."
# Floating point must not turn 6 x 2.1 min out of 12.6 into five parts.
WHOLE = 1e-9


def whole_parts(minutes: Numbers, minutes_per_part: Numbers) -> Floats:
    """Whole parts that fit into the minutes.

    Parameters
    ----------
    minutes : minutes in cut, any shape
    minutes_per_part : tau, minutes in cut per part, a shape that broadcasts

    Returns
    -------
    parts, whole numbers

    Raises
    ------
    WorkingError : when minutes are below zero or minutes per part are not above zero

    >>> whole_parts([12.6, 12.5, 1.0], 2.1).tolist()
    [6.0, 5.0, 0.0]

    Source: derived, an edge is changed between parts.
    """
    return np.floor(not_below_zero("minutes", minutes) / above_zero("minutes_per_part", minutes_per_part) + WHOLE)


def parts_left(
    used: Numbers,
    minutes_per_part: Numbers,
    shape: Numbers,
    scale: Numbers,
    breakage: Numbers = 0.0,
    percent: Numbers = (10, 50, 90),
) -> Floats:
    """Percentiles of the whole parts left; 10 is the count that nine in ten edges reach.

    Parameters
    ----------
    used : equivalent minutes already cut at this duty, shape (...)
    minutes_per_part : tau, minutes, shape (...)
    shape, scale, breakage : the law, as in `survival`
    percent : percentiles wanted, shape (k,)

    Returns
    -------
    whole parts, shape (..., k): the largest n with P(n * tau minutes are lasted) at least 1 - percent / 100

    Raises
    ------
    WorkingError : when minutes per part are not above zero or the law is not one

    >>> parts_left(0, 6, 3, 60).tolist()
    [4.0, 8.0, 13.0]

    Source: derived; the count rises with the minutes, so its percentile is the floor of theirs.
    """
    each = above_zero("minutes_per_part", minutes_per_part)
    return whole_parts(remaining_minutes(used, shape, scale, breakage, percent), np.asarray(each)[..., None])


def believed_parts_left(
    used: Numbers, minutes_per_part: Numbers, believed: Belief, counted: Numbers = 0.0, percent: Numbers = (10, 50, 90)
) -> Floats:
    """Percentiles of the whole parts left, with the uncertainty of the law in them.

    Parameters
    ----------
    used : equivalent minutes already cut at the present duty, shape (edges,)
    minutes_per_part : tau, minutes, shape (edges,)
    believed : what is believed about each edge's law
    counted : how many of the used minutes the fit already knew of, shape (edges,)
    percent : percentiles wanted, shape (k,)

    Returns
    -------
    whole parts, shape (edges, k)

    Raises
    ------
    WorkingError : when minutes per part are not above zero

    >>> from calc.life.predictive import belief
    >>> believed_parts_left(0, 6, belief(np.log(60), np.log(3))).tolist()
    [[4.0, 8.0, 13.0]]

    Source: as `parts_left`, over `remaining`.
    """
    each = np.atleast_1d(above_zero("minutes_per_part", minutes_per_part))
    return whole_parts(remaining(used, believed, counted, percent), each[:, None])


def chance_of_batch(
    used: Numbers, parts: Numbers, minutes_per_part: Numbers, shape: Numbers, scale: Numbers, breakage: Numbers = 0.0
) -> Floats:
    """Chance that the edge lasts all the parts still to make.

    Parameters
    ----------
    used : equivalent minutes already cut at this duty
    parts : parts still to make
    minutes_per_part : tau, minutes
    shape, scale, breakage : the law, as in `survival`

    Returns
    -------
    chance, in the shape that the arguments broadcast to

    Raises
    ------
    WorkingError : when parts are below zero or minutes per part are not above zero

    >>> chance_of_batch(45, 2, 6, 3, 60).round(6).tolist()
    0.646941

    Source: [nist-ehandbook], conditional reliability.
    """
    ahead = not_below_zero("parts", parts) * above_zero("minutes_per_part", minutes_per_part)
    return chance_of_lasting(ahead, used, shape, scale, breakage)


def edges_to_stage(
    used: Numbers,
    parts: Numbers,
    minutes_per_part: Numbers,
    shape: Numbers,
    scale: Numbers,
    breakage: Numbers = 0.0,
    change_at_parts: int | None = None,
    confidence: float = 0.95,
    first_lasts: Numbers | None = None,
) -> tuple[Any, Any]:
    """Fresh edges that finish a batch beside the one in use: their mean, and how many to lay ready.

    Parameters
    ----------
    used : equivalent minutes that the edge in use has cut at this duty, shape (...) of no axis or one
    parts : parts still to make, at most 20,000, a shape that broadcasts, as of all that follow
    minutes_per_part : tau, minutes in cut per part
    shape, scale, breakage : the law, as in `survival`
    change_at_parts : whole parts after which a fresh edge is changed; run to the end when left out
    confidence : chance with which the edges laid ready must do
    first_lasts : chances that the edge in use makes at least 1, 2 .. `parts` parts, shape (..., parts), where more is
        known of it than its minutes (wear readings); by the law when left out

    Returns
    -------
    mean number of fresh edges needed; smallest number that does with the confidence asked: plain numbers or arrays

    Raises
    ------
    WorkingError : when the batch is too large, or an edge hardly ever finishes a part

    >>> mean, ready = edges_to_stage(45, 40, 6, 3, 60)
    >>> round(mean, 2), ready
    (4.93, 6)

    Source: renewal count on whole parts [cox-renewal (m)], by FFT convolution.
    """
    steps, sure = _part_minutes(parts, minutes_per_part), float(share("confidence", confidence))
    law = tuple(np.asarray(number, dtype=np.float64)[..., None] for number in (shape, scale, breakage))
    before = not_below_zero("used", used)[..., None]
    first = chance_of_lasting(steps, before, *law) if first_lasts is None else numbers("first_lasts", first_lasts)
    gone = whole_parts(np.minimum(before, steps[..., -1:]), above_zero("minutes_per_part", minutes_per_part)[..., None])
    wanted = np.asarray(parts, dtype=np.float64)[..., None]
    alike = np.broadcast_arrays(first, chance_of_lasting(steps, 0.0, *law), gone, wanted)
    points, batch = alike[0].shape[:-1], alike[0].shape[-1]
    rows = [part.reshape(-1, batch)[:, None] for part in alike]
    pieces = -(-rows[0].size // CELLS_AT_ONCE)
    found = [
        _renewals(own, new, np.ones(1), behind[..., :1], asked[..., :1], change_at_parts, sure)
        for own, new, behind, asked in zip(*(np.array_split(part, pieces) for part in rows), strict=True)
    ]
    mean, staged = (np.concatenate(part).reshape(points)[()] for part in zip(*found, strict=True))
    return plain(mean), plain(staged)


def _part_minutes(parts: Numbers, minutes_per_part: Numbers) -> Floats:
    """Minutes that 1, 2, 3 .. of the most parts asked for take, shape (..., parts)."""
    count = numbers("batch", parts)
    if np.any((count < 1) | (count > MOST_PARTS)):
        raise WorkingError("batch", f"The batch must be from 1 to {MOST_PARTS:,} parts; split a larger one.")
    each = above_zero("minutes_per_part", minutes_per_part)
    return np.asarray(np.arange(1, int(count.max()) + 1, dtype=np.float64) * each[..., None])


def _renewals(
    first: Floats, fresh: Floats, weight: Floats, gone: Floats, wanted: Floats, change_at: int | None, confidence: float
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Count renewals; `first` and `fresh` hold P(at least n parts), n = 1 .. batch, per question and node.

    Of each question only the first parts up to those `wanted` count.
    """
    numbered = np.arange(1, fresh.shape[-1] + 1)
    if change_at is not None:
        above_zero("change_at_parts", change_at)
        fresh = np.where(numbered > change_at, 0.0, fresh)
        first = np.where(numbered > np.maximum(change_at - gone, 0), 0.0, first)
    return _counted(_chances(first), _chances(fresh), weight, np.asarray(numbered <= wanted), confidence)


def _counted(
    made: Floats, each: Floats, weight: Floats, asked: npt.NDArray[np.bool_], confidence: float
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Mean and smallest sure number of fresh edges, from P(exactly n parts) of those in use and of a fresh one."""
    if np.any(each[..., 0] > 1 - 1 / MOST_EDGES):
        raise WorkingError("minutes_per_part", HARDLY_EVER)

    def total(series: Floats) -> Floats:
        return np.asarray((series * asked).sum(axis=-1) @ weight)

    mean = total(_product(made, _inverse_of_one_less(each)))
    enough = total(made) <= 1 - confidence
    return mean, np.where(enough, 0, 1 if enough.all() else _smallest(made, each, total, 1 - confidence))


def _chances(at_least: Floats) -> Floats:
    """P(exactly n parts) for n = 0 .. batch - 1, from P(at least n)."""
    one = np.ones((*at_least.shape[:-1], 1))
    return np.concatenate((one, at_least[..., :-1]), axis=-1) - at_least


def _smallest(made: Floats, each: Floats, total: Callable[[Floats], Floats], risk: float) -> npt.NDArray[np.int64]:
    """Smallest k with P(first edge and k fresh ones stay short of the batch) within the risk, by doubling."""
    powers = [each]
    while np.any(total(_product(made, powers[-1])) > risk) and 2 ** len(powers) < MOST_EDGES:
        powers.append(_product(powers[-1], powers[-1]))
    count = np.zeros(made.shape[0], dtype=np.int64)
    for step in range(len(powers) - 1, -1, -1):
        further = _product(made, powers[step])
        short = total(further) > risk
        made = np.where(short[:, None, None], further, made)
        count += short * 2**step
    return count + 1


def _product(left: Floats, right: Floats) -> Floats:
    """Product of two power series per row, cut off at the batch."""
    size = left.shape[-1]
    length = 1 << (2 * size - 1).bit_length()
    joined = np.fft.irfft(np.fft.rfft(left, length) * np.fft.rfft(right, length), length)
    return np.asarray(np.maximum(joined[..., :size], 0.0), dtype=np.float64)


def _inverse_of_one_less(series: Floats) -> Floats:
    """Power series of 1 / (1 - series) per row, by Newton's doubling: the renewal mass function."""
    size = series.shape[-1]
    answer: Floats = 1 / (1 - series[..., :1])
    while answer.shape[-1] < size:
        width = min(2 * answer.shape[-1], size)
        padded = np.concatenate((answer, np.zeros((*answer.shape[:-1], width - answer.shape[-1]))), axis=-1)
        # b <- b (2 - (1 - s) b) = b + b (1 - (1 - s) b): the correction keeps its sign, so it is not clipped.
        length = 1 << (2 * width - 1).bit_length()
        other = -series[..., :width]
        other = np.concatenate((1 + other[..., :1], other[..., 1:]), axis=-1)
        spectrum = np.fft.rfft(padded, length)
        error = -np.fft.irfft(np.fft.rfft(other, length) * spectrum, length)[..., :width]
        error[..., 0] += 1.0
        answer = padded + np.fft.irfft(np.fft.rfft(error, length) * spectrum, length)[..., :width]
    return np.asarray(answer, dtype=np.float64)
