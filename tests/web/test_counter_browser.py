"""The counter in a real browser, driven as a scanner drives it: keys and Enter, nothing else."""

from __future__ import annotations

import time
from typing import Any
from urllib.parse import parse_qs

import pytest
from playwright.sync_api import Page, Route, expect

from crib.people.models import Person
from crib.stock import services
from crib.stock.labels import make_label
from crib.stock.models import Move
from crib.stock.selectors import holdings
from tests.shop import Shop, assert_ledger_balances
from tests.web.conftest import Complaints, OpenPage, accessibility_faults

pytestmark = pytest.mark.browser
SCANS_OF_A_FAST_HAND = 20
SECONDS_FOR_THEM = 10
STALLS_AT = 4
PATIENCE_OF_THE_PAGE_MS = 8_000
# A gloved finger needs this much: the house's own measure of a big target.
SMALLEST_KEY_PX = 60
# Writes down the tones instead of playing them.
TONES_HEARD = """
window.heard = [];
window.AudioContext = class {
  constructor() { this.currentTime = 0; this.destination = {}; }
  resume() {}
  createOscillator() {
    const voice = { frequency: {}, connect: (next) => next, stop() {} };
    voice.start = () => window.heard.push(voice.frequency.value);
    return voice;
  }
  createGain() {
    return { gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} }, connect: (next) => next };
  }
};
"""


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


