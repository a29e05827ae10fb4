"""The Edges board in a browser: it updates itself, and pages with forecasts on them meet the rules of every page."""

from __future__ import annotations

import pytest

from crib.life import services
from crib.life.models import LifeModel
from crib.web.views import life
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop
from tests.web.conftest import OpenPage
from tests.web.test_every_page import faults_of

pytestmark = pytest.mark.browser


@pytest.fixture
def learnt(transactional_db: None) -> Shop:
    life._boards.clear()
    shop = Shop()
    add_edges(shop, [*WORN, Past(20, "taken_off_early"), Past(4)])
    services.refit_all()
    shop.log_run(parts=2)
    services.refresh_all_due()
    return shop


def test_a_new_forecast_is_on_the_board_by_itself(open_page: OpenPage, learnt: Shop) -> None:
    page = open_page(learnt.setter, "/edges/")
    row = page.locator(f"#edge-{learnt.edge.pk}")
    before = learnt.edge.forecast.minutes_used
    assert f"{before:g} min" in row.inner_text()
    page.locator(f"#edge-link-{learnt.edge.pk}").focus()
    learnt.log_run(hour=1, parts=1)
    services.refresh_all_due()
    page.locator(f"#edge-{learnt.edge.pk}", has_text=f"{before + 2:g} min").wait_for()
    # Whoever works by keyboard stays where they were.
    assert page.evaluate("document.activeElement.id") == f"edge-link-{learnt.edge.pk}"


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (800, "dark")])
def test_pages_with_forecasts_are_sound_for_every_reader(
    open_page: OpenPage, learnt: Shop, width: int, scheme: str
) -> None:
    model = LifeModel.objects.get()
    page = open_page(learnt.setter, "about:blank", width=width, scheme=scheme)
    faults = []
    for path in ("/edges/", f"/edges/{learnt.edge.pk}/", "/life-curves/", f"/life-curves/{model.pk}/"):
        faults += faults_of(page, path, path)
    assert faults == []
