"""Machines with what is in their pockets: a fixed number of queries, however many pockets there are."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Count, F, Q

from crib.catalogue.models import Design, Machine
from crib.floor.grinds import PRESENT
from crib.floor.models import Assembly, Edge, Fitting, PocketLoad
from crib.floor.tooling import SpeedLimit, said_too_fast, speed_limit
from crib.stock.models import Item


@dataclass(slots=True)
class Fitted:
    """What is fitted in an assembly: the item, the edge in use, and how many fresh ones wait on it."""

    item: Item
    fitting: Fitting
    edge: Edge | None = None
    fresh: int = 0
    last: Edge | None = None

    @property
    def design(self) -> Design:
        return self.item.design


@dataclass(slots=True)
class PocketNow:
    """A pocket and what is in it."""

    machine: Machine
    pocket: int
    load: PocketLoad | None = None
    fitted: Fitted | None = None

    @property
    def assembly(self) -> Assembly | None:
        return self.load.assembly if self.load else None

    @property
    def edge(self) -> Edge | None:
        return self.fitted.edge if self.fitted else None

    @property
    def too_fast(self) -> str:
        """The caution when some part may not turn as fast as the work asks."""
        if self.fitted is None or self.edge is None or self.edge.operation is None:
            return ""
        return said_too_fast(self.edge.operation, self.machine, self.parts, self.fitted.item)

    @property
    def parts(self) -> list[Design]:
        """The designs from the holder down to the tip."""
        if self.load is None:
            return []
        built = self.load.assembly
        chain = [built.holder.design, built.body.design if built.body else None, self.fitted and self.fitted.design]
        return [part for part in chain if part]

    @property
    def limit(self) -> SpeedLimit | None:
        """How fast it may turn here at most."""
        return speed_limit(self.parts, self.machine) if self.load else None


@dataclass(slots=True)
class MachineBoard:
    """A machine and its pockets, loaded ones in order."""

    machine: Machine
    pockets: list[PocketNow] = field(default_factory=list)

    @property
    def empty(self) -> int:
        return max(self.machine.pockets - len(self.pockets), 0)

    @property
    def free_pockets(self) -> list[int]:
        taken = {pocket.pocket for pocket in self.pockets}
        return [number for number in range(1, self.machine.pockets + 1) if number not in taken]


def machine_boards(
    *, machines: Sequence[Machine] | None = None, edge_related: Iterable[str] = ()
) -> list[MachineBoard]:
    """Every machine in use with its pockets; `edge_related` names what else is wanted of each edge, such as "
    "a forecast."""
    if machines is None:
        machines = list(Machine.objects.filter(retired_at=None))
    boards = {machine.pk: MachineBoard(machine) for machine in machines}
    loads = list(
        PocketLoad.objects.filter(unloaded_at=None, machine__in=list(boards))
        .select_related("assembly__holder__design", "assembly__body__design")
        .order_by("machine", "pocket")
    )
    fitted = fitted_in([load.assembly_id for load in loads], edge_related=edge_related)
    for load in loads:
        board = boards[load.machine_id]
        board.pockets.append(PocketNow(board.machine, load.pocket, load, fitted.get(load.assembly_id)))
    return list(boards.values())


def fitted_in(assemblies: Sequence[int], *, edge_related: Iterable[str] = ()) -> dict[int, Fitted]:
    """What is fitted in each of these assemblies now; two queries."""
    fittings = Fitting.objects.filter(assembly__in=assemblies, removed_at=None).select_related(
        "item__design", "item__place"
    )
    fresh = Q(item__edges__state=Edge.State.FRESH, item__edges__grind=F("item__regrinds_done"))
    fittings = fittings.annotate(fresh=Count("item__edges", filter=fresh))
    found = {one.assembly_id: Fitted(one.item, one, fresh=one.fresh) for one in fittings}
    by_item = {fitted.item.pk: fitted for fitted in found.values()}
    used = Edge.objects.filter(PRESENT, item__in=list(by_item)).exclude(state=Edge.State.FRESH)
    related = ("operation__job", "operation__tip", "operation__body", "operation__machine", *edge_related)
    for edge in used.select_related(*related).order_by("item", "put_in_at", "pk"):
        fitted = by_item[edge.item_id]
        fitted.last = edge
        if edge.state == Edge.State.IN_USE:
            fitted.edge = edge
    return found


def pocket_now(*, machine: Machine, pocket: int, edge_related: Iterable[str] = ()) -> PocketNow:
    """One pocket, whether or not anything is in it."""
    loads = PocketLoad.objects.filter(machine=machine, pocket=pocket, unloaded_at=None)
    load = loads.select_related("assembly__holder__design", "assembly__body__design").first()
    if load is None:
        return PocketNow(machine, pocket)
    fitted = fitted_in([load.assembly_id], edge_related=edge_related).get(load.assembly_id)
    return PocketNow(machine, pocket, load, fitted)


@dataclass(slots=True)
class AssemblyNow:
    """An assembly, where it is and what is fitted in it."""

    assembly: Assembly
    load: PocketLoad | None
    fitted: Fitted | None


def assemblies_now(*, edge_related: Iterable[str] = ()) -> list[AssemblyNow]:
    """Every assembly that is not taken apart; a fixed number of queries."""
    standing = list(
        Assembly.objects.filter(taken_apart_at=None)
        .select_related("holder__design", "holder__place", "body__design")
        .order_by("name", "pk")
    )
    numbers = [assembly.pk for assembly in standing]
    loads = PocketLoad.objects.filter(assembly__in=numbers, unloaded_at=None).select_related("machine")
    loaded = {load.assembly_id: load for load in loads}
    fitted = fitted_in(numbers, edge_related=edge_related)
    return [AssemblyNow(one, loaded.get(one.pk), fitted.get(one.pk)) for one in standing]
