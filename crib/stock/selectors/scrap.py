"""Worn carbide: what should lie in the box since it was last emptied, by what the ledger says was used up."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Max, QuerySet, Sum

from crib.catalogue.models import Design
from crib.stock.models import Move, Place
from crib.stock.records import ScrapCollection


@dataclass(frozen=True, slots=True)
class WornDesign:
    """Pieces of one design in the box; `grams` is None where the design has no carbide mass."""

    design: Design
    pieces: int

    @property
    def grams(self) -> float | None:
        return None if self.design.carbide_mass_g is None else self.design.carbide_mass_g * self.pieces


@dataclass(frozen=True, slots=True)
class WornCarbide:
    """What should be in the box, and the line of the ledger up to which that was counted."""

    designs: tuple[WornDesign, ...]
    through: int | None

    @property
    def grams(self) -> float:
        return max(sum(one.grams or 0.0 for one in self.designs), 0.0)

    @property
    def pieces(self) -> int:
        return max(sum(one.pieces for one in self.designs if one.grams is not None), 0)

    @property
    def unknown(self) -> int:
        """Pieces that cut and of which nobody entered how much carbide they hold."""
        return max(sum(one.pieces for one in self.designs if one.grams is None), 0)


def worn_carbide() -> WornCarbide:
    """Pieces moved to spent since the last collection, less what was taken out again or reversed; three queries."""
    last = ScrapCollection.objects.order_by("-pk").values_list("through_move", flat=True).first()
    through = Move.objects.aggregate(last=Max("pk"))["last"]
    moves = Move.objects.filter(pk__lte=through or 0, pk__gt=last or 0).order_by()
    counts: dict[int, int] = defaultdict(int)
    for side, sign in (("to_place", 1), ("from_place", -1)):
        there = moves.filter(**{f"{side}__kind": Place.Kind.SPENT})
        for design, pieces in there.values_list("design").annotate(pieces=Sum("quantity")):
            counts[design] += sign * pieces
    wanted = {design for design, pieces in counts.items() if pieces}
    # A body or holder is steel: without a carbide mass it is no worn carbide at all.
    designs = [one for one in Design.objects.filter(pk__in=wanted).order_by("code") if one.cuts or one.carbide_mass_g]
    return WornCarbide(tuple(WornDesign(one, counts[one.pk]) for one in designs), through)


def scrap_collections() -> QuerySet[ScrapCollection]:
    """Every collection, the last first."""
    return ScrapCollection.objects.select_related("who").order_by("-pk")
