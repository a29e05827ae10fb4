"""Tools sent out to be reground or repaired: what may go, and the note that goes with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import IntegrityError, transaction

from crib.catalogue.models import Design
from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed, Refused, ShopError
from crib.floor.errors import AlreadyBuiltIn, CannotGo
from crib.floor.hands import check_free
from crib.floor.moments import moment
from crib.people.models import Person
from crib.people.services import record_change
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.records import Dispatch, DispatchLine
from crib.stock.services import make_item, transfer

MOST_AT_ONCE = 200
LONGEST_NOTE = 200
LONGEST_KEY = 110
FAR_OFF = (Place.Kind.SUPPLIER, Place.Kind.DIFFERENCE)
SENT_KINDS = (Design.Kind.DRILL, Design.Kind.TAP, Design.Kind.SOLID_MILL)


@dataclass(frozen=True, slots=True)
class LooseTool:
    """One piece without a label of its own, which gets one as it is sent."""

    design: Design
    place: Place
    condition: str = Condition.SPENT


def send_out(
    *,
    items: Sequence[Item | LooseTool],
    shop: Place,
    who: Person,
    key: str,
    work: str = Dispatch.Work.REGRIND,
    due_on: date | None = None,
    note: str = "",
    at: datetime | None = None,
) -> Dispatch:
    """Send tools to a regrind shop on one dispatch, all of them or none; loose ones get their label in the same act."""
    if not key or len(key) > LONGEST_KEY:
        raise BadInput("key", f"Sending out needs a key of 1 to {LONGEST_KEY} characters.")
    try:
        return _sent_before(items, shop, work, key) or _send(items, shop, work, due_on, note, who, key, at)
    except KeyAlreadyUsed:
        done = _sent_before(items, shop, work, key)
        if done is None:
            raise
        return done
    except (ShopError, IntegrityError):
        # Its twin may have come first: then what it did is the answer.
        done = _sent_before(items, shop, work, key)
        if done is None:
            raise
        return done


def _sent_before(items: Sequence[Item | LooseTool], shop: Place, work: str, key: str) -> Dispatch | None:
    first = Move.objects.filter(key=f"{key}#1").first()
    if first is None:
        return None
    number = first.document.rpartition(" ")[2]
    sent = Dispatch.objects.filter(pk=int(number) if number.isdigit() else 0).select_related("shop").first()
    if sent is None:
        raise KeyAlreadyUsed("This key came before with another move in it. Send a new key for new work.", field="key")
    told = [(one.pk if isinstance(one, Item) else None, _design_of(one).pk) for one in items]
    lines = list(sent.lines.select_related("item").order_by("pk"))
    same = len(lines) == len(told) and all(
        pk in (None, one.item_id) and design == one.item.design_id
        for (pk, design), one in zip(told, lines, strict=True)
    )
    if not same or (sent.shop_id, sent.work) != (shop.pk, str(work)):
        raise KeyAlreadyUsed("This key came before with another dispatch. Send a new key for new work.", field="key")
    return sent


@transaction.atomic
def _send(
    items: Sequence[Item | LooseTool],
    shop: Place,
    work: str,
    due_on: date | None,
    note: str,
    who: Person,
    key: str,
    at: datetime | None,
) -> Dispatch:
    _check_dispatch(items, shop, work, due_on, note)
    pieces = _held(items)
    for one in items:
        _check_may_go(pieces[one.pk] if isinstance(one, Item) else one, work, who)
    sent_at = moment(at)
    sent = Dispatch.objects.create(
        shop=shop, work=work, sent_by=who, sent_at=sent_at, due_on=due_on, note=note.strip()
    )  # fmt: skip
    for number, one in enumerate(items, start=1):
        item = pieces[one.pk] if isinstance(one, Item) else _labelled(one, who)
        transfer(
            design=item.design, quantity=item.pieces, from_place=item.place, to_place=shop, who=who,
            key=f"{key}#{number}", condition=item.condition, item=item, why=Move.Why.REGRIND,
            document=sent.document, note=sent.get_work_display(), at=sent_at,
        )  # fmt: skip
        DispatchLine.objects.create(dispatch=sent, item=item)
    details = {"shop": shop, "work": work, "tools": len(items), "due": due_on}
    record_change(who=who, what="dispatch", which=str(sent.pk), act="sent out", details=details)
    return sent


def _check_dispatch(items: Sequence[Item | LooseTool], shop: Place, work: str, due_on: date | None, note: str) -> None:
    if not items:
        raise BadInput("items", "Nothing is on the list. Scan the label of each tool that goes.")
    if len(items) > MOST_AT_ONCE:
        raise BadInput("items", f"At most {MOST_AT_ONCE} tools go on one dispatch. Split the list.")
    if work not in Dispatch.Work.values:
        raise BadInput("work", f"Say what is to be done: {', '.join(Dispatch.Work.values)}.")
    if shop.kind != Place.Kind.REGRIND:
        raise BadInput("shop", f"{shop.code} is no regrind shop. Choose one, or add it under Places.")
    if shop.retired_at is not None:
        raise BadInput("shop", f"{shop.code} is retired. Choose another shop.")
    if due_on is not None and due_on.year > clock.today().year + 10:
        raise BadInput("due_on", "This day is years away. Check the date, or leave it empty.")
    if len(note.strip()) > LONGEST_NOTE:
        raise BadInput("note", f"A note has at most {LONGEST_NOTE} characters.")
    seen: set[int] = set()
    for one in items:
        if isinstance(one, Item) and one.pk in seen:
            raise BadInput("items", f"{one.label} is on the list twice. Take one of them off.")
        if isinstance(one, Item):
            seen.add(one.pk)


def _held(items: Sequence[Item | LooseTool]) -> dict[int, Item]:
    """The labelled ones as they stand now, held in one order until the transaction ends."""
    wanted = [one.pk for one in items if isinstance(one, Item)]
    # Held first and read after: PostgreSQL drops a joined row whose place changed while it was waited for.
    list(Item.objects.select_for_update().filter(pk__in=wanted).order_by("pk").values_list("pk"))
    rows = Item.objects.filter(pk__in=wanted).select_related("design", "place", "place__person")
    return {item.pk: item for item in rows}


def _check_may_go(one: Item | LooseTool, work: str, who: Person) -> None:
    design, place = _design_of(one), one.place
    named = one.label if isinstance(one, Item) else design.code
    if isinstance(one, Item):
        out = DispatchLine.objects.filter(item=one, state=DispatchLine.State.OUT).select_related("dispatch").first()
        if out is not None:
            raise CannotGo(f"{named} is out already, on {out.dispatch.document}. Take it in first.", field="items")
        _check_not_built_in(one)
    _check_place(named, place, who)
    done = one.regrinds_done if isinstance(one, Item) else 0
    if work == Dispatch.Work.REGRIND and done >= design.regrinds_allowed:
        allowed = f"all {design.regrinds_allowed} of its regrinds" if design.regrinds_allowed else "no regrind"
        has = "has had" if design.regrinds_allowed else "may have"
        raise CannotGo(
            f"{named} ({design.code}) {has} {allowed}. Put it with the worn carbide, or send it for repair.",
            field="items",
        )
    condition = one.condition
    if work == Dispatch.Work.REGRIND and condition == Condition.NEW:
        raise CannotGo(
            f"{named} ({design.code}) is new: there is nothing to grind. Take it off the list.", field="items"
        )
    if isinstance(one, LooseTool) and condition not in Condition.values:
        raise BadInput("condition", f"Say in which condition the loose {design.code} is.")


def _check_not_built_in(item: Item) -> None:
    try:
        check_free(item, field="items")
    except AlreadyBuiltIn as built:
        raise CannotGo(
            f"{built.sentence.rstrip('.')}. An edge in a pocket is ended before its tool goes out.", field="items"
        ) from built


def _check_place(named: str, place: Place, who: Person) -> None:
    if place.kind == Place.Kind.MACHINE:
        raise CannotGo(f"{named} is in machine {place.name}; unload it first.", field="items")
    if place.kind in FAR_OFF:
        raise CannotGo(f"{named} is at {place.name}, so it cannot be sent from here. Count it in first.", field="items")
    if place.kind == Place.Kind.REGRIND:
        raise CannotGo(f"{named} is at {place.name} already. Move it back to the crib first.", field="items")
    if place.kind == Place.Kind.PERSON and place.person_id != who.pk and not who.has_perm("crib.keep_stock"):
        raise CannotGo(f"{named} is with {place.name}, who brings it back first.", field="items")


def _labelled(loose: LooseTool, who: Person) -> Item:
    if loose.design.kept_as_items:
        raise Refused(f"Each {loose.design.code} has a label of its own. Scan that.", field="items")
    return make_item(design=loose.design, condition=loose.condition, place=loose.place, who=who)


def _design_of(one: Item | LooseTool) -> Design:
    return one.design
