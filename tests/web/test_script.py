"""The small script: focus that stays, forms sent once, live parts that say when they are not live."""

from __future__ import annotations

import itertools
import sys
import time
import types
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import engines
from django.urls import path
from playwright.sync_api import Page

from config import urls as product_urls
from crib.core.errors import Refused
from tests.web.conftest import PATIENCE_MS, Complaints, OpenPage

pytestmark = pytest.mark.browser
counted: Iterator[int] = itertools.count()
sent: list[str] = []

PAGE = """{% extends "crib/base.html" %}{% block title %}Trial{% endblock %}{% block heading %}Trial{% endblock %}
{% block content %}
<span class="live" data-words="Updates itself">Updates itself</span>
<div id="part" hx-get="/trial/part/" hx-trigger="refresh from:body" hx-swap="outerHTML">
  <a href="/trial/">To the trial</a> <input id="typed" aria-label="Typed"> <b id="count">first</b>
</div>
<form method="post" action="/trial/slow/" data-once>{% csrf_token %}
  <button class="button" id="once">Send</button>
</form>
<form hx-post="/trial/refuse/" hx-target="#said"><button class="button" id="refuse">Refuse</button></form>
<form hx-post="/trial/say/" hx-swap="none"><button class="button" id="say">Say</button></form>
<p id="said"></p>
{% endblock %}"""
PART = """<div id="part" hx-get="/trial/part/" hx-trigger="refresh from:body" hx-swap="outerHTML">
  <a href="/trial/">To the trial</a> <input id="typed" aria-label="Typed"> <b id="count">{{ count }}</b>
</div>"""


def trial(request: HttpRequest) -> HttpResponse:
    return HttpResponse(engines["django"].from_string(PAGE).render({}, request))


def part(request: HttpRequest) -> HttpResponse:
    return HttpResponse(engines["django"].from_string(PART).render({"count": next(counted)}, request))


def slow(request: HttpRequest) -> HttpResponse:
    sent.append(request.method or "")
    return trial(request)


def refuse(request: HttpRequest) -> HttpResponse:
    raise Refused("This edge has ended already.")


def say(request: HttpRequest) -> HttpResponse:
    messages.success(request, "Edge 4 is in use.")
    return render(request, "crib/parts/toasts.html", {"oob": True})


@pytest.fixture
def trial_page(settings: Any, monkeypatch: pytest.MonkeyPatch, open_page: OpenPage) -> Callable[[], Page]:
    module = types.ModuleType("urls_with_trial")
    module.urlpatterns = [  # type: ignore[attr-defined]  # made here
        path("trial/", trial),
        path("trial/part/", part),
        path("trial/slow/", slow),
        path("trial/refuse/", refuse),
        path("trial/say/", say),
        *product_urls.urlpatterns,
    ]
    monkeypatch.setitem(sys.modules, module.__name__, module)
    settings.ROOT_URLCONF = module.__name__
    return lambda: open_page("lead", "/trial/")


def refresh(page: Page) -> None:
    before = page.inner_text("#count")
    page.evaluate("() => document.body.dispatchEvent(new Event('refresh'))")
    wait(page, lambda: page.inner_text("#count") != before)


def wait(page: Page, until: Callable[[], bool]) -> None:
    """Asks again and again from here: the policy forbids what Playwright would evaluate in the page."""
    give_up = time.monotonic() + PATIENCE_MS / 1000
    while not until():
        assert time.monotonic() < give_up, "it did not happen"
        page.wait_for_timeout(50)


def test_focus_stays_on_the_same_control_when_a_part_is_replaced(trial_page: Callable[[], Page]) -> None:
    page = trial_page()
    page.focus("#part a")
    refresh(page)
    wait(page, lambda: page.evaluate("document.activeElement.textContent") == "To the trial")
    page.focus("#typed")
    refresh(page)
    wait(page, lambda: page.evaluate("document.activeElement.id") == "typed")


def test_a_part_that_is_refused_shows_the_sentence_in_place(
    trial_page: Callable[[], Page], complaints: Complaints
) -> None:
    complaints.expected_statuses.add(409)
    page = trial_page()
    page.click("#refuse")
    wait(page, lambda: page.inner_text("#said") == "This edge has ended already.")


def test_a_part_brings_its_message_and_the_message_can_be_closed(trial_page: Callable[[], Page]) -> None:
    page = trial_page()
    page.click("#say")
    wait(page, lambda: "Edge 4 is in use." in page.inner_text("#toasts"))
    height = page.evaluate("document.querySelector('.toast').getBoundingClientRect().height")
    assert height >= 64, "large enough to be seen from a metre"
    page.get_by_role("button", name="Close").click()
    assert page.inner_text("#toasts") == ""
    assert page.evaluate("document.activeElement.id") == "main"


def test_a_form_is_sent_once_however_often_it_is_tapped(trial_page: Callable[[], Page]) -> None:
    page = trial_page()
    sent.clear()
    page.evaluate("() => { const b = document.getElementById('once'); b.click(); b.click(); b.click(); }")
    wait(page, lambda: page.url.endswith("/trial/slow/"))
    page.wait_for_load_state()
    assert sent == ["POST"]


def test_what_is_live_says_when_it_is_not(trial_page: Callable[[], Page], complaints: Complaints) -> None:
    page = trial_page()
    page.context.set_offline(True)
    page.evaluate("() => document.body.dispatchEvent(new Event('refresh'))")
    wait(page, lambda: page.inner_text(".live") == "Connection lost, trying again")
    complaints.said.clear()
    page.context.set_offline(False)
    refresh(page)
    wait(page, lambda: page.inner_text(".live") == "Updates itself")


def test_a_session_that_ended_sends_a_live_page_to_sign_in(
    trial_page: Callable[[], Page], complaints: Complaints
) -> None:
    page = trial_page()
    page.context.clear_cookies()
    page.evaluate("() => document.body.dispatchEvent(new Event('refresh'))")
    wait(page, lambda: page.url.endswith("/sign-in/?next=/trial/"))
