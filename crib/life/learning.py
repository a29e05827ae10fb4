"""From the shop's edges to what they teach: groups with their relatives, one array call, and a law for each.

A design leans on its family in the same ISO 513 group and kind of cut, and that on all that cuts there; a design
without a family is one of its own (docs/decisions/relatives.md).
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np

from calc.life.fitting import breakage_belief, lives
from calc.life.likelihood import Lives
from calc.life.pooling import PooledFit, fit_pooled, kin
from crib.catalogue.models import Design, WorkMaterial
from crib.life.laws import NAMES, REGRIND_SOURCE, Duty, Floats, Key, Law, law_after_regrind, starting_law
from crib.life.models import LifeModel, LifePrior
from crib.life.remarks import BEYOND_SENSE, Seen, remark
from crib.life.selectors.groups import (
    EdgeLife,
    Stretch,
    all_models,
    all_priors,
    designs_and_materials,
    lives_by_group,
)

# Raised when the way of fitting changes: every group is then fitted anew, the first time without waiting for an end.
WAY_OF_FITTING = 2
MARKED = f"{WAY_OF_FITTING}."
# Common practice, no source: nobody logs less than a twentieth of a second, and no edge cuts for 1,600 hours.
SHORTEST_MINUTES, LONGEST_MINUTES = 1e-3, 1e5
# Ten thousand times longer than was expected is a slip of the pen, and so is wear in a ten-thousandth of it.
FURTHEST_OFF = 1e4
# A typical life beyond these minutes, or a shape beyond these, is no law of an edge.
TYPICAL, SHAPES = (1e-3, 1e6), (0.05, 100.0)
HELD_SPREAD = 1e-3


class Tree(NamedTuple):
    """All that may lean on each other: ISO 513 group and kind of cut."""

    iso_group: str
    kind_of_cut: str


@dataclass(slots=True)
class Group:
    """One group before its fit; `mark` is the fingerprint of its edges and starting value, and of its whole tree."""

    key: Key
    lives: list[EdgeLife]
    start: Law
    model: LifeModel | None
    tree: Tree
    family: str
    left_out: int = 0
    remark: str = ""
    shape_held: bool = False
    mark: str = ""

    @property
    def worn(self) -> int:
        return sum(life.worn for life in self.lives)

    @property
    def broken(self) -> int:
        return sum(life.broke for life in self.lives)


@dataclass(slots=True)
class Learnt:
    """What one group has learnt; `trouble` says why it could not be fitted."""

    law: Law
    pooled: dict[str, Any] = field(default_factory=dict)
    trouble: str = ""


class Effort(NamedTuple):
    """What a fit took: Newton steps, and rounds in which relatives told each other."""

    steps: int
    rounds: int


def groups_of_shop(*, until: datetime | None = None) -> list[Group]:
    """Every group of which an edge has cut or was forecast; of those alone that had ended `until` then."""
    by_key = lives_by_group(until=until)
    models = all_models()
    seen = by_key.keys() | (models.keys() if until is None else set())
    # Reground edges begin from the new ones, which are asked for even where none was ever used.
    keys = sorted(seen | {key.new for key in seen})
    designs, materials = designs_and_materials(keys)
    priors = all_priors()
    groups = [
        _group(key, by_key.get(key, []), models.get(key), designs[key.design], materials[key.material], priors)
        for key in keys
    ]
    _share_references(groups)
    _look_over(groups)
    _mark(groups)
    return groups


def _group(
    key: Key,
    edges: list[EdgeLife],
    model: LifeModel | None,
    design: Design,
    material: WorkMaterial,
    priors: Sequence[LifePrior],
) -> Group:
    kept: dict[str, float] = {} if model is None else dict(model.parameters["reference"])
    own = [one.duty for life in edges for one in life.stretches if one.is_of(key)]
    duty = edges[0].stretches[-1].duty if edges else Duty(**{name: kept.get(name) for name in Duty._fields})
    start = starting_law(design=design, material=material, kind_of_cut=key.kind_of_cut, duty=duty, priors=priors)
    # What was first seen stays the reference; it must not move with every new edge.
    reference = dict(start.reference) | ({name: kept[name] for name in kept if _stays(name, start)})
    width = reference.get("width") or next((one.width for one in own if one.width), None)
    start = replace(start, reference=reference | ({"width": width} if width else {}))
    tree = Tree(material.iso_group, key.kind_of_cut)
    return Group(key, edges, start, model, tree, design.family.strip() or f"design {design.pk}")


def _share_references(groups: Sequence[Group]) -> None:
    """What a regrind changes is told against the law of the new edges, so that both are about one duty."""
    by_key = {group.key: group for group in groups}
    for group in groups:
        if not group.key.reground:
            continue
        new = by_key[group.key.new]
        if new.model is None and not new.lives:
            new.start = replace(new.start, reference=group.start.reference)
        group.start = replace(group.start, reference=new.start.reference, source=REGRIND_SOURCE)


def _stays(name: str, start: Law) -> bool:
    return start.prior is None or name == "width"


def covariates(stretch: Stretch, group: Group) -> list[float]:
    """Of the stretch's duty; nothing tells how another metal compares, so its minutes count as at the reference."""
    if stretch.is_of(group.key):
        return group.start.covariates(stretch.duty)
    return [1.0, *[0.0] * (len(NAMES) - 2)]


