"""Stock: what there is, where it is, who holds it, and the ledger behind every figure."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from crib.catalogue.models import Design
from crib.catalogue.selectors import find_designs, offers_of
from crib.core import clock
from crib.core.errors import BadInput
from crib.floor import selectors as floor_selectors
from crib.stock import selectors
from crib.stock.labels import make_label
from crib.web import codes
from crib.web.flute import flute_of
from crib.web.on_order import on_order
from crib.web.part_used import design_part_used, item_corners
from crib.web.stock_sheet import geometry_of

PAGE = 50


@require_safe
def stock(request: HttpRequest) -> HttpResponse:
    """Every design with what is on hand, out and on order."""
    text, kind = request.GET.get("q", "")[:100], request.GET.get("kind", "")
    retired = request.GET.get("retired") == "1"
    if kind and kind not in Design.Kind.values:
        raise BadInput("kind", "There is no such kind of design. Choose one from the list.")
    page = Paginator(find_designs(text=text, kind=kind, retired=retired), PAGE).get_page(request.GET.get("page"))
    designs = list(page.object_list)
    ordered = on_order(designs)
    day = selectors.read_day(request.GET.get("on", ""))
    standings = selectors.design_standings(designs) if day is None else selectors.standings_on(designs, day=day)
    rows = [(standing, ordered.get(standing.design.pk, 0)) for standing in standings]
    context = {"rows": rows, "page": page, "q": text, "kind": kind, "kinds": Design.Kind.choices, "retired": retired}
    context |= {"on": day, "today": clock.today()}
    return render(request, "crib/stock/stock.html", context)


@require_safe
def design(request: HttpRequest, number: int) -> HttpResponse:
    """One design: its figures, geometry, couplings, offers, where it lies, its pieces and its ledger."""
    found = selectors.design_with(number=number)
    day = selectors.read_day(request.GET.get("on", ""))
    (standing,) = selectors.design_standings([found]) if day is None else selectors.standings_on([found], day=day)
    context = {
        "on": day,
        "today": clock.today(),
        "past": None if day is None else selectors.balances_on(day=day, design=found),
        "design": found,
        "standing": standing,
        "on_order": on_order([found]).get(found.pk, 0),
        "geometry": geometry_of(found),
        "offers": offers_of(design=found),
        "balances": selectors.balances(design=found),
        "items": selectors.items_of(design=found),
        "ledger": selectors.ledger_page(design=found, before=request.GET.get("before", "")),
        "label": make_label("D", found.pk),
        "limits": selectors.limits_of(design=found),
    }
    return render(request, "crib/stock/design.html", context | design_part_used(request, found))


@require_safe
def item(request: HttpRequest, number: int) -> HttpResponse:
    """One labelled piece and everything that happened to it."""
    found = selectors.item_with(number=number)
    ledger = selectors.ledger_page(item=found, before=request.GET.get("before", ""))
    context = {"item": found, "ledger": ledger, "code": codes.data_matrix(found.label), "flute": flute_of(found)}
    grinds = floor_selectors.grind_history(item=found)
    if grinds.lines or found.design.regrinds_allowed:
        context["grinds"] = grinds
    context["can_send"] = bool(found.design.regrinds_allowed or found.design.returnable) and not found.is_out
    context["newest_lot"] = selectors.newest_lots(designs=[found.design_id]).get(found.design_id, "")
    return render(request, "crib/stock/item.html", context | item_corners(request, found))


@require_safe
def places(request: HttpRequest) -> HttpResponse:
    """The bins, cabinets and cribs."""
    return render(request, "crib/stock/places.html", {"cribs_places": selectors.all_places()})


@require_safe
def place(request: HttpRequest, number: int) -> HttpResponse:
    """What lies at one place, and what came and went."""
    found = selectors.place_with(number=number)
    day = selectors.read_day(request.GET.get("on", ""))
    context = {
        "place": found,
        "on": day,
        "today": clock.today(),
        "past": None if day is None else selectors.balances_on(day=day, place=found),
        "balances": selectors.stock_at(place=found),
        "ledger": selectors.ledger_page(place=found, before=request.GET.get("before", "")),
    }
    return render(request, "crib/stock/place.html", context)
