"""Tips that have cut before, as pages show them: their edges, and what is left of each at some work."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from crib.catalogue.models import Design
from crib.floor.models import Assembly, Operation
from crib.floor.selectors import items_for, open_load, operations_at, operations_of_tip
from crib.life.selectors import part_used_tips, tips_left
from crib.life.selectors.part_used import best_first
from crib.life.tip_left import TipLeft, edge_words
from crib.people.models import Person
from crib.stock.models import Item

STATES = {"fresh": ("good", "Fresh"), "part_used": ("caution", "Part-used"), "ended": ("plain", "Came off")}


def _asked(request: HttpRequest, design: Design) -> tuple[list[Operation], Operation | None]:
    """The work that a tip of the design may be asked to do, and the one that the page is asked about."""
    works = operations_of_tip(tip=design)
    at = request.GET.get("at", "")
    return works, next((one for one in works if str(one.pk) == at), None)


def item_corners(request: HttpRequest, item: Item) -> dict[str, Any]:
    """The edges of one piece for its page; nothing for what does not cut."""
    if not item.design.cuts:
        return {}
    works, at = _asked(request, item.design)
    tip = tips_left(items=[item], operation=at)[item.pk]
    if not tip.corners:
        return {}
    rows = [(corner, *STATES[corner.state]) for corner in tip.corners]
    word, words = edge_words(item.design)
    return {"tip": tip, "corners": rows, "works": works, "at": at, "edge_word": word, "edge_words": words}


def design_part_used(request: HttpRequest, design: Design) -> dict[str, Any]:
    """The part-used pieces of a design that lie in the crib, the best first."""
    if not design.cuts:
        return {}
    works, at = _asked(request, design)
    return {"part_used": part_used_tips(designs=[design], operation=at), "works": works, "at": at}


def labelled_to_fit(*, assembly: Assembly, person: Person) -> list[TipLeft]:
    """Labelled tips that fit an assembly, those that last the rest of its batch first."""
    items = items_for(assembly=assembly, person=person)
    load = open_load(assembly)
    works = operations_at(machine=load.machine, tips={item.design_id for item in items}) if load and items else {}
    return sorted(tips_left(items=items, at=works).values(), key=best_first)
