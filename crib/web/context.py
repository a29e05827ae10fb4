"""What the frame of every page needs to know."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from crib.people.models import Person
from crib.web.acting import acting_person, has_right, signed_in_person

# (name of the address, words, icon, what its pages' addresses begin with)
PLACES = (
    ("today", "Today", "today"),
    ("counter", "Counter", "counter"),
    ("edges", "Edges", "edges"),
    ("machines", "Machines", "machines"),
    ("jobs", "Jobs", "jobs"),
    ("stock", "Stock", "stock"),
    ("month", "Month ahead", "month"),
    ("curves", "Life curves", "curves"),
    ("workings", "Workings", "workings"),
)


@dataclass(frozen=True)
class RailPlace:
    """One line of the rail: where it leads, its words and icon, and whether the reader is there now."""

    url: str
    words: str
    icon: str
    here: bool


class May:
    """The rights of whoever is acting, asked in a template as `may.keep_stock`."""

    def __init__(self, request: HttpRequest) -> None:
        self._request = request

    def __getitem__(self, codename: str) -> bool:
        return has_right(self._request, codename)

    def __contains__(self, codename: str) -> bool:
        return self[codename]


def frame(request: HttpRequest) -> dict[str, Any]:
    """Context processor: the rail, the scheme, the units, who is acting and what they may do."""
    signed_in = signed_in_person(request)
    return {
        "places": _places(request.path) if signed_in else [],
        "scheme": signed_in.scheme if signed_in else Person.Scheme.SYSTEM.value,
        "units": signed_in.units if signed_in else settings.UNITS,
        "currency": settings.CURRENCY,
        "signed_in": signed_in,
        "acting": acting_person(request),
        "may": May(request),
    }


def _places(path: str) -> list[RailPlace]:
    return [RailPlace(url, words, icon, _is_here(url, path)) for url, words, icon in _addresses()]


def _addresses() -> list[tuple[str, str, str]]:
    found = []
    for name, words, icon in PLACES:
        try:
            found.append((reverse(f"crib:{name}"), words, icon))
        except NoReverseMatch:
            continue
    return found


def _is_here(url: str, path: str) -> bool:
    return path == url if url == "/" else path.startswith(url)
