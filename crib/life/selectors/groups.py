"""The lives behind each group, from the running totals of its edges and never from the runs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import QuerySet

from calc.life.flute_wear import over_the_worst
from crib.catalogue.models import Design, WorkMaterial
from crib.floor.models import Edge, EdgeMinutes
from crib.life.laws import Duty, Key, Law, entries_per_minute, key_of
from crib.life.models import LifeModel, LifePrior

BROKE = (Edge.Outcome.CHIPPED, Edge.Outcome.BROKEN)


@dataclass(slots=True)
class Stretch:
    """Minutes of one edge at one operation, from where to where on its flute; 0 and 0 where no band is known."""

    minutes: float
    duty: Duty
    material: int
    kind_of_cut: str
    low: float = 0.0
    high: float = 0.0
    since: datetime | None = None

    def is_of(self, key: Key) -> bool:
        """Whether it was the work of that group."""
        return (self.material, self.kind_of_cut) == (key.material, key.kind_of_cut)

    def log_scale(self, law: Law, key: Key) -> float:
        """By the group's law; work of another group counts as at the reference, as in the refit."""
        return law.log_scale(self.duty) if self.is_of(key) else float(law.mean[0])


@dataclass(slots=True)
class EdgeLife:
    """One edge's life so far: how it stands, and the stretches it worked, in order.

    `elsewhere` are minutes in other bands of the flute than the one it worked in last: they wore nothing there.
    `entries` are the times it entered the metal, or None where an operation does not say. An end that was excused
    counts as an edge taken off.
    """

    edge: int
    state: str
    outcome: str
    stretches: list[Stretch] = field(default_factory=list)
    elsewhere: float = 0.0
    excuse: str = ""
    entries: float | None = 0.0
    put_in_at: datetime | None = None
    grind: int = 0

    @property
    def worn(self) -> bool:
        return self.outcome == Edge.Outcome.WORN and not self.excuse

    @property
    def broke(self) -> bool:
        return self.outcome in BROKE and not self.excuse

    @property
    def in_use(self) -> bool:
        return self.state == Edge.State.IN_USE

    @property
    def minutes(self) -> float:
        return sum(stretch.minutes for stretch in self.stretches) + self.elsewhere


def lives_by_group(*, keys: Iterable[Key] | None = None, until: datetime | None = None) -> dict[Key, list[EdgeLife]]:
    """Every edge that has cut, in the group of the work it did last; those alone that had ended `until` then. Two
    queries.

    An edge that worked last in a band that another edge of its item had worn before is left out: its own minutes say
    too little of its wear (docs/decisions/wear-by-band.md). Of a group that learns anew, those put in before are.
    """
    totals = EdgeMinutes.objects.filter(minutes__gt=0).exclude(edge__state=Edge.State.FRESH)
    if until is not None:
        totals = totals.filter(edge__state=Edge.State.ENDED, edge__ended_at__lt=until)
    if keys is not None:
        totals = totals.filter(edge__item__design__in={key.design for key in keys})
    lives, designs, by_item = _read(totals)
    left_out = {life.edge for item in by_item.values() for life in item if _began_worn(life, item)}
    groups: dict[Key, list[EdgeLife]] = defaultdict(list)
    for edge, life in lives.items():
        if edge in left_out:
            continue
        last = life.stretches[-1]
        if last.high:
            _keep_to_band(life, last)
        groups[Key(designs[edge], last.material, last.kind_of_cut, life.grind > 0)].append(life)
    for key, since in _learnt_since().items():
        if key in groups:
            groups[key] = [life for life in groups[key] if (life.put_in_at or since) >= since]
    if keys is not None:
        return {key: groups.get(key, []) for key in keys}
    return dict(groups)


def _learnt_since() -> dict[Key, datetime]:
    """Groups that learn only from edges put in since a day, because their lives had changed."""
    models = LifeModel.objects.filter(drift__has_key="learn_since")
    return {
        Key(design, material, kind, reground): datetime.fromisoformat(since)
        for design, material, kind, reground, since in models.values_list(
            "design", "material", "kind_of_cut", "reground", "drift__learn_since"
        )
    }


