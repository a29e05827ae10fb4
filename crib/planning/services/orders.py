"""From a suggestion to goods on the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from statistics import fmean, stdev

from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.utils import timezone

from calc.supply.quantity import price_at
from crib.catalogue.models import Offer
from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed, Refused
from crib.core.wake import wake
from crib.people.models import Person
from crib.people.services import record_change
from crib.planning.drafts import Goods
from crib.planning.errors import AlreadyOrdered, GoodsCame, NoLongerNeeded, NoOffer, OrderClosed, OverReceipt
from crib.planning.judging import lead_of
from crib.planning.models import OrderLine, PurchaseOrder, Receipt, Suggestion
from crib.stock.errors import AlreadyReversed
from crib.stock.ledger import raise_pulses
from crib.stock.models import Move, Place
from crib.stock.selectors import home_for
from crib.stock.services import receive, reverse

MOST_PIECES = 1_000_000
TRIES = 5


@transaction.atomic
def order_suggestion(*, suggestion: Suggestion, who: Person, quantity: int | None = None) -> OrderLine:
    """Make a suggestion a line of an order; it joins the supplier's order of the day while that has not been sent.

    `quantity` is what the buyer settles on, in whole packs; the suggested one when left out.
    """
    # The conditional update is the lock: of two buyers one orders, the other hears so.
    taken = Suggestion.objects.filter(pk=suggestion.pk, state=Suggestion.State.OPEN).update(
        state=Suggestion.State.ORDERED, decided_at=clock.now()
    )
    suggestion = Suggestion.objects.select_related("offer__supplier", "design").get(pk=suggestion.pk)
    if not taken:
        _refuse_decided(suggestion)
    offer = suggestion.offer
    if offer is None or offer.retired:
        raise NoOffer(
            f"No supplier with a price is entered for {suggestion.design.code}. Add an offer, then order.",
            field="suggestion",
        )
    wanted = _checked_quantity(suggestion.quantity if quantity is None else quantity, offer)
    unit_price = suggestion.unit_price if wanted == suggestion.quantity else _price(offer, wanted)
    order = _order_of_the_day(offer, who)
    expected = clock.today() + timedelta(days=round(lead_of(offer).mean))
    line = OrderLine.objects.create(
        order=order,
        design=suggestion.design,
        suggestion=suggestion,
        quantity=wanted,
        unit_price=unit_price,
        expected_on=expected,
        for_month=suggestion.for_month,
    )
    PurchaseOrder.objects.filter(pk=order.pk).filter(Q(expected_on=None) | Q(expected_on__lt=expected)).update(
        expected_on=expected
    )
    details = {"design": suggestion.design.code, "quantity": wanted, "unit_price": unit_price}
    record_change(who=who, what="order", which=order.number, act="ordered", details=details)
    _look_again({suggestion.design_id})
    line.order.refresh_from_db()
    return line


@transaction.atomic
def send_order(*, order: PurchaseOrder, who: Person) -> PurchaseOrder:
    """Say that an order has gone to its supplier; later lines begin another one."""
    if PurchaseOrder.objects.filter(pk=order.pk, sent_at=None).update(sent_at=clock.now()):
        record_change(who=who, what="order", which=order.number, act="sent")
    order.refresh_from_db()
    return order


@transaction.atomic
def cancel_order(*, order: PurchaseOrder, who: Person) -> PurchaseOrder:
    """Take back an order of which nothing has come."""
    order = PurchaseOrder.objects.select_for_update(of=("self",)).get(pk=order.pk)
    if order.state in (PurchaseOrder.State.RECEIVED, PurchaseOrder.State.CANCELLED):
        raise OrderClosed(f"{order.number} is {order.get_state_display().lower()} already.", field="order")
    if order.lines.filter(received__gt=0).exists():
        raise GoodsCame(f"Goods of {order.number} have come. Receive the rest, or send them back.", field="order")
    order.state = PurchaseOrder.State.CANCELLED
    order.save(update_fields=["state"])
    record_change(who=who, what="order", which=order.number, act="cancelled")
    _look_again(set(order.lines.values_list("design", flat=True)))
    return order


@transaction.atomic
def receive_order(
    *,
    order: PurchaseOrder,
    goods: Sequence[Goods],
    who: Person,
    key: str,
    to_place: Place | None = None,
    at: datetime | None = None,
) -> list[Receipt]:
    """Put what came on the shelf: each line to `to_place`, or to its design's own bin. The same key counts once.

    Part of a line may come; more than is still to come is refused with the reason, and then nothing is received.
    """
    keys = {_line_key(key, one): one for one in goods}
    if not keys:
        raise BadInput("lines", "Say what came: at least one line with a quantity.")
    if len(keys) < len(goods):
        raise BadInput("lines", "One line of the order is named twice. Add its pieces up.")
    done = list(Receipt.objects.filter(move__key__startswith=f"{key}:").select_related("line", "move"))
    if done:
        return _same_receipts(done, keys)
    order = PurchaseOrder.objects.select_for_update(of=("self",)).select_related("supplier").get(pk=order.pk)
    if order.state == PurchaseOrder.State.CANCELLED:
        raise OrderClosed(
            f"{order.number} was cancelled. Order again, or receive the goods on the Stock page.", field="order"
        )
    receipts = [_receive_line(order, one, line_key, who, to_place, at) for line_key, one in keys.items()]
    open_lines = order.lines.filter(received__lt=F("quantity")).exists()
    order.state = PurchaseOrder.State.PART_RECEIVED if open_lines else PurchaseOrder.State.RECEIVED
    order.sent_at = order.sent_at or order.ordered_at
    order.save(update_fields=["state", "sent_at"])
    _learn_lead_times({receipt.line.design_id for receipt in receipts}, order)
    details = {receipt.line.design.code: receipt.quantity for receipt in receipts}
    record_change(who=who, what="order", which=order.number, act="received", details=details)
    transaction.on_commit(partial(wake, "flags"))
    return receipts


@transaction.atomic
def take_back_receipt(*, receipt: Receipt, who: Person, key: str, note: str = "") -> Receipt:
    """Take off the shelf again what was received by mistake; it stands as still to come. The same key counts once."""
    order = PurchaseOrder.objects.select_for_update(of=("self",)).get(lines__receipts=receipt)
    receipt = Receipt.objects.select_related("line__design", "move__design").get(pk=receipt.pk)
    undone = Move.objects.filter(reverses=receipt.move).first()
    if undone is not None:
        if undone.key == key:
            return receipt
        raise AlreadyReversed(f"This receipt was taken back before, by move {undone.pk}.", field="receipt")
    reverse(move=receipt.move, who=who, key=key, note=note, document=receipt.move.document)
    OrderLine.objects.filter(pk=receipt.line_id).update(received=F("received") - receipt.quantity)
    some_came = order.lines.filter(received__gt=0).exists()
    order.state = PurchaseOrder.State.PART_RECEIVED if some_came else PurchaseOrder.State.OPEN
    order.save(update_fields=["state"])
    _learn_lead_times({receipt.line.design_id}, order)
    details = {receipt.line.design.code: receipt.quantity}
    record_change(who=who, what="order", which=order.number, act="receipt taken back", details=details)
    receipt.refresh_from_db()
    return receipt


def _refuse_decided(suggestion: Suggestion) -> None:
    if suggestion.state == Suggestion.State.ORDERED:
        line = OrderLine.objects.filter(suggestion=suggestion).select_related("order").first()
        where = f" on {line.order.number}" if line else ""
        raise AlreadyOrdered(f"{suggestion.design.code} was ordered already{where}.", field="suggestion")
    raise NoLongerNeeded(
        f"{suggestion.design.code} is no longer needed: stock or an order covers it now.", field="suggestion"
    )


def _checked_quantity(quantity: int, offer: Offer) -> int:
    if isinstance(quantity, bool) or not 0 < quantity <= MOST_PIECES:
        raise BadInput("quantity", f"The quantity is a whole number from 1 to {MOST_PIECES:,}.")
    if quantity % offer.pack:
        more = -(-quantity // offer.pack) * offer.pack
        raise BadInput("quantity", f"{offer.supplier.name} sells packs of {offer.pack}. Order {more}, for example.")
    if quantity < offer.minimum:
        raise BadInput("quantity", f"{offer.supplier.name} takes orders from {offer.minimum} on.")
    return quantity


def _price(offer: Offer, quantity: int) -> Decimal:
    return price_at(quantity, {row.from_quantity: row.unit_price for row in offer.prices.all()})


def _order_of_the_day(offer: Offer, who: Person) -> PurchaseOrder:
    """The supplier's order that was begun today and has not gone out, else a new one."""
    begun = PurchaseOrder.objects.select_for_update(of=("self",)).filter(
        supplier=offer.supplier, state=PurchaseOrder.State.OPEN, sent_at=None
    )
    for order in begun.order_by("-pk"):
        if timezone.localdate(order.ordered_at) == clock.today():
            return order
    for _ in range(TRIES):
        try:
            with transaction.atomic():
                return PurchaseOrder.objects.create(
                    number=_next_number(), supplier=offer.supplier, ordered_by=who, ordered_at=clock.now()
                )
        except IntegrityError:
            # Somebody else began an order in the same moment and has that number.
            continue
    raise Refused("Too many orders are being begun at once. Try again.", field="suggestion")


