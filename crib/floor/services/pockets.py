"""Loading assemblies into the pockets of machines, and unloading them."""

from __future__ import annotations

from datetime import datetime
from functools import partial

from django.db import IntegrityError, transaction
from django.db.models import F, Max

from crib.catalogue.models import Machine
from crib.catalogue.services import check_coupling
from crib.core.errors import BadInput, Refused
from crib.core.wake import wake
from crib.floor.errors import NothingFitted, PocketEmpty, PocketTaken, StillLoaded
from crib.floor.hands import carry_assembly, check_after_runs, check_at_hand, items_of
from crib.floor.models import Assembly, Edge, Fitting, Operation, PocketLoad
from crib.floor.moments import moment
from crib.floor.run_checks import said_time
from crib.floor.selectors import open_load, open_operations, operation_for
from crib.floor.tooling import check_speed
from crib.people.models import Person
from crib.stock.models import Place
from crib.stock.services import place_of


@transaction.atomic
def load_pocket(
    *,
    machine: Machine,
    pocket: int,
    assembly: Assembly,
    who: Person,
    operation: Operation | None = None,
    at: datetime | None = None,
    key: str = "",
) -> PocketLoad:
    """Put an assembly in a pocket; the ledger carries its parts to the machine.

    The line of its holder in the ledger carries `key` where one is given.
    """
    assembly = (
        Assembly.objects.select_for_update(of=("self",))
        .select_related("holder__design", "body__design")
        .get(pk=assembly.pk)
    )
    _check_pocket(machine, pocket)
    if (standing := _standing_load(machine, pocket, assembly)) is not None:
        return standing
    check_coupling(machine=machine, holder=assembly.holder.design)
    parts = items_of(assembly)
    for item in parts:
        check_at_hand(item, field="assembly")
    fitted = Fitting.objects.filter(assembly=assembly, removed_at=None).select_related("item__design").first()
    if fitted is not None:
        asked = [operation] if operation else open_operations(machine=machine, tip=fitted.item.design)
        check_speed(asked, machine, [item.design for item in parts], field="assembly", item=fitted.item)
    loaded_at = moment(
        at, after=_earliest_load(machine, pocket, assembly), what="the pocket or the assembly was last changed"
    )
    try:
        with transaction.atomic():
            load = PocketLoad.objects.create(
                machine=machine, pocket=pocket, assembly=assembly, loaded_by=who, loaded_at=loaded_at
            )
    except IntegrityError as taken:
        raise PocketTaken(
            f"Somebody loaded pocket {pocket} of {machine.code}, or {assembly.name}, just now.", field="pocket"
        ) from taken
    carry_assembly(assembly, place_of(machine=machine), who=who, key=key or f"load:{load.pk}", at=loaded_at)
    if fitted is not None:
        _set_to_work(machine, fitted, operation)
    return load


def _check_pocket(machine: Machine, pocket: int) -> None:
    """Refuse a machine out of use and a pocket that it does not have."""
    if machine.retired:
        raise Refused(f"{machine.code} is retired.", field="machine")
    if machine.pockets < 1:
        raise BadInput("pocket", f"{machine.code} has no pockets in the catalogue; enter how many it has first.")
    if isinstance(pocket, bool) or not 1 <= pocket <= machine.pockets:
        raise BadInput("pocket", f"{machine.code} has pockets 1 to {machine.pockets}; there is no pocket {pocket}.")


def _standing_load(machine: Machine, pocket: int, assembly: Assembly) -> PocketLoad | None:
    """The same load asked for again is that load; anything in the way is refused."""
    if assembly.taken_apart_at is not None:
        raise NothingFitted(f"{assembly.name} was taken apart; build it again first.", field="assembly")
    if (load := open_load(assembly)) is not None:
        if (load.machine_id, load.pocket) == (machine.pk, pocket):
            return load
        raise StillLoaded(f"{assembly.name} is in {load}; unload it there first.", field="assembly")
    there = (
        PocketLoad.objects.filter(machine=machine, pocket=pocket, unloaded_at=None).select_related("assembly").first()
    )
    if there is not None:
        raise PocketTaken(
            f"Pocket {pocket} of {machine.code} holds {there.assembly.name}; unload that first.", field="pocket"
        )
    return None


def _earliest_load(machine: Machine, pocket: int, assembly: Assembly) -> datetime:
    before = PocketLoad.objects.filter(machine=machine, pocket=pocket).aggregate(last=Max("unloaded_at"))["last"]
    elsewhere = PocketLoad.objects.filter(assembly=assembly).aggregate(last=Max("unloaded_at"))["last"]
    return max(when for when in (assembly.built_at, before, elsewhere) if when is not None)


def _set_to_work(machine: Machine, fitted: Fitting, operation: Operation | None) -> None:
    operation = operation or operation_for(machine=machine, tip=fitted.item.design)
    edges = Edge.objects.filter(item=fitted.item_id, state=Edge.State.IN_USE)
    if operation is not None:
        edges.update(operation=operation, revision=F("revision") + 1)
    else:
        edges.update(revision=F("revision") + 1)
    transaction.on_commit(partial(wake, "forecasts"))


@transaction.atomic
def unload_pocket(
    *, machine: Machine, pocket: int, who: Person, to_place: Place | None = None, at: datetime | None = None
) -> PocketLoad:
    """Take the assembly out of a pocket, to `to_place` or to the person who does it."""
    load = (
        PocketLoad.objects.select_for_update(of=("self",))
        .select_related("machine", "assembly")
        .filter(machine=machine, pocket=pocket, unloaded_at=None)
        .first()
    )
    if load is None:
        last = (
            PocketLoad.objects.filter(machine=machine, pocket=pocket, unloaded_at__isnull=False)
            .order_by("-unloaded_at")
            .first()
        )
        since = f" since {said_time(last.unloaded_at)}" if last is not None and last.unloaded_at else ""
        raise PocketEmpty(
            f"Pocket {pocket} of {machine.code} has been empty{since}."
            if since
            else f"Pocket {pocket} of {machine.code} is empty.",
            field="pocket",
        )
    fitted = Fitting.objects.filter(assembly=load.assembly_id, removed_at=None).first()
    unloaded_at = moment(at, after=load.loaded_at, what="it was loaded")
    if fitted is not None:
        check_after_runs(list(Edge.objects.select_for_update().filter(item=fitted.item_id).order_by("pk")), unloaded_at)
        Edge.objects.filter(item=fitted.item_id, state=Edge.State.IN_USE).update(revision=F("revision") + 1)
        transaction.on_commit(partial(wake, "forecasts"))
    load.unloaded_at = unloaded_at
    load.save(update_fields=["unloaded_at"])
    carry_assembly(load.assembly, to_place or place_of(person=who), who=who, key=f"unload:{load.pk}", at=unloaded_at)
    return load
