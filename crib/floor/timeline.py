"""What was in which pocket at which moment, so that a run logged late still goes to the edge that cut it."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from operator import attrgetter
from typing import Generic, TypeVar

from django.db.models import OuterRef, Q, QuerySet, Subquery

from crib.floor.models import Edge, Fitting, PocketLoad
from crib.stock.models import Item


@dataclass(frozen=True, slots=True)
class Load:
    """An assembly in a pocket over a stretch of time."""

    since: datetime
    until: datetime | None
    assembly: int
    machine: int
    pocket: int


@dataclass(frozen=True, slots=True)
class Fit:
    """An item in an assembly over a stretch of time."""

    since: datetime
    until: datetime | None
    assembly: int
    item: int
    design: int


@dataclass(frozen=True, slots=True)
class Working:
    """An edge at work over a stretch of time."""

    since: datetime
    until: datetime | None
    edge: int
    number: int
    item: int


S = TypeVar("S", Load, Fit, Working)


@dataclass(slots=True)
class Stretches(Generic[S]):
    """Stretches of time that follow each other, per key, in the order in which they begin."""

    _of: dict[Hashable, list[S]] = field(default_factory=lambda: defaultdict(list))
    _starts: dict[Hashable, list[datetime]] = field(default_factory=dict)

    def add(self, key: Hashable, stretch: S) -> None:
        self._of[key].append(stretch)

    def sort(self) -> None:
        for key, stretches in self._of.items():
            stretches.sort(key=attrgetter("since"))
            self._starts[key] = [stretch.since for stretch in stretches]

    def at(self, key: Hashable, moment: datetime) -> S | None:
        """The last one begun by `moment`, whether or not it is over by then."""
        starts = self._starts.get(key)
        if not starts:
            return None
        place = bisect_right(starts, moment)
        return self._of[key][place - 1] if place else None


class Timeline:
    """Loads, fittings and edges at work, read for a set of machines and edges over one stretch of time."""

    def __init__(self) -> None:
        self.in_pocket: Stretches[Load] = Stretches()
        self.of_assembly: Stretches[Load] = Stretches()
        self.in_assembly: Stretches[Fit] = Stretches()
        self.of_item: Stretches[Fit] = Stretches()
        self.edges: Stretches[Working] = Stretches()
        self.edge: dict[int, Working] = {}

    @classmethod
    def read(
        cls, *, machines: Iterable[int], edges: Iterable[int], first: datetime, last: datetime, lock: bool = True
    ) -> Timeline:
        """Read what overlaps `first` to `last`, and hold the edges until the transaction ends.

        The hold is what makes two runs on one edge wait for each other, so that neither misses the other's minutes.
        """
        line = cls()
        machines, edges = list(machines), list(edges)
        named_items = set(Edge.objects.filter(pk__in=edges).values_list("item_id", flat=True)) if edges else set()
        loads = PocketLoad.objects.filter(Q(unloaded_at=None) | Q(unloaded_at__gte=first), loaded_at__lte=last)
        fits = Fitting.objects.filter(Q(removed_at=None) | Q(removed_at__gte=first), fitted_at__lte=last)
        loads = loads.filter(Q(machine__in=machines) | Q(assembly__fittings__item__in=named_items)).distinct()
        line._read_loads(loads.order_by())
        fits = fits.filter(Q(assembly__in=loads.values("assembly")) | Q(item__in=named_items))
        line._read_fits(fits.order_by())
        line._read_edges(_edges_at_work(fits, edges, first, last).order_by("pk"), lock=lock)
        return line

    def _read_loads(self, loads: QuerySet[PocketLoad]) -> None:
        rows = loads.values_list("loaded_at", "unloaded_at", "assembly_id", "machine_id", "pocket")
        for row in rows:
            load = Load(*row)
            self.in_pocket.add((load.machine, load.pocket), load)
            self.of_assembly.add(load.assembly, load)
        self.in_pocket.sort()
        self.of_assembly.sort()

    def _read_fits(self, fits: QuerySet[Fitting]) -> None:
        rows = fits.values_list("fitted_at", "removed_at", "assembly_id", "item_id", "item__design_id")
        for row in rows:
            fit = Fit(*row)
            self.in_assembly.add(fit.assembly, fit)
            self.of_item.add(fit.item, fit)
        self.in_assembly.sort()
        self.of_item.sort()

    def _read_edges(self, edges: QuerySet[Edge], *, lock: bool) -> None:
        held = edges.select_for_update(of=("self",)) if lock else edges
        for row in held.values_list("put_in_at", "ended_at", "pk", "number", "item_id"):
            since, until, edge, number, item = row
            assert since is not None  # only edges that were put in are read
            work = Working(since, until, edge, number, item)
            self.edges.add(work.item, work)
            self.edge[work.edge] = work
        self.edges.sort()


def _edges_at_work(fits: QuerySet[Fitting], edges: list[int], first: datetime, last: datetime) -> QuerySet[Edge]:
    """Edges at work from `first` to `last`, and for each item the one before, which a refusal names.

    An item that has been turned a hundred times would otherwise be read whole for each handful of runs. Its edge in
    use is read too, whenever it came in use: a run of an earlier one that wore the same band is news for it.
    """
    begun = Edge.objects.filter(item=OuterRef("pk"), put_in_at__lte=first).order_by("-put_in_at")
    items = Item.objects.filter(pk__in=fits.values("item")).annotate(before=Subquery(begun.values("pk")[:1]))
    before = [pk for pk in items.order_by().values_list("before", flat=True) if pk is not None]
    at_work = Q(ended_at=None) | Q(ended_at__gte=first, put_in_at__lte=last)
    overlapping = Q(item__in=fits.values("item")) & at_work
    return Edge.objects.filter(overlapping | Q(pk__in=[*before, *edges]), put_in_at__isnull=False)