def _look_over(groups: Sequence[Group]) -> None:
    """Leave out what cannot be a life, and say what the others leave untold."""
    data = _arrays(groups)
    starts = np.array([group.start.mean[:-1] for group in groups]).reshape(-1, len(NAMES) - 1)
    away = np.clip(np.einsum("sp,sp->s", data.duty, starts[data.group[data.edge]]), -50.0, 50.0)
    exposure = np.asarray(np.bincount(data.edge, data.minutes * np.exp(-away), data.group.size), dtype=np.float64)
    minutes = np.bincount(data.edge, data.minutes, minlength=data.group.size)
    sound = (minutes > SHORTEST_MINUTES) & (minutes < LONGEST_MINUTES) & (exposure < FURTHEST_OFF)
    sound &= ~data.ended | (exposure > 1 / FURTHEST_OFF)
    last = data.duty[np.searchsorted(data.edge, np.arange(data.group.size), side="right") - 1]
    ends = np.searchsorted(data.group, np.arange(len(groups) + 1))
    cuts = np.searchsorted(data.edge, ends)
    for number, group in enumerate(groups):
        mine, cut = slice(ends[number], ends[number + 1]), slice(cuts[number], cuts[number + 1])
        keep = sound[mine]
        duties = data.duty[cut][keep[data.edge[cut] - ends[number]]]
        seen = Seen(data.ended[mine][keep], exposure[mine][keep], last[mine][keep], duties)
        group.left_out = int((~keep).sum())
        group.lives = [life for life, good in zip(group.lives, keep.tolist(), strict=True) if good]
        group.shape_held = seen.all_alike
        group.remark = remark(seen, left_out=group.left_out)


def _arrays(groups: Sequence[Group]) -> Lives:
    owner: list[int] = []
    ended: list[bool] = []
    edge: list[int] = []
    minutes: list[float] = []
    duty: list[list[float]] = []
    for number, group in enumerate(groups):
        for life in group.lives:
            for stretch in life.stretches:
                edge.append(len(owner))
                minutes.append(max(stretch.minutes, SHORTEST_MINUTES))
                duty.append(covariates(stretch, group))
            owner.append(number)
            ended.append(life.worn)
    if not owner:
        whole = np.zeros(0, dtype=np.int64)
        return Lives(whole, np.zeros(0, dtype=bool), whole, np.zeros(0), np.zeros((0, len(NAMES) - 1)))
    return lives(owner, ended, minutes, duty, edge)


def _mark(groups: Sequence[Group]) -> None:
    """The way of fitting, and a fingerprint of each group with its whole tree: it changes with any edge leant on."""
    own = {group.key: _fingerprint(group) for group in groups}
    trees: dict[Tree, list[str]] = defaultdict(list)
    for group in groups:
        trees[group.tree].append(f"{group.key} {group.family} {own[group.key]}")
    whole = {tree: _digest(sorted(said)) for tree, said in trees.items()}
    for group in groups:
        group.mark = MARKED + own[group.key] + whole[group.tree]


def _fingerprint(group: Group) -> str:
    said = [
        [life.edge, life.state, life.outcome, life.excuse, life.entries]
        + [[s.minutes, *s.duty, *_work(s)] for s in life.stretches]
        for life in group.lives
    ]
    start = group.start
    about = [start.mean.tolist(), start.covariance.tolist(), dict(start.reference), start.breaks, start.source]
    return _digest([about, said, group.left_out])


def _work(stretch: Stretch) -> tuple[int, str]:
    return stretch.material, stretch.kind_of_cut


def _digest(said: Any) -> str:
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()[:30]


