"""The catalogue's pages in a browser: common metals to start with, and a spindle's power drawn from what was typed."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from crib.catalogue.models import WorkMaterial
from tests.shop import Shop
from tests.web.conftest import OpenPage, accessibility_faults

pytestmark = pytest.mark.browser


def test_an_engineer_starts_with_common_metals_and_makes_one_their_own(open_page: OpenPage) -> None:
    page = open_page("engineer", reverse("crib:materials"))
    assert accessibility_faults(page) == []
    page.get_by_role("button", name="Load the starting set").press("Enter")
    expect(page.get_by_text("32 materials added.")).to_be_visible()
    assert accessibility_faults(page) == []
    page.get_by_role("link", name="Alloy steel 42CrMo4").press("Enter")
    assert accessibility_faults(page) == []
    page.get_by_label("kc1.1, in N/mm²").fill("2350")
    page.get_by_label("Source of kc1.1").fill("own test cuts")
    page.keyboard.press("Enter")
    expect(page.get_by_text("The material is kept.")).to_be_visible()
    assert WorkMaterial.objects.get(name="Alloy steel 42CrMo4").kc11_source == "own test cuts"


def test_a_spindle_s_power_is_typed_and_drawn(open_page: OpenPage, shop: Shop) -> None:
    page = open_page("engineer", reverse("crib:machine_entry", args=[shop.machine.pk]), width=820, height=1180)
    page.get_by_label("Spindle power at its speeds").fill("350; 9\n1150; 18\n12000; 16 hp")
    page.get_by_role("button", name="Keep it").press("Enter")
    expect(page.get_by_text("The machine is kept.")).to_be_visible()
    page.goto(page.url.replace(reverse("crib:machine_list"), reverse("crib:machine", args=[shop.machine.pk])))
    page.get_by_text("Spindle power at its speeds", exact=True).press("Enter")
    expect(page.get_by_role("img", name="Spindle power at its speeds of VM-1")).to_be_visible()
    assert accessibility_faults(page) == []
