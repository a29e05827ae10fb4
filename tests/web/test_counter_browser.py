"""The counter in a real browser, driven as a scanner drives it: keys and Enter, nothing else."""

from __future__ import annotations

import time
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from crib.people.models import Person
from crib.stock.labels import make_label
from crib.stock.models import Move
from crib.stock.selectors import holdings
from tests.shop import Shop, assert_ledger_balances
from tests.web.conftest import Complaints, OpenPage, accessibility_faults

pytestmark = pytest.mark.browser
SCANS_OF_A_FAST_HAND = 20
SECONDS_FOR_THEM = 10


@pytest.fixture
def crib(transactional_db: None, people: dict[str, Person]) -> Shop:
    shop = Shop()
    shop.stock(shop.chamfer_tip, 40)
    return shop


def scan(page: Page, text: str) -> None:
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def words(page: Page) -> Any:
    return page.locator("#counter-answer .confirmation-words")


def badge(person: Person) -> str:
    return make_label("P", person.pk)


def held(person: Person) -> int:
    return sum(row.quantity for row in holdings(person=person))


def forgive_lost_connection(complaints: Complaints) -> None:
    complaints.said[:] = [said for said in complaints.said if "net::ERR_" not in said]


def test_twenty_scans_in_ten_seconds_are_all_counted_once(
    crib: Shop, people: dict[str, Person], open_page: OpenPage
) -> None:
    page = open_page("tablet", "/counter/")
    started = time.monotonic()
    scan(page, badge(people["machinist"]))
    for _ in range(SCANS_OF_A_FAST_HAND - 1):
        scan(page, "CT-45-12")
    assert time.monotonic() - started < SECONDS_FOR_THEM
    expect(page.locator(".counter-line.tone-good")).to_have_count(SCANS_OF_A_FAST_HAND - 1)
    expect(page.locator("#counter-waiting")).to_be_hidden()
    assert held(people["machinist"]) == SCANS_OF_A_FAST_HAND - 1
    assert Move.objects.filter(why="check_out").count() == SCANS_OF_A_FAST_HAND - 1
    assert_ledger_balances()


def test_scans_wait_in_the_page_while_the_connection_is_away(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    page = open_page("tablet", "/counter/")
    scan(page, badge(people["machinist"]))
    expect(words(page)).to_have_text("Machinist Example")
    page.context.set_offline(True)
    for _ in range(4):
        scan(page, "2*CT-45-12")
    expect(page.locator("#counter-waiting-words")).to_contain_text("4 scans wait here. There is no connection")
    expect(page.locator("#counter-waiting-list li")).to_have_count(4)
    assert held(people["machinist"]) == 0
    page.context.set_offline(False)
    expect(page.locator(".counter-line.tone-good")).to_have_count(4)
    expect(page.locator("#counter-waiting")).to_be_hidden()
    assert held(people["machinist"]) == 8
    forgive_lost_connection(complaints)
    assert_ledger_balances()


def test_waiting_scans_outlive_a_reload(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    page = open_page("machinist", "/counter/")
    page.route("**/counter/scan/", lambda route: route.abort())
    scan(page, "3*CT-45-12")
    expect(page.locator("#counter-waiting-words")).to_contain_text("1 scan waits here")
    page.unroute("**/counter/scan/")
    page.reload()
    expect(words(page)).to_have_text("3 × CT-45-12 → Machinist Example")
    assert held(people["machinist"]) == 3
    forgive_lost_connection(complaints)


def test_an_answer_that_is_lost_on_its_way_counts_once(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    page = open_page("machinist", "/counter/")
    lost: list[str] = []

    def lose_the_first_answer(route: Route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(str(route.request.post_data))
        route.fetch()
        route.abort()

    page.route("**/counter/scan/", lose_the_first_answer)
    scan(page, "2*CT-45-12")
    expect(words(page)).to_have_text("2 × CT-45-12 → Machinist Example")
    expect(page.locator(".counter-line.tone-good")).to_have_count(1)
    assert lost
    assert held(people["machinist"]) == 2
    forgive_lost_connection(complaints)
    assert_ledger_balances()


def test_two_tablets_and_the_last_tip(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    complaints.expected_statuses.add(409)
    rare = crib.design("RARE-1")
    crib.stock(rare, 1)
    first, second = open_page("machinist", "/counter/"), open_page("engineer", "/counter/")
    scan(first, "RARE-1")
    expect(words(first)).to_have_text("1 × RARE-1 → Machinist Example")
    scan(second, "RARE-1")
    expect(words(second)).to_have_text("There is no RARE-1 left in the crib. Machinist Example holds 1.")
    assert_ledger_balances()


def test_by_the_number_pad_and_the_keyboard_alone(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    complaints.expected_statuses.add(409)
    page = open_page("machinist", "/counter/")
    scan(page, "3*CT-45-12")
    page.keyboard.type("-")
    expect(words(page)).to_have_text("Back as it left")
    scan(page, "CT-45-12")
    expect(words(page)).to_have_text("1 × CT-45-12 → A-01")
    scan(page, "undo")
    expect(words(page)).to_contain_text("Undone")
    assert held(people["machinist"]) == 3
    page.keyboard.type("/")
    page.get_by_role("button", name="Undo 3 × CT-45-12").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".counter-line.is-undone")).to_have_count(2)
    assert held(people["machinist"]) == 0
    scan(page, "ET1:I1A")
    expect(words(page)).to_contain_text("“ET1:I1A” was read")
    page.keyboard.type("half a scan")
    page.keyboard.press("Escape")
    expect(page.locator("#counter-text")).to_have_value("")
    page.keyboard.press("Escape")
    expect(words(page)).to_have_text("Done.")
    assert_ledger_balances()


def test_the_field_has_the_focus_whatever_was_clicked(crib: Shop, open_page: OpenPage) -> None:
    page = open_page("machinist", "/counter/")
    expect(page.locator("#counter-text")).to_be_focused()
    page.get_by_role("button", name="Give out").click()
    expect(words(page)).to_have_text("Give out")
    expect(page.locator("#counter-text")).to_be_focused()
    page.locator("h1").click()
    scan(page, "CT-45-12")
    expect(words(page)).to_have_text("1 × CT-45-12 → Machinist Example")


def test_without_a_script_it_works_by_the_form(crib: Shop, people: dict[str, Person], open_page: OpenPage) -> None:
    page = open_page("machinist", "/counter/", script=False)
    page.fill("#counter-text", "2*CT-45-12")
    page.press("#counter-text", "Enter")
    expect(words(page)).to_have_text("2 × CT-45-12 → Machinist Example")
    page.get_by_role("button", name="Undo").click()
    expect(words(page)).to_contain_text("Undone")
    assert held(people["machinist"]) == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 800])
def test_a_busy_counter_is_readable_by_all(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints, width: int, scheme: Any
) -> None:
    complaints.expected_statuses.add(409)
    page = open_page("tablet", "/counter/", width=width, scheme=scheme)
    for text in (badge(people["machinist"]), "3*CT-45-12", "NO-SUCH", "CT-45-12", "undo"):
        scan(page, text)
    expect(words(page)).to_contain_text("Undone")
    assert accessibility_faults(page) == []
