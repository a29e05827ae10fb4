"""A browser that fails the test when a page complains, reaches elsewhere, or breaks the policy it was served with."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

# Playwright's synchronous calls run inside an event loop of its own, which Django would take for an async view.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.db import connection
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, expect, sync_playwright
from pytest_django import DjangoDbBlocker

from crib.people.models import Person
from crib.people.roles import ROLES
from crib.people.services import take_on_person

PASSWORD = "turn-the-edge-42"
CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
Scheme = Literal["light", "dark"]
SERIOUS = {"serious", "critical"}
# How long something may take to show up. It costs nothing when it is there sooner, and a machine that builds
# something else beside the tests takes its time.
PATIENCE_MS = 30_000
expect.set_options(timeout=PATIENCE_MS)


# A request that a browser gave up may still be at its end when the last test is over.
SECONDS_OF_A_REQUEST = 30.0


@pytest.fixture(scope="session", autouse=True)
def _last_requests_end(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """PostgreSQL drops no database while a thread of the live server reads it."""
    yield
    if connection.vendor != "postgresql":
        return
    until = time.monotonic() + SECONDS_OF_A_REQUEST
    with django_db_blocker.unblock():
        while _others_at_the_database() and time.monotonic() < until:
            time.sleep(0.2)
        left = _others_at_the_database()
        connection.close()
    assert not left, f"a request outlived its test: {left}"


def _others_at_the_database() -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT state, query FROM pg_stat_activity WHERE datname = current_database()"
            " AND backend_type = 'client backend' AND pid <> pg_backend_pid()"
        )
        return list(cursor.fetchall())


@dataclass
class Complaints:
    """What the browser said about the pages of one test."""

    host: str
    expected_statuses: set[int] = field(default_factory=set)
    said: list[str] = field(default_factory=list)

    def watch(self, page: Page) -> None:
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.said.append(f"script error: {error}"))
        page.on("request", self._request)
        page.on("requestfailed", self._failed)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type not in ("error", "warning"):
            return
        if any(f"status of {status} " in message.text for status in self.expected_statuses):
            return
        self.said.append(f"console {message.type}: {message.text}")

    def in_earnest(self) -> list[str]:
        """What was said, save that a request gave way to the next keystroke's, which htmx reports as two errors."""
        gave_way = sum("htmx:sendAbort" in said for said in self.said)
        afterwards = [said for said in self.said if "htmx:afterRequest" in said][:gave_way]
        left = [said for said in self.said if "htmx:sendAbort" not in said]
        for said in afterwards:
            left.remove(said)
        return left

    def _request(self, request: Request) -> None:
        if not request.url.startswith((self.host, "data:", "about:", "blob:")):
            self.said.append(f"a request left the host: {request.url}")

    def _failed(self, request: Request) -> None:
        # Leaving a page ends the requests that its live parts had under way; that is no fault.
        if request.failure != "net::ERR_ABORTED":
            self.said.append(f"request failed: {request.url} {request.failure}")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if not Path(CHROMIUM).exists():
        missing = f"there is no {CHROMIUM}; install chromium, or name another in CHROMIUM"
        if os.environ.get("EDGETALLY_BROWSER") == "required":
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS, timeout=4 * PATIENCE_MS)
        yield chromium
        chromium.close()


@pytest.fixture
def people(transactional_db: None) -> dict[str, Person]:
    """One person for each role, by the role's name, and the counter's tablet."""
    made = {}
    for role in ROLES:
        made[role], _ = take_on_person(
            username=role, first_name=role.capitalize(), last_name="Example", role=role, who=None, password=PASSWORD
        )
    made["tablet"], _ = take_on_person(
        username="tablet", first_name="", last_name="", role="", who=None, password=PASSWORD, is_counter=True
    )
    return made


@pytest.fixture
def complaints(live_server: Any) -> Iterator[Complaints]:
    """Collects what the browser says; anything at all fails the test at its end."""
    heard = Complaints(host=live_server.url)
    yield heard
    assert heard.in_earnest() == []


OpenPage = Callable[..., Page]


@pytest.fixture
def open_page(
    browser: Browser, live_server: Any, people: dict[str, Person], complaints: Complaints
) -> Iterator[OpenPage]:
    """Opens a page signed in as somebody: `open_page("lead", "/people/", width=800, height=1280, scheme="dark")`."""
    contexts: list[BrowserContext] = []

    def one(
        who: str | Person | None,
        path: str = "/",
        *,
        width: int = 1280,
        height: int = 800,
        scheme: Scheme = "light",
        script: bool = True,
        touch: bool = False,
    ) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            java_script_enabled=script,
            has_touch=touch,
            base_url=live_server.url,
            reduced_motion="reduce",
        )
        context.set_default_timeout(PATIENCE_MS)
        context.set_default_navigation_timeout(2 * PATIENCE_MS)
        contexts.append(context)
        if who is not None:
            context.add_cookies([session_cookie(people[who] if isinstance(who, str) else who, live_server.url)])
        page = context.new_page()
        complaints.watch(page)
        page.goto(path)
        return page

    yield one
    for context in contexts:
        context.close()


def session_cookie(person: Person, url: str) -> Any:
    """The cookie of a browser in which `person` has signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return {
        "name": settings.SESSION_COOKIE_NAME,
        "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
        "url": url,
    }


def accessibility_faults(page: Page) -> list[str]:
    """What axe finds of WCAG 2.2 A and AA that is serious or critical, one line for each element."""
    results = Axe().run(
        page,
        options={
            "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
            "resultTypes": ["violations"],
        },
    )
    return [
        f"{fault['id']} ({fault['impact']}): {' '.join(map(str, node['target']))}: {node.get('failureSummary', '')}"
        for fault in results.response["violations"]
        if fault["impact"] in SERIOUS
        for node in fault["nodes"]
    ]
