"""Tips that have cut before: what each of their edges has done, and what is left of it at some work.

Nothing is kept for this: minutes come from the running totals, and what is left from the life models, reckoned as the
forecast would reckon it once the tip is fitted there. A fixed number of queries, however many tips.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from django.db.models import Exists, OuterRef, Q, QuerySet

from calc.errors import WorkingError
from calc.life.batch import whole_parts
from calc.life.predictive import lasting, remaining
from crib.catalogue.models import Design, Job
from crib.floor.models import Assembly, Edge, EdgeMinutes, Fitting, Inspection, Operation
from crib.life.changing import change_points
from crib.life.exposure import LONGEST_MINUTES, used_and_counted
from crib.life.laws import Key, Law, beliefs, duty_of
from crib.life.models import LifeModel
from crib.life.selectors.believed import laws_at
from crib.life.selectors.due import paces_of, still_to_make
from crib.life.tip_left import CornerLeft, TipLeft
from crib.life.wear import Looked, habits_of, outlooks_by_wear, readings_that_count
from crib.stock.models import Condition, Item, Place

MOST_PARTS = 1_000_000
RELATED = ("operation__job", "operation__machine", "operation__tip", "operation__body", "operation__material")


def part_used_tips(
    *,
    designs: Iterable[Design],
    operation: Operation | None = None,
    job: Job | None = None,
    place: Place | None = None,
) -> list[TipLeft]:
    """Free tips of these designs that have cut and have an edge left, with what is left of them; the best first.

    In one place, else anywhere in the crib. What is left is meant at the operation, or at the job's own operation of
    the design, else at the work that each did last. First come those that last the rest of the batch, the most worn
    of them before the others so that the fresher ones are kept; then the rest, by minutes left.
    """
    wanted = {design.pk: design for design in designs}
    at = _work_of_job(job, wanted) if operation is None and job is not None else {}
    items = list(_items(wanted, operation, place))
    return sorted(tips_left(items=items, operation=operation, at=at).values(), key=best_first)


def best_first(tip: TipLeft) -> tuple[bool, float, int]:
    """The order in which part-used tips are offered."""
    left = tip.minutes_left_50 or 0.0
    return (not tip.enough, left if tip.enough else -left, tip.item.pk)


def _items(wanted: Mapping[int, Design], operation: Operation | None, place: Place | None) -> QuerySet[Item]:
    edges = Edge.objects.filter(item=OuterRef("pk"), grind=OuterRef("regrinds_done"))
    fitted = Fitting.objects.filter(item=OuterRef("pk"), removed_at=None)
    # A solid tool may be what an assembly is built of, too.
    built_in = Assembly.objects.filter(taken_apart_at=None).filter(Q(holder=OuterRef("pk")) | Q(body=OuterRef("pk")))
    items = Item.objects.filter(
        Exists(edges.filter(Q(minutes__gt=0) | Q(state=Edge.State.ENDED))),
        Exists(edges.exclude(state=Edge.State.ENDED)),
        ~Exists(fitted),
        ~Exists(built_in),
        design__in=wanted,
    ).exclude(condition=Condition.SPENT)
    items = items.filter(place__kind__in=Place.ON_HAND) if place is None else items.filter(place=place)
    if operation is not None and operation.body_id is not None:
        # A set that was fitted together goes where as many sit.
        items = items.filter(pieces=max(operation.body.seats, 1) if operation.body else 1)
    return items.select_related("design", "place__person").order_by("pk")


def _work_of_job(job: Job, wanted: Mapping[int, Design]) -> dict[int, Operation]:
    """The first step of the job that each design cuts at."""
    steps = Operation.objects.filter(job=job, tip__in=wanted, retired_at=None).order_by("-number")
    return {step.tip_id: step for step in steps.select_related("job", "machine", "tip", "body", "material")}


def tips_left(
    *, items: Sequence[Item], operation: Operation | None = None, at: Mapping[int, Operation] | None = None
) -> dict[int, TipLeft]:
    """How the edges of these items stand, by the item's number, used or not; a fixed number of queries.

    At the operation, else at that which `at` names for the item's design, else at the work each item did last.
    """
    shop = _read(items)
    works = {
        item.pk: operation or (at or {}).get(item.design_id) or _last_work(shop.edges.get(item.pk, []))
        for item in items
    }
    reckoned = _reckon(items, works, shop)
    return {item.pk: _tip(item, works[item.pk], shop, reckoned) for item in items}


@dataclass(frozen=True, slots=True)
class _Shop:
    """What is read of the items: by item the edges since its last regrind, and what they cut; by edge its looks."""

    edges: dict[int, list[Edge]]
    totals: dict[int, list[EdgeMinutes]]
    looks: dict[int, list[Inspection]]


def _read(items: Sequence[Item]) -> _Shop:
    grinds = {item.pk: item.regrinds_done for item in items}
    edges: dict[int, list[Edge]] = defaultdict(list)
    for edge in Edge.objects.filter(item__in=grinds).select_related("item", *RELATED).order_by("number", "pk"):
        if edge.grind == grinds[edge.item_id]:
            edges[edge.item_id].append(edge)
    totals: dict[int, list[EdgeMinutes]] = defaultdict(list)
    rows = EdgeMinutes.objects.filter(edge__item__in=grinds, minutes__gt=0).select_related("operation", "edge")
    for row in rows.order_by("pk"):
        if row.edge.grind == grinds[row.edge.item_id]:
            totals[row.edge.item_id].append(row)
    looks: dict[int, list[Inspection]] = defaultdict(list)
    seen = Inspection.objects.filter(edge__item__in=grinds, edge__state=Edge.State.IN_USE)
    for look in seen.order_by("at_minutes", "pk"):
        looks[look.edge_id].append(look)
    return _Shop(dict(edges), dict(totals), dict(looks))


def _last_work(edges: Sequence[Edge]) -> Operation | None:
    """Of the edge in use, else of the one that ran last."""
    working = [edge for edge in edges if edge.operation is not None and edge.state == Edge.State.IN_USE]
    ran = [edge for edge in edges if edge.operation is not None and edge.last_run_ended_at is not None]
    last = working[:1] or sorted(ran, key=lambda edge: (edge.last_run_ended_at, edge.pk))[-1:]
    return last[0].operation if last else None


@dataclass(frozen=True, slots=True)
class _Believed:
    """What is believed at one operation of the edges of one group, and when a fresh one is changed there."""

    operation: Operation
    law: Law
    model: LifeModel | None
    change_at: float
    cost_each: float
    batch: int


@dataclass(frozen=True, slots=True)
class _Row:
    """One edge to reckon; `edge` is None for a fresh one that has not been told apart from others."""

    believed: _Believed
    used: float
    counted: float
    edge: Edge | None = None


@dataclass(frozen=True, slots=True)
class _Left:
    """What is left of an edge: minutes at 10 and 50 %, minutes to its change, and the chance of the batch."""

    low: float
    middle: float
    change_in: float | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class _Reckoned:
    believed: dict[tuple[int, Key], _Believed]
    whole: dict[tuple[int, Key], _Left]
    edges: dict[int, _Left]


def _key(item: Item, operation: Operation) -> Key:
    return Key(item.design_id, operation.material_id, operation.kind_of_cut, item.regrinds_done > 0)


def _reckon(items: Sequence[Item], works: Mapping[int, Operation | None], shop: _Shop) -> _Reckoned:
    """Everything left in one array call; where the figures of some work cannot be worked with, nothing is said."""
    placed = [(item, work) for item in items if (work := works[item.pk]) is not None]
    try:
        believed = _believed(placed)
        rows: dict[tuple[int, Key] | int, _Row] = {name: _Row(one, 0.0, 0.0) for name, one in believed.items()}
        for item, work in placed:
            one = believed[work.pk, _key(item, work)]
            for edge in shop.edges.get(item.pk, []):
                if edge.state != Edge.State.ENDED and (row := _row(edge, one, shop.totals.get(item.pk, []))):
                    rows[edge.pk] = row
        left = dict(zip(rows, _left(list(rows.values()), shop), strict=True)) if rows else {}
    except (WorkingError, ArithmeticError):
        return _Reckoned({}, {}, {})
    return _Reckoned(
        believed,
        {name: one for name, one in left.items() if isinstance(name, tuple)},
        {name: one for name, one in left.items() if isinstance(name, int)},
    )


def _row(edge: Edge, one: _Believed, totals: Sequence[EdgeMinutes]) -> _Row | None:
    """None for an edge that stands as any fresh one does."""
    used, counted = used_and_counted(edge.pk, one.operation, one.law, totals, one.model)
    return _Row(one, used, counted, edge) if used > 0 else None


def _believed(placed: Sequence[tuple[Item, Operation]]) -> dict[tuple[int, Key], _Believed]:
    """By operation and group; a fresh tip's own laws, learnt or as at the start."""
    if not placed:
        return {}
    names = {(work.pk, _key(item, work)): (item, work) for item, work in placed}
    found = laws_at([(item.design, item.regrinds_done > 0, work) for item, work in names.values()])
    laws = {name: law for name, (law, _) in zip(names, found, strict=True)}
    models = {name: model for name, (_, model) in zip(names, found, strict=True)}
    works = {work.pk: work for _, work in names.values()}
    paces = paces_of(list(works.values()))
    points = change_points([(works[name[0]], law) for name, law in laws.items()])
    return {
        name: _Believed(
            operation=works[name[0]],
            law=law,
            model=models[name],
            change_at=max(float(points.minutes[row]), works[name[0]].minutes_per_part or 0.0),
            cost_each=float(points.cost_each[row]),
            batch=min(still_to_make(works[name[0]], paces[name[0]]), MOST_PARTS),
        )
        for row, (name, law) in enumerate(laws.items())
    }


