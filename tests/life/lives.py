"""Edges with a past, written through the floor's own models and totals: enough of a shop to learn from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from crib.core import clock
from crib.floor.models import Edge, EdgeMinutes, Operation
from crib.stock.models import Condition
from crib.stock.services import make_item
from tests.shop import Shop


@dataclass(frozen=True)
class Past:
    """What became of one edge: minutes in cut, and the outcome; none when it is still in use."""

    minutes: float
    outcome: str = ""
    operation: Operation | None = None


def add_edges(
    shop: Shop, pasts: Iterable[Past], *, operation: Operation | None = None, **edge_fields: Any
) -> list[Edge]:
    """One item and edge for each past, with its running totals."""
    now, made = clock.now(), []
    for past in pasts:
        work = past.operation or operation or shop.operation
        shop.stock(work.tip, 1)
        item = make_item(design=work.tip, condition=Condition.NEW, place=shop.bin, who=shop.attendant)
        parts = int(past.minutes // (work.minutes_per_part or 1))
        edge, _ = Edge.objects.update_or_create(
            item=item,
            number=1,
            defaults={
                "state": Edge.State.ENDED if past.outcome else Edge.State.IN_USE,
                "operation": work,
                "minutes": past.minutes,
                "parts": parts,
                "put_in_at": now - timedelta(days=3),
                "last_run_ended_at": now if past.minutes else None,
                "outcome": past.outcome,
                "ended_at": now if past.outcome else None,
                "ended_by": shop.setter if past.outcome else None,
            }
            | edge_fields,
        )
        if past.minutes:
            EdgeMinutes.objects.create(
                edge=edge, operation=work, minutes=past.minutes, parts=parts, clock_minutes=2.5 * past.minutes,
                first_started_at=now - timedelta(days=3), last_ended_at=now,
            )  # fmt: skip
        made.append(edge)
    return made


WORN = [Past(minutes, "worn") for minutes in (38, 44, 51, 40, 62, 47, 55, 35, 49, 58)]


def add_in_order(shop: Shop, pasts: Iterable[Past], *, from_days_ago: float = 60.0, **edge_fields: Any) -> list[Edge]:
    """As `add_edges`, put in one after the other, a day apart, the first so many days ago."""
    made = add_edges(shop, pasts, **edge_fields)
    first = clock.now() - timedelta(days=from_days_ago)
    for number, edge in enumerate(made):
        Edge.objects.filter(pk=edge.pk).update(put_in_at=first + timedelta(days=number))
    return made


def fallen(good: int = 16, bad: int = 10) -> list[Past]:
    """Lives about a middle of 49 minutes, then about half of it."""
    minutes = [38, 44, 51, 40, 62, 47, 55, 35, 49, 58]
    return [Past(minutes[number % 10], "worn") for number in range(good)] + [
        Past(0.5 * minutes[number % 10], "worn") for number in range(bad)
    ]
