"""The calculators in a browser: by keyboard alone, with and without scripts, and at both sizes with a sweep."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from playwright.sync_api import Page, expect

from calc.workings import all_workings
from calc.workings.sweep import sweepable
from crib.floor.models import Operation
from crib.web.working_fields import example_query
from tests.floor.test_keeping import milled
from tests.shop import Shop
from tests.web.conftest import OpenPage, Scheme
from tests.web.test_every_page import faults_of

pytestmark = [pytest.mark.browser, pytest.mark.once]

MILLING = {"diameter": "16", "teeth": "4", "surface_speed": "60", "feed_per_tooth": "0.08"}
DEPTHS = {"axial_depth": "8", "radial_depth": "1.6", "kc11": "2000", "mc": "0.25"}


@pytest.fixture
def operation(transactional_db: None) -> tuple[Shop, Operation]:
    shop = Shop()
    return shop, milled(shop)


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement ? document.activeElement.id : ''"))


def tab_to(page: Page, control: str) -> None:
    """Press the tab key until the control of this id has the focus."""
    for _ in range(60):
        if focused(page) == control:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"the tab key never came to {control}; it is at {focused(page)!r}")


def test_milling_by_keyboard_alone_from_empty_to_a_drawn_sweep(open_page: OpenPage) -> None:
    page = open_page("machinist", "/workings/milling/")
    for name, value in MILLING.items():
        tab_to(page, f"in-{name}")
        page.keyboard.type(value)
    expect(page.locator(".figure-number").first).to_contain_text("1194")
    for fold in ("What may be added", "Draw against one input"):
        page.locator("summary", has_text=fold).focus()
        page.keyboard.press("Enter")
    for name, value in DEPTHS.items():
        tab_to(page, f"in-{name}")
        page.keyboard.type(value)
    tab_to(page, "in-sweep")
    page.keyboard.type("Axial")
    expect(page.locator("#sweep-title")).to_have_text("Spindle power against axial depth")
    assert page.locator("#sweep-area svg").count() == 1
    assert focused(page) == "in-sweep", "the focus stays where it was"
    tab_to(page, "in-sweep_to")
    page.keyboard.type("12")
    page.wait_for_url("**sweep_to=12**")
    page.locator("#sweep-area summary").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#sweep-area tbody tr").last).to_contain_text("12 mm")
    # The address alone brings the same page to whoever opens it.
    address = urlsplit(page.url)
    again = open_page("lead", f"{address.path}?{address.query}")
    assert again.locator("#sweep-area svg").inner_html() == page.locator("#sweep-area svg").inner_html()
    assert again.locator(".figure-number").all_inner_texts() == page.locator(".figure-number").all_inner_texts()
    assert again.input_value("#in-sweep_to") == "12"


def test_results_and_link_are_copied_and_shown_where_copying_is_refused(open_page: OpenPage) -> None:
    page = open_page("machinist", f"/workings/milling/?{urlencode(MILLING)}&units=metric")
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy the results").click()
    expect(page.get_by_role("button", name="Copied")).to_be_visible()
    assert "Spindle speed: 1194 rev/min" in clipboard(page)
    page.get_by_role("button", name="Copy the link").click()
    expect(page.get_by_role("button", name="Copied")).to_have_count(2)
    link = urlsplit(clipboard(page))
    assert {key: value[0] for key, value in parse_qs(link.query).items()} == MILLING | {"units": "metric"}
    expect(page.get_by_role("button", name="Copy the link")).to_be_visible()


def test_where_nothing_can_be_copied_the_field_is_shown_and_selected(open_page: OpenPage) -> None:
    page = open_page("machinist", "about:blank")
    # As over plain HTTP, where browsers have no clipboard.
    page.add_init_script("Object.defineProperty(navigator, 'clipboard', {value: undefined})")
    page.goto(f"/workings/milling/?{urlencode(MILLING)}&units=metric")
    page.get_by_role("button", name="Copy the link").click()
    expect(page.locator("#results-link")).to_be_focused()
    assert page.evaluate("document.activeElement.selectionEnd") == len(page.input_value("#results-link"))


def clipboard(page: Page) -> str:
    return str(page.evaluate("navigator.clipboard.readText()"))


def test_without_scripts_a_sweep_is_asked_for_by_the_form(open_page: OpenPage) -> None:
    page = open_page("machinist", "/workings/milling/", script=False, width=820, height=1180)
    for name, value in MILLING.items():
        page.fill(f"#in-{name}", value)
    page.locator("summary", has_text="Draw against one input").click()
    page.select_option("#in-sweep", "surface_speed")
    page.select_option("#in-sweep_and", "feed_rate")
    page.click("text=Work it out")
    assert page.locator("#sweep-area svg").count() == 2
    assert "Spindle speed against surface speed" in page.inner_text("#sweep-area")
    assert "Feed rate" in page.inner_text("#sweep-area")
    # The results stand as text to be copied by hand.
    page.locator("summary", has_text="As text").click()
    assert "Spindle speed: 1194 rev/min" in page.input_value("#results-text")


@pytest.mark.parametrize("script", [True, False], ids=["with scripts", "without scripts"])
def test_an_operation_is_opened_changed_and_kept(
    open_page: OpenPage, operation: tuple[Shop, Operation], script: bool
) -> None:
    shop, kept = operation
    page = open_page(shop.engineer, "/workings/milling/", script=script)
    page.select_option("#open-operation", str(kept.pk))
    page.get_by_role("button", name="Open").click()
    page.wait_for_url("**tool=EM-16**")
    page.fill("#in-surface_speed", "80 m/min")
    if script:
        page.wait_for_url("**surface_speed=80**")
    else:
        page.click("text=Work it out")
    page.get_by_role("link", name="Keep for an operation").click()
    page.select_option("#keep-operation", str(kept.pk))
    page.get_by_role("button", name="See what changes").click()
    row = page.locator("tr", has_text="Surface speed")
    assert [cell.split() for cell in row.locator("td").all_inner_texts()] == [["60", "m/min"], ["80", "m/min"]]
    assert Operation.objects.get(pk=kept.pk).surface_speed == 60.0
    page.get_by_role("button", name=f"Keep for {kept}").click()
    page.wait_for_url(f"**/operations/{kept.pk}/")
    assert f"Kept for {kept}" in page.inner_text("body")
    assert Operation.objects.get(pk=kept.pk).surface_speed == pytest.approx(80.0)


def test_the_page_on_which_an_answer_is_kept_is_sound(open_page: OpenPage, operation: tuple[Shop, Operation]) -> None:
    shop, kept = operation
    query = urlencode(MILLING | DEPTHS | {"diameter": "20", "operation": str(kept.pk)})
    faults = []
    for width, height, scheme in ((1280, 900, "light"), (820, 1180, "dark")):
        page = open_page(shop.engineer, "about:blank", width=width, height=height, scheme=scheme)
        faults += faults_of(page, "keep", f"/workings/milling/keep/?{query}")
    assert faults == []


def sweeping(working: Any) -> dict[str, str]:
    over = next((entry.name for entry in sweepable(working) if entry.name in working.example), "")
    return {"sweep": over} if over else {}


@pytest.mark.parametrize(
    ("width", "height", "scheme", "units"), [(1280, 900, "light", "inch"), (820, 1180, "dark", "metric")]
)
def test_every_calculator_with_its_example_and_a_sweep_is_sound_for_every_reader(
    open_page: OpenPage, width: int, height: int, scheme: Scheme, units: Any
) -> None:
    page = open_page("engineer", "about:blank", width=width, height=height, scheme=scheme)
    faults = []
    for working in all_workings():
        query = urlencode(example_query(working, units) | {"units": units} | sweeping(working))
        faults += faults_of(page, working.name, f"/workings/{working.name}/?{query}")
        faults += out_of_sight(page, height) if width > height else []  # at a desk, not on a tablet held upright
    assert faults == []


def out_of_sight(page: Page, height: int) -> list[str]:
    """The drawing, when neither all of it nor its first 240 pixels can be seen before anybody scrolls."""
    drawing = page.locator(".working-drawing svg").first
    box = drawing.bounding_box() if drawing.count() else None
    seen = box is None or box["y"] + min(box["height"], 240) <= height
    return [] if seen else [f"{page.url}: the drawing is at {box}"]
