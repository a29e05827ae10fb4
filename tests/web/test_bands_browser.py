"""The bands of a flute in a browser: the pages that show and take them meet the rules of every page."""

from __future__ import annotations

from datetime import timedelta

import pytest

from crib.floor import services as floor
from crib.life import services
from crib.web.views import life
from tests.shop import Shop
from tests.web.conftest import OpenPage
from tests.web.test_every_page import faults_of

pytestmark = pytest.mark.browser


@pytest.fixture
def banded(transactional_db: None) -> Shop:
    life._boards.clear()
    shop = Shop()
    for hour, (low, high) in enumerate([(0.0, 0.75), (1.0, 1.75), (2.0, 2.75)]):
        shop.use_band(low, high)
        last = shop.log_run(hour=hour, parts=3 + 6 * hour)
    floor.end_and_turn(edge=shop.edge, outcome="worn", who=shop.setter, at=last.ended_at + timedelta(minutes=5))
    services.refresh_all_due()
    return shop


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (820, "dark")])
def test_pages_with_bands_are_sound_for_every_reader(
    open_page: OpenPage, banded: Shop, width: int, scheme: str
) -> None:
    page = open_page(banded.engineer, "about:blank", width=width, scheme=scheme)
    work, edge = f"/jobs/operations/{banded.operation.pk}/", banded.edge
    faults = []
    for path in (f"/edges/{edge.pk}/", f"/stock/items/{edge.item_id}/", work, f"{work}change/", f"{work}setup-sheet/"):
        faults += faults_of(page, path, path)
    assert faults == []


def test_the_way_to_the_least_worn_band_is_there_by_keyboard(open_page: OpenPage, banded: Shop) -> None:
    page = open_page(banded.setter, f"/edges/{banded.edge.pk}/")
    assert page.locator("#bands tbody tr").count() == 3
    page.get_by_role("link", name="Find the least worn band").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/workings/chamfer-edge/?**")
    # The chamfer goes along with the piece.
    assert page.locator("[name=chamfer_width]").first.input_value().startswith("0.75")
