"""One thing for another in one act: a pocket's assembly, or the tip of an assembly. Both halves stand, or neither."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F

from crib.catalogue.models import Design, Machine
from crib.core.errors import BadInput, KeyAlreadyUsed
from crib.floor.errors import NothingFitted, PocketEmpty, PocketTaken, StillLoaded
from crib.floor.hands import sub_key
from crib.floor.models import Assembly, Edge, Fitting, Operation, PocketLoad
from crib.floor.services.assemblies import fit_tip, take_out
from crib.floor.services.edges import end_edge
from crib.floor.services.pockets import load_pocket, unload_pocket
from crib.people.models import Person
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.services import place_of, spent_place


@dataclass(frozen=True, slots=True)
class PocketSwap:
    """What came out of a pocket, and what is in it now."""

    out: PocketLoad
    into: PocketLoad


@transaction.atomic
def swap_pocket(
    *,
    machine: Machine,
    pocket: int,
    assembly: Assembly,
    who: Person,
    key: str,
    to_place: Place | None = None,
    operation: Operation | None = None,
    at: datetime | None = None,
) -> PocketSwap:
    """Put `assembly` in a pocket in place of the one there, which goes to `to_place` or to the person.

    Edges keep their minutes, those that come out and those that go in.
    """
    if not key:
        raise BadInput("key", "Each swap needs a key, so that the same scan sent twice counts once.")
    there = _load_in(machine, pocket)
    # Always in this order, so that two swaps of the same two wait for each other instead of each for the other.
    wanted = {assembly.pk} | ({there.assembly_id} if there else set())
    list(Assembly.objects.select_for_update(of=("self",)).filter(pk__in=wanted).order_by("pk"))
    if (done := _swapped_before(machine, pocket, assembly, key)) is not None:
        return done
    now = _load_in(machine, pocket)
    if now is None:
        raise PocketEmpty(f"Pocket {pocket} of {machine.code} is empty; load {assembly.name} there.", field="pocket")
    if now.assembly_id == assembly.pk:
        raise StillLoaded(f"{assembly.name} is in pocket {pocket} of {machine.code} already.", field="assembly")
    if there is None or now.pk != there.pk:
        raise PocketTaken(
            f"Somebody put {now.assembly.name} in pocket {pocket} of {machine.code} just now. Look again.",
            field="pocket",
        )
    out = unload_pocket(machine=machine, pocket=pocket, who=who, to_place=to_place, at=at)
    into = load_pocket(
        machine=machine,
        pocket=pocket,
        assembly=assembly,
        who=who,
        operation=operation,
        at=at,
        key=sub_key("swap", key),
    )
    return PocketSwap(out, into)


def _load_in(machine: Machine, pocket: int) -> PocketLoad | None:
    loads = PocketLoad.objects.filter(machine=machine, pocket=pocket, unloaded_at=None)
    return loads.select_related("assembly").first()


def _swapped_before(machine: Machine, pocket: int, assembly: Assembly, key: str) -> PocketSwap | None:
    """The swap that this key made, from the line that its holder left in the ledger."""
    line = Move.objects.filter(key=sub_key("swap", key)).first()
    if line is None:
        return None
    loads = PocketLoad.objects.filter(machine=machine, pocket=pocket).select_related("machine", "assembly")
    into = loads.filter(assembly=assembly, assembly__holder=line.item_id, loaded_at=line.at).first()
    out = loads.filter(unloaded_at__lte=line.at).order_by("-unloaded_at", "-pk").first()
    if into is None or out is None:
        raise KeyAlreadyUsed("This key came before with another swap. Scan again, so that a new key is made.")
    return PocketSwap(out, into)


# --- a tip for another --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class EdgeEnd:
    """Why the edge in use comes off, as `end_edge` takes it."""

    outcome: str
    wear_land_mm: float | None = None
    note: str = ""
    looked_twice: bool = False


@dataclass(frozen=True, slots=True)
class NextTip:
    """What goes in, as `fit_tip` takes it: a labelled item, or loose pieces of a design from a place."""

    item: Item | None = None
    design: Design | None = None
    from_place: Place | None = None
    condition: str = Condition.NEW
    edge: int | None = None
    lot: str = ""


@dataclass(frozen=True, slots=True)
class TipSwap:
    """What came out of an assembly, what is in it now, and the edge that came off."""

    out: Fitting
    into: Fitting
    ended: Edge | None


@transaction.atomic
def swap_tip(
    *,
    assembly: Assembly,
    into: NextTip,
    who: Person,
    key: str,
    end: EdgeEnd | None = None,
    to_place: Place | None = None,
    at: datetime | None = None,
) -> TipSwap:
    """Take the tip out and fit the next one, which comes in use; with `end` the edge in use comes off first.

    Without it the edge keeps its minutes and goes on when its tip is fitted again. A tip that is used up and cannot be
    reground goes to the spent place, any other one to `to_place` or to the person.
    """
    if not key:
        raise BadInput("key", "Each swap needs a key, so that the same scan sent twice counts once.")
    assembly = Assembly.objects.select_for_update(of=("self",)).get(pk=assembly.pk)
    if (done := _tip_swapped_before(assembly, into, key)) is not None:
        return done
    fitted = Fitting.objects.filter(assembly=assembly, removed_at=None).select_related("item__design").first()
    if fitted is None:
        raise NothingFitted(f"There is no tip in {assembly.name}; fit one.", field="assembly")
    if into.item is not None and into.item.pk == fitted.item_id:
        raise BadInput(
            "item", f"{into.item.label} is what is in {assembly.name} now. Scan the tip that goes in instead of it."
        )
    working = Edge.objects.filter(item=fitted.item_id, state=Edge.State.IN_USE).select_related("operation").first()
    ended = _end(working, fitted, end, who=who, at=at)
    to_place = to_place or _where_to(fitted.item, who)
    out = take_out(
        assembly=assembly,
        who=who,
        key=sub_key("tip-out", key),
        to_place=to_place,
        spent=to_place.kind == Place.Kind.SPENT,
        at=at,
    )
    fitting = fit_tip(
        assembly=assembly,
        who=who,
        key=sub_key("tip-in", key),
        item=into.item,
        design=into.design,
        from_place=into.from_place,
        condition=into.condition,
        edge=into.edge,
        lot=into.lot,
        at=at,
    )
    _go_on_with(working, fitting)
    return TipSwap(out, fitting, ended)


def _tip_swapped_before(assembly: Assembly, into: NextTip, key: str) -> TipSwap | None:
    fittings = Fitting.objects.select_related("item__design")
    fitting = fittings.filter(key=sub_key("tip-in", key)).first()
    if fitting is None:
        return None
    out = fittings.filter(removal_key=sub_key("tip-out", key)).get()
    same = into.item.pk == fitting.item_id if into.item else into.design in (None, fitting.item.design)
    if fitting.assembly_id != assembly.pk or not same:
        raise KeyAlreadyUsed("This key came before with another swap. Scan again, so that a new key is made.")
    ended = Edge.objects.filter(item=out.item_id, state=Edge.State.ENDED).order_by("-ended_at", "-pk").first()
    return TipSwap(out, fitting, ended)


def _end(
    working: Edge | None, fitted: Fitting, end: EdgeEnd | None, *, who: Person, at: datetime | None
) -> Edge | None:
    if end is None:
        return None
    if working is None:
        raise BadInput(
            "outcome", f"No edge of {fitted.item.label} is in use, so none can come off. Leave the outcome empty."
        )
    return end_edge(
        edge=working,
        outcome=end.outcome,
        wear_land_mm=end.wear_land_mm,
        note=end.note,
        looked_twice=end.looked_twice,
        who=who,
        at=at,
    )


def _where_to(item: Item, who: Person) -> Place:
    item.refresh_from_db(fields=["condition", "regrinds_done"])
    worn_out = item.condition == Condition.SPENT and item.regrinds_done >= item.design.regrinds_allowed
    return spent_place() if worn_out else place_of(person=who)


def _go_on_with(before: Edge | None, fitting: Fitting) -> None:
    """The new edge does the work that the old one did, where it is of the same design."""
    work = before.operation if before else None
    if work is None or work.tip_id != fitting.item.design_id or work.retired_at is not None:
        return
    edges = Edge.objects.filter(item=fitting.item_id, state=Edge.State.IN_USE).exclude(operation=work)
    edges.update(operation=work, revision=F("revision") + 1)
