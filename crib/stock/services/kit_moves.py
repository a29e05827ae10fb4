"""Handing out a kit in one act, taking that back, and bringing home what is left of it in one act."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q

from crib.catalogue.models import Design
from crib.core import clock
from crib.core.errors import BadInput, NotAllowed, Refused
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock import selectors
from crib.stock.drafts import MoveDraft, check_quantity
from crib.stock.errors import DesignRetired, ItemNotThere, NobodyThere, NotEnoughOnHand
from crib.stock.kits import MOST_LINES, BackLine, KitActed, share_out
from crib.stock.ledger import without_deadlock
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.records import Kit, KitLine
from crib.stock.services.acts import reverse
from crib.stock.services.bulk import post_moves
from crib.stock.services.kits import keep_for_job, lock_kit
from crib.stock.services.limits import check_allowance, let_out
from crib.stock.services.places import place_of, spent_place

LOOKS = 3
NAMED = 4
OUT, BACK = "out", "back"


@dataclass(frozen=True)
class _Pick:
    design: Design
    condition: str
    place: Place
    quantity: int
    item: Item | None = None


@dataclass(frozen=True)
class _Allowance:
    """Who lets more go out than a limit says, if anybody, and why."""

    by: Person | None
    note: str


def issue_kit(
    *,
    kit: Kit,
    person: Person,
    who: Person,
    key: str,
    pieces: Sequence[Item] = (),
    only_what_is_there: bool = False,
    besides: Collection[int] = (),
    allowed_by: Person | None = None,
    note: str = "",
) -> KitActed:
    """Hand out a kit to `person`: all of it or nothing, or, when asked, what is there; the rest stays kept.

    Bodies and holders are the `pieces` scanned, else the first free ones; `besides` are items built into a tool.
    Pieces kept for jobs that asked before this one are left alone. What goes beyond a limit is let out by `allowed_by`
    alone, who says why in the note.
    """
    check_allowance(allowed_by=allowed_by, note=note)
    allowance = _Allowance(allowed_by, note.strip())

    def act() -> KitActed:
        with transaction.atomic():
            return _issue(lock_kit(kit=kit), person, who, key, pieces, only_what_is_there, besides, allowance)

    return _looking_again(act)


def _looking_again(act: Callable[[], KitActed]) -> KitActed:
    for look in range(1, LOOKS + 1):
        try:
            return without_deadlock(act)
        except (_TakenMeanwhile, ItemNotThere) as taken:
            # Somebody took from these bins after we looked; the next look picks from what is left.
            if look == LOOKS:
                raise NotEnoughOnHand(str(taken), field="kit") from taken
    raise AssertionError("unreachable")


class _TakenMeanwhile(Exception):
    pass


def _issue(
    kit: Kit,
    person: Person,
    who: Person,
    key: str,
    pieces: Sequence[Item],
    only_what_is_there: bool,
    besides: Collection[int],
    allowance: _Allowance,
) -> KitActed:
    done = _done_before(kit, OUT, key)
    if done:
        return KitActed(kit, done, _short_words(kit))
    _may_handle(who, person, "draw")
    _check_taker(kit, person)
    now = [one for one in selectors.kit_lines_now(kit=kit, besides=besides) if one.still]
    if not now:
        raise Refused(f"Kit {kit.pk} was handed out already, all of it.", field="kit")
    retired = next((one.design for one in now if one.design.retired), None)
    if retired is not None:
        raise DesignRetired(f"{retired.code} is retired and no longer handed out. Take it out of the kit.", field="kit")
    short = _short_sentences(now)
    if short and not only_what_is_there:
        raise NotEnoughOnHand(
            f"{' '.join(short[:NAMED])} Nothing was handed out. Hand out what is there, or change the numbers.",
            field="kit",
        )
    picks = _picks(now, pieces, besides)
    if not picks:
        raise NotEnoughOnHand(f"Nothing of kit {kit.pk} is free now. {' '.join(short[:NAMED])}", field="kit")
    moves = _post(kit, picks, person, who, key, allowance)
    _count_issued(kit, moves)
    kit.state, kit.issued_to = Kit.State.ISSUED, person
    kit.issued_at = kit.issued_at or clock.now()
    kit.save(update_fields=["state", "issued_to", "issued_at"])
    keep_for_job(job=kit.job, who=who)
    return KitActed(kit, moves, _short_words(kit))


def _check_taker(kit: Kit, person: Person) -> None:
    if kit.state not in (Kit.State.STAGED, Kit.State.ISSUED):
        raise Refused(f"Kit {kit.pk} is {kit.get_state_display().lower()}. Stage a new one for the job.", field="kit")
    if kit.issued_to_id is not None and kit.issued_to_id != person.pk:
        raise Refused(f"{kit.issued_to} has kit {kit.pk}; the rest of it goes to the same person.", field="person")
    if not person.is_active or person.is_counter:
        raise NobodyThere(f"{person} is nobody who works here. Scan the badge of who takes it.", field="person")


def _may_handle(who: Person, person: Person, act: str) -> None:
    if who.pk == person.pk and who.has_perm("crib.draw_tools"):
        return
    if not who.has_perm("crib.keep_stock"):
        raise NotAllowed(f"Your role lets you {act} for yourself alone, not for {person}.", field="person")


def _short_sentences(now: Sequence[selectors.KitLineNow]) -> list[str]:
    said = []
    for one in now:
        if one.short:
            kept = f" ({one.kept_for})" if one.kept else ""
            where = f" {'; '.join(one.elsewhere)}." if one.elsewhere else ""
            said.append(f"{one.short} {one.design.code} short: {one.free} of {one.still} free{kept}.{where}")
    return said


def _short_words(kit: Kit) -> tuple[str, ...]:
    lines = selectors.lines_of(kit)
    return tuple(f"{one.wanted - one.issued} {one.design.code}" for one in lines if one.wanted > one.issued)


def _picks(now: Sequence[selectors.KitLineNow], pieces: Sequence[Item], besides: Collection[int]) -> list[_Pick]:
    wanted: dict[int, int] = defaultdict(int)
    free: dict[int, int] = {}
    designs = {one.design.pk: one.design for one in now}
    for one in now:
        wanted[one.design.pk] += one.still
        free.setdefault(one.design.pk, one.free)
    picks = []
    for item in pieces:
        picks.append(_scanned(item, wanted))
        wanted[item.design_id] -= item.pieces
        free[item.design_id] = free.get(item.design_id, 0) - item.pieces
    taken = {item.pk for item in pieces} | set(besides)
    for number, design in designs.items():
        missing = max(min(wanted[number], free[number]), 0)
        loose = [] if design.kept_as_items else _loose(design, missing)
        picks += loose
        missing -= sum(pick.quantity for pick in loose)
        picks += _labelled(design, missing, taken)
    return picks


def _scanned(item: Item, wanted: dict[int, int]) -> _Pick:
    if wanted.get(item.design_id, 0) < item.pieces:
        raise Refused(
            f"{item.label} ({item.design.code}) is more than this kit wants. Put it back, or change the kit.",
            field="pieces",
        )
    if item.place.kind not in Place.ON_HAND or item.condition == Condition.SPENT:
        raise Refused(f"{selectors.item_whereabouts(item)} Take one that lies in the crib.", field="pieces")
    return _Pick(item.design, item.condition, item.place, item.pieces, item)


def _loose(design: Design, missing: int) -> list[_Pick]:
    picks = []
    for row in selectors.shelves(design=design, quantity=missing) if missing else ():
        count = min(missing, row.quantity - row.labelled)
        if count:
            picks.append(_Pick(design, row.condition, row.place, count))
            missing -= count
    return picks


def _labelled(design: Design, missing: int, taken: Collection[int]) -> list[_Pick]:
    """The first free labelled pieces, those in the design's own bin before others."""
    if missing <= 0:
        return []
    here = Item.objects.filter(
        design=design, place__kind__in=Place.ON_HAND, condition__in=selectors.USABLE, place__retired_at=None
    ).exclude(pk__in=taken)
    picks = []
    for item in sorted(
        here.select_related("place", "design"), key=lambda one: (one.place.home_of_id != design.pk, one.pk)
    ):
        if item.pieces <= missing:
            picks.append(_Pick(design, item.condition, item.place, item.pieces, item))
            missing -= item.pieces
    return picks


