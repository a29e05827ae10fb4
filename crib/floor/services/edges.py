"""Ending an edge with what became of it, turning to the next, and looking at the wear of one at work."""

from __future__ import annotations

import math
from datetime import datetime
from functools import partial

from django.db import transaction
from django.db.models import F

from crib.core import clock
from crib.core.errors import BadInput
from crib.core.wake import wake
from crib.floor.errors import EdgeEnded, EdgeStillInUse, NoFreshEdge, NothingFitted, OddReading
from crib.floor.grinds import edges_now
from crib.floor.hands import carry
from crib.floor.models import Edge, Fitting, Inspection
from crib.floor.moments import moment
from crib.floor.odd_wear import ASSUMED_GAUGE_MM, question
from crib.floor.run_checks import said_minutes, said_time
from crib.floor.selectors import operation_now
from crib.people.models import Person
from crib.stock.models import Condition, Item, Move

# Beyond it a number is a slip or in the wrong unit, however often somebody looked.
LARGEST_WEAR_MM = 10.0
LONGEST_NOTE = 200


@transaction.atomic
def end_edge(
    *,
    edge: Edge,
    outcome: str,
    who: Person,
    wear_land_mm: float | None = None,
    note: str = "",
    at: datetime | None = None,
    looked_twice: bool = False,
) -> Edge:
    """Write down why an edge came off; with its last edge the whole item is spent.

    A wear land that is odd beside those seen before is refused until somebody has looked twice; it is then kept among
    them, marked.
    """
    # Held first and read after: joined to a row that was waited for, the item would be as it was before.
    Edge.objects.select_for_update().get(pk=edge.pk)
    edge = Edge.objects.select_related("item__design", "item__place").get(pk=edge.pk)
    if edge.state == Edge.State.ENDED:
        when = f" at {said_time(edge.ended_at)}" if edge.ended_at else ""
        raise EdgeEnded(
            f"Edge {edge.number} of {edge.item.label} came off already{when} ({edge.get_outcome_display().lower()}).",
            field="edge",
        )
    if edge.state == Edge.State.FRESH:
        raise EdgeEnded(
            f"Edge {edge.number} of {edge.item.label} has not been in use, so it cannot come off.", field="edge"
        )
    if outcome not in Edge.Outcome.values:
        raise BadInput("outcome", f"Say why it came off: {', '.join(Edge.Outcome.values)}.")
    _check_wear(wear_land_mm)
    after, what = edge.put_in_at, "it came in use"
    if edge.last_run_ended_at is not None and (after is None or edge.last_run_ended_at > after):
        after, what = edge.last_run_ended_at, "its last run ended"
    edge.ended_at = moment(at, after=after, what=what)
    _question_at_the_end(edge, wear_land_mm, who=who, looked_twice=looked_twice)
    edge.state, edge.outcome, edge.wear_land_mm = Edge.State.ENDED, outcome, wear_land_mm
    edge.end_note = checked_note(note=note)
    edge.ended_by = who
    edge.revision += 1
    edge.save(update_fields=["state", "outcome", "wear_land_mm", "end_note", "ended_at", "ended_by", "revision"])
    _spend_when_used_up(edge.item, who=who, at=edge.ended_at)
    transaction.on_commit(partial(wake, "forecasts"))
    return edge


def _spend_when_used_up(item: Item, *, who: Person, at: datetime) -> None:
    if item.condition == Condition.SPENT or edges_now(item).exclude(state=Edge.State.ENDED).exists():
        return
    key = f"used-up:{item.pk}:{item.regrinds_done}"
    carry(item, item.place, who=who, key=key, at=at, why=Move.Why.WORN_OUT, becomes=Condition.SPENT)


def _question_at_the_end(edge: Edge, wear_land_mm: float | None, *, who: Person, looked_twice: bool) -> None:
    if wear_land_mm is None:
        return
    odd = _odd(edge, wear_land_mm, edge.minutes, ASSUMED_GAUGE_MM)
    if odd is not None and not looked_twice:
        raise odd
    if odd is not None:
        Inspection.objects.create(
            edge=edge,
            at_minutes=edge.minutes,
            wear_land_mm=wear_land_mm,
            looked_twice=True,
            note="When it came off.",
            seen_by=who,
            seen_at=edge.ended_at or clock.now(),
        )


def _odd(edge: Edge, wear_land_mm: float, at_minutes: float, gauge_mm: float) -> OddReading | None:
    """What is odd about a reading beside the tip and the edge's others; none when nothing is."""
    try:
        question(
            design=edge.item.design,
            wear_land_mm=wear_land_mm,
            at_minutes=at_minutes,
            before=edge.inspections.all(),
            gauge_mm=gauge_mm,
        )
    except OddReading as odd:
        return odd
    return None


def _check_wear(wear_land_mm: float | None) -> None:
    if wear_land_mm is None:
        return
    if not math.isfinite(wear_land_mm) or wear_land_mm < 0:
        raise BadInput("wear_land_mm", "The wear land is 0 mm or more; leave it empty if it was not measured.")
    if wear_land_mm > LARGEST_WEAR_MM:
        raise BadInput(
            "wear_land_mm",
            f"A wear land of {wear_land_mm:g} mm cannot be; 0.3 mm is common. Check the number and its unit.",
        )


