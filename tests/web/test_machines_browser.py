"""Logging parts at a machine, as a machinist does it: pocket, parts, Enter."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from crib.floor.models import Run
from tests.shop import Shop
from tests.web.conftest import OpenPage, accessibility_faults

pytestmark = pytest.mark.browser


def test_parts_are_logged_and_an_edge_is_turned_by_keyboard_and_thumb(open_page: OpenPage, shop: Shop) -> None:
    shop.load_tool()
    page = open_page("machinist", reverse("crib:machine", args=[shop.machine.pk]), width=800, height=1280, touch=True)
    page.get_by_label("Parts just made in pocket 3").fill("6")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Pocket 3: 6 parts logged at J-1001/20.")).to_be_visible()
    assert Run.objects.get().parts == 6
    assert accessibility_faults(page) == []
    page.get_by_role("link", name="3", exact=True).tap()
    expect(page.get_by_role("heading", name="Pocket 3")).to_be_visible()
    assert accessibility_faults(page) == []
    page.get_by_text("Worn", exact=True).tap()
    page.get_by_label("Wear land").first.fill("0.3")
    page.get_by_role("button", name="End and turn").tap()
    expect(page.get_by_text("Edge 1 is ended. The next edge is in use.")).to_be_visible()
    assert shop.edge.number == 2