def _post(
    kit: Kit, picks: Sequence[_Pick], person: Person, who: Person, key: str, allowance: _Allowance
) -> tuple[Move, ...]:
    mark, to_place = _mark(kit, OUT, key), place_of(person=person)
    drawn: dict[int, int] = defaultdict(int)
    for pick in picks:
        drawn[pick.design.pk] += pick.quantity
    over = let_out(drawn=drawn, person=person, job=kit.job, allowed_by=allowance.by)
    drafts = [
        MoveDraft(
            design=pick.design,
            quantity=pick.quantity,
            from_place=pick.place,
            to_place=to_place,
            condition=pick.condition,
            why=Move.Why.CHECK_OUT,
            item=pick.item,
            job=kit.job,
            key=f"{mark}{number}",
            allowed_by=allowance.by if pick.design.pk in over else None,
            note=allowance.note if pick.design.pk in over else "",
            document=kit.document,
        )
        for number, pick in enumerate(picks, start=1)
    ]
    try:
        return tuple(post_moves(drafts=drafts, who=who))
    except NotEnoughOnHand as short:
        raise _TakenMeanwhile(short.sentence) from short


def _count_issued(kit: Kit, moves: Sequence[Move]) -> None:
    lines = _by_design(kit)
    for move in moves:
        share_out(lines[move.design_id], move.quantity, taken="issued", most="wanted")
    _keep_counts(lines, "issued")


def _by_design(kit: Kit) -> dict[int, list[KitLine]]:
    lines: dict[int, list[KitLine]] = defaultdict(list)
    for line in selectors.lines_of(kit):
        lines[line.design_id].append(line)
    return lines


def _keep_counts(lines: dict[int, list[KitLine]], *names: str) -> None:
    KitLine.objects.bulk_update([line for own in lines.values() for line in own], names)