def _next_number() -> str:
    start = f"PO-{clock.today().year}-"
    taken = PurchaseOrder.objects.filter(number__startswith=start).order_by("-pk").values_list("number", flat=True)
    last = max((int(number.removeprefix(start)) for number in taken[:20]), default=0)
    return f"{start}{last + 1:04d}"


def _line_key(key: str, one: Goods) -> str:
    return f"{key}:{one.line.pk}"


def _same_receipts(done: Sequence[Receipt], keys: dict[str, Goods]) -> list[Receipt]:
    """What the same request brought before; another one under its key is refused."""
    found = {receipt.move.key: receipt for receipt in done}
    if set(found) != set(keys) or any(found[one].quantity != goods.quantity for one, goods in keys.items()):
        raise KeyAlreadyUsed("This receipt came before with other goods in it. Send it as new.", field="key")
    return [found[one] for one in keys]


def _receive_line(
    order: PurchaseOrder, goods: Goods, key: str, who: Person, to_place: Place | None, at: datetime | None
) -> Receipt:
    line = order.lines.select_related("design").filter(pk=goods.line.pk).first()
    if line is None:
        raise BadInput("lines", f"{order.number} has no such line. Choose one of its own.")
    if isinstance(goods.quantity, bool) or goods.quantity < 1:
        raise BadInput("quantity", f"Say how many {line.design.code} came: 1 or more.")
    came = OrderLine.objects.filter(pk=line.pk, received__lte=F("quantity") - goods.quantity)
    if goods.quantity > line.quantity or not came.update(received=F("received") + goods.quantity):
        line.refresh_from_db()
        raise OverReceipt(_too_many(line, goods.quantity), field="quantity")
    place = to_place or home_for(line.design)
    if place is None:
        raise BadInput("to_place", f"{line.design.code} has no bin yet. Say where it goes.")
    move = receive(
        design=line.design, quantity=goods.quantity, to_place=place, supplier=order.supplier, who=who, key=key,
        lot=goods.lot, note=order.number, document=order.number, at=at,
    )  # fmt: skip
    line.refresh_from_db()
    return Receipt.objects.create(
        line=line,
        quantity=goods.quantity,
        to_place=place,
        move=move,
        received_by=who,
        received_at=at or clock.now(),
        lot=goods.lot.strip()[:40],
    )


