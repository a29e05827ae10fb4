"""A planner at the screen: the month entered, worked out while they look, ordered and received."""

import pytest
from playwright.sync_api import Page, expect

from crib.planning import services as planning
from crib.planning.models import Flag
from tests.planning.conftest import MONTH, PlanningShop
from tests.planning.conftest import today as _today  # noqa: F401 - a fixture that every test here uses
from tests.web.conftest import OpenPage, accessibility_faults
from tests.web.test_every_page import OVERFLOW, SMALL_TARGETS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def is_sound(page: Page) -> None:
    assert accessibility_faults(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL_TARGETS) == []


def test_from_the_grid_to_the_shelf(open_page: OpenPage) -> None:
    shop = PlanningShop()
    shop.sold()
    job = shop.operation.job
    shop.stock(shop.chamfer_tip, 3)
    page = open_page(shop.planner, f"/month/{MONTH}/", width=800, height=1280)
    page.get_by_role("link", name="Enter the month").click()
    page.get_by_label(f"Parts of {job.code}").fill("600")
    is_sound(page)
    page.get_by_role("button", name="Keep the plan").click()
    expect(page.get_by_text("The tips of this plan are being worked out")).to_be_visible()

    planning.refresh_due_plans()
    expect(page.get_by_text("Runs short")).to_be_visible()
    is_sound(page)
    page.get_by_role("link", name="CT-45-12").first.click()
    expect(page.get_by_role("heading", name="Why this number")).to_be_visible()
    is_sound(page)
    page.get_by_role("button", name="Order from Northgate Tooling").click()
    expect(page.get_by_role("heading", name="PO-2026-0001")).to_be_visible()
    is_sound(page)
    page.get_by_role("button", name="Receive").click()
    expect(page.get_by_text("all here")).to_have_count(0)
    expect(page.get_by_text("Received", exact=True).first).to_be_visible()

    planning.refresh_due_flags()
    assert not Flag.objects.filter(cleared_at=None).exists()
    page.goto(f"/month/{MONTH}/")
    expect(page.get_by_text("Nothing needs to be ordered now")).to_be_visible()


def test_today_is_sound_with_something_to_do(open_page: OpenPage) -> None:
    shop = PlanningShop()
    shop.planned()
    page = open_page(shop.planner, "/", width=800, height=1280)
    expect(page.get_by_role("heading", name="Running short")).to_be_visible()
    is_sound(page)
