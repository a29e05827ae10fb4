"""How many of each design are on the way."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import F, Sum

from crib.catalogue.models import Design
from crib.planning.models import OrderLine, PurchaseOrder


def on_order(designs: Sequence[Design]) -> dict[int, int]:
    """Pieces ordered and not yet received, by the design's number; one query."""
    open_lines = OrderLine.objects.filter(
        design__in=designs, order__state__in=(PurchaseOrder.State.OPEN, PurchaseOrder.State.PART_RECEIVED)
    )
    sums = open_lines.order_by().values_list("design").annotate(left=Sum(F("quantity") - F("received")))
    return {design: left for design, left in sums if left}
