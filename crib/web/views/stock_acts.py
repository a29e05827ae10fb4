"""What is written on the stock pages: receive, move, reverse, and keep the places."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from crib.core.errors import BadInput, ShopError
from crib.floor import services as floor
from crib.stock import selectors, services
from crib.stock.models import Item
from crib.web.acting import need_acting, needs
from crib.web.forms import show_refusal
from crib.web.stock_forms import MoveForm, PlaceForm, ReceiveForm, ReverseForm

form_page = require_http_methods(["GET", "HEAD", "POST"])


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, empty or not; None when the form is only looked at."""
    return request.POST if request.method == "POST" else None


def answer_form(
    request: HttpRequest,
    form: forms.Form,
    act: Callable[[], HttpResponse],
    template: str,
    context: dict[str, Any] | None = None,
) -> HttpResponse:
    """Do the act when the form is sound; otherwise show it again as it was filled in, with the reason."""
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                return act()
            except ShopError as refused:
                show_refusal(form, refused)
                status = refused.status
    return render(request, template, {"form": form} | (context or {}), status=status)


@needs("receive_goods")
@form_page
def receive(request: HttpRequest) -> HttpResponse:
    """Goods that came without an order; what was ordered is received on its order."""
    form = ReceiveForm(posted(request), initial=asked(request, "design", "to_place"))

    def act() -> HttpResponse:
        given = dict(form.cleaned_data)
        move = services.receive(who=need_acting(request), **given)
        messages.success(request, f"{move.quantity} × {move.design.code} received into {move.to_place.code}.")
        return redirect("crib:design", number=move.design_id)

    return answer_form(request, form, act, "crib/stock/receive.html")


@needs("keep_stock")
@form_page
def move_stock(request: HttpRequest) -> HttpResponse:
    """Carry something from one place to another."""
    form = MoveForm(posted(request), initial=asked(request, "what", "from_place"))

    def act() -> HttpResponse:
        move = services.transfer(who=need_acting(request), **form.draft())
        said = f"{move.quantity} × {move.design.code} moved from {move.from_place.code} to {move.to_place.code}."
        messages.success(request, said)
        return redirect("crib:design", number=move.design_id)

    return answer_form(request, form, act, "crib/stock/move.html")


@needs("keep_stock")
@form_page
def reverse_move(request: HttpRequest, number: int) -> HttpResponse:
    """Take a line of the ledger back by a second line."""
    move = selectors.find_move(number=str(number))
    form = ReverseForm(posted(request))

    def act() -> HttpResponse:
        services.reverse(move=move, who=need_acting(request), **form.cleaned_data)
        messages.success(request, f"Move {move.pk} is reversed. Both lines stay in the ledger.")
        return redirect("crib:design", number=move.design_id)

    return answer_form(request, form, act, "crib/stock/reverse.html", {"move": move})


@needs("keep_stock")
@form_page
def new_place(request: HttpRequest) -> HttpResponse:
    form = PlaceForm(posted(request))

    def act() -> HttpResponse:
        made = services.create_place(who=need_acting(request), **form.cleaned_data)
        messages.success(request, f"{made.code} is there now. Print its label and stick it on.")
        return redirect("crib:place", number=made.pk)

    return answer_form(request, form, act, "crib/stock/place_form.html")


@needs("keep_stock")
@form_page
def change_place(request: HttpRequest, number: int) -> HttpResponse:
    found = selectors.place_with(number=number)
    initial = {
        "code": found.code,
        "name": found.name,
        "kind": found.kind,
        "parent": found.parent,
        "home_of": found.home_of.code if found.home_of else "",
    }
    form = PlaceForm(posted(request), initial=initial)
    for name in ("code", "kind"):
        # Labels on the shelves and lines of the ledger go by them.
        form.fields[name].disabled = True

    def act() -> HttpResponse:
        given = {name: form.cleaned_data[name] for name in ("name", "parent", "home_of")}
        services.change_place(place=found, who=need_acting(request), **given)
        messages.success(request, f"{found.code} is changed.")
        return redirect("crib:place", number=found.pk)

    return answer_form(request, form, act, "crib/stock/place_form.html", {"place": found})


@require_POST
@needs("keep_stock")
def retire_place(request: HttpRequest, number: int) -> HttpResponse:
    found = services.retire_place(place=selectors.place_with(number=number), who=need_acting(request))
    messages.success(request, f"{found.code} is retired.")
    return redirect("crib:places")


@require_POST
@needs("keep_stock")
def make_item(request: HttpRequest) -> HttpResponse:
    """Give a label to one loose piece of a design where it lies."""
    balance = selectors.balance_with(number=request.POST.get("balance", ""))
    made: Item = services.make_item(
        design=balance.design, condition=balance.condition, place=balance.place, who=need_acting(request)
    )
    messages.success(request, f"{made.label} is the label of one {made.design.code} in {made.place.code}. Print it.")
    return redirect("crib:item", number=made.pk)


@require_POST
@needs("build_tools")
def write_lot(request: HttpRequest, number: int) -> HttpResponse:
    """Write down which lot a piece is of, or put it right."""
    item = services.write_lot(
        item=selectors.item_with(number=number), lot=request.POST.get("lot", ""), who=need_acting(request)
    )
    said = f"is of lot {item.lot}" if item.lot else "has no lot written down"
    messages.success(request, f"{item.label} {said}.")
    return redirect("crib:item", number=number)


def asked(request: HttpRequest, *names: str) -> dict[str, str]:
    """What a link to the form has filled in already."""
    given = {name: request.GET.get(name, "")[:100] for name in names}
    if any("\x00" in value for value in given.values()):
        raise BadInput("address", "This address cannot be read.")
    return {name: value for name, value in given.items() if value}


@require_POST
@needs("build_tools")
def throw_away(request: HttpRequest, number: int) -> HttpResponse:
    """A tip whose last edge has come off goes to the spent ones, out of its tool if it still sits in one."""
    item = selectors.item_with(number=number)
    gone = floor.throw_away(item=item, who=need_acting(request), key=f"throw-away:{item.pk}:{item.regrinds_done}")
    messages.success(request, f"{gone.label} is among the spent ones. A worn edge still cuts: gloves on.")
    return redirect("crib:item", number=number)
