"""A shop whose laws nobody in it knows: what is true of its edges, and what the shop is told to begin with.

Lives follow four laws, of which only the first is of the family that is fitted: Weibull; lognormal; Weibull with a
gamma frailty from edge to edge; Weibull after a time in which no edge ends. Taylor's exponents are drawn, and lives
bend away from his straight line. Sudden breakage goes on beside the wear in half of the groups. Starting values are
wrong in common for a material group and a family, and for each group besides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

DUTIES = 3
ISO_GROUPS, FAMILIES, DESIGNS = 3, 5, 16
WEIBULL, LOGNORMAL, FRAIL, SAFE = range(4)
EXPONENTS = np.array([3.5, 1.0, 0.3])
DRAWN_LIVES = 20_000


@dataclass(frozen=True, slots=True)
class Told:
    """What the shop is told of each group before its first edge: means and spreads of (b, ln shape), and its relatives.

    `family` is that of each group, `iso` the material group of each family.
    """

    mean: Floats
    spread: Floats
    breaks: Floats
    break_minutes: Floats
    family: Whole
    iso: Whole
    duty: Floats
    minutes_per_part: Floats
    planned: Floats
    failure: Floats

    @property
    def groups(self) -> int:
        return len(self.mean)


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of each group; exposure is counted in lives, `scale` are the minutes of one at each duty."""

    law: Whole
    shape: Floats
    looseness: Floats
    scale: Floats
    breakage: Floats
    pace: Floats

    def draw(self, rng: np.random.Generator, group: Whole) -> tuple[Floats, Floats]:
        """Exposure at which an edge of each group is worn, and minutes after which it would break."""
        law, shape = self.law[group], self.shape[group]
        worn = rng.weibull(np.where(law == LOGNORMAL, 1.0, shape))
        bell = np.exp((rng.standard_normal(group.size) - 0.34) * 1.2 / shape)
        loose = self.looseness[group]
        frailty = rng.gamma(1 / loose**2, loose**2)
        life = np.select([law == LOGNORMAL, law == FRAIL, law == SAFE], [bell, worn * frailty, 0.3 + 0.7 * worn], worn)
        rate = self.breakage[group]
        broken = rng.exponential(1.0, group.size) / np.where(rate > 0, rate, 1e-12)
        return np.maximum(life, 1e-3), broken


def shops(seed: int, count: int) -> tuple[Told, Truth]:
    """So many shops of some two dozen groups each, side by side; shops share no relatives."""
    rng = np.random.default_rng(seed)
    made = [_groups(rng, shop) for shop in range(count)]
    iso, family = (np.concatenate(part) for part in zip(*made, strict=True))
    first, family = np.unique(family, return_index=True, return_inverse=True)[1:]
    groups = iso.size
    mean, spread = _starting_values(rng, groups)
    duty = np.ones((groups, DUTIES, 4))
    duty[:, :, 1:] = rng.normal(0, [0.15, 0.2, 0.3], (groups, DUTIES, 3))
    scale = _true_scale(rng, mean, duty, iso, family)
    typical = np.exp(mean[:, 0])
    minutes_per_part = typical[:, None] / rng.uniform(6, 30, groups)[:, None] * rng.uniform(0.7, 1.4, (groups, DUTIES))
    planned = rng.uniform(4, 20, groups)
    told = Told(
        mean, spread, np.full(groups, 0.5), np.full(groups, 500.0), family, iso[first], duty, minutes_per_part, planned,
        planned * np.exp(rng.uniform(np.log(1.3), np.log(20), groups)),
    )  # fmt: skip
    breaking = rng.random(groups) < 0.5
    law = rng.choice(4, groups, p=[0.4, 0.2, 0.2, 0.2]).astype(np.int64)
    shape = np.exp(rng.normal(np.log(2.8), 0.3, groups)) * np.where(law == FRAIL, 1.5, 1.0)
    truth = Truth(
        law, shape, rng.uniform(0.2, 0.45, groups), scale, breaking * rng.uniform(0.02, 0.2, groups) / typical,
        typical * np.exp(rng.uniform(np.log(0.1), np.log(2.5), groups)),
    )  # fmt: skip
    return told, truth


