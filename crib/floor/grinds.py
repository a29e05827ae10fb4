"""What a regrind changes: which edges are there now, and the diameter that turns."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import F, Q, QuerySet

from crib.floor.duty import cutting_diameter, diameter_as_ground, spindle_speed_of
from crib.floor.models import Edge, Operation
from crib.stock.models import Item

# Edges of earlier grinds stay for what they taught; these are the ones that can still cut.
PRESENT = Q(grind=F("item__regrinds_done"))


def edges_now(item: Item) -> QuerySet[Edge]:
    """The edges that the item has since it was last ground; those from before are history."""
    return Edge.objects.filter(item=item, grind=item.regrinds_done)


def begin_edges(item: Item) -> list[Edge]:
    """Write fresh edges for the item as it is ground now."""
    numbers = range(1, item.design.edges + 1)
    return Edge.objects.bulk_create([Edge(item=item, number=one, grind=item.regrinds_done) for one in numbers])


@dataclass(frozen=True, slots=True)
class Reground:
    """How a reground tool differs from the catalogue at an operation; speeds in 1/min, lengths in mm."""

    item: Item
    diameter: float
    was: float
    speed: float | None
    speed_was: float | None


def reground_at(*, item: Item, operation: Operation) -> Reground | None:
    """For a tool whose diameter was ground: what to program instead of the catalogue's; None where nothing differs."""
    was, now = cutting_diameter(operation), diameter_as_ground(operation, item)
    if was is None or now is None or was == now:
        return None
    return Reground(item, now, was, spindle_speed_of(operation, item), spindle_speed_of(operation))
