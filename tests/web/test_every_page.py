"""What holds for every page, whoever wrote it: found by walking the addresses, never listed by hand."""

from __future__ import annotations

import re
import time
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import Page

from crib.people.models import Person
from tests.web.conftest import PATIENCE_MS, Complaints, OpenPage, Scheme, accessibility_faults
from tests.web.walk import Address, addresses

ADDRESSES = [address for address in addresses() if not address.takes_arguments and address.name != "sign_in"]
PAGES = [pytest.param(address, id=address.name) for address in ADDRESSES]
SCHEMES: tuple[Scheme, ...] = ("light", "dark")
MOST_BYTES = 250_000
TARGET = 44

# Controls a finger goes for: everything but links inside running text, which WCAG 2.5.8 lets be.
SMALL_TARGETS = """() => [...document.querySelectorAll('a[href], button, input, select, textarea, summary')]
  .filter(e => !e.closest('p, dd, .notice, .caution, [hidden]') && e.type !== 'hidden')
  .filter(e => e.checkVisibility() && !e.classList.contains('skip'))
  .map(e => ({e, box: (['checkbox', 'radio'].includes(e.type) ? e.closest('label') || e : e).getBoundingClientRect()}))
  .filter(({box}) => box.width > 0 && (box.height < 43.5 || box.width < 43.5))
  .map(({e, box}) => `${e.outerHTML.slice(0, 120)} is ${Math.round(box.width)} by ${Math.round(box.height)}`)"""
OVERFLOW = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


def is_page(response: Any) -> bool:
    return response.status_code == 200 and not response.streaming and b"<html" in response.content


def as_lead(person: Person) -> Client:
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def lead(db: None) -> Person:
    from crib.people.services import take_on_person

    return take_on_person(username="lead", first_name="Lise", last_name="Example", role="lead", who=None)[0]


@pytest.mark.parametrize("address", PAGES)
def test_a_page_carries_the_policy_and_nothing_inline(address: Address, lead: Person) -> None:
    response = as_lead(lead).get(address.url())
    policy = response.get("Content-Security-Policy", "")
    assert "default-src 'self'" in policy
    assert "unsafe-inline" not in policy
    assert "unsafe-eval" not in policy
    if not is_page(response):
        return
    html = response.content.decode()
    assert not re.search(r"<[^>]+\sstyle\s*=", html), "a style attribute"
    assert not re.search(r"<style\b", html), "a style element"
    assert not re.search(r"<[^>]+\son\w+\s*=", html), "an on… attribute"
    assert not re.search(r"hx-on|hx-vals=['\"]js:|javascript:", html), "something that needs eval"
    for script in re.findall(r"<script\b[^>]*>", html):
        assert " src=" in script, "an inline script"
    for address_ in re.findall(r"""(?:src|href|action|hx-get|hx-post)=["']([^"']*)""", html):
        assert not re.match(r"(https?:)?//", address_), f"{address_} is elsewhere"


@pytest.mark.parametrize("address", PAGES)
def test_a_page_names_itself_and_has_one_heading(address: Address, lead: Person) -> None:
    response = as_lead(lead).get(address.url())
    if not is_page(response):
        return
    html = response.content.decode()
    title = re.search(r"<title>(.*?)</title>", html, re.S)
    assert title
    assert re.sub(r"\s+", " ", title[1]).strip() not in ("", "Edgetally · Edgetally")
    assert len(re.findall(r"<h1[\s>]", html)) == 1
    assert 'class="skip"' in html
    assert '<main class="main" id="main"' in html


@pytest.fixture
def empty_pages(people: dict[str, Person]) -> list[tuple[str, str]]:
    """The pages of a shop in which nothing has happened yet; what a full one shows is in test_full_shop."""
    client = as_lead(people["lead"])
    found = [(one.name, one.url()) for one in ADDRESSES if is_page(client.get(one.url()))]
    assert len(found) >= 4, "the walk found next to nothing"
    return found


@pytest.mark.once
@pytest.mark.browser
@pytest.mark.parametrize(("width", "height", "scheme"), [(1280, 800, "light"), (800, 1280, "dark")])
def test_empty_pages_are_sound(
    empty_pages: list[tuple[str, str]], open_page: OpenPage, width: int, height: int, scheme: Scheme
) -> None:
    page = open_page("lead", "about:blank", width=width, height=height, scheme=scheme)
    assert [fault for name, url in empty_pages for fault in faults_of(page, name, url)] == []


def faults_of(page: Page, name: str, url: str) -> list[str]:
    """What is wrong with a page as a browser shows it."""
    page.goto(url)
    faults = accessibility_faults(page) + page.evaluate(SMALL_TARGETS)
    if page.evaluate(OVERFLOW) > 0:
        faults.append("the page scrolls sideways")
    return [f"{name} {url}: {fault}" for fault in faults]