def _groups(rng: np.random.Generator, shop: int) -> tuple[Whole, Whole]:
    """Material group and family of each group of one shop: every design cuts in one or two materials."""
    family_of = np.concatenate((np.arange(FAMILIES), rng.integers(0, FAMILIES, DESIGNS - FAMILIES)))
    pairs = []
    for family in family_of:
        for iso in rng.choice(ISO_GROUPS, rng.integers(1, 3), replace=False):
            # Families come in two kinds of cut, and a material group is told apart by kind of cut as well.
            pairs.append((2 * (shop * ISO_GROUPS + iso) + family % 2, (shop * FAMILIES + family) * ISO_GROUPS + iso))
    iso, relatives = np.array(pairs, dtype=np.int64).T
    return np.unique(iso, return_inverse=True)[1] + shop * 2 * ISO_GROUPS, relatives


def _starting_values(rng: np.random.Generator, groups: int) -> tuple[Floats, Floats]:
    wide = rng.random(groups) < 0.5
    mean = np.column_stack([rng.uniform(np.log(20), np.log(120), groups), np.tile(-EXPONENTS, (groups, 1))])
    spread = np.column_stack(
        [np.where(wide, 0.6, 0.5), np.tile(np.where(wide, 0.5, 0.4)[:, None], (1, 3)), np.full(groups, 0.35)]
    )
    return np.column_stack([mean, np.full(groups, np.log(2.8))]), spread


def _true_scale(rng: np.random.Generator, mean: Floats, duty: Floats, iso: Whole, family: Whole) -> Floats:
    """Minutes of one life at each duty: off by a common error of the material group and the family, and their own."""
    off = (
        0.3 * rng.standard_normal(int(iso.max()) + 1)[iso]
        + 0.25 * rng.standard_normal(int(family.max()) + 1)[family]
        + 0.3 * rng.standard_t(5, iso.size)
    )
    exponents = EXPONENTS + rng.normal(0, [0.4, 0.3, 0.15], (iso.size, 3))
    bent = rng.uniform(0, 2, iso.size)[:, None] * duty[:, :, 1] ** 2
    straight = np.einsum("gdx,gx->gd", duty[:, :, 1:], exponents)
    return np.asarray(np.exp((mean[:, 0] + off)[:, None] - straight - bent))


def lives_drawn(truth: Truth, group: int, duty: int, rng: np.random.Generator) -> Floats:
    """Minutes that fresh edges of one group last at one duty, whatever ends them."""
    worn, broken = truth.draw(rng, np.full(DRAWN_LIVES, group))
    return np.asarray(np.minimum(worn * truth.scale[group, duty], broken))


def known_laws(told: Told, truth: Truth, seed: int) -> tuple[Floats, Floats]:
    """For one who knows the laws: minutes to the change that makes good parts cheapest, and the 80 % range of lives.

    Shapes (groups, duties) and (groups, duties, 3); infinite where an edge is best run to its end.
    """
    rng = np.random.default_rng(seed)
    change = np.empty(truth.scale.shape)
    middle = np.empty((*truth.scale.shape, 3))
    for group, duty in np.ndindex(*truth.scale.shape):
        found = lives_drawn(truth, group, duty, rng)
        middle[group, duty] = np.percentile(found, (10, 50, 90))
        each = told.minutes_per_part[group, duty]
        whole = np.bincount((found // each).astype(np.int64))
        lasting = 1 - np.cumsum(whole)[:-1] / found.size  # chance of at least 1, 2, .. whole parts
        if not lasting.size:
            change[group, duty] = np.inf
            continue
        cost = told.planned[group] * lasting + told.failure[group] * (1 - lasting)
        per_part = cost / np.cumsum(lasting)
        to_end = told.failure[group] / lasting.sum()
        best = int(np.argmin(per_part))
        change[group, duty] = np.inf if per_part[best] >= to_end else (best + 1) * each
    return change, middle
