"""What is built into tools, and which built tools stand ready where."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Max

from crib.catalogue.models import Design
from crib.floor.models import Assembly, Fitting, PocketLoad


@dataclass(frozen=True, slots=True)
class BuiltTool:
    """A tool that is not taken apart: its designs, and where it is."""

    assembly: Assembly
    tip: Design | None
    load: PocketLoad | None

    @property
    def where(self) -> str:
        """Such as “in VM-1 pocket 3”, or “at A-01”."""
        if self.load is not None:
            return f"in {self.load.machine.code} pocket {self.load.pocket}"
        place = self.assembly.holder.place
        return f"with {place.person}" if place.person else f"at {place.code}"


def built_in() -> frozenset[int]:
    """The items that are part of a tool now, and so are not free to hand out one by one."""
    standing = Assembly.objects.filter(taken_apart_at=None)
    holders = standing.values_list("holder", flat=True)
    bodies = standing.filter(body__isnull=False).values_list("body__pk", flat=True)
    fitted = Fitting.objects.filter(removed_at=None).values_list("item", flat=True)
    return frozenset(holders) | frozenset(bodies) | frozenset(fitted)


def built_tools() -> list[BuiltTool]:
    """Every tool that is not taken apart, with what is fitted in it and its pocket; three queries."""
    standing = list(
        Assembly.objects.filter(taken_apart_at=None)
        .select_related("holder__design", "holder__place__person", "body__design")
        .order_by("pk")
    )
    loads = {load.assembly_id: load for load in PocketLoad.objects.filter(unloaded_at=None).select_related("machine")}
    fitted = {
        one.assembly_id: one.item.design
        for one in Fitting.objects.filter(removed_at=None, assembly__in=standing).select_related("item__design")
    }
    return [BuiltTool(one, fitted.get(one.pk), loads.get(one.pk)) for one in standing]


def holders_used(*, bodies: Collection[int], tips: Collection[int]) -> dict[tuple[int | None, int | None], list[int]]:
    """By body, or by solid tool, the holder designs that carried it, the latest first: (body, None) or (None, tip)."""
    found: dict[tuple[int | None, int | None], list[int]] = {}
    with_body = Assembly.objects.filter(body__design__in=bodies).order_by()
    for body, holder, _ in with_body.values_list("body__design", "holder__design").annotate(
        last=Max("built_at")
    ).order_by("-last"):  # fmt: skip
        found.setdefault((body, None), []).append(holder)
    bare = Fitting.objects.filter(assembly__body=None, item__design__in=tips).order_by()
    for tip, holder, _ in bare.values_list("item__design", "assembly__holder__design").annotate(
        last=Max("fitted_at")
    ).order_by("-last"):  # fmt: skip
        found.setdefault((None, tip), []).append(holder)
    return found
