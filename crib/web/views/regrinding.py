"""Tools sent out to be reground or repaired, taken in again, and worn carbide collected by mass."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from crib.floor import selectors, services
from crib.stock import selectors as stock_selectors
from crib.stock import services as stock_services
from crib.stock.models import Place
from crib.stock.records import Dispatch, DispatchLine
from crib.web.acting import has_right, need_acting, needs, signed_in_person
from crib.web.papers.dispatch_note import dispatch_note_of
from crib.web.papers.printing import make_pdf, pdf_response
from crib.web.regrind_forms import CollectForm, SendForm, TakeInForm
from crib.web.sheets import sheet
from crib.web.views.stock_acts import answer_form, form_page, posted

ON_A_PAGE = 30
WORTH_SHOWN = 12


@require_safe
def sent_out(request: HttpRequest) -> HttpResponse:
    """What is out and when it should be back, what is worth sending, and the dispatches so far."""
    shops = list(selectors.regrind_shops())
    chosen = next((shop for shop in shops if str(shop.pk) == request.GET.get("shop", "")), None)
    worth = selectors.worth_sending()
    page = Paginator(selectors.dispatches(), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "lines": selectors.lines_out(shop=chosen), "shops": shops, "chosen": chosen, "worth": worth[:WORTH_SHOWN],
        "together": "\n".join(one.item.label for one in worth[:WORTH_SHOWN] if one.item),
        "worth_more": max(len(worth) - WORTH_SHOWN, 0), "page": page,
    }  # fmt: skip
    return render(request, "crib/stock/sent_out.html", context)


@needs("keep_stock")
@form_page
def send_out(request: HttpRequest) -> HttpResponse:
    """Scan what goes, and send it on one dispatch."""
    shops = list(selectors.regrind_shops()[:2])
    only = {"shop": shops[0].pk} if len(shops) == 1 else {}
    spent = Place.objects.filter(kind=Place.Kind.SPENT).first()
    asked = {"items": request.GET.get("items", "")[:2000], "loose_from": spent.pk if spent else None}
    form = SendForm(posted(request), initial=only | asked)

    def act() -> HttpResponse:
        sent = services.send_out(who=need_acting(request), **form.draft())
        tools = sent.lines.count()
        messages.success(request, f"{tools} tool{'' if tools == 1 else 's'} sent to {sent.shop.name}. Print the note.")
        return redirect("crib:dispatch", number=sent.pk)

    return answer_form(request, form, act, "crib/stock/send_out.html", {"shops": shops})


@require_safe
def dispatch(request: HttpRequest, number: int) -> HttpResponse:
    """One dispatch: what went, what came of it, and what it cost."""
    return render(request, "crib/stock/dispatch.html", {"sent": selectors.dispatch_with(number=number)})


@require_safe
def dispatch_note(request: HttpRequest, number: int) -> HttpResponse:
    """The paper that goes with the tools, with the caution about dust."""
    sent = selectors.dispatch_with(number=number)
    return pdf_response(make_pdf("dispatch_note", dispatch_note_of(sent, _system(request))), f"dispatch-{sent.pk}")


@needs("keep_stock")
@form_page
def take_in(request: HttpRequest, number: int, line: int) -> HttpResponse:
    """Take one tool of a dispatch in again."""
    found = get_object_or_404(
        DispatchLine.objects.select_related("dispatch__shop", "item__design", "item__place"), pk=line, dispatch=number
    )
    home = stock_selectors.home_for(found.item.design)
    form = TakeInForm(
        posted(request), system=_system(request), item=found.item, work=found.dispatch.work,
        initial={"to_place": home.pk if home else None},
    )  # fmt: skip

    def act() -> HttpResponse:
        given = dict(form.cleaned_data)
        if given["result"] != services.BackAs.BACK:
            given["to_place"] = None
        back = services.take_in_as(item=found.item, who=need_acting(request), **given)
        words = "rejected" if back.state == DispatchLine.State.REJECTED else "taken in"
        messages.success(request, f"{found.item.label} ({found.item.design.code}) is {words}.")
        return redirect("crib:dispatch", number=number)

    history = selectors.grind_history(item=found.item)
    context = {"line": found, "item": found.item, "history": history, "regrind": Dispatch.Work.REGRIND}
    return answer_form(request, form, act, "crib/stock/take_in.html", context)


@form_page
def scrap(request: HttpRequest) -> HttpResponse:
    """What should lie in the box of worn carbide, and what was collected so far."""
    collections = list(stock_selectors.scrap_collections()[:ON_A_PAGE])
    context = {"worn": stock_selectors.worn_carbide(), "collections": collections}
    if request.method == "POST":
        return _collect(request, context)
    if has_right(request, "keep_stock"):
        context["form"] = CollectForm(initial={"after": collections[0].pk if collections else None})
    return render(request, "crib/stock/scrap.html", context)


@needs("keep_stock")
def _collect(request: HttpRequest, context: dict[str, object]) -> HttpResponse:
    form = CollectForm(posted(request))

    def act() -> HttpResponse:
        made = stock_services.collect_scrap(who=need_acting(request), **form.cleaned_data)
        messages.success(
            request, f"{made.weighed_g:g} g of worn carbide written down; {made.expected_g:.0f} g expected."
        )
        return redirect("crib:scrap")

    return answer_form(request, form, act, "crib/stock/scrap.html", context)


@require_safe
def scrap_sheet(request: HttpRequest) -> HttpResponse:
    """The collections as a file for a spreadsheet."""
    heads = (
        "Day", "Who", "Weighed g", "Expected g", "Difference", "Pieces", "Pieces without a mass", "Taken by", "Paid",
        "Note",
    )  # fmt: skip
    rows = (
        (
            timezone.localdate(one.at).isoformat(), str(one.who), one.weighed_g, one.expected_g, one.difference,
            one.pieces, one.unknown_pieces, one.taken_by, one.paid, one.note,
        )
        for one in stock_selectors.scrap_collections()
    )  # fmt: skip
    return sheet("worn-carbide", heads, rows)


def _system(request: HttpRequest) -> str:
    person = signed_in_person(request)
    return person.units if person is not None else "metric"