def _too_many(line: OrderLine, quantity: int) -> str:
    left = line.quantity - line.received
    if left == 0:
        return f"All {line.quantity} {line.design.code} of this line have come already. Receive more on the Stock page."
    return (
        f"Only {left} of {line.quantity} {line.design.code} are still to come; {quantity} is too many. "
        "Receive what was ordered here, and the rest on the Stock page."
    )


def _learn_lead_times(designs: set[int], order: PurchaseOrder) -> None:
    """The days from order to first arrival, as seen on every line of this supplier and design."""
    for offer in Offer.objects.filter(supplier=order.supplier, design__in=designs):
        days: dict[int, float] = {}
        receipts = Receipt.objects.filter(
            line__design=offer.design_id, line__order__supplier=offer.supplier_id, move__reversed_by=None
        )
        for line, ordered, came in receipts.order_by("-received_at").values_list(
            "line", "line__order__ordered_at", "received_at"
        ):
            days[line] = max((came - ordered).total_seconds() / 86400, 0.0)
        seen = list(days.values())
        Offer.objects.filter(pk=offer.pk).update(
            receipts_seen=len(seen),
            observed_lead_days=fmean(seen) if seen else None,
            observed_lead_days_sd=stdev(seen) if len(seen) > 1 else None,
        )


def _look_again(designs: set[int]) -> None:
    """What is on order has changed: the worker checks these designs' flags again."""
    raise_pulses(designs)
    transaction.on_commit(partial(wake, "flags"))