def test_a_stalled_network_loses_and_doubles_nothing(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    """Twenty scans in ten seconds; in their midst an answer hangs, its scan is sent again, and arrives late as well."""
    page = open_page("tablet", "/counter/")
    page.clock.install()
    page.reload()
    scan(page, badge(people["machinist"]))
    expect(words(page)).to_have_text("Machinist Example")
    hung: list[Route] = []
    seen: list[str] = []

    def stall_one(route: Route) -> None:
        key = parse_qs(str(route.request.post_data))["key"][0]
        seen.append(key)
        if len(seen) == STALLS_AT:
            hung.append(route)
        else:
            route.continue_()

    page.route("**/counter/scan/", stall_one)
    started = time.monotonic()
    for number in range(SCANS_OF_A_FAST_HAND - 1):
        scan(page, f"{number % 2 + 1}*CT-45-12")
    assert time.monotonic() - started < SECONDS_FOR_THEM
    expect(page.locator("#counter-waiting-words")).to_contain_text("wait")
    expect(page.locator("#counter-waiting-list li").first).to_have_text(f"{(STALLS_AT - 1) % 2 + 1}*CT-45-12")
    assert hung, "the stall was never reached"
    # The page gives it up after its time and sends it again; then the first one arrives after all.
    page.clock.fast_forward(PATIENCE_OF_THE_PAGE_MS)
    expect(page.locator("#counter-waiting")).to_be_hidden()
    late = page.request.post("/counter/scan/", headers=hung[0].request.headers, data=str(hung[0].request.post_data))
    assert late.status == 200
    assert len(seen) == SCANS_OF_A_FAST_HAND
    assert len(set(seen)) == SCANS_OF_A_FAST_HAND - 1
    assert Move.objects.filter(why="check_out").count() == SCANS_OF_A_FAST_HAND - 1
    assert held(people["machinist"]) == sum(number % 2 + 1 for number in range(SCANS_OF_A_FAST_HAND - 1))
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


def test_over_the_limit_a_lead_scans_and_types_why(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    """By the keyboard alone, as a scanner and a lead type it."""
    complaints.expected_statuses.add(409)
    services.set_take_limit(design=crib.chamfer_tip, per="person", most=2, days=7, who=people["lead"])
    page = open_page("tablet", "/counter/")
    asks = page.locator("#counter-asks")
    for text in (badge(people["machinist"]), "2*CT-45-12", "CT-45-12"):
        scan(page, text)
    expect(words(page)).to_contain_text("Machinist Example has drawn 2 of the 2 CT-45-12")
    scan(page, badge(people["attendant"]))
    expect(words(page)).to_have_text("Attendant Example")
    for text in (badge(people["machinist"]), "CT-45-12"):
        scan(page, text)
    expect(words(page)).to_contain_text("Machinist Example has drawn 2")
    expect(asks).to_have_text("Scan or type, then Enter")
    field = page.locator("#counter-text")
    page.get_by_role("button", name="Keypad").click()
    expect(field).to_have_attribute("inputmode", "none")
    scan(page, badge(people["lead"]))
    expect(field).to_have_attribute("inputmode", "text")
    expect(asks).to_have_text("Type why it goes out, then Enter")
    scan(page, "chipped at the start")
    expect(words(page)).to_have_text("1 × CT-45-12 → Machinist Example")
    expect(asks).to_have_text("Scan or type, then Enter")
    move = Move.objects.get(note="chipped at the start")
    assert (move.allowed_by, move.who) == (people["lead"], people["attendant"])
    assert_ledger_balances()


def test_two_tablets_at_one_limit(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    """Both scan for the same person at once; together they do not pass the limit."""
    complaints.expected_statuses.add(409)
    services.set_take_limit(design=crib.chamfer_tip, per="person", most=5, days=1, who=people["lead"])
    pages = [open_page("tablet", "/counter/") for _ in range(2)]
    for page in pages:
        scan(page, badge(people["machinist"]))
    for _ in range(4):
        for page in pages:
            scan(page, "CT-45-12")
    for page in pages:
        expect(page.locator("#counter-waiting")).to_be_hidden()
        expect(page.locator(".counter-line.tone-good, .counter-line.tone-bad")).to_have_count(4)
    assert held(people["machinist"]) == 5
    assert_ledger_balances()


def test_empty_offers_what_may_be_taken_instead(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    complaints.expected_statuses.add(409)
    same = {name: getattr(crib.chamfer_tip, name) for name in (
        "diameter_mm", "included_angle_deg", "machine_side_system", "machine_side_size", "tip_flat_mm", "max_depth_mm",
    )}  # fmt: skip
    crib.stock(crib.design("CX-90-12", teeth=3, **same), 2)
    page = open_page("machinist", "/counter/")
    scan(page, "50*CT-45-12")
    offers = page.get_by_role("region", name="What may I take instead of CT-45-12?")
    expect(offers).to_contain_text("40 × CT-45-12")
    expect(offers).to_contain_text("Fits the same body. Look at: 3 teeth instead of 4")
    assert accessibility_faults(page) == []
    offers.get_by_role("button", name="Take 2: CX-90-12").focus()
    page.keyboard.press("Enter")
    expect(words(page)).to_have_text("2 × CX-90-12 → Machinist Example")
    expect(offers).to_have_count(0)
    scan(page, "CT-45-12")
    expect(words(page)).to_have_text("1 × CT-45-12 → Machinist Example")


def test_who_draws_no_tools_is_told_so_and_nothing_moves(
    crib: Shop, people: dict[str, Person], open_page: OpenPage, complaints: Complaints
) -> None:
    complaints.expected_statuses.add(409)
    page = open_page("tablet", "/counter/")
    for text in ("CT-45-12", badge(people["planner"])):
        scan(page, text)
    expect(words(page)).to_have_text("The role of Planner Example does not draw tools. Ask the attendant.")
    scan(page, badge(people["planner"])[:-1] + "?")
    expect(words(page)).to_contain_text("was read")
    assert not Move.objects.filter(why="check_out").exists()


def test_the_keypad_and_the_sound(crib: Shop, people: dict[str, Person], open_page: OpenPage) -> None:
    page = open_page("machinist", "/counter/", width=768, height=1024, touch=True)
    page.add_init_script(TONES_HEARD)
    page.reload()
    sound = page.get_by_role("button", name="Sound")
    expect(sound).to_have_attribute("aria-pressed", "false")
    scan(page, "CT-45-12")
    expect(words(page)).to_have_text("1 × CT-45-12 → Machinist Example")
    assert page.evaluate("heard") == [], "nobody asked for a sound"
    pad = page.get_by_role("group", name="Keypad for the quantity")
    if pad.is_hidden():
        page.get_by_role("button", name="Keypad").click()
    for key in ("1", "2", "Clear", "1", "2", "Times what is scanned next"):
        button = pad.get_by_role("button", name=key, exact=True)
        box = button.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= SMALLEST_KEY_PX
        button.click()
    expect(words(page)).to_have_text("12 × …")
    sound.click()
    scan(page, "CT-45-12")
    expect(words(page)).to_have_text("12 × CT-45-12 → Machinist Example")
    assert page.evaluate("heard")[-1] > 1000, "a high tone for what was done"
    page.reload()
    expect(sound).to_have_attribute("aria-pressed", "true")
    expect(pad).to_be_visible()
    assert accessibility_faults(page) == []


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
