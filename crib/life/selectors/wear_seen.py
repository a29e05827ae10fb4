"""The wear lands that were read in each group, as its edges were looked at and as they came off."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any, NamedTuple

from crib.floor.models import Edge, Inspection
from crib.life.laws import Key


class SeenLand(NamedTuple):
    """One wear land: whose, at how many minutes as cut, and the criterion of the work."""

    edge: int
    minutes: float
    wear_land_mm: float
    limit: float


def lands_seen(*, keys: Iterable[Key]) -> dict[Key, list[SeenLand]]:
    """Readings of every edge in the group of the work it did last; two queries."""
    wanted = set(keys)
    designs = {key.design for key in wanted}
    found: dict[Key, list[SeenLand]] = defaultdict(list)
    known: set[tuple[int, float]] = set()
    looks = Inspection.objects.filter(edge__item__design__in=designs, edge__operation__isnull=False)
    ends = Edge.objects.filter(item__design__in=designs, operation__isnull=False, wear_land_mm__isnull=False)
    rows: list[Any] = [
        *looks.order_by("pk").values_list(
            "edge_id", "at_minutes", "wear_land_mm", "edge__operation__wear_limit_mm",
            "edge__item__design_id", "edge__operation__material_id", "edge__operation__kind_of_cut", "edge__grind",
        ),
        *ends.order_by("pk").values_list(
            "pk", "minutes", "wear_land_mm", "operation__wear_limit_mm",
            "item__design_id", "operation__material_id", "operation__kind_of_cut", "grind",
        ),
    ]  # fmt: skip
    for edge, minutes, land, limit, design, material, kind, grind in rows:
        key = Key(design, material, kind, grind > 0)
        # A look at the very end and the wear land of the end are one reading, written down twice.
        if key in wanted and (edge, minutes) not in known:
            known.add((edge, minutes))
            found[key].append(SeenLand(edge, minutes, land, limit))
    return dict(found)
