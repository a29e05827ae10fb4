"""Which maker's lots came: read from the receipts in the ledger."""

from __future__ import annotations

from collections.abc import Collection

from crib.stock.models import Move


def newest_lots(*, designs: Collection[int]) -> dict[int, str]:
    """The lot of each design that came last, of receipts that still stand: likely, not certainly, what is at hand."""
    received = Move.objects.filter(design__in=designs, why=Move.Why.RECEIVE, reversed_by=None).exclude(lot="")
    return dict(received.order_by("at", "pk").values_list("design", "lot"))
