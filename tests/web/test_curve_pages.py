"""The life curves' list with its filter, and what a curve's page shows beside the curve."""

from __future__ import annotations

import csv
import io
import re

import pytest

from crib.floor.models import Edge, Operation
from crib.life import services
from crib.life.models import LifeModel
from crib.people.models import Person
from crib.stock.models import Item
from crib.web.views import life
from tests.life.lives import WORN, Past, add_edges
from tests.life.test_rivals import scored
from tests.shop import Shop
from tests.web.conftest import OpenPage
from tests.web.pages import signed_in, text


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    add_edges(shop, [*WORN, Past(20, "taken_off_early"), Past(9, "chipped"), Past(5)])
    add_edges(shop, [Past(3, "broken")], excuse="crash", excuse_note="hit the vice")
    services.refit_all()
    return shop


def rows_of(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def curve_page(shop: Shop, **more: object) -> str:
    return text(signed_in(shop.lead).get(f"/life-curves/{LifeModel.objects.get().pk}/"))


def test_each_edge_is_drawn_by_what_became_of_it_and_the_law_over_speed(learnt: Shop) -> None:
    page = curve_page(learnt)
    for look in ("ended", "broken", "open", "excused"):
        assert f"point point-{look}" in page, look
    assert "as the edges fell away" in page
    assert "Life over surface speed" in page
    assert "every edge so far cut at 60" in page
    assert "surface speed, m/min" in page
    assert "What the starting value said, and what the shop saw" in page
    assert page.count("The numbers") >= 2
    assert "Export the edges as CSV" in page


def test_relatives_are_shown_where_the_group_has_any(learnt: Shop) -> None:
    assert "with its relatives" not in curve_page(learnt)
    model = LifeModel.objects.get()
    model.parameters["pooled"] |= {"family": {"groups": 2, "worn": 7}}
    model.save()
    assert curve_page(learnt).count("with its relatives") >= 2


def test_an_inch_reader_sees_speeds_in_feet(learnt: Shop) -> None:
    Person.objects.filter(pk=learnt.lead.pk).update(units="inch")
    page = curve_page(learnt)
    assert "surface speed, ft/min" in page
    # 60 m/min is 197 ft/min; the line goes from two thirds of it, 131, to half as much again, 295.
    assert "131 ft/min" in page
    assert "surface speed, m/min" not in page


def test_without_a_speed_the_page_says_what_to_do(shop: Shop) -> None:
    Operation.objects.filter(pk=shop.operation.pk).update(surface_speed=None)
    shop.operation.refresh_from_db()
    add_edges(shop, WORN)
    services.refit_all()
    assert "No surface speed is known here" in curve_page(shop)


def test_with_no_edges_all_taken_off_or_a_single_one_the_page_still_stands(shop: Shop) -> None:
    add_edges(shop, [Past(0)])
    services.refresh_all_due()
    assert "No edge has cut here yet: the line is the starting value." in curve_page(shop)
    Edge.objects.all().delete()
    add_edges(shop, [Past(30, "taken_off_early")])
    services.refit_all()
    page = curve_page(shop)
    assert "as the edges fell away" not in page
    assert "point-open" in page
    add_edges(shop, [Past(33, "worn")])
    services.refit_all()
    assert "point-ended" in curve_page(shop)


def test_dishonest_ranges_are_warned_of_on_the_groups_own_page(shop: Shop) -> None:
    model = scored(shop, [(3.0, 4.0)] * 25)
    page = text(signed_in(shop.lead).get(f"/life-curves/{model.pk}/"))
    assert "Too unsure: nearly every edge ends inside the range." in page
    assert "The last life" in page


# --- files for a spreadsheet --------------------------------------------------------------------------


def test_a_page_lists_the_latest_edges_behind_a_curve_and_the_export_all(
    learnt: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "Each of them" in curve_page(learnt)
    monkeypatch.setattr(life, "MOST_BEHIND", 3)
    page = curve_page(learnt)
    assert "The latest 3; all are in the CSV" in page
    latest, *_, first = Edge.objects.filter(minutes__gt=0).order_by("-pk")
    assert f'href="/edges/{latest.pk}/"' in page
    assert f'href="/edges/{first.pk}/"' not in page
    client = signed_in(learnt.lead)
    rows = rows_of(client.get(f"/life-curves/{LifeModel.objects.get().pk}/edges/export/").content)
    assert len(rows) > 4


def test_the_edges_behind_a_curve_are_exported_with_what_is_known_of_them(learnt: Shop) -> None:
    worn = Edge.objects.get(minutes=38)
    Edge.objects.filter(pk=worn.pk).update(wear_land_mm=0.31)
    Item.objects.filter(pk=worn.item_id).update(lot="-L7")
    model = LifeModel.objects.get()
    response = signed_in(learnt.planner).get(f"/life-curves/{model.pk}/edges/export/")
    heads, *rows = rows_of(response.content)
    told = {row[heads.index("minutes cut")]: dict(zip(heads, row, strict=True)) for row in rows}
    assert len(rows) == 14
    assert told["38"]["edge"] == worn.item.label
    assert (told["38"]["lot"], told["38"]["wear land mm"], told["38"]["outcome"]) == ("'-L7", "0.31", "Worn")
    assert (told["38"]["surface speed m/min"], told["38"]["feed mm"], told["38"]["parts"]) == ("60", "0.05", "19")
    assert told["3"]["left out because"] == "Crash"
    assert (told["5"]["state"], told["5"]["outcome"]) == ("In use", "")


def test_the_curve_itself_is_exported(learnt: Shop) -> None:
    model = LifeModel.objects.get()
    heads, first, *_, last = rows_of(signed_in(learnt.planner).get(f"/life-curves/{model.pk}/export/").content)
    assert heads == ["minutes", "outlasted", "range from", "range to"]
    assert first == ["0", "1", "1", "1"]
    assert float(last[1]) < 0.1
    assert signed_in(learnt.planner).get("/life-curves/999999/export/").status_code == 404
    assert signed_in(learnt.planner).get("/life-curves/999999/edges/export/").status_code == 404


# --- the list -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "there"),
    [
        ("", True), ("design=ct-45", True), ("design=COUNTER", False), ("show=fair", False), ("show=start", False),
        ("show=attention", False), ("show=narrow", False), ("show=wide", False), ("material=99999", True),
        ("show=whatever&order=sideways", True), ("order=short", True), ("order=long", True), ("order=ends", True),
        ("order=attention", True),
    ],
)  # fmt: skip
def test_the_list_is_filtered_and_what_is_not_understood_left_aside(learnt: Shop, asked: str, there: bool) -> None:
    page = text(signed_in(learnt.lead).get(f"/life-curves/?{asked}"))
    assert (f'href="/life-curves/{LifeModel.objects.get().pk}/"' in page) == there
    assert ("No life curve is like that" in page) == (not there)


def test_the_list_is_put_in_order(learnt: Shop) -> None:
    short = LifeModel.objects.get()
    long = LifeModel.objects.get()
    long.pk, long.kind_of_cut, long.ended = None, "milling", 1
    long.parameters = long.parameters | {"ln_scale": long.parameters["ln_scale"] + 1}
    long.save()
    client = signed_in(learnt.lead)

    def order(asked: str) -> list[int]:
        return [int(pk) for pk in re.findall(r'<th scope="row"><a href="/life-curves/(\d+)/', text(client.get(asked)))]

    assert order("/life-curves/?order=short") == [short.pk, long.pk]
    assert order("/life-curves/?order=long") == [long.pk, short.pk]
    assert order("/life-curves/?order=ends") == [short.pk, long.pk]
    LifeModel.objects.filter(pk=long.pk).update(drift={"direction": "fall"})
    assert order("/life-curves/?order=attention") == [long.pk, short.pk]
    assert order("/life-curves/?show=attention") == [long.pk]
    assert order(f"/life-curves/?material={short.material_id}") == [short.pk, long.pk]


@pytest.mark.browser
def test_the_keyboard_alone_filters_the_list_and_opens_a_record(people: dict[str, Person], open_page: OpenPage) -> None:
    shop = Shop()
    scored(shop, [(3.0, 4.0)] * 25)
    page = open_page("planner", "/life-curves/")
    page.locator("#id_show").focus()
    page.keyboard.press("w")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**show=attention**")
    assert page.get_by_role("link", name="CT-45-12").count() == 1
    page.get_by_role("link", name="How forecasts held").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/life-curves/accuracy/")
    assert "Does the model earn its place?" in page.inner_text("main")