def _left(rows: Sequence[_Row], shop: _Shop) -> list[_Left]:
    believed = beliefs([row.believed.law for row in rows], [duty_of(row.believed.operation) for row in rows])
    used, counted = np.array([row.used for row in rows]), np.array([row.counted for row in rows])
    left = np.minimum(remaining(used, believed, counted, (10, 50)), LONGEST_MINUTES)
    each = np.array([row.believed.operation.minutes_per_part or math.nan for row in rows])
    ahead = np.minimum(np.nan_to_num(each * [row.believed.batch for row in rows]), LONGEST_MINUTES)
    chance = lasting(ahead, used, believed, counted)
    looked = {place: _looked(row, shop) for place, row in enumerate(rows) if row.edge and row.edge.pk in shop.looks}
    own = outlooks_by_wear(looked, believed)
    found = []
    for place, row in enumerate(rows):
        change_in = row.believed.change_at - row.used
        low, middle = (float(value) for value in left[place])
        one = float(chance[place])
        if place in own:
            low, middle = (min(float(value), LONGEST_MINUTES) for value in own[place].left[:2])
            change_in, one = own[place].change_in, own[place].chance_of_batch or 0.0
        found.append(
            _Left(
                low,
                middle,
                None if math.isinf(change_in) else max(change_in, 0.0),
                None if math.isnan(each[place]) else one,
            )
        )
    return found


