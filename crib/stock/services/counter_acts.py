"""What one answered scan of a thing does: hand it out or bring it back, from the right bin and into the right one."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta

from django.db import transaction

from crib.catalogue.models import Design, Job
from crib.core import clock
from crib.core.errors import NotAllowed, Refused
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.counter import BACK_MODES, BACK_PART_USED, BACK_SPENT, BY_ITSELF, CounterState, Line
from crib.stock.errors import NotEnoughOnHand
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.services.acts import check_out, reverse, take_back
from crib.stock.services.places import spent_place

KEY_PREFIX = "counter:"
WITH = ("design", "item", "item__design", "from_place__person", "to_place__person", "job", "who", "allowed_by")
# A job that is scanned later than this is for what comes next, not for what was drawn before it.
TURN = timedelta(minutes=5)


@dataclass(frozen=True)
class Allowance:
    """Somebody who may let more go out than a limit says, and why."""

    by: Person
    reason: str


@dataclass(frozen=True)
class Asked:
    """A thing that somebody takes or brings: how many, which way, and under which key."""

    thing: Design | Item
    quantity: int
    mode: str
    key: str


def keeps_stock(*, person: Person) -> bool:
    """Whether somebody acts for others at the counter."""
    return person.has_perm("crib.keep_stock")


def may_allow_more(*, person: Person) -> bool:
    """Whether somebody may let more go out than a limit says."""
    return person.has_perm("crib.allow_more")


def drawn_lately(*, moves: Collection[int]) -> list[int]:
    """Those of the hand-outs that a job scanned last can still be meant for."""
    lately = Move.objects.filter(pk__in=moves, at__gt=clock.now() - TURN)
    return list(lately.order_by("pk").values_list("pk", flat=True))


def need_draw(*, person: Person) -> None:
    """Refuse whose role draws nothing."""
    if not (person.has_perm("crib.draw_tools") or keeps_stock(person=person)):
        raise NotAllowed(f"The role of {person} does not draw tools. Ask the attendant.", field="person")


def made_before(*, key: str) -> Move | None:
    """The move that a scan with this key has made, with everything a sentence about it names."""
    return Move.objects.filter(key=KEY_PREFIX + key).select_related(*WITH).first()


def move_thing(
    *, state: CounterState, asked: Asked, person: Person, acting: Person, allowance: Allowance | None = None
) -> Move:
    """Hand the thing out to the person, or bring it back, as the counter stands."""
    need_draw(person=acting)
    item = asked.thing if isinstance(asked.thing, Item) else None
    held = item is not None and item.place.kind == Place.Kind.PERSON
    if asked.mode in BACK_MODES or (asked.mode == BY_ITSELF and held):
        move = _bring_back(state, asked, person, acting)
    else:
        move = _give_out(state, asked, person, acting, allowance)
    return Move.objects.select_related(*WITH).get(pk=move.pk)


@transaction.atomic
def write_for_job(*, move: Move, job: Job, acting: Person, key: str) -> Move:
    """Write a hand-out down for a job that was scanned after it: the first line is reversed and posted anew."""
    person = move.to_place.person
    assert person is not None
    reverse(move=move, who=acting, key=f"{KEY_PREFIX}{key}:off:{move.pk}", note=f"written down for job {job.code}")
    anew = check_out(
        design=move.design,
        quantity=move.quantity,
        person=person,
        from_place=move.from_place,
        who=acting,
        key=f"{KEY_PREFIX}{key}:on:{move.pk}",
        condition=move.condition,
        job=job,
        item=move.item,
        allowed_by=move.allowed_by,
        note=move.note,
    )
    return Move.objects.select_related(*WITH).get(pk=anew.pk)


def _give_out(state: CounterState, asked: Asked, person: Person, acting: Person, allowance: Allowance | None) -> Move:
    if isinstance(asked.thing, Item):
        design, item, condition = asked.thing.design, asked.thing, asked.thing.condition
        place, quantity = _place_of_item(asked.thing), asked.thing.pieces
    else:
        design, item, quantity = asked.thing, None, asked.quantity
        place, condition = _shelf(state, asked.thing, quantity)
    return check_out(
        design=design,
        quantity=quantity,
        person=person,
        from_place=place,
        who=acting,
        key=KEY_PREFIX + asked.key,
        condition=condition,
        item=item,
        job=_job_now(state),
        allowed_by=allowance.by if allowance else None,
        note=allowance.reason if allowance else "",
    )


def _place_of_item(item: Item) -> Place:
    if item.place.kind not in Place.ON_HAND:
        where = selectors.item_whereabouts(item)
        raise Refused(f"{where} It has to come back to the crib before it is handed out.", field="item")
    return item.place


def _shelf(state: CounterState, design: Design, quantity: int) -> tuple[Place, str]:
    if state.place is not None:
        place = Place.objects.get(pk=state.place)
        return place, selectors.condition_to_take(design, place)
    shelf = selectors.shelf_for(design=design, quantity=quantity)
    if shelf is not None:
        return shelf.place, shelf.condition
    if design.retired or design.kept_as_items:
        # The act itself knows the better sentence.
        return selectors.home_for(design) or _no_bin(design), Condition.NEW
    raise NotEnoughOnHand(
        f"There is no {design.code} left in the crib. {selectors.where_else(design=design)}", field="quantity"
    )


def _bring_back(state: CounterState, asked: Asked, person: Person, acting: Person) -> Move:
    item = asked.thing if isinstance(asked.thing, Item) else None
    design = asked.thing.design if isinstance(asked.thing, Item) else asked.thing
    quantity = item.pieces if item is not None else asked.quantity
    condition = {BACK_PART_USED: Condition.PART_USED, BACK_SPENT: Condition.SPENT}.get(asked.mode)
    if condition is None:
        condition = Condition(item.condition if item else selectors.held_condition(design, person))
    return take_back(
        design=design,
        quantity=quantity,
        person=person,
        to_place=_bin_for(state, design, condition),
        who=acting,
        key=KEY_PREFIX + asked.key,
        condition=condition,
        item=item,
        job=_job_now(state),
    )


def _bin_for(state: CounterState, design: Design, condition: str) -> Place:
    if state.place is not None:
        return Place.objects.get(pk=state.place)
    if condition == Condition.SPENT:
        return spent_place()
    return selectors.home_for(design) or _no_bin(design)


def _job_now(state: CounterState) -> Job | None:
    return None if state.job is None else Job.objects.filter(pk=state.job).first()


def _no_bin(design: Design) -> Place:
    raise Refused(f"{design.code} has no bin yet. Scan the bin first.", field="place")


def line_of(*, key: str, move: Move) -> Line:
    """The line of the running list that says what a move did."""
    what = f"{move.design.code} {move.item.label}" if move.item else f"{move.quantity} × {move.design.code}"
    kind = "" if move.becomes == Condition.NEW else f" ({Condition(move.becomes).label.lower()})"
    job = f" · job {move.job.code}" if move.job else ""
    if move.why == Move.Why.TAKE_BACK:
        left = f"from {move.from_place.person or move.from_place.name}"
        return Line(key, "good", f"{what}{kind} → {move.to_place.code}", f"Brought back {left}{job}", move.pk)
    taker = move.to_place.person or move.to_place.name
    left = f"from {move.from_place.code} · {selectors.on_hand(design=move.design)} left in the crib"
    kept = selectors.kept_for_others(design=move.design, job=move.job)
    warning = f" · {kept}" if kept else ""
    allowed = f" · beyond the limit, allowed by {move.allowed_by}" if move.allowed_by else ""
    return Line(key, "good", f"{what}{kind} → {taker}", f"Handed out {left}{job}{allowed}{warning}", move.pk)