def fit_groups(groups: Sequence[Group]) -> tuple[list[Learnt], Effort]:
    """All groups of new edges in one array call, and then those of reground ones in another; whole trees, or they lean
    on less than there is.

    A group of reground edges begins from the law of the new edges of its design, which learns nothing from it, and
    leans on how a regrind changed the lives of its relatives (docs/decisions/lives-after-a-regrind.md).
    """
    new = [group for group in groups if not group.key.reground]
    found, effort = _fit(new)
    learnt = {group.key: one for group, one in zip(new, found, strict=True)}
    ground = [
        replace(group, start=_begun(group, learnt[group.key.new].law)) for group in groups if group.key.reground
    ]  # fmt: skip
    if ground:
        found, more = _fit(ground)
        learnt |= {group.key: one for group, one in zip(ground, found, strict=True)}
        effort = Effort(effort.steps + more.steps, effort.rounds + more.rounds)
        worn = {group.key: group.worn for group in new}
        for group in ground:
            learnt[group.key].pooled["new"] = {"worn": worn[group.key.new]}
    return [learnt[group.key] for group in groups], effort


def _begun(group: Group, new: Law) -> Law:
    return replace(law_after_regrind(new), prior=group.start.prior)


def _fit(groups: Sequence[Group]) -> tuple[list[Learnt], Effort]:
    start = np.array([group.start.mean for group in groups])
    variance = np.array([np.diagonal(group.start.covariance) for group in groups])
    spread = np.sqrt(variance)
    spread[[group.shape_held for group in groups], -1] = HELD_SPREAD
    families, family = _numbered((group.tree, group.family) for group in groups)
    _, material_group = _numbered(tree for tree, _ in families)
    answer = fit_pooled(_arrays(groups), start, spread, kin(family, material_group))
    counts = _relatives(groups)
    learnt = [_learnt(group, answer, row, counts) for row, group in enumerate(groups)]
    return learnt, Effort(answer.fit.steps, answer.rounds)


def _numbered(names: Iterable[Any]) -> tuple[list[Any], list[int]]:
    """The different names in the order they come, and the number of each."""
    numbers: dict[Any, int] = {}
    found = [numbers.setdefault(name, len(numbers)) for name in names]
    return list(numbers), found


def _relatives(groups: Sequence[Group]) -> Mapping[Any, tuple[int, int]]:
    """Groups and worn edges of each family and of each tree."""
    counts: dict[Any, tuple[int, int]] = defaultdict(lambda: (0, 0))
    for group in groups:
        for name in (group.tree, (group.tree, group.family)):
            many, worn = counts[name]
            counts[name] = (many + 1, worn + group.worn)
    return counts


def _learnt(group: Group, answer: PooledFit, row: int, counts: Mapping[Any, tuple[int, int]]) -> Learnt:
    mean = np.append(answer.fit.coefficients[row], answer.fit.log_shape[row])
    covariance, trouble = answer.fit.covariance[row], str(answer.fit.reason[row])
    if not trouble and not _is_law(mean, covariance):
        trouble, mean, covariance = BEYOND_SENSE, answer.before.mean[row], answer.before.covariance[row]
    if not _is_law(mean, covariance):
        mean, covariance = group.start.mean, group.start.covariance
    if group.shape_held:
        covariance = covariance.copy()
        covariance[-1, -1] = group.start.covariance[-1, -1]
    family, tree = counts[group.tree, group.family], counts[group.tree]
    pooled = {
        "own": round(float(answer.own[row]), 4),
        "relatives": round(float(answer.relatives[row]), 4),
        "start": round(float(answer.start[row]), 4),
        "family": {"groups": family[0] - 1, "worn": family[1] - group.worn},
        "material_group": {"groups": tree[0] - family[0], "worn": tree[1] - family[1]},
        "before": {"mean": answer.before.mean[row].tolist(), "covariance": answer.before.covariance[row].tolist()},
    }
    return Learnt(_law(group, mean, covariance), pooled, trouble)


def _is_law(mean: Floats, covariance: Floats) -> bool:
    """Whether the numbers are ones that an edge could live by."""
    if not (np.isfinite(mean).all() and np.isfinite(covariance).all() and (np.diagonal(covariance) > 0).all()):
        return False
    return bool(np.log(TYPICAL[0]) < mean[0] < np.log(TYPICAL[1]) and np.log(SHAPES[0]) < mean[-1] < np.log(SHAPES[1]))


def _law(group: Group, mean: Floats, covariance: Floats) -> Law:
    start, minutes = group.start, sum(life.minutes for life in group.lives)
    breaks, watched = breakage_belief(group.broken, minutes, start.breaks, start.break_minutes)
    entries = _entries(group)
    # The starting value is told by minutes; at the entries that go with them it weighs as much.
    counted = entries * (1 + start.break_minutes / minutes) if entries else 0.0
    return replace(
        start, mean=mean, covariance=covariance, breaks=float(breaks), break_minutes=float(watched),
        break_entries=counted,
    )  # fmt: skip


def _entries(group: Group) -> float:
    """Entries into the metal of all lives, or 0 where some work does not say how often its edges enter."""
    each = [life.entries for life in group.lives]
    return 0.0 if None in each else sum(one for one in each if one is not None)
