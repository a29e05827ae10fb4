"""A group's law beside the starting value it grew from: life over speed, and what the shop's edges have changed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from calc.life.predictive import remaining
from crib.life.laws import Duty, Law, beliefs, law_after_regrind, law_of, starting_law
from crib.life.models import LifeModel
from crib.life.selectors.curves import LifeCurve, reference_duty, twin_of
from crib.life.selectors.facts import EIGHT_IN_TEN

PLACES = 25
Spread = tuple[float, float]
BEYOND = 1.5


@dataclass(frozen=True, slots=True)
class LifeOverSpeed:
    """At each speed: minutes that half the edges outlast, and between which eight in ten end, at one feed and depth."""

    speeds: list[float]
    half: list[float]
    low: list[float]
    high: list[float]
    start: list[float]
    cut_from: float | None
    cut_to: float | None
    feed: float | None
    depth: float | None


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a law with the range in which it lies eight times in ten."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class SaidAndSeen:
    """One figure as the starting value has it, with what relatives add, and now; what the group's own edges told."""

    name: str
    start: Figure
    relatives: Figure | None
    now: Figure
    told: float


def life_over_speed(*, model: LifeModel, curve: LifeCurve) -> LifeOverSpeed | None:
    """The law and its starting value over speed; None where no speed is known. At most one query."""
    law = law_of(model)
    reference = reference_duty(law)
    cut = [edge.duty.surface_speed for edge in curve.seen if edge.duty.surface_speed]
    if not reference.surface_speed:
        return None
    known = [reference.surface_speed, *cut]
    speeds = np.geomspace(min(known) / BEYOND, max(known) * BEYOND, PLACES)
    duties = [reference._replace(surface_speed=float(speed)) for speed in speeds]
    start = start_of(model, law)
    lives = remaining(np.zeros(2 * PLACES), beliefs([law] * PLACES + [start] * PLACES, duties * 2))
    return LifeOverSpeed(
        speeds=speeds.tolist(),
        half=lives[:PLACES, 1].tolist(),
        low=lives[:PLACES, 0].tolist(),
        high=lives[:PLACES, 2].tolist(),
        start=lives[PLACES:, 1].tolist(),
        cut_from=min(cut, default=None),
        cut_to=max(cut, default=None),
        feed=reference.feed,
        depth=reference.depth,
    )


def said_and_seen(*, model: LifeModel, duty: Duty) -> list[SaidAndSeen]:
    """Typical life at a duty and shape, before and after the shop's edges were heard; at most one query."""
    law = law_of(model)
    start, before = start_of(model, law), _with_relatives(model, law)

    def compared(name: str, figure: Callable[[Law], Spread]) -> SaidAndSeen:
        return _compared(name, figure(start), figure(before) if before else None, figure(law))

    return [
        compared("Typical life, minutes", lambda one: _life(one, duty)),
        compared("Shape (1 is chance, 4 regular wear)", _shape),
    ]


def _with_relatives(model: LifeModel, law: Law) -> Law | None:
    """What starting value and relatives said before the group's own edges were heard, where it has relatives."""
    pooled = model.parameters.get("pooled", {})
    if "before" not in pooled or not pooled["family"]["worn"] + pooled["material_group"]["worn"]:
        return None
    before = pooled["before"]
    return replace(law, mean=np.array(before["mean"]), covariance=np.array(before["covariance"]))


def start_of(model: LifeModel, law: Law) -> Law:
    """The starting value that a group began with; of reground edges, what the new ones of their design say."""
    if model.reground:
        new = twin_of(model=model)
        return law_after_regrind(law_of(new) if new else law)
    priors = [model.prior] if model.prior is not None else []
    return starting_law(
        design=model.design, material=model.material, kind_of_cut=model.kind_of_cut, duty=reference_duty(law),
        priors=priors,
    )  # fmt: skip


def _life(law: Law, duty: Duty) -> Spread:
    """Mean and standard deviation of ln scale."""
    across = np.array(law.covariates(duty))
    return law.log_scale(duty), math.sqrt(max(float(across @ law.covariance[:-1, :-1] @ across), 0.0))


def _shape(law: Law) -> Spread:
    """The same of ln shape."""
    return float(law.mean[-1]), math.sqrt(max(float(law.covariance[-1, -1]), 0.0))


def _compared(name: str, start: Spread, relatives: Spread | None, now: Spread) -> SaidAndSeen:
    before = (relatives or start)[1]
    told = 1 - (now[1] / before) ** 2 if before > 0 else 0.0
    return SaidAndSeen(
        name, _figure(start), _figure(relatives) if relatives else None, _figure(now), min(max(told, 0.0), 1.0)
    )


def _figure(log: Spread) -> Figure:
    middle, spread = log
    low, at, high = (math.exp(min(middle + side * EIGHT_IN_TEN * spread, 40.0)) for side in (-1, 0, 1))
    return Figure(low, at, high)
