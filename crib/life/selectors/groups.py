"""The lives behind each group, from the running totals of its edges and never from the runs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import QuerySet

from crib.catalogue.models import Design, WorkMaterial
from crib.floor.models import Edge, EdgeMinutes
from crib.life.laws import Duty, Key
from crib.life.models import LifeModel, LifePrior

BROKE = (Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN)


@dataclass(slots=True)
class Stretch:
    """Minutes of one edge at one operation."""

    minutes: float
    duty: Duty
    material: int
    kind_of_cut: str


@dataclass(slots=True)
class EdgeLife:
    """One edge's life so far: how it stands, and the stretches it worked, in order."""

    edge: int
    state: str
    outcome: str
    stretches: list[Stretch] = field(default_factory=list)

    @property
    def worn(self) -> bool:
        return self.outcome == Edge.Outcome.WORN

    @property
    def broke(self) -> bool:
        return self.outcome in BROKE

    @property
    def in_use(self) -> bool:
        return self.state == Edge.State.IN_USE

    @property
    def minutes(self) -> float:
        return sum(stretch.minutes for stretch in self.stretches)


def lives_by_group(*, keys: Iterable[Key] | None = None, until: datetime | None = None) -> dict[Key, list[EdgeLife]]:
    """Every edge that has cut, in the group of the work it did last; those alone that had ended `until` then. One
    query."""
    totals = EdgeMinutes.objects.filter(minutes__gt=0).exclude(edge__state=Edge.State.FRESH)
    if until is not None:
        totals = totals.filter(edge__state=Edge.State.ENDED, edge__ended_at__lt=until)
    if keys is not None:
        totals = totals.filter(edge__item__design__in={key.design for key in keys})
    rows = totals.order_by("edge_id", "last_ended_at", "pk").values_list(
        "edge_id", "edge__state", "edge__outcome", "edge__item__design_id", "minutes",
        "operation__material_id", "operation__kind_of_cut",
        "operation__surface_speed", "operation__feed", "operation__depth",
    )  # fmt: skip
    designs: dict[int, int] = {}
    lives: dict[int, EdgeLife] = {}
    for edge, state, outcome, design, minutes, material, kind, *figures in rows.iterator(chunk_size=5000):
        life = lives.get(edge)
        if life is None:
            life = lives[edge] = EdgeLife(edge, state, outcome)
            designs[edge] = design
        life.stretches.append(Stretch(minutes, Duty(*figures), material, kind))
    groups: dict[Key, list[EdgeLife]] = defaultdict(list)
    for edge, life in lives.items():
        last = life.stretches[-1]
        groups[Key(designs[edge], last.material, last.kind_of_cut)].append(life)
    if keys is not None:
        return {key: groups.get(key, []) for key in keys}
    return dict(groups)


def ended_since(moment: datetime) -> QuerySet[Edge]:
    """Edges put in since then that have ended, and of which no forecast was kept."""
    return (
        Edge.objects.filter(state=Edge.State.ENDED, minutes__gt=0, put_in_at__gte=moment, scores=None)
        .select_related(
            "item", "operation__job", "operation__machine", "operation__material", "operation__tip", "operation__body"
        )
        .order_by("pk")
    )


def all_priors() -> list[LifePrior]:
    """Every starting value, for `starting_law` to choose from."""
    return list(LifePrior.objects.all())


def designs_and_materials(keys: Iterable[Key]) -> tuple[dict[int, Design], dict[int, WorkMaterial]]:
    """The designs and materials that the keys name."""
    wanted = list(keys)
    return (
        Design.objects.in_bulk({key.design for key in wanted}),
        WorkMaterial.objects.in_bulk({key.material for key in wanted}),
    )


def models_by_key(keys: Iterable[Key]) -> dict[Key, LifeModel]:
    """The life models there are of these groups."""
    wanted = set(keys)
    found = LifeModel.objects.filter(design__in={key.design for key in wanted})
    by_key = {Key(model.design_id, model.material_id, model.kind_of_cut): model for model in found}
    return {key: model for key, model in by_key.items() if key in wanted}
