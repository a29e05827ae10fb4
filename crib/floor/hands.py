"""Where the parts of an assembly are, and carrying them together through the ledger."""

from __future__ import annotations

import hashlib
from datetime import datetime

from crib.floor.errors import AlreadyBuiltIn, EdgeStillInUse, NotAtHand, WrongOrder
from crib.floor.grinds import edges_now
from crib.floor.models import Assembly, Edge, Fitting
from crib.people.models import Person
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.services import transfer

FAR_AWAY = (Place.Kind.SPENT, Place.Kind.SUPPLIER, Place.Kind.REGRIND, Place.Kind.DIFFERENCE)


def check_at_hand(item: Item, *, field: str, machine_place: Place | None = None) -> None:
    """Refuse an item that is spent, or somewhere nobody can take it from."""
    if item.condition == Condition.SPENT:
        raise NotAtHand(f"{item.label} ({item.design.code}) is spent; take another one.", field=field)
    place = item.place
    if place.kind in FAR_AWAY:
        raise NotAtHand(f"{item.label} ({item.design.code}) is at {place.name}; it must come back first.", field=field)
    if place.kind == Place.Kind.MACHINE and (machine_place is None or place.pk != machine_place.pk):
        raise NotAtHand(f"{item.label} ({item.design.code}) is in machine {place.name}; unload it first.", field=field)


def check_free(item: Item, *, field: str) -> None:
    """Refuse an item that is part of another assembly."""
    holding = (
        Assembly.objects.filter(taken_apart_at=None, holder=item).first()
        or Assembly.objects.filter(taken_apart_at=None, body=item).first()
        or Assembly.objects.filter(fittings__item=item, fittings__removed_at=None).first()
    )
    if holding is not None:
        raise AlreadyBuiltIn(
            f"{item.label} ({item.design.code}) is part of {holding.name}; take that apart first.", field=field
        )


def check_not_in_use(item: Item) -> None:
    """Refuse to throw away what still cuts in the books: its edge would be waited for on the board for ever."""
    working = edges_now(item).filter(state=Edge.State.IN_USE).first()
    if working is not None:
        raise EdgeStillInUse(
            f"Edge {working.number} of {item.label} is still in use. Say on the Edges page why it came off, or bring "
            "the tip back part-used.",
            field="item",
        )


def check_after_runs(edges: list[Edge], removed_at: datetime) -> None:
    """Refuse to take out what a run says was cutting later."""
    last = max((edge.last_run_ended_at for edge in edges if edge.last_run_ended_at), default=None)
    if last is not None and removed_at < last:
        raise WrongOrder("It cannot have come out before its last run ended; give a later time.", field="at")


def carry(
    item: Item,
    to_place: Place,
    *,
    who: Person,
    key: str,
    at: datetime,
    why: str = Move.Why.TRANSFER,
    becomes: str | None = None,
) -> None:
    """Post the move of one item, unless it is there already in that condition."""
    becomes = item.condition if becomes is None else becomes
    if item.place_id == to_place.pk and becomes == item.condition:
        return
    transfer(
        design=item.design,
        quantity=item.pieces,
        from_place=item.place,
        to_place=to_place,
        who=who,
        key=key,
        condition=item.condition,
        becomes=becomes,
        item=item,
        why=why,
        at=at,
    )
    item.refresh_from_db()


def carry_assembly(assembly: Assembly, to_place: Place, *, who: Person, key: str, at: datetime) -> None:
    """Take holder, body and what is fitted to one place together; the holder's line carries the key as it is."""
    for item in items_of(assembly):
        own = key if item.pk == assembly.holder_id else f"{key}:{item.pk}"
        carry(item, to_place, who=who, key=own, at=at)


def items_of(assembly: Assembly) -> list[Item]:
    fitted = Fitting.objects.filter(assembly=assembly, removed_at=None).values("item")
    parts = [assembly.holder_id, *([assembly.body_id] if assembly.body_id else [])]
    wanted = Item.objects.select_related("design", "place")
    return sorted([*wanted.filter(pk__in=parts), *wanted.filter(pk__in=fitted)], key=lambda item: item.pk)


def sub_key(act: str, key: str) -> str:
    """The key of one step of an act: as long as the ledger takes, however long the act's own key is."""
    return f"{act}:{hashlib.sha256(key.encode()).hexdigest()[:40]}"
