"""Between the rows of the shop and the arrays of `calc.life`: duties, starting values, and what was learnt.

A group is one design in one work material at one kind of cut. Its law is ln eta = x . b with
x = (1, ln vc/vc0, ln f/f0, ln ap/ap0, ln ae/ae0) about a reference duty, and one shape for the group.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from calc.life.fitting import project
from calc.life.predictive import Belief, belief
from crib.catalogue.models import Design, WorkMaterial
from crib.floor.models import Edge, Operation
from crib.life.models import LifeModel, LifePrior

NAMES = ("ln_scale", "speed", "feed", "depth", "width", "ln_shape")
FIGURES = ("surface_speed", "feed", "depth", "width")
WIDTH = NAMES.index("width")

# Common practice, no source: what a shop would say of an edge that it knows nothing of, and how little it means.
GENERAL_MINUTES, GENERAL_SPREAD, GENERAL_SHAPE, GENERAL_SHAPE_SPREAD = 30.0, 0.8, 2.5, 0.35
GENERAL_EXPONENTS = {"surface_speed": 3.0, "feed": 1.0, "depth": 0.3, "width": 0.3}
GENERAL_EXPONENT_SPREAD = 0.8
GENERAL_BREAKAGE, GENERAL_BREAKAGE_WEIGHT = 0.0005, 1000.0
GENERAL_SOURCE = "general starting value: 30 min at the duty first seen; common practice, no source"

# Assumed: a regrind makes lives longer or shorter, within a factor of 1.4 two times out of three, and hardly changes
# what speed and feed do to them. The breakage of new edges then stands for so many minutes of experience at most.
REGRIND_SPREADS = {"ln_scale": 0.35, "ln_shape": 0.2}
REGRIND_EXPONENT_SPREAD = 0.1
REGRIND_BREAKAGE_WEIGHT = 1000.0
REGRIND_SOURCE = "as new edges of the design; how a regrind changes them is assumed"

Floats = npt.NDArray[np.float64]


class Key(NamedTuple):
    """Which group: ids of design and material, the kind of cut, and whether its edges are ones after a regrind."""

    design: int
    material: int
    kind_of_cut: str
    reground: bool = False

    @property
    def new(self) -> Key:
        """The group of new edges that do the same work."""
        return self._replace(reground=False)


def key_of(model: LifeModel) -> Key:
    """The group that a life model is of."""
    return Key(model.design_id, model.material_id, model.kind_of_cut, model.reground)


def key_at(operation: Operation, edge: Edge) -> Key:
    """The group of an edge's work at an operation; one that came from a regrind lives otherwise than a new one."""
    return Key(edge.item.design_id, operation.material_id, operation.kind_of_cut, edge.grind > 0)


class Duty(NamedTuple):
    """What an operation asks of an edge; a figure that is not known is taken to be the reference's."""

    surface_speed: float | None
    feed: float | None
    depth: float | None
    width: float | None = None
    entries_per_minute: float | None = None


@dataclass(frozen=True, slots=True)
class Law:
    """What is believed of a group: means and covariance of (b, ln shape), and a gamma belief about breakage.

    `break_entries` are the entries into the metal behind that belief; 0 where breakage goes by minutes.
    """

    mean: Floats
    covariance: Floats
    reference: Mapping[str, float]
    breaks: float
    break_minutes: float
    source: str
    prior: LifePrior | None = None
    break_entries: float = 0.0

    def covariates(self, duty: Duty) -> list[float]:
        """(1, ln vc/vc0, ln f/f0, ln ap/ap0, ln ae/ae0) of a duty."""
        return [1.0, *(_log_ratio(getattr(duty, name), self.reference.get(name)) for name in FIGURES)]

    def log_scale(self, duty: Duty) -> float:
        """Ln of the minutes that an edge typically lasts at a duty."""
        return float(np.dot(self.covariates(duty), self.mean[:-1]))

    @property
    def breaks_by_entry(self) -> bool:
        """Whether edges break by entries into the metal; else by minutes."""
        return self.break_entries > 0

    def watched_minutes(self, duty: Duty) -> float:
        """Minutes at a duty that stand behind the belief about breakage: `breaks` over them is the rate per minute."""
        if self.breaks_by_entry and duty.entries_per_minute:
            return self.break_entries / duty.entries_per_minute
        return max(self.break_minutes, 1.0)

    @property
    def shape(self) -> float:
        return math.exp(self.mean[-1])


