"""What is done at the counter and in the crib: receive, hand out, bring back, move, reverse."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from django.db import IntegrityError, transaction

from crib.catalogue.models import Design, Job, Supplier
from crib.core.errors import BadInput, NotAllowed, Refused, ShopError
from crib.people.models import Person
from crib.stock import selectors
from crib.stock.drafts import MoveDraft, check_quantity, clean_lot, done_before
from crib.stock.errors import (
    AlreadyReversed,
    DesignRetired,
    ItemNeeded,
    ItemNotThere,
    NobodyThere,
    NotEnoughOnHand,
    OwnedByDocument,
    SpentNotHandedOut,
)
from crib.stock.ledger import Limited, without_deadlock, write_move
from crib.stock.models import Balance, Condition, Item, Move, Place, TakeLimit
from crib.stock.records import DispatchLine
from crib.stock.services.limits import check_allowance, exceed_limits
from crib.stock.services.places import place_of

OF_BUILT_TOOLS = (Move.Why.FIT, Move.Why.TAKE_OUT, Move.Why.WORN_OUT)
FROM_USE = (Condition.NEW, Condition.REGROUND, Condition.PART_USED, Condition.SPENT)


def receive(
    *,
    design: Design,
    quantity: int,
    to_place: Place,
    supplier: Supplier,
    who: Person,
    key: str,
    condition: str = Condition.NEW,
    lot: str = "",
    note: str = "",
    document: str = "",
    at: datetime | None = None,
) -> Move:
    """Take delivery of `quantity` pieces; bodies and holders become items with labels at once.

    With a `document`, such as an order, the line belongs to that: it is taken back there, never in the ledger alone.
    """
    _on_hand_place(to_place, field="to_place")
    draft = MoveDraft(
        design=design,
        quantity=quantity,
        from_place=place_of(supplier=supplier),
        to_place=to_place,
        condition=condition,
        why=Move.Why.RECEIVE,
        key=key,
        note=note.strip(),
        lot=clean_lot(lot),
        document=document,
        at=at,
    )
    if condition == Condition.SPENT:
        raise BadInput("condition", "Spent edges are not received. Choose the condition they arrived in.")
    return _posted(draft, who)


def check_out(
    *,
    design: Design,
    quantity: int,
    person: Person,
    from_place: Place,
    who: Person,
    key: str,
    condition: str = Condition.NEW,
    job: Job | None = None,
    item: Item | None = None,
    at: datetime | None = None,
    allowed_by: Person | None = None,
    note: str = "",
) -> Move:
    """Hand `quantity` of `design` to `person`, who holds it until it is fitted, spent or brought back.

    What goes beyond a limit is let out by `allowed_by` alone, who says why in the note.
    """
    check_allowance(allowed_by=allowed_by, note=note)
    draft = MoveDraft(
        design=design,
        quantity=quantity,
        from_place=from_place,
        to_place=place_of(person=person),
        condition=condition,
        why=Move.Why.CHECK_OUT,
        item=item,
        job=job,
        key=key,
        at=at,
        note=note.strip(),
    )

    def check() -> None:
        _may_act_for(who, person)
        if not person.is_active:
            raise NobodyThere(f"{person} no longer works here. Scan the badge of who takes it.", field="person")
        if design.retired:
            raise DesignRetired(f"{design.code} is retired and no longer handed out.", field="design")
        _on_hand_place(from_place, field="from_place")
        if condition == Condition.SPENT:
            raise SpentNotHandedOut(f"This {design.code} is spent. Take a fresh one.", field="condition")

    def post_within_limits() -> Move:
        with transaction.atomic():
            limits = selectors.limits_of(design=design)
            return _posted_within(limits, draft, person, who, check, allowed_by)

    try:
        return _posted(replace(draft, unless_limited=True), who, check)
    except Limited:
        return without_deadlock(post_within_limits)


def _posted_within(
    limits: Sequence[TakeLimit],
    draft: MoveDraft,
    person: Person,
    who: Person,
    check: Callable[[], None],
    allowed_by: Person | None,
) -> Move:
    try:
        check()
        check_quantity(draft.quantity)
        over = exceed_limits(
            limits=limits, quantity=draft.quantity, person=person, job=draft.job, allowed_by=allowed_by
        )
    except ShopError:
        done = done_before(draft)
        if done is None:
            raise
        return done
    return _posted(replace(draft, allowed_by=allowed_by if over else None), who)


def _posted(draft: MoveDraft, who: Person, check: Callable[[], None] | None = None) -> Move:
    """Post the draft; what would be refused today but was done under this key before is answered as it was."""
    try:
        if check is not None:
            check()
        return write_move(draft, who)
    except ShopError:
        done = done_before(draft)
        if done is None:
            raise
        return done


def take_back(
    *,
    design: Design,
    quantity: int,
    person: Person,
    to_place: Place,
    who: Person,
    key: str,
    condition: str,
    item: Item | None = None,
    job: Job | None = None,
    at: datetime | None = None,
) -> Move:
    """Put back what `person` holds; `condition` is what it is in now, whatever it was when it was handed out."""
    draft = MoveDraft(
        design=design,
        quantity=quantity,
        from_place=place_of(person=person),
        to_place=to_place,
        condition=condition,
        why=Move.Why.TAKE_BACK,
        item=item,
        job=job,
        key=key,
        at=at,
    )
    done = Move.objects.filter(key=key).first()
    if done is not None:
        return _same_return(done, draft)
    _may_act_for(who, person)
    if to_place.kind != Place.Kind.SPENT:
        _on_hand_place(to_place, field="to_place")
    left_as = item.condition if item is not None else _held_as(draft, person)
    try:
        return write_move(replace(draft, condition=left_as, becomes=condition), who)
    except (ItemNotThere, NotEnoughOnHand):
        # Its twin came first and took the pieces that were looked for here.
        done = Move.objects.filter(key=key).first()
        if done is None:
            raise
        return _same_return(done, draft)


def _same_return(done: Move, draft: MoveDraft) -> Move:
    again = done_before(replace(draft, condition=done.condition, becomes=draft.condition))
    assert again is not None
    return again


def _held_as(draft: MoveDraft, person: Person) -> str:
    """The condition under which the person holds enough of it: as it comes back if possible, else the freshest."""
    check_quantity(draft.quantity)
    held = {
        row.condition: row.quantity - row.labelled
        for row in Balance.objects.filter(design=draft.design, place=draft.from_place, quantity__gt=0)
    }
    order = [draft.condition, *(one for one in FROM_USE if one != draft.condition)]
    for condition in order:
        if held.get(condition, 0) >= draft.quantity:
            return condition
    total = sum(held.values())
    if total >= draft.quantity:
        words = selectors.conditions_in_words(held)
        raise Refused(
            f"{person} holds {words} {draft.design.code}. Bring them back one kind at a time.",
            field="quantity",
        )
    labelled = Item.objects.filter(design=draft.design, place=draft.from_place).first()
    if labelled is not None:
        raise ItemNeeded(f"What {person} holds carries a label, such as {labelled.label}. Scan it.", field="item")
    sentence = f"{person} holds {total or 'no'} {draft.design.code}, so {draft.quantity} cannot come back."
    raise NotEnoughOnHand(sentence, field="quantity")


def transfer(
    *,
    design: Design,
    quantity: int,
    from_place: Place,
    to_place: Place,
    who: Person,
    key: str,
    condition: str = Condition.NEW,
    becomes: str | None = None,
    item: Item | None = None,
    why: str = Move.Why.TRANSFER,
    job: Job | None = None,
    note: str = "",
    document: str = "",
    at: datetime | None = None,
) -> Move:
    """Carry pieces from one place to another, in whatever condition they arrive there.

    With a `document`, such as a dispatch, the line belongs to that and is taken back there.
    """
    draft = MoveDraft(
        design=design,
        quantity=quantity,
        from_place=from_place,
        to_place=to_place,
        condition=condition,
        becomes=becomes,
        why=why,
        item=item,
        job=job,
        note=note,
        document=document,
        key=key,
        at=at,
    )
    return _posted(draft, who, None if document else lambda: _refuse_sent_out(item))


def _refuse_sent_out(item: Item | None) -> None:
    """What is out on a dispatch comes back on its page, or the dispatch would wait for it for ever."""
    out = DispatchLine.objects.filter(item=item, state=DispatchLine.State.OUT).first() if item is not None else None
    if item is not None and out is not None:
        raise OwnedByDocument(
            f"{item.label} is out on Dispatch {out.dispatch_id}. Take it in on the dispatch's own page.", field="item"
        )


def reverse(
    *, move: Move, who: Person, key: str, note: str = "", document: str = "", at: datetime | None = None
) -> Move:
    """Post the line that takes `move` back; the first line stays for all to see.

    Whoever keeps the document that a line belongs to names it here and puts the document right as well.
    """
    draft = MoveDraft(
        design=move.design,
        quantity=move.quantity,
        from_place=move.to_place,
        to_place=move.from_place,
        condition=move.becomes,
        becomes=move.condition,
        why=Move.Why.REVERSE,
        item=move.item,
        job=move.job,
        key=key,
        note=note,
        reverses=move,
        lot=move.lot,
        document=move.document,
        at=at,
    )
    if (done := done_before(draft)) is not None:
        return done
    if move.reverses_id is not None:
        raise Refused("This line reverses another already. Post the move anew instead.", field="move")
    if move.item_id is not None and move.why in OF_BUILT_TOOLS:
        # The ledger alone would then say that a tip lies in the crib which still cuts in a machine.
        raise Refused(
            "This was done to a built tool. Take the piece out or put it in on the Machines page.", field="move"
        )
    if move.document != document:
        raise OwnedByDocument(_way_back(move), field="move")
    _refuse_second_reversal(move)
    try:
        with transaction.atomic():
            _refuse_found_again(move)
            return write_move(replace(draft, carries=_pieces_received(move)), who)
    except IntegrityError:
        _refuse_second_reversal(move)
        raise


def _way_back(move: Move) -> str:
    """How to take back a line that belongs to a document, which counts what was posted for it."""
    if not move.document.startswith("Kit "):
        return f"This was posted for {move.document}. Take it back on its page, which then is right as well."
    if move.why == Move.Why.TAKE_BACK:
        return f"This came back with {move.document}, which counts it. Hand it out anew at the counter instead."
    return (
        f"This went out with {move.document}, which counts it. Undo the whole on the kit's page, or bring this one "
        "back at the counter."
    )


def _refuse_found_again(move: Move) -> None:
    """A loss of which some turned up is no slip: taken back whole, the same pieces would be there twice."""
    if move.why != Move.Why.LOST:
        return
    # Who finds it again waits at the design too, so that only one of the two is done.
    Design.objects.select_for_update().get(pk=move.design_id)
    if found := selectors.found_of(move):
        raise Refused(
            f"Of what move {move.pk} wrote lost {found} turned up again. Reverse the finding first.", field="move"
        )


def _refuse_second_reversal(move: Move) -> None:
    before = Move.objects.filter(reverses=move).first()
    if before is not None:
        raise AlreadyReversed(f"Move {move.pk} was reversed before, by move {before.pk}.", field="move")


def _pieces_received(move: Move) -> tuple[Item, ...]:
    """The items that came to be by this move; all of them must still stand where it put them."""
    if move.item_id is not None or not move.design.kept_as_items:
        return ()
    pieces = tuple(_made_by(move).filter(place=move.to_place, moves__isnull=True).order_by("pk")[: move.quantity])
    if len(pieces) < move.quantity:
        raise Refused(
            f"Of these {move.quantity} {move.design.code} only {len(pieces)} are still in {move.to_place.code}. "
            "Bring the others back there first.",
            field="move",
        )
    return pieces


def _made_by(move: Move) -> selectors.Items:
    return Item.objects.filter(design=move.design, place=move.to_place, condition=move.becomes, since=move.at)


def _may_act_for(who: Person, person: Person) -> None:
    if who.pk != person.pk and not who.has_perm("crib.keep_stock"):
        raise NotAllowed(f"Your role lets you draw for yourself alone, not for {person}.", field="person")


def _on_hand_place(place: Place, *, field: str) -> None:
    if place.kind not in Place.ON_HAND:
        raise BadInput(field, f"{place.code} is no place in the crib. Choose a bin, cabinet or crib.")
