"""The search box in the head of every page: the list under it, and the page of all that was found."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from crib.floor.selectors import Hit, SearchAnswer, search_shop, suggest
from crib.web.acting import has_right

# Kinds with a page that everybody may read, named as they are.
_PAGES = frozenset({"design", "item", "job", "place", "machine", "assembly"})


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """All that goes by what was typed; Enter on an exact code or label leads straight to it."""
    answer = search_shop(text=_typed(request))
    if request.GET.get("go") and (only := _only_exact(answer)) is not None:
        return redirect(page_of(request, only))
    groups = [(word, [_shown(request, hit) for hit in hits]) for word, hits in answer.by_kind()]
    return render(request, "crib/search/search.html", {"answer": answer, "groups": groups, "typed": answer.text})


@require_safe
def suggestions(request: HttpRequest) -> HttpResponse:
    """The best few, as the list under the box."""
    answer = suggest(text=_typed(request))
    shown = [_shown(request, hit) for hit in answer.hits]
    return render(request, "crib/search/_suggestions.html", {"answer": answer, "shown": shown})


def page_of(request: HttpRequest, hit: Hit) -> str:
    """The address of what was found, as far as whoever looks may go."""
    match hit.kind:
        case "person":
            if has_right(request, "keep_people"):
                return reverse("crib:person", args=[hit.name])
            return f"{reverse('crib:held')}?person={hit.number}"
        case "supplier":
            keeps = has_right(request, "keep_catalogue")
            return reverse("crib:supplier", args=[hit.number]) if keeps else reverse("crib:suppliers")
        case "material":
            keeps = has_right(request, "keep_catalogue")
            return reverse("crib:material", args=[hit.number]) if keeps else reverse("crib:materials")
        case "working":
            return reverse("crib:working", args=[hit.name])
        case kind:
            assert kind in _PAGES
            return reverse(f"crib:{kind}", args=[hit.number])


def _typed(request: HttpRequest) -> str:
    # A database takes no NUL in a text; whoever sends one looks for nothing that is here.
    return request.GET.get("q", "").replace("\x00", " ")


def _only_exact(answer: SearchAnswer) -> Hit | None:
    exact = [hit for hit in answer.hits if hit.exact]
    return exact[0] if len(exact) == 1 else None


def _shown(request: HttpRequest, hit: Hit) -> dict[str, Any]:
    return {"hit": hit, "url": page_of(request, hit)}
