"""What can be picked where: parts that are at hand and go together, so that a form offers nothing that is refused."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from crib.catalogue.errors import CouplingDoesNotFit
from crib.catalogue.models import Design, Machine
from crib.catalogue.services import check_coupling
from crib.floor.grinds import PRESENT
from crib.floor.models import Assembly, Edge, Fitting, PocketLoad
from crib.people.models import Person
from crib.stock.models import Balance, Condition, Item, Place

USABLE = (Condition.NEW, Condition.PART_USED, Condition.REGROUND)


@dataclass(frozen=True, slots=True)
class LooseTips:
    """Loose tips of one design at one place, that would fit."""

    balance: Balance
    free: int

    @property
    def says(self) -> str:
        place = self.balance.place
        where = "with you" if place.kind == Place.Kind.PERSON else f"at {place.code}"
        kind = "" if self.balance.condition == Condition.NEW else f", {self.balance.get_condition_display().lower()}"
        return f"{self.balance.design.code}: {self.free} {where}{kind}"


def _fits(assembly: Assembly, design: Design) -> bool:
    try:
        if assembly.body is not None:
            check_coupling(body=assembly.body.design, tip=design)
        elif design.kind in (Design.Kind.TIP, Design.Kind.INSERT):
            return False
        else:
            check_coupling(holder=assembly.holder.design, tip=design)
    except CouplingDoesNotFit:
        return False
    return True


def loose_tips_for(*, assembly: Assembly, person: Person) -> list[LooseTips]:
    """Loose tips in the crib or with this person that fit the assembly, as many as it takes; his own first."""
    seats = max(assembly.body.design.seats, 1) if assembly.body else 1
    rows = (
        Balance.objects.filter(Q(place__kind__in=Place.ON_HAND) | Q(place__person=person))
        .filter(condition__in=USABLE, quantity__gte=F("labelled") + seats, design__edges__gt=0)
        .select_related("design", "place")
        .order_by("design__code", "place__code")
    )
    found = [LooseTips(row, row.quantity - row.labelled) for row in rows if _fits(assembly, row.design)]
    return sorted(found, key=lambda tips: tips.balance.place.kind != Place.Kind.PERSON)


def items_for(*, assembly: Assembly, person: Person) -> list[Item]:
    """Labelled tips with an edge left, in the crib or with this person, that fit the assembly."""
    fitted = Fitting.objects.filter(item=OuterRef("pk"), removed_at=None)
    edges_left = Edge.objects.filter(PRESENT, item=OuterRef("pk")).exclude(state=Edge.State.ENDED)
    items = Item.objects.filter(
        Q(place__kind__in=Place.ON_HAND) | Q(place__person=person),
        ~Exists(fitted),
        # One that was never fitted has no edges written down yet.
        Exists(edges_left) | ~Exists(Edge.objects.filter(item=OuterRef("pk"))),
        condition__in=USABLE,
        design__edges__gt=0,
        pieces=max(assembly.body.design.seats, 1) if assembly.body else 1,
    )
    return [item for item in items.select_related("design", "place") if _fits(assembly, item.design)]


def free_parts(kind: str) -> QuerySet[Item]:
    """Holders or bodies at hand that are in no assembly."""
    standing = Assembly.objects.filter(taken_apart_at=None)
    built_in = standing.filter(Q(holder=OuterRef("pk")) | Q(body=OuterRef("pk")))
    at_hand = Q(place__kind__in=Place.ON_HAND) | Q(place__kind=Place.Kind.PERSON)
    found = Item.objects.filter(~Exists(built_in), at_hand, design__kind=kind, condition__in=USABLE)
    return found.select_related("design", "place").order_by("design__code", "pk")


def assemblies_for(*, machine: Machine) -> list[Assembly]:
    """Assemblies in no machine whose holder fits this machine's nose."""
    loaded = PocketLoad.objects.filter(assembly=OuterRef("pk"), unloaded_at=None)
    free = Assembly.objects.filter(~Exists(loaded), taken_apart_at=None).select_related(
        "holder__design", "body__design"
    )
    found = []
    for assembly in free.order_by("name", "pk"):
        try:
            check_coupling(machine=machine, holder=assembly.holder.design)
        except CouplingDoesNotFit:
            continue
        found.append(assembly)
    return found
