"""Taylor's n and C as the shop's own edges have shown them, where they have shown enough."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from crib.catalogue.models import WorkMaterial
from crib.life.laws import NAMES, Floats, law_of, starting_covariance
from crib.life.models import LifeModel

# The rule stands in docs/decisions/when-fitted-taylor-values-count.md.
FEWEST_ENDED = 8
LEAST_TOLD = 1.0
LOWEST_N, HIGHEST_N = 0.02, 0.99
HIGHEST_C = 20_000.0
# Nine in ten: 1.6449 standard deviations either way.
NINE_IN_TEN = 1.6449
SPEED = NAMES.index("speed")


@dataclass(frozen=True, slots=True)
class FittedTaylor:
    """vc · T^n = C of one design in one material at one kind of cut, at the feed and depth of reference.

    `c` is the speed in m/min at which an edge typically lasts one minute; feed and depth are in mm.
    """

    n: float
    n_low: float
    n_high: float
    c: float
    feed: float | None
    depth: float | None
    ended: int
    tool: str
    kind_of_cut: str

    @property
    def source(self) -> str:
        """Where it comes from, as a calculator says it."""
        at = [f"{what} {value:g} mm" for what, value in (("feed", self.feed), ("depth", self.depth)) if value]
        duty = f" at {' and '.join(at)}" if at else ""
        return (
            f"fitted to {self.ended} ended edges of {self.tool}, {self.kind_of_cut}{duty}; "
            f"n is {self.n_low:.2f} to {self.n_high:.2f} nine times in ten"
        )


def fitted_taylor(*, material: WorkMaterial, tool: str | None = None, item: int | None = None) -> FittedTaylor | None:
    """The fit of the tool's code or the item's design in this material, else the one with most ended edges; one query.

    None while too few edges have ended, or while their speeds were too alike to tell how speed shortens their life.
    """
    models = LifeModel.objects.filter(material=material, standing=LifeModel.Standing.FITTED, reground=False)
    if tool:
        models = models.filter(design__code__iexact=tool.strip())
    elif item is not None:
        models = models.filter(design__items=item)
    found = [fit for model in models.select_related("design", "prior").order_by("pk") if (fit := taylor_of(model))]
    return max(found, key=lambda fit: fit.ended, default=None)


def taylor_of(model: LifeModel) -> FittedTaylor | None:
    """What a group's fit says of n and C, or None when it has not enough to say."""
    law, ended = law_of(model), model.ended + model.broken
    speed, slope = law.reference.get("surface_speed"), float(law.mean[SPEED])
    if ended < FEWEST_ENDED or model.standing != LifeModel.Standing.FITTED or not speed or slope >= 0:
        return None
    before = _before_own_edges(model)
    if told_of_speed(law.covariance, before) * before[SPEED, SPEED] < LEAST_TOLD:
        return None
    exponent, spread = -slope, math.sqrt(max(float(law.covariance[SPEED, SPEED]), 0.0))
    n, log_c = 1 / exponent, math.log(speed) + float(law.mean[0]) / exponent
    if not (LOWEST_N <= n <= HIGHEST_N and log_c <= math.log(HIGHEST_C)):
        return None
    least = exponent - NINE_IN_TEN * spread
    return FittedTaylor(
        n=n,
        n_low=1 / (exponent + NINE_IN_TEN * spread),
        n_high=min(1 / least, 1.0) if least > 0 else 1.0,
        c=math.exp(log_c),
        feed=law.reference.get("feed"),
        depth=law.reference.get("depth"),
        ended=ended,
        tool=model.design.code,
        kind_of_cut=model.get_kind_of_cut_display().lower(),
    )


def _before_own_edges(model: LifeModel) -> Floats:
    """What starting value and relatives left open: what they said of speed is not the edges' own."""
    kept = model.parameters.get("pooled", {}).get("before")
    return np.array(kept["covariance"]) if kept else starting_covariance(model.prior)


def told_of_speed(after: Floats, before: Floats) -> float:
    """What the edges alone tell of the exponent of speed, as 1 / variance, everything else being left open to them.

    The fit's information less the starting value's is the edges' own. Of it, what could as well be said of the
    scale, feed, depth or shape is taken off, so that edges all run at one speed tell nothing, wherever that speed lies.
    """
    own = np.linalg.inv(after) - np.linalg.inv(before)
    rest = [row for row in range(len(after)) if row != SPEED]
    told, ways = np.linalg.eigh(own[np.ix_(rest, rest)])
    clear = told > 1e-6 * max(float(told[-1]), 1e-12)
    shared = np.sum((own[SPEED, rest] @ ways[:, clear]) ** 2 / told[clear])
    return max(float(own[SPEED, SPEED] - shared), 0.0)
