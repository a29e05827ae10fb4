"""At a counter tablet: whose badge was scanned, and being done."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from crib.core.errors import BadInput, Refused, ShopError
from crib.people.models import Person
from crib.stock import selectors
from crib.web.acting import by_badge, clear_acting, name_acting


def badge(request: HttpRequest) -> HttpResponse:
    """The one field that takes a badge; afterwards back to where the badge was asked for."""
    onward = _onward(request)
    if not by_badge(request):
        return redirect(onward)
    context: dict[str, object] = {"next": onward}
    status = 200
    if request.method == "POST":
        try:
            person = _holder(request.POST.get("badge", ""))
        except ShopError as refused:
            context["refused"], status = refused.sentence, refused.status
        else:
            name_acting(request, person)
            messages.success(request, f"{person}, this tablet now writes in your name.")
            return redirect(onward)
    return render(request, "crib/people/badge.html", context, status=status)


@require_POST
def badge_done(request: HttpRequest) -> HttpResponse:
    if by_badge(request):
        clear_acting(request)
        messages.success(request, "Done. Ready for the next one.")
    return redirect("/")


def _holder(text: str) -> Person:
    if not text.strip():
        raise BadInput("badge", "Scan your badge, or type the text under its code.")
    thing = selectors.find_label(text=text).thing
    person = thing if isinstance(thing, Person) else getattr(thing, "person", None)
    if not isinstance(person, Person):
        raise BadInput("badge", "That is no person's badge. Scan yours.")
    if not person.is_active or person.is_counter:
        raise Refused(f"The badge of {person} is no longer good here. Ask the lead.", field="badge")
    return person


def _onward(request: HttpRequest) -> str:
    wanted = request.POST.get("next") or request.GET.get("next") or "/"
    safe = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if safe else "/"
