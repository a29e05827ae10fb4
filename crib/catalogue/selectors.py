"""What the catalogue holds: read only."""

from __future__ import annotations

from typing import TypeVar

from django.db.models import Model, Q, QuerySet

from crib.catalogue.models import Design, Machine, Offer, Supplier, WorkMaterial
from crib.core.errors import NotFound

T = TypeVar("T", bound=Model)


def find_designs(*, text: str = "", kind: str = "", retired: bool = False) -> QuerySet[Design]:
    """Designs whose code, maker's number, description or family holds every word of `text`."""
    found = Design.objects.filter(retired_at__isnull=not retired).order_by("code")
    if kind:
        found = found.filter(kind=kind)
    for word in text.split()[:8]:
        found = found.filter(
            Q(code__icontains=word)
            | Q(makers_number__icontains=word)
            | Q(description__icontains=word)
            | Q(family__icontains=word)
        )
    return found


def offers_of(*, design: Design) -> QuerySet[Offer]:
    """What suppliers ask for a design, those still standing first."""
    return design.offers.select_related("supplier").prefetch_related("prices").order_by("retired_at", "supplier__name")


def all_offers() -> QuerySet[Offer]:
    """Every offer with its design, supplier and prices."""
    found = Offer.objects.select_related("design", "supplier").prefetch_related("prices")
    return found.order_by("retired_at", "design__code", "supplier__name")


def all_materials() -> QuerySet[WorkMaterial]:
    """Every work material, those in use first."""
    return WorkMaterial.objects.order_by("retired_at", "name")


def sources_of(material: WorkMaterial) -> list[tuple[str, str]]:
    """Each source of a material's figures with the figures it stands for, such as ("kc1.1, mc", "a handbook")."""
    figures = [("kc1.1", material.kc11_source), ("mc", material.mc_source)]
    if material.taylor_n is not None:
        figures.append(("n", material.taylor_n_source))
    if material.speed_low is not None or material.speed_high is not None:
        figures.append(("speeds", material.speed_source))
    named: dict[str, list[str]] = {}
    for figure, source in figures:
        named.setdefault(source, []).append(figure)
    return [(", ".join(names), source) for source, names in named.items()]


def all_machines() -> QuerySet[Machine]:
    """Every machine, those in use first."""
    return Machine.objects.prefetch_related("shifts").order_by("retired_at", "code")


def all_suppliers() -> QuerySet[Supplier]:
    """Every supplier, those in use first."""
    return Supplier.objects.order_by("retired_at", "name")


def material_with(*, number: int) -> WorkMaterial:
    """The material with this number."""
    return _one(all_materials().filter(pk=number), "material")


def machine_with(*, number: int) -> Machine:
    """The machine with this number."""
    return _one(all_machines().filter(pk=number), "machine")


def supplier_with(*, number: int) -> Supplier:
    """The supplier with this number."""
    return _one(all_suppliers().filter(pk=number), "supplier")


def offer_with(*, number: int) -> Offer:
    """The offer with this number."""
    return _one(all_offers().filter(pk=number), "offer")


def _one(found: QuerySet[T], word: str) -> T:
    thing = found.first()
    if thing is None:
        raise NotFound(f"There is no such {word}.")
    return thing
