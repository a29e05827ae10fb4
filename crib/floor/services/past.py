"""Brings earlier records into the books, many at once and under the rules of the single acts.

Tools come first, with when their edges were at work; runs are then logged as ever and find their edges by the time;
inspections come last. Everything of one list goes in, or nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import partial
from itertools import pairwise

from django.db import transaction
from django.db.models import F, Max

from crib.catalogue.models import Design
from crib.catalogue.services import check_coupling
from crib.core.errors import BadInput
from crib.core.wake import wake
from crib.floor.errors import AlreadyBuiltIn, DoesNotFit, NothingFitted, WrongOrder
from crib.floor.models import Assembly, Edge, Fitting, Inspection
from crib.floor.moments import moment
from crib.floor.odd_wear import WIDEST_MM
from crib.floor.records import EdgeRecord, InspectionRecord, ToolRecord
from crib.floor.run_checks import said_minutes, said_time
from crib.floor.services.edges import LONGEST_NOTE
from crib.people.models import Person
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.services import ItemDraft, MoveDraft, make_items, post_moves, spent_place

CHUNK = 500


@transaction.atomic
def record_tools(*, records: Sequence[ToolRecord], who: Person) -> list[Fitting]:
    """Write fittings, edges and the moves behind them as earlier records tell; a key that came before is left."""
    known = _known([record.key for record in records])
    fresh = sorted((one for one in records if one.key not in known), key=lambda record: record.fitted_at)
    if fresh:
        _check_all(fresh)
        _write(fresh, who)
        # Read again, so that each fitting's item stands where its moves took it.
        known |= _known([record.key for record in fresh])
        transaction.on_commit(partial(wake, "forecasts"))
    return [known[record.key] for record in records]


def _known(keys: Sequence[str]) -> dict[str, Fitting]:
    found: dict[str, Fitting] = {}
    for first in range(0, len(keys), CHUNK):
        for fitting in Fitting.objects.filter(key__in=keys[first : first + CHUNK]):
            found[str(fitting.key)] = fitting
    return found


# --- what must hold -----------------------------------------------------------------------------------


def _check_all(records: Sequence[ToolRecord]) -> None:
    by_assembly: dict[int, list[ToolRecord]] = defaultdict(list)
    checked: set[tuple[int, int]] = set()
    for record in records:
        _check_record(record)
        if (record.assembly.pk, record.design.pk) not in checked:
            _check_fits(record.assembly, record.design)
            checked.add((record.assembly.pk, record.design.pk))
        by_assembly[record.assembly.pk].append(record)
    free_from = _free_from(by_assembly)
    for pk, follow in by_assembly.items():
        if follow[0].fitted_at < free_from[pk]:
            raise _wrong(follow[0], f"the assembly was free from {said_time(free_from[pk])} on.")
        for one, other in pairwise(follow):
            if one.removed_at is None or other.fitted_at < one.removed_at:
                raise _wrong(other, f"{one.design.code} was still in it.")


def _free_from(assemblies: Iterable[int]) -> dict[int, datetime]:
    found: dict[int, datetime] = {}
    rows = Assembly.objects.select_for_update(of=("self",)).filter(pk__in=list(assemblies)).order_by("pk")
    removals = dict(
        Fitting.objects.filter(assembly__in=list(assemblies))
        .order_by()
        .values_list("assembly")
        .annotate(last=Max("removed_at"))
    )
    held = set(
        Fitting.objects.filter(assembly__in=list(assemblies), removed_at=None).values_list("assembly", flat=True)
    )
    for assembly in rows:
        if assembly.taken_apart_at is not None:
            raise NothingFitted(f"{assembly.name} was taken apart; build it again first.", field="assembly")
        if assembly.pk in held:
            raise AlreadyBuiltIn(f"{assembly.name} holds a tip; take that out first.", field="assembly")
        found[assembly.pk] = max(assembly.built_at, removals.get(assembly.pk) or assembly.built_at)
    return found


def _check_fits(assembly: Assembly, tip: Design) -> None:
    body = assembly.body.design if assembly.body else None
    if body is None and tip.kind in (Design.Kind.TIP, Design.Kind.INSERT):
        raise DoesNotFit(f"{tip.code} needs a body; {assembly.name} has a bare holder.", field="design")
    check_coupling(holder=assembly.holder.design, body=body, tip=tip)


def _check_record(record: ToolRecord) -> None:
    if not record.key:
        raise BadInput("key", "Each record needs a key, so that the same one brought twice counts once.")
    if not record.edges:
        raise BadInput("edges", f"Record {record.key}: say which edge came in use.")
    moment(record.fitted_at)
    numbers = [edge.number for edge in record.edges]
    if len(set(numbers)) != len(numbers) or not all(1 <= number <= record.design.edges for number in numbers):
        raise BadInput("edges", f"Record {record.key}: {record.design.code} has edges 1 to {record.design.edges}.")
    before, what = record.fitted_at, "it was fitted"
    for edge in record.edges:
        before, what = _check_edge(record, edge, before, what)
    if record.removed_at is not None and (moment(record.removed_at) < before or record.edges[-1].ended_at is None):
        raise _wrong(record, f"it cannot have come out before {what}.")
    if any(edge.ended_at is None for edge in record.edges[:-1]):
        raise _wrong(record, "only its last edge may still be in use.")


def _check_edge(record: ToolRecord, edge: EdgeRecord, before: datetime, what: str) -> tuple[datetime, str]:
    if edge.put_in_at < before:
        raise _wrong(record, f"edge {edge.number} came in use before {what}.")
    if (edge.ended_at is None) != (edge.outcome == ""):
        raise BadInput("outcome", f"Record {record.key}: an edge that came off needs its time and its outcome.")
    if edge.ended_at is None:
        return edge.put_in_at, "its edge came in use"
    if edge.outcome not in Edge.Outcome.values:
        raise BadInput("outcome", f"Say why it came off: {', '.join(Edge.Outcome.values)}.")
    if edge.wear_land_mm is not None and not 0 <= edge.wear_land_mm <= WIDEST_MM:
        raise BadInput("wear_land_mm", f"Record {record.key}: a wear land lies from 0 to {WIDEST_MM:g} mm.")
    if len(edge.note) > LONGEST_NOTE:
        raise BadInput("note", f"A note has at most {LONGEST_NOTE} characters.")
    if moment(edge.ended_at) < edge.put_in_at:
        raise _wrong(record, f"edge {edge.number} came off before it came in use.")
    return edge.ended_at, "its edge came off"


def _wrong(record: ToolRecord, why: str) -> WrongOrder:
    return WrongOrder(f"Record {record.key}, fitted at {said_time(record.fitted_at)}: {why}", field="fitted_at")


# --- writing ------------------------------------------------------------------------------------------


def _write(records: Sequence[ToolRecord], who: Person) -> None:
    items = make_items(
        drafts=[
            ItemDraft(
                design=record.design,
                place=record.from_place,
                pieces=_pieces_of(record.assembly),
                condition=record.condition,
                since=record.fitted_at,
                lot=record.lot,
            )
            for record in records
        ],
        who=who,
    )
    fittings = Fitting.objects.bulk_create(
        [
            Fitting(
                assembly=record.assembly,
                item=item,
                fitted_by=record.fitted_by,
                fitted_at=record.fitted_at,
                removed_at=record.removed_at,
                key=record.key,
            )
            for record, item in zip(records, items, strict=True)
        ],
        batch_size=CHUNK,
    )
    Edge.objects.bulk_create(
        [edge for record, item in zip(records, items, strict=True) for edge in _edges(record, item, who)],
        batch_size=CHUNK,
    )
    stands, spent = _where_they_stand(records), spent_place()
    moves = [
        draft
        for record, item, fitting in zip(records, items, fittings, strict=True)
        for draft in _moves(record, item, fitting, stands[record.assembly.pk], spent)
    ]
    post_moves(drafts=sorted(moves, key=_when), who=who)


def _pieces_of(assembly: Assembly) -> int:
    """How many tips the assembly takes at once."""
    return max(assembly.body.design.seats, 1) if assembly.body else 1


def _where_they_stand(records: Sequence[ToolRecord]) -> dict[int, Place]:
    """Where each assembly is now: in its machine, or wherever its holder lies."""
    wanted = {record.assembly.pk for record in records}
    found = Assembly.objects.filter(pk__in=wanted).select_related("holder__place")
    return {assembly.pk: assembly.holder.place for assembly in found}


def _when(draft: MoveDraft) -> datetime:
    assert draft.at is not None  # each of ours has its time
    return draft.at


def _edges(record: ToolRecord, item: Item, who: Person) -> Iterable[Edge]:
    told = {edge.number: edge for edge in record.edges}
    for number in range(1, record.design.edges + 1):
        edge = told.get(number)
        if edge is None:
            yield Edge(item=item, number=number)
            continue
        ended = edge.ended_at is not None
        yield Edge(
            item=item,
            number=number,
            state=Edge.State.ENDED if ended else Edge.State.IN_USE,
            operation=edge.operation,
            put_in_at=edge.put_in_at,
            outcome=edge.outcome,
            wear_land_mm=edge.wear_land_mm,
            end_note=edge.note,
            ended_at=edge.ended_at,
            ended_by=(edge.ended_by or who) if ended else None,
        )


def _moves(record: ToolRecord, item: Item, fitting: Fitting, at_work: Place, spent_at: Place) -> Iterable[MoveDraft]:
    """In at its fitting, spent with its last edge, out at its removal: the moves that the single acts would post."""
    condition = record.condition

    def draft(
        why: str, start: Place, end: Place, was: str, becomes: str, at: datetime, key: str, by: Person | None
    ) -> MoveDraft:
        return MoveDraft(
            design=record.design, quantity=item.pieces, from_place=start, to_place=end, condition=was, becomes=becomes,
            why=why, item=item, at=at, key=key, who=by,
        )  # fmt: skip

    fit_key = f"fit:{fitting.pk}"
    yield draft(
        Move.Why.FIT, record.from_place, at_work, condition, condition, record.fitted_at, fit_key, record.fitted_by
    )
    last = record.edges[-1]
    if last.ended_at is not None and len(record.edges) == record.design.edges:
        used_up = f"used-up:{item.pk}:{item.regrinds_done}"
        yield draft(
            Move.Why.WORN_OUT, at_work, at_work, condition, Condition.SPENT, last.ended_at, used_up, last.ended_by
        )
        condition = Condition.SPENT
    if record.removed_at is None:
        return
    to_place = record.removed_to or spent_at
    spent = to_place.kind == Place.Kind.SPENT or condition == Condition.SPENT
    arrives_as = Condition.SPENT if spent else Condition.PART_USED
    why = _why_out(to_place, spent)
    out_key = f"out:{fitting.pk}"
    yield draft(why, at_work, to_place, condition, arrives_as, record.removed_at, out_key, last.ended_by)


def _why_out(to_place: Place, spent: bool) -> Move.Why:
    if to_place.kind == Place.Kind.REGRIND:
        return Move.Why.REGRIND
    return Move.Why.WORN_OUT if spent else Move.Why.TAKE_OUT


@transaction.atomic
def record_inspections(*, records: Sequence[InspectionRecord], who: Person) -> int:
    """Write down many wear lands that were read earlier; answers how many. The runs must be logged before."""
    minutes: dict[int, float] = {}
    edges = sorted({record.edge.pk for record in records})
    for first in range(0, len(edges), CHUNK):
        held = Edge.objects.select_for_update().filter(pk__in=edges[first : first + CHUNK]).order_by("pk")
        minutes |= dict(held.values_list("pk", "minutes"))
    for record in records:
        _check_inspection(record, minutes[record.edge.pk])
    Inspection.objects.bulk_create(
        [
            Inspection(
                edge=record.edge,
                at_minutes=min(record.at_minutes, minutes[record.edge.pk]),
                wear_land_mm=record.wear_land_mm,
                note=record.note,
                seen_by=record.seen_by,
                seen_at=record.seen_at,
            )
            for record in records
        ],
        batch_size=CHUNK,
    )
    for first in range(0, len(edges), CHUNK):
        Edge.objects.filter(pk__in=edges[first : first + CHUNK]).update(revision=F("revision") + 1)
    if records:
        transaction.on_commit(partial(wake, "forecasts"))
    return len(records)


def _check_inspection(record: InspectionRecord, minutes: float) -> None:
    if not 0 <= record.wear_land_mm <= WIDEST_MM:
        raise BadInput("wear_land_mm", f"A wear land lies from 0 to {WIDEST_MM:g} mm.")
    if not 0 <= record.at_minutes <= minutes + 1e-6:
        raise BadInput(
            "at_minutes",
            f"The edge has {said_minutes(minutes)} minutes in cut so far; log its runs before the inspection.",
        )
    moment(record.seen_at)
