"""The whole job in one browser, with the worker as a process of its own: from the tip at the counter to the receipt."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from crib.catalogue.models import Job
from crib.core import clock
from crib.floor.models import Edge
from crib.people.models import Person
from crib.planning.models import Flag, PurchaseOrder
from crib.stock.labels import make_label
from crib.stock.selectors import on_hand
from tests.house.starts import Start, start_worker, until
from tests.shop import Shop, assert_ledger_balances
from tests.web.conftest import OpenPage

pytestmark = [pytest.mark.browser, pytest.mark.processes]

# The worker answers within two seconds when the machine has nothing else to do; a test machine often has.
SOON = 45_000


@pytest.fixture
def crib(transactional_db: None, people: dict[str, Person]) -> Shop:
    """Six tips on the shelf, an offer for more, a holder and a body; nothing built, planned or flagged yet."""
    shop = Shop()
    shop.stock(shop.chamfer_tip, 6)
    shop.item(shop.holder)
    shop.item(shop.body)
    assert shop.offer.pack == 5
    assert shop.operation.machine == shop.machine
    return shop


@pytest.fixture
def worker(crib: Shop) -> Iterator[Start]:
    process = start_worker()
    yield process
    process.end()


def scan(page: Page, text: str) -> None:
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def issue_a_tip(page: Page, setter: Person) -> None:
    scan(page, make_label("P", setter.pk))
    expect(page.locator("#counter-answer .confirmation-words")).to_have_text("Machinist Example")
    scan(page, "2*CT-45-12")
    expect(page.locator("#counter-answer .confirmation-words")).to_have_text("2 × CT-45-12 → Machinist Example")


def build_fit_and_load(page: Page, shop: Shop) -> None:
    page.goto("/machines/assemblies/new/")
    page.get_by_label("Holder").select_option(index=1)
    page.get_by_label("Body").select_option(index=1)
    page.get_by_label("Name").fill("Flange chamfer")
    page.get_by_role("button", name="Build").click()
    mine = page.locator("#id_tip").locator("option", has_text="with you").first
    page.locator("#id_tip").select_option(value=mine.get_attribute("value"))
    page.get_by_role("button", name="Fit it").click()
    expect(page.locator("main")).to_contain_text("is fitted; its label is")
    page.goto(f"/machines/{shop.machine.pk}/3/")
    page.get_by_role("button", name="Load it").click()
    expect(page.locator("main")).to_contain_text("Log parts")


def log_parts(page: Page, shop: Shop, parts: int, *, hours_ago: float) -> None:
    ended = timezone.localtime(clock.now() - timedelta(hours=hours_ago))
    page.goto(f"/machines/{shop.machine.pk}/3/")
    page.get_by_label("Parts made").fill(str(parts))
    page.get_by_text("Times, minutes, operation").click()
    page.get_by_label("Started").fill(f"{ended - timedelta(minutes=40):%Y-%m-%dT%H:%M}")
    page.get_by_label("Ended").fill(f"{ended:%Y-%m-%dT%H:%M}")
    page.locator("#id_operation").select_option(index=1)
    page.get_by_role("button", name="Log the run").click()
    expect(page.locator("main")).to_contain_text(f"{parts} parts logged")


def life_used(board: Page) -> float:
    cell = board.locator("#board tbody td", has_text=re.compile(r"\d+\s%, ")).first
    found = re.search(r"(\d+)\s%", cell.inner_text())
    assert found is not None
    return float(found[1])


def end_as_worn(page: Page, edge: Edge) -> None:
    page.goto(f"/edges/{edge.pk}/")
    page.locator("#take-off").get_by_label("Worn").check()
    page.locator("#take-off").get_by_label("Wear land").fill("0.31")
    page.get_by_role("button", name="Off, and turn to the next").click()


def enter_month(page: Page, job: Job, parts: int) -> None:
    page.goto("/month/")
    page.get_by_role("link", name="Enter the month").first.click()
    page.get_by_label(f"Parts of {job.code}").fill(str(parts))
    page.get_by_role("button", name="Keep the plan").click()


def test_from_a_tip_at_the_counter_to_the_receipt_that_clears_the_flag(
    crib: Shop, worker: Start, people: dict[str, Person], open_page: OpenPage
) -> None:
    # The attendant issues tips to the setter, who builds the tool and loads it.
    attendant = open_page("attendant", "/counter/")
    issue_a_tip(attendant, people["machinist"])
    setter = open_page("machinist", "/machines/")
    build_fit_and_load(setter, crib)
    # The tool has been in the machine since yesterday, so that an hour's run of it can be logged.
    yesterday = clock.now() - timedelta(days=1)
    edge = Edge.objects.get(state=Edge.State.IN_USE)
    edge.item.fittings.update(fitted_at=yesterday)
    crib.machine.loads.update(loaded_at=yesterday)
    Edge.objects.filter(pk=edge.pk).update(put_in_at=yesterday)

    # A run is logged, and the board, left open, changes by itself.
    board = open_page("lead", "/edges/")
    expect(board.locator(f"#edge-{edge.pk}")).to_be_visible(timeout=SOON)
    log_parts(setter, crib, parts=6, hours_ago=3)
    expect(board.locator(f"#edge-{edge.pk}")).to_contain_text("12 min", timeout=SOON)
    first = life_used(board)
    log_parts(setter, crib, parts=3, hours_ago=1)
    expect(board.locator(f"#edge-{edge.pk}")).to_contain_text("18 min", timeout=SOON)
    assert 0 < first < life_used(board)

    # The edge is ended as worn, and its next corner works on.
    end_as_worn(setter, edge)
    edge.refresh_from_db()
    assert (edge.state, edge.outcome, edge.wear_land_mm) == ("ended", "worn", 0.31)
    expect(board.locator(f"#edge-{edge.pk}")).to_have_count(0, timeout=SOON)
    expect(board.locator("#board tbody tr")).to_have_count(1, timeout=SOON)

    # The planner enters the month; the worker works out the tips, and raises a flag with a suggestion.
    planner = open_page("planner", "/month/")
    enter_month(planner, crib.job, parts=2000)
    expect(planner.get_by_role("heading", name="Order now")).to_be_visible(timeout=SOON)
    flag = Flag.objects.get(design=crib.chamfer_tip, kind=Flag.Kind.WILL_RUN_SHORT, cleared_at=None)
    assert flag.evidence

    # The suggestion becomes an order.
    planner.get_by_role("button", name="Order", exact=True).click()
    order = PurchaseOrder.objects.get()
    assert order.supplier == crib.supplier
    line = order.lines.get()
    assert line.quantity % crib.offer.pack == 0

    # What was ordered is received: it stands on the shelf, and the flag is cleared with its reason.
    before = on_hand(design=crib.chamfer_tip)
    attendant.goto(f"/month/orders/{order.number}/")
    attendant.get_by_role("button", name=re.compile("^Receive")).click()
    order.refresh_from_db()
    assert order.state == PurchaseOrder.State.RECEIVED
    assert on_hand(design=crib.chamfer_tip) == before + line.quantity
    assert until(lambda: not Flag.objects.filter(cleared_at=None).exists(), SOON / 1000), worker.said
    planner.goto("/month/")
    expect(planner.get_by_text("Nothing needs to be ordered now.")).to_be_visible(timeout=SOON)
    flag.refresh_from_db()
    assert flag.cleared_because
    assert_ledger_balances()
