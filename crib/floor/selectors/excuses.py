"""Ends that lives learn nothing from, with who said so and why, and those that count again."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from crib.floor.models import Edge
from crib.people.models import ChangeRecord

EDGE, LEFT_OUT, COUNTED_AGAIN = "edge", "left out", "counted again"


def excused_among(*, edges: Collection[int]) -> list[Edge]:
    """Those of the edges whose end was excused, the latest first."""
    found = Edge.objects.filter(pk__in=edges).exclude(excuse="").select_related("item", "excused_by")
    return list(found.order_by("-ended_at", "pk"))


def counted_again_since(moment: datetime) -> bool:
    """Whether the excuse of any end was taken back since then; the edge itself keeps no trace of it."""
    return ChangeRecord.objects.filter(what=EDGE, act=COUNTED_AGAIN, at__gt=moment).exists()
