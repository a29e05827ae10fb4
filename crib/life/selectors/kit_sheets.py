"""A kit beside the crib and the floor: what is free, what comes back with how many minutes, what is to be staged."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from crib.catalogue.models import Job
from crib.floor.models import Edge
from crib.floor.selectors.standing_tools import built_in
from crib.life.selectors.kit_needs import KitNeeds, kit_needs
from crib.stock import selectors as stock
from crib.stock.models import Condition, Item
from crib.stock.records import Kit
from crib.stock.selectors import KitLineNow, LeftOver


@dataclass(frozen=True, slots=True)
class KitProposal:
    """What a job's start needs, each line beside what is there."""

    needs: KitNeeds
    lines: tuple[KitLineNow, ...]


@dataclass(frozen=True, slots=True)
class BackRow:
    """One row of what comes back, with the edges of a labelled piece and the condition it seems to be in."""

    left: LeftOver
    edges: tuple[Edge, ...] = ()

    @property
    def key(self) -> str:
        """Names the row in a form."""
        item = self.left.item
        return f"item-{item.pk}" if item else f"loose-{self.left.design.pk}-{self.left.condition}"

    @property
    def minutes(self) -> float | None:
        """Minutes in cut on all its edges."""
        return sum(edge.minutes for edge in self.edges) if self.edges else None

    @property
    def edges_words(self) -> str:
        """Such as “edge 1: 12.0 min; 3 fresh; 1 ended”."""
        said = [f"edge {one.number}: {one.minutes:.1f} min" for one in self.edges if one.state == Edge.State.IN_USE]
        fresh = sum(one.state == Edge.State.FRESH for one in self.edges)
        ended = sum(one.state == Edge.State.ENDED for one in self.edges)
        said += [f"{fresh} fresh"] if fresh else []
        said += [f"{ended} ended"] if ended else []
        return "; ".join(said)

    @property
    def working(self) -> Edge | None:
        return next((one for one in self.edges if one.state == Edge.State.IN_USE), None)

    @property
    def becomes(self) -> str:
        """Spent once its last edge has ended, part-used once it has cut, else as it is held."""
        if self.left.condition == Condition.SPENT or not self.edges:
            return self.left.condition
        if all(one.state == Edge.State.ENDED for one in self.edges):
            return Condition.SPENT
        cut = any(one.minutes > 0 or one.state == Edge.State.ENDED for one in self.edges)
        return Condition.PART_USED if cut else self.left.condition


def kit_proposal(*, job: Job, parts: int | None = None) -> KitProposal:
    """What to stage for a job's start, before it is staged."""
    needs = kit_needs(job=job, parts=parts)
    return KitProposal(needs, tuple(stock.wants_now(wants=needs.wants, job=job, besides=built_in())))


def kit_sheet(*, kit: Kit) -> list[KitLineNow]:
    """The lines of a kit beside what is free in the crib."""
    return stock.kit_lines_now(kit=kit, besides=built_in())


def back_rows(*, kit: Kit) -> list[BackRow]:
    """What the person still holds of a kit and is not part of a built tool, with the minutes of its edges."""
    built = built_in()
    left = [one for one in stock.left_of_kit(kit=kit) if one.item is None or one.item.pk not in built]
    edges = edges_of([one.item for one in left if one.item is not None])
    return [BackRow(one, tuple(edges[one.item.pk]) if one.item else ()) for one in left]


def edges_of(items: Sequence[Item]) -> dict[int, list[Edge]]:
    """The edges of each item that belong to its present grind."""
    found: dict[int, list[Edge]] = defaultdict(list)
    grinds = {item.pk: item.regrinds_done for item in items}
    for edge in Edge.objects.filter(item__in=grinds).order_by("item", "number"):
        if edge.grind == grinds[edge.item_id]:
            found[edge.item_id].append(edge)
    return found
