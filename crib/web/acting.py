"""Who is acting: the person signed in or, at a shared counter tablet, the one whose badge was scanned last."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast

from django.http import HttpRequest, HttpResponse

from crib.core import clock
from crib.core.errors import NotAllowed
from crib.people.models import Person
from crib.people.roles import RIGHTS

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]

# Long enough to draw a handful of tools, short enough that the next in line does not draw in your name.
BADGE_SECONDS = 120
# What a badge alone is good for: a badge can be borrowed, so what reaches beyond the day's work takes a password.
BADGE_RIGHTS = frozenset({"draw_tools", "keep_stock", "build_tools", "log_runs", "receive_goods"})
_KEY = "acting"
_SAYS = {right.codename: right.says for right in RIGHTS}


class BadgeNeeded(NotAllowed):
    """Nobody's badge was scanned at this tablet, or not lately."""

    code = "badge-needed"


def signed_in_person(request: HttpRequest) -> Person | None:
    """Whoever signed in at this browser: a person, or the shared sign-in of a counter tablet."""
    user = getattr(request, "user", None)
    return cast(Person, user) if user is not None and user.is_authenticated else None


def acting_person(request: HttpRequest) -> Person | None:
    """The person in whose name this request acts; None at a counter tablet until a badge is scanned."""
    person = signed_in_person(request)
    if person is None or not person.is_counter:
        return person
    if not hasattr(request, "_acting"):
        request._acting = _badge_holder(request)  # type: ignore[attr-defined]  # kept for this one request
    return cast("Person | None", request._acting)  # type: ignore[attr-defined]  # set just above


def name_acting(request: HttpRequest, person: Person) -> None:
    """Let `person`, whose badge was just scanned at this tablet, act from here on."""
    request.session[_KEY] = {"person": person.pk, "at": clock.now().timestamp()}
    request._acting = person  # type: ignore[attr-defined]  # kept for this one request


def clear_acting(request: HttpRequest) -> None:
    """The person at the tablet has finished."""
    request.session.pop(_KEY, None)
    request._acting = None  # type: ignore[attr-defined]  # kept for this one request


def need_acting(request: HttpRequest) -> Person:
    """The acting person, or the sentence that says how to become it."""
    person = acting_person(request)
    if person is None:
        raise BadgeNeeded("Scan your badge first, so that this is written down in your name.", field="person")
    return person


def needs(right: str) -> Callable[[View[P]], View[P]]:
    """Refuse the view to whoever lacks `right`, by a sentence that names the right."""
    if right not in _SAYS:
        raise LookupError(f"{right} is not in crib.people.roles.RIGHTS")

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            need_right(request, right)
            return view(request, *args, **kwargs)

        guarded.needs_right = right  # type: ignore[attr-defined]  # read by the test of the rights matrix
        return guarded

    return decorate


def has_right(request: HttpRequest, right: str) -> bool:
    """Whether whoever acts may do this here; a counter tablet itself never may."""
    person = acting_person(request)
    return person is not None and person.has_perm(f"crib.{right}") and (right in BADGE_RIGHTS or not by_badge(request))


def by_badge(request: HttpRequest) -> bool:
    """Whether whoever acts is known by a badge alone."""
    signed_in = signed_in_person(request)
    return signed_in is not None and signed_in.is_counter


def need_right(request: HttpRequest, right: str) -> Person:
    """The acting person, who has `right`; refused otherwise."""
    if by_badge(request) and right not in BADGE_RIGHTS:
        raise NotAllowed("This is not done at the shared tablet. Sign in elsewhere with your own password.")
    person = need_acting(request)
    if not has_right(request, right):
        allowed = _SAYS[right].removeprefix("May ")
        raise NotAllowed(f"Your role does not let you {allowed}. Ask the lead, who sets the roles.")
    return person


def _badge_holder(request: HttpRequest) -> Person | None:
    kept = request.session.get(_KEY)
    if not kept:
        return None
    now = clock.now().timestamp()
    if now - kept["at"] > BADGE_SECONDS:
        clear_acting(request)
        return None
    person = Person.objects.filter(pk=kept["person"], is_active=True, is_counter=False).first()
    if person is None:
        clear_acting(request)
        return None
    # Each use keeps the badge alive, so that a long list can be drawn in one go.
    if now - kept["at"] > BADGE_SECONDS / 4:
        request.session[_KEY] = {"person": person.pk, "at": now}
    return person
