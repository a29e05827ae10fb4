"""Orders and receipts as a buyer reads them."""

from __future__ import annotations

from decimal import Decimal

from django.db.models import Prefetch, QuerySet

from crib.core.errors import NotFound
from crib.planning.models import OrderLine, PurchaseOrder, Receipt
from crib.planning.selectors.gather import OPEN_ORDERS


def orders() -> QuerySet[PurchaseOrder]:
    """Every order with its lines, the newest first."""
    lines = Prefetch("lines", queryset=OrderLine.objects.select_related("design").order_by("design__code"))
    return PurchaseOrder.objects.select_related("supplier", "ordered_by").prefetch_related(lines)


def find_order(*, number: str) -> PurchaseOrder:
    """An order by its number, with its lines and what has come of them."""
    came = Receipt.objects.select_related("to_place", "received_by", "move__reversed_by__who")
    receipts = Prefetch("receipts", queryset=came)
    lines = OrderLine.objects.select_related("design").prefetch_related(receipts).order_by("design__code")
    found = number.isprintable() and (
        PurchaseOrder.objects.filter(number=number)
        .select_related("supplier", "ordered_by")
        .prefetch_related(Prefetch("lines", queryset=lines))
        .first()
    )
    if not found:
        raise NotFound(f"There is no order {number[:40]}. Look in the list of orders.", field="order")
    return found


def receipts() -> QuerySet[Receipt]:
    """Everything that came for orders, the last first."""
    return Receipt.objects.select_related(
        "line__order__supplier", "line__design", "to_place", "received_by", "move__reversed_by"
    ).order_by("-received_at", "-pk")


def worth(order: PurchaseOrder) -> Decimal:
    """What an order costs."""
    return sum((line.quantity * line.unit_price for line in order.lines.all()), Decimal(0))


def is_open(order: PurchaseOrder) -> bool:
    """Whether anything of it is still to come."""
    return order.state in OPEN_ORDERS