def _mark(kit: Kit, act: str, key: str) -> str:
    """What the keys of one act's moves begin with: the client's key may be longer than a move's."""
    if not key:
        raise BadInput("key", "This act needs a key, so that the same tap sent twice counts once.")
    return f"kit:{kit.pk}:{act}:{hashlib.sha256(key.encode()).hexdigest()[:24]}:"


def _done_before(kit: Kit, act: str, key: str) -> tuple[Move, ...]:
    found = Move.objects.filter(key__startswith=_mark(kit, act, key))
    return tuple(found.select_related("design", "item", "from_place", "to_place").order_by("pk"))


@transaction.atomic
def undo_kit(*, kit: Kit, who: Person) -> KitActed:
    """Take the handing out of a kit back in one act, as long as all of it is still with the person."""
    kit = lock_kit(kit=kit)
    if kit.state == Kit.State.STAGED:
        return KitActed(kit)
    if kit.state != Kit.State.ISSUED or kit.issued_to is None:
        raise Refused(f"Kit {kit.pk} is {kit.get_state_display().lower()}, so there is nothing to undo.", field="kit")
    _may_handle(who, kit.issued_to, "undo")
    if Kit.objects.filter(job=kit.job, state=Kit.State.STAGED).exists():
        raise Refused(f"Another kit is staged for {kit.job.code}. Drop that one first.", field="kit")
    out = Q(reversed_by=None, reverses=None)
    moves = tuple(
        reverse(move=move, who=who, key=f"undo:{move.pk}", note=f"kit {kit.pk} undone", document=move.document)
        for move in selectors.moves_of_kit(kit=kit, act=OUT).filter(out).order_by("pk")
    )
    kit.lines.update(issued=0, came_back=0)
    kit.state, kit.issued_to, kit.issued_at = Kit.State.STAGED, None, None
    kit.save(update_fields=["state", "issued_to", "issued_at"])
    keep_for_job(job=kit.job, who=who)
    record_change(who=who, what="kit", which=str(kit.pk), act="undone", details={"moves": len(moves)})
    return KitActed(kit, moves)


def return_kit(*, kit: Kit, lines: Sequence[BackLine], who: Person, key: str) -> KitActed:
    """Bring home in one act what is left of a kit, all lines or none, and end it.

    What is not named stays with the person and is seen under who has what.
    """

    def act() -> KitActed:
        with transaction.atomic():
            return _return(lock_kit(kit=kit), lines, who, key)

    return without_deadlock(act)


def _return(kit: Kit, lines: Sequence[BackLine], who: Person, key: str) -> KitActed:
    done = _done_before(kit, BACK, key)
    if done or (kit.state == Kit.State.BACK and not lines):
        return KitActed(kit, done)
    if kit.state != Kit.State.ISSUED or kit.issued_to is None:
        raise Refused(f"Kit {kit.pk} is {kit.get_state_display().lower()}; nobody holds it.", field="kit")
    _may_handle(who, kit.issued_to, "bring back")
    own = _by_design(kit)
    drafts = _back_drafts(kit, lines, own, key)
    moves = tuple(post_moves(drafts=drafts, who=who)) if drafts else ()
    for move in moves:
        if move.becomes != Condition.SPENT:
            share_out(own[move.design_id], move.quantity, taken="came_back", most="issued")
    _keep_counts(own, "came_back")
    kit.state, kit.ended_at = Kit.State.BACK, clock.now()
    kit.save(update_fields=["state", "ended_at"])
    keep_for_job(job=kit.job, who=who)
    return KitActed(kit, moves)


def _back_drafts(kit: Kit, lines: Sequence[BackLine], own: dict[int, list[KitLine]], key: str) -> list[MoveDraft]:
    assert kit.issued_to is not None  # asked before
    if len(lines) > MOST_LINES:
        raise BadInput("lines", f"At most {MOST_LINES} lines come back in one act.")
    mark, held = _mark(kit, BACK, key), place_of(person=kit.issued_to)
    homes = selectors.homes_for(designs=list(own))
    drafts = []
    for number, line in enumerate(lines, start=1):
        if line.design.pk not in own:
            raise Refused(
                f"{line.design.code} is no part of kit {kit.pk}. Bring it back at the counter.", field="lines"
            )
        check_quantity(line.quantity)
        to_place = line.to_place or (spent_place() if line.becomes == Condition.SPENT else homes.get(line.design.pk))
        if to_place is None:
            raise Refused(f"{line.design.code} has no bin yet. Name the bin.", field="to_place")
        if to_place.kind not in (*Place.ON_HAND, Place.Kind.SPENT):
            raise BadInput("to_place", f"{to_place.code} is no place in the crib. Choose a bin, cabinet or crib.")
        drafts.append(
            MoveDraft(
                design=line.design,
                quantity=line.quantity,
                from_place=held,
                to_place=to_place,
                condition=line.condition,
                becomes=line.becomes,
                why=Move.Why.TAKE_BACK,
                item=line.item,
                job=kit.job,
                key=f"{mark}{number}",
                document=kit.document,
            )
        )
    return drafts
