"""The laws that the demo shop's past is drawn from: how long an edge lasts, how it ends, and what its wear land reads.

They are the extended Taylor law for the typical life, a Weibull spread about it, and a constant hazard of sudden
breakage beside it; fixtures/README.md writes them out. Drawn with a fixed seed, so that every demo shop of one day is
the same. They stand here and not in `calc` because they invent data; nothing in the product computes by them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from crib.management.demo.scenario import Law


@dataclass(frozen=True, slots=True)
class Duty:
    """What an operation asks of an edge, as far as the laws look at it."""

    surface_speed: float
    feed: float
    depth: float | None


@dataclass(frozen=True, slots=True)
class Fate:
    """The end that is laid down for an edge when it is put in: minutes to the wear criterion, minutes to a break."""

    minutes_to_worn: float
    minutes_to_break: float


@dataclass(frozen=True, slots=True)
class WearFigures:
    """How the wear land grows: quickly to `break_in`, then straight to `criterion` at the end of the life."""

    criterion: float
    break_in: float
    noise: float


def typical_life(law: Law, duty: Duty, material_factor: float) -> float:
    """Characteristic life in minutes in cut at this duty (63 % of edges are worn by then)."""
    logarithm = math.log(law.life_minutes * material_factor)
    logarithm -= law.speed_exponent * math.log(duty.surface_speed / law.surface_speed)
    logarithm -= law.feed_exponent * math.log(duty.feed / law.feed)
    if duty.depth is not None:
        logarithm -= law.depth_exponent * math.log(duty.depth / law.depth)
    return math.exp(logarithm)


def draw_fate(law: Law, life: float, chance: np.random.Generator) -> Fate:
    """Lay down when the edge would be worn and when it would break; whichever comes first ends it."""
    worn = life * float(chance.weibull(law.shape))
    per_minute = law.breakage_per_1000_minutes / 1000
    return Fate(worn, float(chance.exponential(1 / per_minute)))


def wear_land(minutes: float, fate: Fate, figures: WearFigures, chance: np.random.Generator) -> float:
    """A reading of VB in mm after so many minutes, rounded as a loupe is read."""
    share = min(minutes / fate.minutes_to_worn, 1.15)
    # The first tenth of the life takes the fresh edge to the break-in value.
    grown = figures.break_in * min(share / 0.1, 1) + (figures.criterion - figures.break_in) * share
    return max(0.01, round(grown + float(chance.normal(0, figures.noise)), 2))
