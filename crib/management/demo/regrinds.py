"""Regrinds of the last days: what went to the regrind shop, what came back with new measures, what is overdue there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from crib.catalogue.models import Design
from crib.floor import services as floor
from crib.floor.models import Fitting
from crib.management.demo.past import PastTool
from crib.management.demo.setting_up import Shop
from crib.stock import services as stock
from crib.stock.models import Item, Place
from crib.stock.records import Dispatch, DispatchLine
from crib.stock.selectors import worn_carbide

AT_REGRIND = timedelta(days=9)
FIRST_SENT, FIRST_BACK, LAST_SENT = timedelta(days=5), timedelta(days=1), timedelta(days=2)
BACK_WITHIN = timedelta(days=4)
# What a regrind of the demo's shop takes: a drill's point, or a mill's flutes.
POINT_MM, FLUTES_MM, LENGTH_MM = 0.0, 0.12, 1.5
ONE_IN_THREE_STAYS, ONE_IN_EIGHT_CRACKED = 3, 8


@dataclass(frozen=True, slots=True)
class Worn:
    """A solid tool that waits for its regrind since it came off."""

    item: Item
    since: datetime


def goes_for_regrind(shop: Shop, tool: PastTool) -> bool:
    """Solid tools that came off whole lately; older ones are told as used up."""
    whole = tool.edges[-1].outcome in ("worn", "taken_off_early")
    lately = tool.removed_at is not None and shop.now - tool.removed_at < AT_REGRIND
    return whole and lately and shop.designs[tool.seat.tip].regrinds_allowed > 0


def tell_regrinds(shop: Shop, told: Sequence[tuple[PastTool, Fitting]]) -> None:
    """Two dispatches: most of the first is back and its rest overdue, the second is still out."""
    assert shop.regrind is not None  # laid out with the places
    waiting = _waiting(shop, told)
    older = [one for one in waiting if shop.now - one.since > FIRST_SENT]
    newer = [one for one in waiting if LAST_SENT < shop.now - one.since <= FIRST_SENT]
    if older:
        sent = _send(shop, shop.regrind, older, FIRST_SENT, "Coat again as before")
        _take_in(shop, sent)
    if newer:
        _send(shop, shop.regrind, newer, LAST_SENT, "")


def _waiting(shop: Shop, told: Sequence[tuple[PastTool, Fitting]]) -> list[Worn]:
    since = {
        fitting.item_id: tool.removed_at
        for tool, fitting in told
        if tool.removed_at is not None and goes_for_regrind(shop, tool)
    }
    items = Item.objects.filter(pk__in=since).select_related("design", "place").order_by("pk")
    return [Worn(item, since[item.pk]) for item in items]


def _send(shop: Shop, grinder: Place, worn: Sequence[Worn], ago: timedelta, note: str) -> Dispatch:
    at = shop.now - ago
    return floor.send_out(
        items=[one.item for one in worn], shop=grinder, who=shop.attendant, key=f"demo:dispatch:{ago.days}",
        due_on=(at + BACK_WITHIN).date() - timedelta(days=1), note=note, at=at,
    )  # fmt: skip


def _take_in(shop: Shop, sent: Dispatch) -> None:
    lines = list(DispatchLine.objects.filter(dispatch=sent).select_related("item__design").order_by("pk"))
    at = shop.now - FIRST_BACK
    for number, line in enumerate(lines):
        item, key = line.item, f"demo:reground:{line.pk}"
        if number % ONE_IN_THREE_STAYS == ONE_IN_THREE_STAYS - 1:
            continue
        if number % ONE_IN_EIGHT_CRACKED == ONE_IN_EIGHT_CRACKED - 1:
            cost = (item.design.regrind_cost / 4).quantize(Decimal("0.01"))
            floor.reject(
                item=item, reason="Cracked behind the cutting edge", cost=cost, who=shop.attendant, key=key, at=at
            )
            continue
        floor.take_in(
            item=item, to_place=shop.homes[item.design.code], who=shop.attendant, key=key, at=at,
            diameter_mm=_diameter(item.design), length_mm=_length(item.design),
        )  # fmt: skip


def _diameter(design: Design) -> float | None:
    takes = FLUTES_MM if design.kind == Design.Kind.SOLID_MILL else POINT_MM
    return round(design.diameter_mm - takes, 3) if design.diameter_mm and takes else None


def _length(design: Design) -> float | None:
    return round(design.length_mm - LENGTH_MM, 2) if design.length_mm else None


def empty_the_box(shop: Shop, at: datetime) -> None:
    """Hand over what was used up so far, a little under what the books say, as a box that was not quite empty."""
    expected = worn_carbide().grams
    if expected <= 0:
        return
    stock.collect_scrap(
        weighed_g=round(expected * 0.97, -1), after=None, who=shop.attendant, taken_by="Greywater Metals",
        paid=Decimal(round(expected * 0.011)), at=at,
    )  # fmt: skip
