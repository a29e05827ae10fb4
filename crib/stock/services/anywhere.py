"""Handing out and bringing back without naming a bin: the crib finds where enough lies and where a piece belongs."""

from __future__ import annotations

from django.db import transaction

from crib.catalogue.models import Design, Job
from crib.core.errors import KeyAlreadyUsed, Refused
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.drafts import check_quantity
from crib.stock.errors import NotEnoughOnHand
from crib.stock.models import Balance, Condition, Item, Move, Place
from crib.stock.services.acts import check_out, take_back
from crib.stock.services.limits import check_allowance, exceed_limits
from crib.stock.services.places import spent_place

LOOKS = 3


def check_out_anywhere(
    *,
    design: Design,
    quantity: int,
    person: Person,
    who: Person,
    key: str,
    condition: str | None = None,
    job: Job | None = None,
    item: Item | None = None,
    from_place: Place | None = None,
    allowed_by: Person | None = None,
    note: str = "",
) -> list[Move]:
    """Hand out from the named bin, or else from as many bins as it takes: all of it or nothing."""
    done = _moves_before(design, quantity, person, key)
    if done:
        return done
    check_quantity(quantity)
    if item is not None or from_place is not None:
        place = from_place or (item.place if item is not None else None)
        assert place is not None
        left_as = condition or (item.condition if item is not None else selectors.condition_to_take(design, place))
        move = check_out(
            design=design, quantity=quantity, person=person, from_place=place, who=who, key=key, condition=left_as,
            job=job, item=item, allowed_by=allowed_by, note=note,
        )  # fmt: skip
        return [move]
    for look in range(1, LOOKS + 1):
        try:
            return _from_shelves(design, quantity, person, who, key, condition, job, allowed_by, note)
        except NotEnoughOnHand:
            # Somebody took from one of these bins after we looked; the next look plans with what is left.
            if look == LOOKS or selectors.on_hand(design=design) < quantity:
                raise
    raise AssertionError("unreachable")


@transaction.atomic
def _from_shelves(
    design: Design,
    quantity: int,
    person: Person,
    who: Person,
    key: str,
    condition: str | None,
    job: Job | None,
    allowed_by: Person | None,
    note: str,
) -> list[Move]:
    check_allowance(allowed_by=allowed_by, note=note)
    # Asked for the whole before it is split, so that the refusal names what was asked for.
    exceed_limits(
        limits=selectors.limits_of(design=design), quantity=quantity, person=person, job=job, allowed_by=allowed_by
    )
    return [
        check_out(
            design=design,
            quantity=count,
            person=person,
            from_place=row.place,
            who=who,
            key=key if number == 1 else f"{key}#{number}",
            condition=row.condition,
            job=job,
            allowed_by=allowed_by,
            note=note,
        )
        for number, (row, count) in enumerate(_picked(design, quantity, condition), start=1)
    ]


def _picked(design: Design, quantity: int, condition: str | None) -> list[tuple[Balance, int]]:
    """How many are taken from which bin; of what is never handed out loose, the bin of which `check_out` says why."""
    picked: list[tuple[Balance, int]] = []
    missing = quantity
    for row in selectors.shelves(design=design, quantity=quantity, condition=condition):
        count = min(missing, row.quantity - row.labelled)
        if count:
            picked.append((row, count))
            missing -= count
    if not missing:
        return picked
    if design.retired or design.kept_as_items:
        home = selectors.home_for(design) or _no_bin(design)
        return [(Balance(design=design, place=home, condition=condition or Condition.NEW), quantity)]
    held = quantity - missing
    raise NotEnoughOnHand(
        f"There {'is' if held == 1 else 'are'} {f'only {held}' if held else 'no'} {design.code} in the crib; "
        f"{quantity} asked for. {selectors.where_else(design=design)}",
        field="quantity",
    )


def _moves_before(design: Design, quantity: int, person: Person, key: str) -> list[Move]:
    """The moves that this key made before; refused when they were about something else."""
    first = Move.objects.filter(key=key).select_related("design", "to_place").first()
    if first is None:
        return []
    moves = [first]
    while (following := Move.objects.filter(key=f"{key}#{len(moves) + 1}").first()) is not None:
        moves.append(following)
    same = (first.design_id, first.to_place.person_id) == (design.pk, person.pk)
    if not same or first.why != Move.Why.CHECK_OUT or sum(move.quantity for move in moves) != quantity:
        raise KeyAlreadyUsed("This key came before with another move in it. Send a new key for new work.", field="key")
    return moves


def take_back_home(
    *,
    design: Design,
    quantity: int,
    person: Person,
    who: Person,
    key: str,
    condition: str | None = None,
    job: Job | None = None,
    item: Item | None = None,
    to_place: Place | None = None,
) -> Move:
    """Bring back to the named bin, or else to the design's own; spent edges go to the spent box."""
    if item is not None and item.place.person is not None:
        # Whoever brings it, it comes off the list of the one who holds it.
        person = item.place.person
    done = Move.objects.filter(key=key).select_related("to_place").first()
    if done is not None:
        condition, to_place = condition or done.becomes, to_place or done.to_place
    left_as = item.condition if item is not None else selectors.held_condition(design, person)
    now = condition or left_as
    place = to_place
    if place is None:
        place = spent_place() if now == Condition.SPENT else selectors.home_for(design) or _no_bin(design)
    return take_back(
        design=design, quantity=quantity, person=person, to_place=place, who=who, key=key, condition=now, item=item,
        job=job,
    )  # fmt: skip


def _no_bin(design: Design) -> Place:
    raise Refused(f"{design.code} has no bin yet. Name the bin.", field="place")
