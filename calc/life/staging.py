"""Edges to lay ready for the rest of a batch, beside all those in use at its operation.

The edges in use end one after the other, each at its own time; fresh ones follow. A small batch is counted part by
part, as in `calc.life.batch`. Of a large one the parts that many edges make are normal, node by node of the belief.
"""

import numpy as np

from calc.errors import WorkingError
from calc.life.averaged import BEYOND, summed_chance
from calc.life.batch import HARDLY_EVER, MOST_EDGES, _chances, _counted, _product
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero, numbers, share
from calc.life.predictive import Belief

# Batches up to so many parts are counted part by part.
PART_BY_PART = 500
# Where no more edges are needed, no sum of theirs is normal yet.
FEW_EDGES = 8
# So little weight may lie on laws by which an edge hardly ever finishes a part.
HARDLY_ANY = 0.01
# Beyond that, parts are summed singly and then in so many blocks, and counts of edges at so many points.
BLOCKS = 2000


def batch_edges_to_stage(
    used: Numbers,
    ahead: Numbers,
    parts: int,
    minutes_per_part: float,
    believed: Belief,
    change_at_parts: int | None = None,
    confidence: float = 0.95,
) -> tuple[float, int]:
    """Fresh edges that finish a batch beside all the edges in use, each of them changed at its own time.

    Parameters
    ----------
    used : equivalent minutes that each edge in use has cut at this duty, shape (edges,), of no edge too
    ahead : whole parts from now after which each of them is changed, infinite where it runs to its end, shape (edges,)
    parts : parts still to make, any number
    minutes_per_part : tau, minutes in cut per part
    believed : what is believed about this one law; every edge of the batch shares it
    change_at_parts : whole parts after which a fresh edge is changed; run to the end when left out
    confidence : chance with which the edges laid ready must do

    Returns
    -------
    mean number of fresh edges needed; smallest number that does with the confidence asked

    Raises
    ------
    WorkingError : when a number is below zero, or an edge hardly ever finishes a part; where no more than one chance in
    a hundred says that, the mean leaves it out, and the edges laid ready do with the confidence asked all the same

    >>> from calc.life.predictive import belief
    >>> mean, ready = batch_edges_to_stage([45, 0], [2, 6], 40, 6, belief(np.log(60), np.log(3)), 6)
    >>> round(mean, 2), ready
    (6.33, 7)

    Source: renewal count on whole parts [cox-renewal (m)], by FFT convolution; beyond 500 parts by the central limit
    theorem.
    """
    batch = int(above_zero("parts", parts))
    before = np.atleast_1d(not_below_zero("used", used))
    planned = np.broadcast_to(np.asarray(ahead, dtype=np.float64), before.shape)
    not_below_zero("ahead", np.where(np.isinf(planned), 0.0, planned))
    last = np.inf if change_at_parts is None else float(above_zero("change_at_parts", change_at_parts))
    sure = float(share("confidence", confidence))
    each = float(above_zero("minutes_per_part", minutes_per_part))
    own = [*zip(before.tolist(), planned.tolist(), strict=True)]
    believed, sure = _possible(believed, each, sure)
    stride = -(-batch // PART_BY_PART)
    if stride > 1 and batch > FEW_EDGES * float(
        _moments(0.0, min(last, batch), each, believed)[0] @ believed.weight[0]
    ):
        return _by_normal(own, last, batch, each, believed, sure)
    # Few edges make a large batch: several parts then count as one, which is short by half a step an edge.
    own = [(one, limit / stride) for one, limit in own]
    believed, sure = _possible(believed, each * stride, sure)
    return _part_by_part(own, max(last / stride, 1.0), -(-batch // stride), each * stride, believed, sure)


def _possible(believed: Belief, each: float, sure: float) -> tuple[Belief, float]:
    """The nodes by which edges finish parts at all, and how sure these must be: by the others no number does."""
    finish = _at_least(np.ones(1), 0.0, each, believed)[:, 0] >= 1 / MOST_EDGES
    weight = believed.weight[0]
    left = float(weight[finish].sum() / weight.sum())
    if left < max(1 - HARDLY_ANY, sure):
        raise WorkingError("minutes_per_part", HARDLY_EVER)
    weight, scale, shape = (one[None, finish] for one in (weight, believed.scale[0], believed.shape[0]))
    return Belief(weight / weight.sum(), scale, shape, believed.breaks[:1], believed.break_minutes[:1]), sure / left


def _at_least(count: Floats, used: float, each: float, believed: Belief) -> Floats:
    """Chance of at least so many parts, shape (nodes, counts)."""
    law = np.log(believed.scale[0])[:, None], believed.shape[0][:, None]
    wear = summed_chance(used + count * each, *law, BEYOND) - summed_chance(used, *law)
    with np.errstate(under="ignore"):
        return np.asarray(np.exp(-wear - believed.breaks[0] / believed.break_minutes[0] * count * each))


def _part_by_part(
    own: list[tuple[float, float]], last: float, batch: int, each: float, believed: Belief, sure: float
) -> tuple[float, int]:
    numbered = np.arange(1.0, batch + 1)

    def made_by(used: float, limit: float) -> Floats:
        return _chances(np.where(numbered > limit, 0.0, _at_least(numbered, used, each, believed)))

    fresh = made_by(0.0, last)
    made = np.zeros_like(fresh)
    made[:, 0] = 1.0
    for one in own:
        made = _product(made, made_by(*one))
    mean, staged = _counted(made[None], fresh[None], believed.weight[0], np.ones(batch, dtype=bool), sure)
    return float(mean[0]), int(staged[0])


def _by_normal(
    own: list[tuple[float, float]], last: float, batch: int, each: float, believed: Belief, sure: float
) -> tuple[float, int]:
    # Loaded when first asked for: most commands never need it.
    from scipy.special import ndtr

    mean, spread = _moments(0.0, min(last, batch), each, believed)
    sums = [_moments(used, min(limit, batch), each, believed) for used, limit in own]
    begun, unsure = (np.sum([one[part] for one in sums], axis=0) for part in (0, 1))

    def short(count: Numbers) -> Floats:
        """Chance that those in use and so many fresh edges stay short of the batch."""
        edges = numbers("edges", count)[..., None]
        deviation = np.sqrt(np.maximum(unsure + edges * spread, 1e-12))
        return np.asarray(ndtr((batch - 0.5 - begun - edges * mean) / deviation) @ believed.weight[0])

    low, high = -1, 1
    while short(high) > 1 - sure:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if short(middle) > 1 - sure else (low, middle)
    # Hardly a chance is left beyond four times those laid ready; a large number is summed in strides.
    points = np.unique(np.linspace(0, 4 * max(high, 4), BLOCKS + 1).round())
    chances, widths = short(points), np.diff(points)
    return float(chances.sum() + ((chances[1:] + chances[:-1]) / 2 * (widths - 1)).sum()), high


def _moments(used: float, limit: float, each: float, believed: Belief) -> tuple[Floats, Floats]:
    """Mean and variance of the whole parts that an edge makes up to a limit, by node; late ones in blocks."""
    singly = np.arange(min(limit, BLOCKS / 2) + 1)
    edges = np.unique(np.concatenate((singly, np.linspace(singly[-1], max(limit, singly[-1]), BLOCKS // 2).round())))
    width, middle = np.diff(edges), (edges[1:] + edges[:-1] + 1) / 2
    chance = _at_least(middle, used, each, believed) * width
    mean = chance.sum(axis=-1)
    return mean, np.maximum((chance * (2 * middle - 1)).sum(axis=-1) - mean**2, 0.0)