def _log_ratio(value: float | None, reference: float | None) -> float:
    if not value or not reference or value <= 0 or reference <= 0:
        return 0.0
    return math.log(value / reference)


def starting_law(
    *, design: Design, material: WorkMaterial, kind_of_cut: str, duty: Duty, priors: Sequence[LifePrior]
) -> Law:
    """The narrowest starting value that fits: the design's own, its family's, the group's, else a general one."""
    ranked = [
        (rank, prior)
        for prior in priors
        if prior.kind_of_cut == kind_of_cut and (rank := _rank(prior, design, material)) is not None
    ]
    if not ranked:
        return _general_law(material, duty)
    return _law_of_prior(min(ranked, key=lambda pair: (pair[0], pair[1].pk))[1], duty)


def _rank(prior: LifePrior, design: Design, material: WorkMaterial) -> tuple[int, int] | None:
    """Smaller is narrower; None when the prior is of something else."""
    if prior.design_id is not None:
        tool = 0 if prior.design_id == design.pk else None
    elif prior.family:
        tool = 1 if prior.family == design.family else None
    else:
        tool = 2
    if prior.material_id is not None:
        metal = 0 if prior.material_id == material.pk else None
    elif prior.iso_group:
        metal = 1 if prior.iso_group == material.iso_group else None
    else:
        metal = 2
    return None if tool is None or metal is None else (tool, metal)


def law_after_regrind(new: Law) -> Law:
    """What is believed of edges after a regrind while none has ended: as of new ones, and less sure."""
    spread = np.array([REGRIND_SPREADS.get(name, REGRIND_EXPONENT_SPREAD) for name in NAMES])
    weight = min(1.0, REGRIND_BREAKAGE_WEIGHT / max(new.break_minutes, 1.0))
    return replace(
        new,
        covariance=new.covariance + np.diag(spread**2),
        breaks=new.breaks * weight,
        break_minutes=max(new.break_minutes * weight, 1.0),
        break_entries=new.break_entries * weight,
        source=REGRIND_SOURCE,
    )


def starting_covariance(prior: LifePrior | None) -> Floats:
    """Covariance of (b, ln shape) before any edge had ended; of the general starting value where there is no prior."""
    if prior is None:
        spread = [GENERAL_SPREAD, *[GENERAL_EXPONENT_SPREAD] * len(FIGURES), GENERAL_SHAPE_SPREAD]
    else:
        spread = [prior.life_spread, *[prior.exponent_spread] * len(FIGURES), prior.shape_spread]
    return np.diag(np.maximum(np.array(spread), 1e-3) ** 2)


def _law_of_prior(prior: LifePrior, duty: Duty) -> Law:
    """No starting value says a width: the exponent is general, about the width first seen."""
    width = {"width": duty.width} if duty.width else {}
    weight = prior.breakage_weight_minutes
    return Law(
        mean=np.array(
            [
                math.log(prior.life_minutes),
                -prior.speed_exponent,
                -prior.feed_exponent,
                -prior.depth_exponent,
                -GENERAL_EXPONENTS["width"],
                math.log(prior.shape),
            ]
        ),
        covariance=starting_covariance(prior),
        reference={name: getattr(prior, name) for name in FIGURES if name != "width"} | width,
        breaks=prior.breakage_per_minute * weight,
        break_minutes=max(weight, 1.0),
        source=prior.source,
        prior=prior,
    )