def _read(
    totals: QuerySet[EdgeMinutes],
) -> tuple[dict[int, EdgeLife], dict[int, int], dict[tuple[int, int], list[EdgeLife]]]:
    """The life and the design of each edge, and of each item and grind the lives that cut in known bands."""
    rows = totals.order_by("edge_id", "last_ended_at", "pk").values_list(
        "edge_id", "edge__state", "edge__outcome", "edge__excuse", "edge__put_in_at", "edge__grind",
        "edge__item__design_id", "edge__item_id",
        "operation__entries_per_part", "operation__minutes_per_part", "parts",
        "minutes", "contact_low", "contact_high", "first_started_at",
        "operation__material_id", "operation__kind_of_cut",
        "operation__surface_speed", "operation__feed", "operation__depth", "operation__width",
    )  # fmt: skip
    lives: dict[int, EdgeLife] = {}
    designs: dict[int, int] = {}
    by_item: dict[tuple[int, int], list[EdgeLife]] = defaultdict(list)
    for (
        edge, state, outcome, excuse, put_in, grind, design, item, entries, each, parts,
        minutes, low, high, since, material, kind, speed, feed, depth, width,
    ) in rows.iterator(chunk_size=5000):  # fmt: skip
        life = lives.get(edge)
        if life is None:
            life = lives[edge] = EdgeLife(edge, state, outcome, excuse=excuse, put_in_at=put_in or since, grind=grind)
            designs[edge] = design
        pace = entries_per_minute(entries, each)
        life.entries = _more_entries(life.entries, entries, parts, pace, minutes)
        life.stretches.append(Stretch(minutes, Duty(speed, feed, depth, width, pace), material, kind, low, high, since))
        # A regrind takes the worn flute away, so that what was cut before it wears no edge that comes after.
        if high and not (by_item[item, grind] and by_item[item, grind][-1] is life):
            by_item[item, grind].append(life)
    return lives, designs, by_item


def _more_entries(
    before: float | None, per_part: int | None, parts: int, pace: float | None, minutes: float
) -> float | None:
    """Entries with those of one more operation: by its parts, or by its minutes where no part was finished."""
    if before is None or not per_part or (parts <= 0 and pace is None):
        return None
    return before + (per_part * parts if parts > 0 else minutes * (pace or 0.0))


def _began_worn(life: EdgeLife, of_item: Iterable[EdgeLife]) -> bool:
    """Whether another edge of the item had cut before in the band where this one worked last."""
    last = life.stretches[-1]
    here = [one for one in life.stretches if _overlap(one, last)]
    since = min((one.since for one in here if one.since), default=None)
    others = (one for other in of_item if other is not life for one in other.stretches if _overlap(one, last))
    return any(since is None or one.since is None or one.since < since for one in others)


def _overlap(one: Stretch, other: Stretch) -> bool:
    """Whether both are known to have cut at some height; bands that only touch share none."""
    return one.low < other.high and other.low < one.high


def _keep_to_band(life: EdgeLife, last: Stretch) -> None:
    """Leave to the life what wore the height that it worked at last and had done most; the rest was elsewhere."""
    known = [one for one in life.stretches if one.high]
    lows, highs, amounts = zip(*((one.low, one.high, one.minutes) for one in known), strict=True)
    there = over_the_worst(lows, highs, amounts, last.low, last.high)
    gone = {id(one) for one, counts in zip(known, there.tolist(), strict=True) if not counts}
    life.elsewhere = sum(one.minutes for one in known if id(one) in gone)
    life.stretches = [one for one in life.stretches if id(one) not in gone]


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
    by_key = {key_of(model): model for model in found}
    return {key: model for key, model in by_key.items() if key in wanted}


def all_models() -> dict[Key, LifeModel]:
    """Every life model there is."""
    return {key_of(model): model for model in LifeModel.objects.all()}
