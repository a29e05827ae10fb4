"""Whether one delivered lot of a design lasts less than the others, said with the doubt that few edges leave.

A lot may have a factor on life of its own. Under the group's law with shape beta a factor f on life multiplies every
summed chance by f^-beta, so the ends of a lot, over the summed chances of its edges, tell that multiplier as counts
tell a rate. A gamma belief about it, of mean 1, says how much lots of one maker are taken to differ before any of
their edges has ended; a lot of few edges stays near 1 by it.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, gammaincinv

from calc.errors import WorkingError
from calc.life.checks import Floats, Numbers, above_zero, not_below_zero

Ints = npt.NDArray[np.intp]

# Between lots, on the logarithm of life: one lot in three differs by more than a fifth. Common practice, no source.
LOT_SPREAD = 0.2


class Lots(NamedTuple):
    """Per lot: edges and ends, factor on life with its 80 % range, and the chance that it is worse than the rest."""

    edges: Floats
    ended: Floats
    factor: Floats
    low: Floats
    high: Floats
    worse: Floats


def compare_lots(
    lot: Numbers, ended: Numbers, summed_chance: Numbers, shape: float, spread: float = LOT_SPREAD
) -> Lots:
    """Compare the lives of the lots of one design, relative to all of them together.

    Parameters
    ----------
    lot : number of the lot of each edge, 0, 1, 2 ..., shape (edges,)
    ended : d, whether the edge ended by itself, shape (edges,)
    summed_chance : L = -ln S where the edge stands, by the group's law, shape (edges,)
    shape : beta of the group, dimensionless
    spread : standard deviation of ln life between lots, as believed before any edge

    Returns
    -------
    Lots, shape (lots,) each: edges, ended, factor on life (1: as all lots together) at 50, 10 and 90 %, and the chance
    that its lives are shorter than those of the other lots

    Raises
    ------
    WorkingError : when shapes disagree, a lot is not numbered, or a number is out of its bounds

    >>> lots = compare_lots([0] * 12 + [1] * 6, [True] * 18, [0.9] * 12 + [0.15] * 6, 3.0)
    >>> lots.factor.round(2).tolist(), bool(lots.worse[1] > 0.95)
    ([1.08, 0.78], True)

    Source: [gamma-poisson (m)]; the spread between lots is [common-practice].
    """
    numbers = np.atleast_1d(np.asarray(lot, dtype=np.intp))
    done = np.atleast_1d(np.asarray(ended, dtype=np.float64))
    chance = np.atleast_1d(not_below_zero("summed_chance", summed_chance))
    if not numbers.shape == done.shape == chance.shape:
        raise WorkingError("ended", "Give one lot, one ended mark and one summed chance for each edge.")
    if not numbers.size or numbers.min() < 0:
        raise WorkingError("lot", "Give at least one edge, and number the lots 0, 1, 2 ….")
    beta = float(above_zero("shape", shape))
    sure = 1 / (beta * float(above_zero("spread", spread))) ** 2
    edges, ends, owed = (
        np.asarray(np.bincount(numbers, weights), dtype=np.float64) for weights in (None, done, chance)
    )
    # Beside each other, whatever the law says of them all: the starting value in it may be off.
    owed = owed * (ends.sum() + sure) / (owed.sum() + sure)
    counts, weights = sure + ends, sure + owed
    others, weights_of_others = sure + ends.sum() - ends, sure + owed.sum() - owed
    low, middle, high = (
        np.exp(-np.log(np.maximum(gammaincinv(counts, level) / weights, 1e-12)) / beta) for level in (0.9, 0.5, 0.1)
    )
    # Of two gamma variables with rates w and v, the first is the larger with chance 1 - I(w / (w + v)).
    worse = 1 - betainc(counts, others, weights / (weights + weights_of_others))
    return Lots(edges, ends, middle, low, high, worse)


def lots_that_differ(lots: Lots, least: float = 0.95) -> Ints:
    """Places of the lots that are worse than the rest with at least this chance, allowing for how many were compared.

    Parameters
    ----------
    lots : answer of `compare_lots`
    least : chance asked for were there one lot alone, 0 < least < 1

    Returns
    -------
    places, ascending

    Raises
    ------
    WorkingError : when the chance is not one

    >>> lots_that_differ(compare_lots([0] * 12 + [1] * 6, [True] * 18, [0.9] * 12 + [0.15] * 6, 3.0)).tolist()
    [1]

    Source: [bonferroni (m)].
    """
    if not 0 < least < 1:
        raise WorkingError("least", "The chance must lie between 0 and 1, both ends left out.")
    return np.flatnonzero(lots.worse >= 1 - (1 - least) / max(lots.worse.size, 1))