@pytest.mark.browser
def test_a_page_weighs_little_and_comes_from_here_alone(
    empty_pages: list[tuple[str, str]], open_page: OpenPage
) -> None:
    page = open_page("lead", "about:blank")
    weights = {name: first_view_bytes(page, url) for name, url in empty_pages}
    assert {name: weight for name, weight in weights.items() if weight > MOST_BYTES} == {}


def first_view_bytes(page: Page, url: str) -> int:
    """What goes over the wire for a first view, nothing being kept from before."""
    talk = page.context.new_cdp_session(page)
    talk.send("Network.enable")
    talk.send("Network.setCacheDisabled", {"cacheDisabled": True})
    sizes: list[float] = []
    talk.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    page.goto(url, wait_until="load")
    talk.detach()
    assert sizes, "nothing was counted"
    return int(sum(sizes))


@pytest.mark.browser
def test_the_keyboard_alone_reaches_the_page_and_every_place(people: dict[str, Person], open_page: OpenPage) -> None:
    page = open_page("lead", "/people/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Take on a person"
    page.keyboard.press("Enter")
    page.wait_for_url("**/people/new/")
    seen = []
    for _ in range(60):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                """() => { const e = document.activeElement, s = getComputedStyle(e);
                const seen = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2;
                return [e.name || e.textContent.trim(), seen]; }"""
            )
        )
        if seen[-1][0] == "Take on":
            break
    assert all(visible for name, visible in seen if name), "every stop of the keyboard can be seen"
    assert {"first_name", "last_name", "username", "role", "email", "is_counter"} <= {name for name, _ in seen}


@pytest.mark.browser
def test_pages_work_without_scripts(people: dict[str, Person], open_page: OpenPage) -> None:
    page = open_page("lead", "/me/", script=False)
    page.get_by_label("Dark").check()
    page.get_by_role("button", name="Keep settings").click()
    assert "Your settings are kept." in page.inner_text("#toasts")
    assert page.locator("html").get_attribute("data-scheme") == "dark"
    page.get_by_role("button", name="Sign out").click()
    assert page.url.endswith("/sign-in/")


@pytest.mark.browser
def test_a_persons_scheme_overrules_the_device(people: dict[str, Person], open_page: OpenPage) -> None:
    lead = people["lead"]
    grounds = {}
    for chosen in ("system", "light", "dark"):
        lead.scheme = chosen
        lead.save()
        for device in SCHEMES:
            page = open_page("lead", "/me/", scheme=device)
            grounds[chosen, device] = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    light, dark = grounds["system", "light"], grounds["system", "dark"]
    assert light != dark
    assert grounds["light", "dark"] == grounds["light", "light"] == light
    assert grounds["dark", "light"] == grounds["dark", "dark"] == dark


@pytest.mark.browser
def test_what_is_printed_prints_in_light(people: dict[str, Person], open_page: OpenPage) -> None:
    page = open_page("lead", "/me/", scheme="dark")
    surface = "getComputedStyle(document.querySelector('.panel')).backgroundColor"
    on_screen = page.evaluate(surface)
    page.emulate_media(media="print")
    on_paper = page.evaluate(surface)
    assert on_screen != on_paper
    assert all(int(part) > 240 for part in re.findall(r"\d+", on_paper)[:3])
    assert not page.is_visible(".rail")


@pytest.mark.browser
def test_the_collector_hears_a_broken_policy(
    people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    page = open_page("lead", "/me/")
    page.evaluate("() => { const s = document.createElement('script'); s.textContent = '1'; document.body.append(s); }")
    page.evaluate("() => { const i = new Image(); i.src = 'http://192.0.2.1/x.png'; document.body.append(i); }")
    give_up = time.monotonic() + PATIENCE_MS / 1000
    while sum("Content Security Policy" in said for said in complaints.said) < 2:
        assert time.monotonic() < give_up, complaints.said
        page.wait_for_timeout(50)
    complaints.said.clear()


@pytest.mark.browser
def test_the_checks_find_what_is_wrong(people: dict[str, Person], open_page: OpenPage) -> None:
    page = open_page("lead", "/me/")
    page.evaluate("() => { document.querySelector('.button').className = 'x'; }")
    assert any("Keep settings" in fault for fault in page.evaluate(SMALL_TARGETS))
    page.evaluate("() => { document.getElementById('main').append(document.createElement('img')); }")
    assert any("image-alt" in fault for fault in accessibility_faults(page))
    page.evaluate("() => { document.querySelector('h1').style.width = '2000px'; }")
    assert page.evaluate(OVERFLOW) > 0
