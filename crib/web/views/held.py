"""Who has what: by person and machine, overdue or not; handed on, lost, found again, or all taken back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_POST, require_safe

from crib.floor import services
from crib.floor.selectors.standing_tools import built_in
from crib.people.models import Person
from crib.people.selectors import find_person
from crib.stock import selectors
from crib.stock.models import Item, Place
from crib.stock.selectors.held import Held
from crib.web.acting import acting_person, has_right, need_acting, needs
from crib.web.held_forms import AllLostForm, FoundForm, HandOnForm, LostForm
from crib.web.sheets import sheet
from crib.web.stock_forms import new_key
from crib.web.views.stock_acts import answer_form, asked, form_page, posted

HEADS = [
    "holder", "kind", "design", "description", "condition", "quantity", "labels", "since", "job", "value new",
    "comes back", "overdue",
]  # fmt: skip


@dataclass(frozen=True)
class Row:
    """What is held, with what may be done about it from here."""

    held: Held
    built_in: bool
    may_hand_on: bool
    asked: str


@require_safe
def held(request: HttpRequest) -> HttpResponse:
    """What one holder has, or what everybody has that comes back."""
    place = _asked_holder(request)
    everything = place is not None or request.GET.get("show") == "all"
    rows = selectors.held_by(place=place, only_back=not everything)
    context: dict[str, Any] = {
        "held": rows,
        "rows": _with_acts(request, rows),
        "place": place,
        "everything": everything,
        "value": sum(one.value for one in rows),
        "overdue": sum(one.overdue for one in rows),
        "holders": selectors.holders(),
        "return_days": selectors.RETURN_DAYS,
        "losses": [] if place else selectors.open_losses(),
        "key": new_key(),
        "query": request.GET.urlencode(),
    }
    if place is not None and has_right(request, "keep_people"):
        context["lost_form"] = AllLostForm()
    return render(request, "crib/stock/held.html", context)


@require_safe
def held_sheet(request: HttpRequest) -> HttpResponse:
    """The same as a file for a spreadsheet."""
    place = _asked_holder(request)
    everything = place is not None or request.GET.get("show") == "all"
    rows = [
        [
            one.holder, one.place.get_kind_display(), one.design.code, one.design.description, one.words, one.quantity,
            " ".join(one.labels),
            timezone.localtime(one.since).isoformat(timespec="seconds") if one.since else None,
            one.job, float(one.value),
            "yes" if one.comes_back else "no", "yes" if one.overdue else "no",
        ]
        for one in selectors.held_by(place=place, only_back=not everything)
    ]  # fmt: skip
    return sheet("who-has-what", HEADS, rows)


@needs("draw_tools")
@form_page
def hand_on(request: HttpRequest) -> HttpResponse:
    """Pass something to another person or machine in one act."""
    form = HandOnForm(posted(request), initial=asked(request, "what", "holder", "quantity", "condition"))

    def act() -> HttpResponse:
        move = services.hand_on(who=need_acting(request), **form.draft())
        gets = move.to_place.person or move.to_place.name
        messages.success(request, f"{move.quantity} × {move.design.code} → {gets}, who holds it now.")
        return redirect(_page_of(move.to_place))

    return answer_form(request, form, act, "crib/stock/hand_on.html")


@needs("keep_stock")
@form_page
def lost(request: HttpRequest) -> HttpResponse:
    """Write something lost, with the reason."""
    form = LostForm(posted(request), initial=asked(request, "what", "holder", "quantity", "condition"))

    def act() -> HttpResponse:
        move = services.write_lost(who=need_acting(request), **form.draft())
        messages.success(request, f"{move.quantity} × {move.design.code} written lost. It may be found again.")
        return redirect("crib:held")

    return answer_form(request, form, act, "crib/stock/lost.html")


@needs("keep_stock")
@form_page
def found(request: HttpRequest, number: int) -> HttpResponse:
    """Put back what was written lost."""
    move = selectors.find_move(number=str(number))
    home = selectors.home_for(move.design)
    form = FoundForm(posted(request), initial={"quantity": move.quantity, "to_place": home})

    def act() -> HttpResponse:
        again = services.find_again(lost=move, who=need_acting(request), **form.cleaned_data)
        messages.success(request, f"{again.quantity} × {again.design.code} found again, in {again.to_place.code}.")
        return redirect("crib:held")

    return answer_form(request, form, act, "crib/stock/found.html", {"move": move})


@require_POST
@needs("keep_stock")
def take_all_back(request: HttpRequest, username: str) -> HttpResponse:
    """Everything that a person holds goes home."""
    person = find_person(username)
    moves = services.take_all_back(person=person, who=need_acting(request), key=_key(request))
    messages.success(request, f"{len(moves)} line{'' if len(moves) == 1 else 's'} brought back from {person}.")
    return redirect(_page_of_person(person))


@require_POST
@needs("keep_people")
def all_lost(request: HttpRequest, username: str) -> HttpResponse:
    """What somebody who leaves cannot bring back is written lost, all with one reason."""
    person = find_person(username)
    moves = services.write_all_lost(
        person=person, note=request.POST.get("note", ""), who=need_acting(request), key=_key(request)
    )
    messages.success(request, f"{len(moves)} line{'' if len(moves) == 1 else 's'} of {person} written lost.")
    return redirect(_page_of_person(person))


def _with_acts(request: HttpRequest, rows: list[Held]) -> list[Row]:
    """Each with what its links ask for; what sits in a built tool moves with that tool alone and has none."""
    built, who, keeps = built_in(), acting_person(request), has_right(request, "keep_stock")
    found = []
    for one in rows:
        free = next((item for item in one.items if item.pk not in built), None)
        own = one.person is None or keeps or (who is not None and one.person.pk == who.pk)
        found.append(Row(one, one.loose <= 0 and free is None, own, _asked_for(one, free)))
    return found


def _asked_for(one: Held, free: Item | None) -> str:
    if free is not None and one.loose <= 0:
        return urlencode({"what": free.label})
    holder = one.person.username if one.person else one.machine.code if one.machine else ""
    return urlencode({"what": one.design.code, "holder": holder, "condition": one.condition})


def _key(request: HttpRequest) -> str:
    # Room is kept for what each line adds to it.
    return request.POST.get("key", "")[:60] or new_key()


def _asked_holder(request: HttpRequest) -> Place | None:
    for of in ("person", "machine"):
        if number := request.GET.get(of, ""):
            # Somebody who never held anything has no place yet, and holds nothing.
            return selectors.holder_with(number=number, of=of) or selectors.empty_holder(number=number, of=of)
    return None


def _page_of(place: Place) -> str:
    of, number = ("person", place.person_id) if place.person_id else ("machine", place.machine_id)
    return f"{reverse('crib:held')}?{of}={number}"


def _page_of_person(person: Person) -> str:
    return f"{reverse('crib:held')}?person={person.pk}"
