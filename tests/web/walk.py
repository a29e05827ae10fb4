"""Finds the pages there are, so that a page added tomorrow is held to the same rules without being listed."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any

from django.test import Client
from django.urls import Resolver404, URLPattern, URLResolver, get_resolver, resolve, reverse

NAMESPACE = "crib"
# A value that a path's converter takes and that names nothing there is.
NOBODY = {
    "int": "999999",
    "str": "nobody",
    "slug": "nobody",
    "uuid": "00000000-0000-4000-8000-000000000000",
    "path": "no/body",
}


@dataclass(frozen=True)
class Address:
    """One named address of the pages: with an argument when its path has a converter."""

    name: str
    pattern: URLPattern
    route: str

    @property
    def takes_arguments(self) -> bool:
        return "<" in self.route

    @property
    def view(self) -> Callable[..., Any]:
        return self.pattern.callback

    @property
    def needs_right(self) -> str | None:
        """The right that `@needs` asks for, wherever it stands among the view's decorators."""
        view: Any = self.view
        while view is not None:
            if hasattr(view, "needs_right"):
                return str(view.needs_right)
            view = getattr(view, "__wrapped__", None)
        return None

    def url(self) -> str:
        """An address of this kind; where it takes arguments, of something that does not exist."""
        values = {name: NOBODY.get(kind, "nobody") for kind, name in re.findall(r"<(?:(\w+):)?(\w+)>", self.route)}
        return reverse(f"{NAMESPACE}:{self.name}", kwargs=values or None)


def addresses() -> list[Address]:
    """Every named address of the pages."""
    return sorted(_below(get_resolver().url_patterns, "", None), key=lambda one: one.name)


def _below(patterns: list[Any], prefix: str, namespace: str | None) -> Iterator[Address]:
    for entry in patterns:
        route = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from _below(entry.url_patterns, route, entry.namespace or namespace)
        elif namespace == NAMESPACE and entry.name:
            yield Address(entry.name, entry, route)


def pages_in(client: Client, start: list[str], *, most: int = 400) -> dict[str, str]:
    """One address for each kind of page that can be reached by links from `start`: view name → address."""
    found: dict[str, str] = {}
    seen: set[str] = set()
    waiting = list(start)
    while waiting and len(seen) < most:
        url = waiting.pop(0)
        if url in seen:
            continue
        seen.add(url)
        name = _name_of(url)
        if name is None or name in found:
            continue
        response = client.get(url)
        if response.status_code != 200 or not response.get("Content-Type", "").startswith("text/html"):
            continue
        found[name] = url
        waiting += links_in(response.content.decode())
    return found


def _name_of(url: str) -> str | None:
    try:
        match = resolve(url.split("?")[0])
    except Resolver404:
        return None
    return match.url_name if match.namespace == NAMESPACE else None


def forms_in(page: str) -> list[str]:
    """The addresses that the forms and buttons of a page post to."""
    reader = _Links()
    reader.feed(page)
    return list(dict.fromkeys(reader.posts))


def links_in(page: str) -> list[str]:
    """The addresses within this host that a page links to."""
    reader = _Links()
    reader.feed(page)
    return reader.found


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.posts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        post = given.get("hx-post") or (given.get("action") if (given.get("method") or "").lower() == "post" else None)
        if tag in ("form", "button") and (given.get("formaction") or post):
            self.posts.append(str(given.get("formaction") or post))
        href = given.get("href") if tag == "a" else None
        if href and href.startswith("/") and not href.startswith("//"):
            self.found.append(href.split("#")[0])
