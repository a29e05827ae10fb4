"""What is loaded, what works at what."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Exists, OuterRef, QuerySet

from crib.catalogue.models import Design, Job, Machine
from crib.floor.models import Assembly, Edge, Fitting, Operation, PocketLoad


def edges_at_work() -> QuerySet[Edge]:
    """Edges in use whose item is fitted in an assembly now."""
    fitted = Fitting.objects.filter(item=OuterRef("item"), removed_at=None)
    return Edge.objects.filter(Exists(fitted), state=Edge.State.IN_USE)


def open_load(assembly: Assembly) -> PocketLoad | None:
    """Where the assembly is loaded, if it is."""
    return PocketLoad.objects.filter(assembly=assembly, unloaded_at=None).select_related("machine").first()


def open_operations(*, machine: Machine, tip: Design) -> QuerySet[Operation]:
    """The work that a tip of this design may be asked to do on this machine now, running jobs first."""
    return _live().filter(machine=machine, tip=tip)


def _live() -> QuerySet[Operation]:
    live = Operation.objects.filter(retired_at=None, job__retired_at=None).exclude(job__state=Job.State.DONE)
    # "running" sorts after "planned".
    return live.select_related("job", "tip", "body", "machine").order_by(
        "-job__state", "job__due", "job__code", "number"
    )


def operation_for(*, machine: Machine, tip: Design) -> Operation | None:
    """What a tip put in this machine will most likely work at; nothing when nothing fits."""
    return open_operations(machine=machine, tip=tip).first()


def operations_at(*, machine: Machine, tips: Iterable[int]) -> dict[int, Operation]:
    """The same for several designs at once, by their numbers; one query."""
    live = _live().filter(machine=machine, tip__in=tips)
    return {one.tip_id: one for one in reversed(live.select_related("material"))}


def operations_of_tip(*, tip: Design) -> list[Operation]:
    """Every work of jobs that are not done that asks for this design, running jobs first."""
    return list(_live().filter(tip=tip).select_related("material"))


def operation_now(fitting: Fitting) -> Operation | None:
    """What a fitted item works at by where it is loaded, when it is."""
    load = open_load(fitting.assembly)
    return operation_for(machine=load.machine, tip=fitting.item.design) if load else None