def _looked(row: _Row, shop: _Shop) -> Looked:
    assert row.edge is not None  # it was looked at
    one = row.believed
    return Looked(
        edge=row.edge,
        operation=one.operation,
        law=one.law,
        habits=habits_of(one.model.wear if one.model else {}),
        readings=readings_that_count(shop.looks[row.edge.pk]),
        used=row.used,
        counted=row.counted,
        batch=one.batch,
        cost_each=one.cost_each,
    )


def _tip(item: Item, work: Operation | None, shop: _Shop, reckoned: _Reckoned) -> TipLeft:
    name = None if work is None else (work.pk, _key(item, work))
    whole = None if name is None else reckoned.whole.get(name)
    known = None if name is None else reckoned.believed.get(name)
    edges = shop.edges.get(item.pk, [])
    corners = [_corner(edge, work, whole, reckoned.edges.get(edge.pk)) for edge in edges]
    if not edges and item.condition != Condition.SPENT:
        # Its edges are written down when it is fitted for the first time.
        fresh = range(1, item.design.edges + 1)
        corners = [_with_left(CornerLeft(number, "fresh"), work, whole) for number in fresh]
    return TipLeft(
        item,
        tuple(corners),
        operation=work,
        whole_life=whole.middle if whole else None,
        batch_left=known.batch if known and work and work.minutes_per_part else None,
    )


def _corner(edge: Edge, work: Operation | None, whole: _Left | None, own: _Left | None) -> CornerLeft:
    state = "ended" if edge.state == Edge.State.ENDED else "part_used" if edge.minutes > 0 else "fresh"
    corner = CornerLeft(
        edge.number, state, edge.minutes, edge.parts, edge.pk, edge.operation, outcome=edge.get_outcome_display()
    )
    return corner if state == "ended" else _with_left(corner, work, own or whole)


def _with_left(corner: CornerLeft, work: Operation | None, left: _Left | None) -> CornerLeft:
    if left is None or work is None:
        return corner
    each = work.minutes_per_part
    parts = np.minimum(whole_parts([left.low, left.middle], each), MOST_PARTS) if each else None
    return replace(
        corner,
        minutes_left_10=left.low,
        minutes_left_50=left.middle,
        parts_left_10=None if parts is None else int(parts[0]),
        parts_left_50=None if parts is None else int(parts[1]),
        change_in=left.change_in,
        chance_of_batch=left.chance,
    )