def checked_note(*, note: str) -> str:
    """The note as it is kept; refused where it is too long."""
    note = note.strip()
    if len(note) > LONGEST_NOTE:
        raise BadInput("note", f"A note has at most {LONGEST_NOTE} characters.")
    return note


@transaction.atomic
def turn_edge(*, edge: Edge, who: Person, at: datetime | None = None) -> Edge:
    """Put the next fresh edge of the same item in use, and answer it; the one before must have come off."""
    # Held first and the item read after: joined to rows that were waited for, it would be as it was before.
    edges = list(Edge.objects.select_for_update().filter(item=edge.item_id).order_by("pk"))
    item = Item.objects.get(pk=edge.item_id)
    if edge.grind != item.regrinds_done:
        raise NoFreshEdge(
            f"{item.label} was reground since; this edge is gone. Fit it again, and a new edge comes in use.",
            field="edge",
        )
    edges = [one for one in edges if one.grind == item.regrinds_done]
    working = next((one for one in edges if one.state == Edge.State.IN_USE), None)
    if working is not None:
        raise EdgeStillInUse(
            f"Edge {working.number} of {item.label} is still in use; say first why it came off.", field="edge"
        )
    fresh = [one for one in edges if one.state == Edge.State.FRESH]
    if not fresh:
        raise NoFreshEdge(f"{item.label} has no fresh edge left; fit a new tip.", field="edge")
    fitting = Fitting.objects.filter(item=item, removed_at=None).first()
    if fitting is None:
        raise NothingFitted(
            f"{item.label} is not fitted in any assembly; fit it, and its next edge comes in use.", field="edge"
        )
    last_end = max((one.ended_at for one in edges if one.ended_at), default=fitting.fitted_at)
    # Clockwise from the one that came off, as a hand turns it.
    after = [one for one in fresh if one.number > edge.number]
    chosen = min(after or fresh, key=lambda one: one.number)
    chosen.state = Edge.State.IN_USE
    chosen.put_in_at = moment(at, after=max(last_end, fitting.fitted_at), what="the edge before it came off")
    chosen.operation = operation_now(fitting) or edges[[one.pk for one in edges].index(edge.pk)].operation
    chosen.revision += 1
    chosen.save(update_fields=["state", "put_in_at", "operation", "revision"])
    transaction.on_commit(partial(wake, "forecasts"))
    return chosen


@transaction.atomic
def end_and_turn(
    *,
    edge: Edge,
    outcome: str,
    who: Person,
    wear_land_mm: float | None = None,
    note: str = "",
    at: datetime | None = None,
    looked_twice: bool = False,
) -> tuple[Edge, Edge]:
    """End an edge and put the next one in use, both or neither."""
    ended = end_edge(
        edge=edge, outcome=outcome, who=who, wear_land_mm=wear_land_mm, note=note, at=at, looked_twice=looked_twice
    )
    return ended, turn_edge(edge=ended, who=who, at=at)


@transaction.atomic
def record_inspection(
    *,
    edge: Edge,
    wear_land_mm: float,
    who: Person,
    at_minutes: float | None = None,
    note: str = "",
    at: datetime | None = None,
    looked_twice: bool = False,
    gauge_mm: float = ASSUMED_GAUGE_MM,
) -> Inspection:
    """Write down the wear land seen on an edge, at its minutes so far unless an earlier point is given.

    A reading that can hardly be is refused until somebody has looked twice; it is then kept, marked. `gauge_mm` is the
    standard deviation of a reading.
    """
    edge = Edge.objects.select_for_update(of=("self",)).select_related("item__design").get(pk=edge.pk)
    if edge.state == Edge.State.FRESH:
        raise BadInput("edge", f"Edge {edge.number} of {edge.item.label} has not been in use; there is no wear to see.")
    _check_wear(wear_land_mm)
    at_minutes = edge.minutes if at_minutes is None else at_minutes
    if not math.isfinite(at_minutes) or at_minutes < 0:
        raise BadInput("at_minutes", "The minutes at which it was seen are 0 or more.")
    if at_minutes > edge.minutes + 1e-6:
        raise BadInput(
            "at_minutes",
            f"The edge has {said_minutes(edge.minutes)} minutes in cut so far; log its runs before the inspection.",
        )
    odd = _odd(edge, wear_land_mm, at_minutes, gauge_mm)
    if odd is not None and not looked_twice:
        raise odd
    seen_at = moment(at, after=edge.put_in_at, what="it came in use")
    seen = Inspection.objects.create(
        edge=edge,
        at_minutes=min(at_minutes, edge.minutes),
        wear_land_mm=wear_land_mm,
        looked_twice=odd is not None,
        note=checked_note(note=note),
        seen_by=who,
        seen_at=seen_at,
    )
    Edge.objects.filter(pk=edge.pk).update(revision=F("revision") + 1)
    transaction.on_commit(partial(wake, "forecasts"))
    return seen
