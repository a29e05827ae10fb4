"""Putting holder, body and tip together, and taking them apart again."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from typing import TypedDict, Unpack, cast

from django.db import IntegrityError, transaction
from django.db.models import F, Max

from crib.catalogue.models import Design
from crib.catalogue.services import check_coupling
from crib.core.errors import BadInput, KeyAlreadyUsed
from crib.core.wake import wake
from crib.floor.errors import (
    AlreadyBuiltIn,
    DoesNotFit,
    EdgeStillInUse,
    NoFreshEdge,
    NothingFitted,
    StillLoaded,
)
from crib.floor.grinds import begin_edges, edges_now
from crib.floor.hands import carry, check_after_runs, check_at_hand, check_free
from crib.floor.models import Assembly, Edge, Fitting, PocketLoad
from crib.floor.moments import moment
from crib.floor.selectors import open_load, open_operations, operation_for
from crib.floor.tooling import check_speed, check_written
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.services import make_item, place_of, spent_place, write_lot


@transaction.atomic
def build_assembly(
    *,
    holder: Item,
    who: Person,
    body: Item | None = None,
    name: str = "",
    gauge_length_mm: float | None = None,
    stick_out_mm: float | None = None,
    tightened_nm: float | None = None,
    note: str = "",
    at: datetime | None = None,
) -> Assembly:
    """Put a body in a holder, or make a bare holder ready for a solid tool; they then stand where the holder is."""
    name = name.strip() or " + ".join(item.design.code for item in (holder, body) if item)[:60]
    if len(name) > 60:
        raise BadInput("name", "An assembly's name has at most 60 characters.")
    written = _Written(
        gauge_length_mm=gauge_length_mm, stick_out_mm=stick_out_mm, tightened_nm=tightened_nm, note=note.strip()
    )
    check_written(holder=holder.design, **written)
    check_coupling(holder=holder.design, body=body.design if body else None)
    parts = {"holder": holder} | ({"body": body} if body else {})
    for field, item in parts.items():
        check_free(item, field=field)
        check_at_hand(item, field=field)
    built_at = moment(at)
    try:
        with transaction.atomic():
            assembly = Assembly.objects.create(
                name=name, holder=holder, body=body, built_by=who, built_at=built_at, **written
            )
    except IntegrityError as taken:
        raise AlreadyBuiltIn(
            "Somebody built this holder or body into another assembly just now.", field="holder"
        ) from taken
    if body is not None:
        carry(body, holder.place, who=who, key=f"build:{assembly.pk}:{body.pk}", at=built_at)
    record_change(who=who, what="assembly", which=str(assembly.pk), act="built", details={"name": name})
    return assembly


class _Written(TypedDict):
    """What is measured or seen on a built tool; lengths in mm, torque in N·m."""

    gauge_length_mm: float | None
    stick_out_mm: float | None
    tightened_nm: float | None
    note: str


class MeasuredFields(TypedDict, total=False):
    """Any of what is measured or seen on a built tool; lengths in mm, torque in N·m."""

    gauge_length_mm: float | None
    stick_out_mm: float | None
    tightened_nm: float | None
    note: str


@transaction.atomic
def measure_assembly(*, assembly: Assembly, who: Person, **measured: Unpack[MeasuredFields]) -> Assembly:
    """Write down what was measured on a built tool, usually after its tip is in; what is not named stays."""
    assembly = Assembly.objects.select_for_update(of=("self",)).select_related("holder__design").get(pk=assembly.pk)
    if assembly.taken_apart_at is not None:
        raise NothingFitted(f"{assembly.name} was taken apart; there is nothing left to measure.", field="assembly")
    if "note" in measured:
        measured["note"] = measured["note"].strip()
    before = {name: getattr(assembly, name) for name in _Written.__annotations__}
    after = cast(_Written, before | measured)
    check_written(holder=assembly.holder.design, **after)
    changed = {name: value for name, value in after.items() if value != before[name]}
    if not changed:
        return assembly
    for name, value in changed.items():
        setattr(assembly, name, value)
    assembly.save(update_fields=list(changed))
    details = {name: [before[name], value] for name, value in changed.items()}
    record_change(who=who, what="assembly", which=str(assembly.pk), act="measured", details=details)
    return assembly


@transaction.atomic
def take_apart(*, assembly: Assembly, who: Person, at: datetime | None = None) -> Assembly:
    """Free holder and body for other assemblies; they stay where they are."""
    assembly = Assembly.objects.select_for_update().get(pk=assembly.pk)
    if assembly.taken_apart_at is not None:
        return assembly
    if (load := open_load(assembly)) is not None:
        raise StillLoaded(f"{assembly.name} is in {load}; unload it first.", field="assembly")
    if Fitting.objects.filter(assembly=assembly, removed_at=None).exists():
        raise StillLoaded(f"{assembly.name} still holds a tip; take that out first.", field="assembly")
    assembly.taken_apart_at = moment(at, after=_last_change(assembly), what="it was last changed")
    assembly.save(update_fields=["taken_apart_at"])
    record_change(who=who, what="assembly", which=str(assembly.pk), act="taken apart", details={"name": assembly.name})
    return assembly


def _last_change(assembly: Assembly) -> datetime:
    last_out = Fitting.objects.filter(assembly=assembly).aggregate(last=Max("removed_at"))["last"]
    last_unload = PocketLoad.objects.filter(assembly=assembly).aggregate(last=Max("unloaded_at"))["last"]
    return max(when for when in (assembly.built_at, last_out, last_unload) if when is not None)


@transaction.atomic
def fit_tip(
    *,
    assembly: Assembly,
    who: Person,
    key: str,
    item: Item | None = None,
    design: Design | None = None,
    from_place: Place | None = None,
    condition: str = Condition.NEW,
    edge: int | None = None,
    lot: str = "",
    at: datetime | None = None,
) -> Fitting:
    """Fit a labelled item, or loose pieces of `design` from `from_place`, which become an item with edges of its own.

    The edge in use goes on working; otherwise its lowest fresh edge, or the one numbered `edge`, comes in use. The
    maker's `lot` is written on the item; one that has its lot already is put right on its own page.
    """
    if not key:
        raise BadInput("key", "Each fitting needs a key, so that the same scan sent twice counts once.")
    # Held first and read after: joined to a row that was waited for, the holder would stand where it was before.
    Assembly.objects.select_for_update().get(pk=assembly.pk)
    assembly = Assembly.objects.select_related("holder__design", "holder__place", "body__design").get(pk=assembly.pk)
    if (before := Fitting.objects.filter(key=key).select_related("item__design").first()) is not None:
        return _same_fitting(before, assembly, item, design)
    _check_open(assembly)
    tip = item.design if item is not None else design
    if tip is None or (item is None and from_place is None):
        raise BadInput("design", "Say which tip to fit: scan its label, or give its design and where it is taken from.")
    _check_tip(assembly, tip)
    _check_where_it_turns(assembly, tip, item)
    fitted_at = moment(at, after=_earliest_fitting(assembly, item), what="the assembly or the tip was last changed")
    if item is None:
        assert from_place is not None  # asked for above
        item = make_item(design=tip, condition=condition, place=from_place, who=who, pieces=_seats(assembly), lot=lot)
    else:
        _check_item(assembly, item)
        item = _with_lot(item, lot, who)
    try:
        with transaction.atomic():
            fitting = Fitting.objects.create(assembly=assembly, item=item, fitted_by=who, fitted_at=fitted_at, key=key)
    except IntegrityError as taken:
        raise AlreadyBuiltIn(
            "Somebody fitted this tip, or another one in this assembly, just now.", field="item"
        ) from taken
    carry(item, assembly.holder.place, who=who, key=f"fit:{fitting.pk}", at=fitted_at, why=Move.Why.FIT)
    _put_edge_in_use(assembly, item, number=edge, at=fitted_at)
    transaction.on_commit(partial(wake, "forecasts"))
    return fitting


def _with_lot(item: Item, lot: str, who: Person) -> Item:
    if not lot.strip() or item.lot == lot.strip():
        return item
    if item.lot:
        raise BadInput(
            "lot", f"{item.label} is of lot {item.lot}. If that is wrong, put it right on its own page first."
        )
    item.lot = write_lot(item=item, lot=lot, who=who).lot
    return item


def _same_fitting(before: Fitting, assembly: Assembly, item: Item | None, design: Design | None) -> Fitting:
    same_tip = before.item_id == item.pk if item is not None else design is None or before.item.design_id == design.pk
    if before.assembly_id == assembly.pk and same_tip:
        return before
    raise KeyAlreadyUsed(
        "This key came before with another fitting. Scan again, so that a new key is made.", field="key"
    )


def _check_open(assembly: Assembly) -> None:
    if assembly.taken_apart_at is not None:
        raise NothingFitted(f"{assembly.name} was taken apart; build it again first.", field="assembly")
    holding = Fitting.objects.filter(assembly=assembly, removed_at=None).select_related("item__design").first()
    if holding is not None:
        raise AlreadyBuiltIn(
            f"{assembly.name} holds {holding.item.label} ({holding.item.design.code}); take that out first.",
            field="assembly",
        )


def _check_tip(assembly: Assembly, tip: Design) -> None:
    if not tip.cuts:
        raise DoesNotFit(f"{tip.code} has no cutting edge; fit a tip, insert, drill, tap or mill.", field="design")
    if assembly.body is None:
        if tip.kind in (Design.Kind.TIP, Design.Kind.INSERT):
            raise DoesNotFit(f"{tip.code} needs a body; {assembly.name} has a bare holder.", field="design")
        check_coupling(holder=assembly.holder.design, tip=tip)
    else:
        check_coupling(body=assembly.body.design, tip=tip)


def _check_where_it_turns(assembly: Assembly, tip: Design, item: Item | None) -> None:
    """A tip fitted in the machine turns as fast as the work there asks, like one that is loaded with its assembly."""
    if (load := open_load(assembly)) is not None:
        parts = [assembly.holder.design, *([assembly.body.design] if assembly.body else []), tip]
        check_speed(open_operations(machine=load.machine, tip=tip), load.machine, parts, field="item", item=item)


def _seats(assembly: Assembly) -> int:
    return max(assembly.body.design.seats, 1) if assembly.body else 1


def _check_item(assembly: Assembly, item: Item) -> None:
    load = open_load(assembly)
    check_free(item, field="item")
    check_at_hand(item, field="item", machine_place=place_of(machine=load.machine) if load else None)
    seats = _seats(assembly)
    if item.pieces != seats:
        raise DoesNotFit(
            f"{assembly.name} takes {seats} at once, but {item.label} is a set of {item.pieces}.", field="item"
        )


def _earliest_fitting(assembly: Assembly, item: Item | None) -> datetime:
    """Nothing is fitted before the assembly stood, nor before either was freed from what came before."""
    ends: list[datetime | None] = [assembly.built_at]
    ends.append(Fitting.objects.filter(assembly=assembly).aggregate(last=Max("removed_at"))["last"])
    if item is not None:
        ends.append(Fitting.objects.filter(item=item).aggregate(last=Max("removed_at"))["last"])
        ends.append(Edge.objects.filter(item=item).aggregate(last=Max("ended_at"))["last"])
        ends.append(item.dispatch_lines.aggregate(last=Max("ended_at"))["last"])
    return max(when for when in ends if when is not None)


def _put_edge_in_use(assembly: Assembly, item: Item, *, number: int | None, at: datetime) -> Edge:
    edges = {edge.number: edge for edge in edges_now(item).select_for_update().order_by("pk")}
    if not edges:
        edges = {edge.number: edge for edge in begin_edges(item)}
    working = next((edge for edge in edges.values() if edge.state == Edge.State.IN_USE), None)
    wanted = _edge_wanted(item, edges, working, number)
    load = open_load(assembly)
    operation = operation_for(machine=load.machine, tip=item.design) if load else None
    if working is not None and working.pk != wanted.pk:
        Edge.objects.filter(pk=working.pk).update(state=Edge.State.FRESH, put_in_at=None, revision=F("revision") + 1)
    wanted.state = Edge.State.IN_USE
    wanted.put_in_at = wanted.put_in_at or at
    wanted.operation = operation or wanted.operation
    wanted.revision += 1
    wanted.save(update_fields=["state", "put_in_at", "operation", "revision"])
    return wanted


def _edge_wanted(item: Item, edges: dict[int, Edge], working: Edge | None, number: int | None) -> Edge:
    if number is None:
        fresh = [edge for edge in edges.values() if edge.state == Edge.State.FRESH]
        if working is None and not fresh:
            raise NoFreshEdge(f"Every edge of {item.label} has been used; fit another tip.", field="item")
        return working or min(fresh, key=lambda edge: edge.number)
    wanted = edges.get(number)
    if wanted is None:
        raise BadInput("edge", f"{item.label} has edges 1 to {len(edges)}; there is no edge {number}.")
    if wanted.state == Edge.State.ENDED:
        raise NoFreshEdge(f"Edge {number} of {item.label} has come off already; choose another one.", field="edge")
    if working is not None and working.pk != wanted.pk and (working.minutes > 0 or working.parts > 0):
        raise EdgeStillInUse(
            f"Edge {working.number} of {item.label} is part-used; end it before another one comes in use.", field="edge"
        )
    return wanted


@transaction.atomic
def take_out(
    *,
    assembly: Assembly,
    who: Person,
    key: str,
    to_place: Place | None = None,
    spent: bool = False,
    at: datetime | None = None,
) -> Fitting:
    """Take out what is fitted: to `to_place`, to the person who does it, or to the spent place when it is used up.

    An edge in use keeps its minutes and goes on when the item is fitted again.
    """
    if not key:
        raise BadInput("key", "Taking out needs a key, so that the same scan sent twice counts once.")
    assembly = Assembly.objects.select_for_update().get(pk=assembly.pk)
    if (before := Fitting.objects.filter(removal_key=key).first()) is not None:
        if before.assembly_id == assembly.pk:
            return before
        raise KeyAlreadyUsed("This key came before with another assembly. Scan again.", field="key")
    fitting = (
        Fitting.objects.select_related("item__design", "item__place").filter(assembly=assembly, removed_at=None).first()
    )
    if fitting is None:
        raise NothingFitted(f"There is no tip in {assembly.name}.", field="assembly")
    item = fitting.item
    edges = list(Edge.objects.select_for_update().filter(item=item).order_by("pk"))
    _check_may_be_spent(item, edges, spent)
    removed_at = moment(at, after=fitting.fitted_at, what="it was fitted")
    check_after_runs(edges, removed_at)
    fitting.removed_at, fitting.removal_key = removed_at, key
    fitting.save(update_fields=["removed_at", "removal_key"])
    to_place = to_place or (spent_place() if spent else place_of(person=who))
    why = Move.Why.WORN_OUT if spent else Move.Why.TAKE_OUT
    carry(
        item,
        to_place,
        who=who,
        key=f"out:{fitting.pk}",
        at=removed_at,
        why=why,
        becomes=_condition_after(item, edges, spent),
    )
    Edge.objects.filter(item=item, state=Edge.State.IN_USE).update(revision=F("revision") + 1)
    transaction.on_commit(partial(wake, "forecasts"))
    return fitting


def _check_may_be_spent(item: Item, edges: list[Edge], spent: bool) -> None:
    working = next((edge for edge in edges if edge.state == Edge.State.IN_USE), None)
    if spent and working is not None:
        raise EdgeStillInUse(
            f"Edge {working.number} of {item.label} is still in use; say why it came off before the tip is "
            "thrown away.",
            field="spent",
        )


def _condition_after(item: Item, edges: list[Edge], spent: bool) -> str:
    if spent or item.condition == Condition.SPENT:
        return Condition.SPENT
    now = [edge for edge in edges if edge.grind == item.regrinds_done]
    used = any(edge.minutes > 0 or edge.state == Edge.State.ENDED for edge in now)
    return Condition.PART_USED if used else item.condition
