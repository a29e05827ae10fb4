"""What people and machines hold changes hands, is lost, turns up again, or comes back all at once.

It stands above the stock because what sits in a built tool moves with that tool alone.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from django.db import transaction

from crib.catalogue.models import Design, Job
from crib.core.errors import BadInput, NotAllowed, Refused
from crib.floor.models import Assembly, Fitting
from crib.people.models import Person
from crib.people.services import retire_person
from crib.stock import selectors
from crib.stock.drafts import MoveDraft, check_quantity, done_before
from crib.stock.errors import KeyAlreadyUsed, NobodyThere, NotEnoughOnHand
from crib.stock.models import Balance, Item, Move, Place
from crib.stock.services import difference_place, take_back_home, transfer

HOLDERS = (Place.Kind.PERSON, Place.Kind.MACHINE)
SAID_AT_MOST = 3


@transaction.atomic
def hand_on(
    *,
    design: Design,
    quantity: int,
    from_place: Place,
    to_place: Place,
    who: Person,
    key: str,
    item: Item | None = None,
    condition: str | None = None,
    job: Job | None = None,
    note: str = "",
) -> Move:
    """Pass what one person or machine holds to another, which holds it from now on."""
    _holder(from_place, field="from_place")
    _holder(to_place, field="to_place")
    draft = MoveDraft(
        design=design, quantity=quantity, from_place=from_place, to_place=to_place, item=item, job=job,
        note=note.strip(), key=key, why=Move.Why.TRANSFER,
    )  # fmt: skip
    if (done := _done(draft)) is not None:
        return done
    if from_place.person_id not in (None, who.pk) and not who.has_perm("crib.keep_stock"):
        raise NotAllowed(
            f"Your role lets you hand on what you hold yourself, not what {from_place.person} holds.",
            field="from_place",
        )
    if to_place.person is not None and not to_place.person.is_active:
        raise NobodyThere(f"{to_place.person} no longer works here. Scan the badge of who takes it.", field="to_place")
    _not_built_in(item)
    held_as = _held_as(draft, condition)
    return transfer(
        design=design, quantity=quantity, from_place=from_place, to_place=to_place, who=who, key=key, item=item,
        job=job, note=note.strip(), condition=held_as,
    )  # fmt: skip


@transaction.atomic
def write_lost(
    *,
    design: Design,
    quantity: int,
    from_place: Place,
    note: str,
    who: Person,
    key: str,
    item: Item | None = None,
    condition: str | None = None,
) -> Move:
    """Take off the books what cannot be found, with the reason; it may be found again."""
    note = note.strip()
    if not note:
        raise BadInput("note", "Say how it was lost: it is read when the same happens again.")
    if from_place.may_go_negative:
        raise BadInput(
            "from_place", f"{from_place.code} holds nothing that could be lost. Name who had it, or the bin."
        )
    lost = difference_place()
    draft = MoveDraft(
        design=design, quantity=quantity, from_place=from_place, to_place=lost, item=item, note=note, key=key,
        why=Move.Why.LOST,
    )  # fmt: skip
    if (done := _done(draft)) is not None:
        return done
    _not_built_in(item)
    held_as = _held_as(draft, condition)
    return transfer(
        design=design, quantity=quantity, from_place=from_place, to_place=lost, who=who, key=key, item=item, note=note,
        condition=held_as, why=Move.Why.LOST,
    )  # fmt: skip


@transaction.atomic
def find_again(*, lost: Move, to_place: Place, who: Person, key: str, quantity: int | None = None) -> Move:
    """Put back what was written lost, or so many of it; never more than was lost."""
    # The line itself is never locked or changed; two who find the same thing meet at its design.
    Design.objects.select_for_update().get(pk=lost.design_id)
    count = lost.quantity if quantity is None else quantity
    draft = MoveDraft(
        design=lost.design, quantity=count, from_place=lost.to_place, to_place=to_place, item=lost.item, key=key,
        condition=lost.becomes, why=Move.Why.FOUND, note=selectors.found_note(lost),
    )  # fmt: skip
    if (done := done_before(draft)) is not None:
        return done
    check_quantity(count)
    if lost.why != Move.Why.LOST:
        raise Refused(f"Move {lost.pk} wrote nothing lost. Choose one of the lines that did.", field="move")
    if Move.objects.filter(reverses=lost).exists():
        raise Refused(f"Move {lost.pk} was reversed: it never was lost.", field="move")
    if to_place.kind not in Place.ON_HAND:
        raise BadInput("to_place", f"{to_place.code} is no place in the crib. Choose a bin, cabinet or crib.")
    left = lost.quantity - selectors.found_of(lost)
    if count > left:
        raise Refused(f"Of what move {lost.pk} wrote lost {left} may still turn up, not {count}.", field="quantity")
    item = Item.objects.select_related("design", "place").get(pk=lost.item_id) if lost.item_id else None
    return transfer(
        design=lost.design, quantity=count, from_place=lost.to_place, to_place=to_place, who=who, key=key, item=item,
        condition=lost.becomes, why=Move.Why.FOUND, note=selectors.found_note(lost),
    )  # fmt: skip


@transaction.atomic
def take_all_back(*, person: Person, who: Person, key: str) -> list[Move]:
    """Bring back everything that a person holds, each to its own bin as it left: all of it or nothing."""
    if moves := _moves_before(person, key):
        return moves
    for held in selectors.held_of(person=person):
        for item in held.items:
            _not_built_in(item)
            item.place = held.place
            moves.append(
                take_back_home(
                    design=held.design, quantity=item.pieces, person=person, who=who, item=item, key=f"{key}/I{item.pk}"
                )
            )
        if held.loose:
            moves.append(
                take_back_home(
                    design=held.design, quantity=held.loose, person=person, who=who, condition=held.condition,
                    key=f"{key}/{held.design.pk}{held.condition}",
                )
            )  # fmt: skip
    return moves


@transaction.atomic
def write_all_lost(*, person: Person, note: str, who: Person, key: str) -> list[Move]:
    """Write lost everything that a person still holds, each with the same reason."""
    if moves := _moves_before(person, key):
        return moves
    for held in selectors.held_of(person=person):
        lose = partial(write_lost, design=held.design, from_place=held.place, note=note, who=who)
        for item in held.items:
            moves.append(lose(quantity=item.pieces, item=item, key=f"{key}/I{item.pk}"))
        if held.loose:
            loose_key = f"{key}/{held.design.pk}{held.condition}"
            moves.append(lose(quantity=held.loose, condition=held.condition, key=loose_key))
    return moves


def _moves_before(person: Person, key: str) -> list[Move]:
    """What this key did to all that a person held; refused when it was another person."""
    moves = list(Move.objects.filter(key__startswith=f"{key}/").select_related("from_place").order_by("pk"))
    if any(move.from_place.person_id != person.pk for move in moves):
        raise KeyAlreadyUsed("This key came before for somebody else. Send a new key for new work.", field="key")
    return moves


@transaction.atomic
def let_go(*, person: Person, who: Person) -> Person:
    """Retire a person who holds nothing any more; refused, with what it is, while they do."""
    if person.is_active and not person.is_counter:
        held = selectors.held_of(person=person)
        if held:
            said = ", ".join(f"{one.quantity} {one.design.code}" for one in held[:SAID_AT_MOST])
            more = f" and {len(held) - SAID_AT_MOST} more" if len(held) > SAID_AT_MOST else ""
            raise Refused(
                f"{person} still holds {said}{more}. Take it back, hand it on or write it lost on the page Who has "
                "what; then retire them.",
                field="person",
            )
    return retire_person(person=person, who=who)


def _holder(place: Place, *, field: str) -> None:
    if place.kind not in HOLDERS:
        raise BadInput(field, f"{place.code} is neither a person nor a machine. Scan a badge or a machine’s label.")


def _done(draft: MoveDraft) -> Move | None:
    """The move that this key made before: the condition it left in was found out then and is taken from it."""
    done = Move.objects.filter(key=draft.key).first()
    return None if done is None else done_before(replace(draft, condition=done.condition, becomes=done.becomes))


def _held_as(draft: MoveDraft, wanted: str | None) -> str:
    """The condition in which enough loose pieces are there: the wanted one, or else the freshest that has enough."""
    if draft.item is not None:
        return str(draft.item.condition)
    if wanted is not None:
        return wanted
    check_quantity(draft.quantity)
    rows = Balance.objects.filter(design=draft.design, place=draft.from_place, quantity__gt=0)
    there = {row.condition: row.quantity - row.labelled for row in rows}
    for condition in selectors.FRESH_FIRST:
        if there.get(condition, 0) >= draft.quantity:
            return str(condition)
    labelled = Item.objects.filter(design=draft.design, place=draft.from_place).first()
    if labelled is not None and not any(there.values()):
        raise Refused(f"What is there carries a label, such as {labelled.label}. Scan that.", field="item")
    words = selectors.conditions_in_words(there)
    holder = draft.from_place.person or draft.from_place.name
    raise NotEnoughOnHand(
        f"{holder} has {words} {draft.design.code}; {draft.quantity} asked for. One condition at a time.",
        field="quantity",
    )


def _not_built_in(item: Item | None) -> None:
    if item is None:
        return
    standing = Assembly.objects.filter(taken_apart_at=None)
    built = standing.filter(holder=item).first() or standing.filter(body=item).first()
    fitted = Fitting.objects.select_related("assembly").filter(item=item, removed_at=None).first()
    tool = built or (fitted.assembly if fitted else None)
    if tool is not None:
        raise Refused(
            f"{item.label} sits in the built tool {tool.name}. Take it out or take that apart on the Machines page.",
            field="item",
        )