def _general_law(material: WorkMaterial, duty: Duty) -> Law:
    speed_exponent = 1 / material.taylor_n if material.taylor_n else GENERAL_EXPONENTS["surface_speed"]
    exponents = [speed_exponent, *(GENERAL_EXPONENTS[name] for name in FIGURES[1:])]
    return Law(
        mean=np.array([math.log(GENERAL_MINUTES), *(-exponent for exponent in exponents), math.log(GENERAL_SHAPE)]),
        covariance=starting_covariance(None),
        reference={name: value for name in FIGURES if (value := getattr(duty, name))},
        breaks=GENERAL_BREAKAGE * GENERAL_BREAKAGE_WEIGHT,
        break_minutes=GENERAL_BREAKAGE_WEIGHT,
        source=GENERAL_SOURCE,
    )


def written(law: Law, seen: Mapping[int, float] | None = None) -> tuple[dict[str, Any], list[list[float]]]:
    """A law as a life model keeps it: parameters and covariance.

    `seen` is the exposure, per edge still in use, that the fit already counted.
    """
    parameters: dict[str, Any] = {name: float(value) for name, value in zip(NAMES, law.mean, strict=True)}
    parameters["reference"] = dict(law.reference)
    parameters["breakage"] = {"breaks": law.breaks, "minutes": law.break_minutes, "entries": law.break_entries}
    parameters["seen"] = {str(edge): exposure for edge, exposure in (seen or {}).items()}
    return parameters, [[float(value) for value in row] for row in law.covariance]


def law_of(model: LifeModel) -> Law:
    """What a life model has kept, read back."""
    kept = model.parameters
    mean, covariance = _with_width([kept.get(name) for name in NAMES], np.array(model.covariance))
    return Law(
        mean=mean,
        covariance=covariance,
        reference=kept["reference"],
        breaks=kept["breakage"]["breaks"],
        break_minutes=kept["breakage"]["minutes"],
        source=model.prior_source,
        break_entries=kept["breakage"].get("entries", 0.0),
    )


def _with_width(values: list[float | None], covariance: Floats) -> tuple[Floats, Floats]:
    """Of a model kept before widths counted, the exponent of width is as at the start."""
    if values[WIDTH] is not None:
        return np.array(values, dtype=np.float64), covariance
    values[WIDTH] = -GENERAL_EXPONENTS["width"]
    wider = np.insert(np.insert(covariance, WIDTH, 0.0, axis=0), WIDTH, 0.0, axis=1)
    wider[WIDTH, WIDTH] = GENERAL_EXPONENT_SPREAD**2
    return np.array(values, dtype=np.float64), wider


def duty_of(operation: Operation) -> Duty:
    """The figures of an operation's duty."""
    entries = entries_per_minute(operation.entries_per_part, operation.minutes_per_part)
    return Duty(operation.surface_speed, operation.feed, operation.depth, operation.width, entries)


def entries_per_minute(entries_per_part: int | None, minutes_per_part: float | None) -> float | None:
    """Times that an edge enters the metal in each minute in cut; None where breakage goes by minutes."""
    return entries_per_part / minutes_per_part if entries_per_part and minutes_per_part else None


def beliefs(laws: Sequence[Law], duties: Sequence[Duty], *, smooth: bool = False) -> Belief:
    """What is believed of each law at each duty, for the array calls; `smooth` for a band that is looked at."""
    means = np.array([law.mean for law in laws])
    covariances = np.array([law.covariance for law in laws])
    duty = np.array([law.covariates(one) for law, one in zip(laws, duties, strict=True)])
    numbers = project(means[:, :-1], means[:, -1], covariances, duty)
    breaks = np.array([law.breaks for law in laws])
    watched = np.array([law.watched_minutes(one) for law, one in zip(laws, duties, strict=True)])
    return belief(*numbers, breaks=breaks, break_minutes=watched, nodes=(25, 13) if smooth else (9, 5))
