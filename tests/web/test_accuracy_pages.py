"""The page that says how forecasts held, and its file for a spreadsheet."""

from __future__ import annotations

import csv
import io
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.catalogue.models import Design
from crib.life.models import LifeModel
from crib.web.sheets import sheet
from tests.life.test_rivals import scored
from tests.shop import Shop
from tests.web.pages import signed_in, text


def rows_of(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def test_an_empty_record_says_how_forecasts_come_to_be_scored(shop: Shop) -> None:
    page = text(signed_in(shop.setter).get("/life-curves/accuracy/"))
    assert "No forecast has been scored yet" in page
    assert "Export as CSV" not in page
    assert "never a promise" in page


def test_the_record_shows_rivals_points_months_and_groups(shop: Shop) -> None:
    model = scored(shop, [(3.0, 4.0)] * 25)
    scored(shop, [(2.0, 5.0)] * 3, point=25)
    page = text(signed_in(shop.planner).get("/life-curves/accuracy/"))
    assert "Does the model earn its place?" in page
    assert "The last life" in page
    assert page.count(f"/life-curves/{model.pk}/") >= 1
    assert re.search(r'<th scope="row">25&nbsp;%</th>', page)
    assert "Where in its forecast each edge ended" in page
    # 25 edges that all ended at 30 % of their forecasts: the range is too wide.
    assert "Too unsure" in page
    assert "The numbers" in page


def test_a_rival_that_served_better_is_said_on_page_list_and_curve(shop: Shop) -> None:
    model = scored(shop, [(6.0, 3.0)] * 25)
    client = signed_in(shop.lead)
    for address in ("/life-curves/accuracy/", "/life-curves/", f"/life-curves/{model.pk}/"):
        assert "the last life would have served better" in text(client.get(address)), address


def test_more_groups_cost_no_more_queries(shop: Shop) -> None:
    model = scored(shop, [(3.0, 4.0)] * 4)
    client = signed_in(shop.lead)

    def queries() -> int:
        with CaptureQueriesContext(connection) as counted:
            client.get("/life-curves/accuracy/")
        return len(counted)

    one = queries()
    LifeModel.objects.filter(pk=model.pk).update(kind_of_cut="milling")
    other = LifeModel.objects.get(pk=model.pk)
    other.pk, other.kind_of_cut = None, "drilling"
    other.save()
    model.scores.filter(pk__in=list(model.scores.values_list("pk", flat=True)[:2])).update(model=other)
    assert queries() == one


def test_the_sheet_has_a_row_for_each_group_and_no_formula(shop: Shop) -> None:
    scored(shop, [(3.0, 4.0)] * 25)
    Design.objects.filter(pk=shop.chamfer_tip.pk).update(code="=2+3")
    response = signed_in(shop.planner).get("/life-curves/accuracy/export/")
    assert response["Content-Type"].startswith("text/csv")
    assert 'filename="forecasts-scored.csv"' in response["Content-Disposition"]
    heads, row = rows_of(response.content)
    assert len(heads) == len(row)
    told = dict(zip(heads, row, strict=True))
    assert told["design"] == "'=2+3"
    assert (told["forecasts scored"], told["CRPS min"], told["the last life: skill"]) == ("25", "3", "0.25")
    assert told["the fixed count: skill"] == ""
    assert signed_in(shop.planner).post("/life-curves/accuracy/export/").status_code == 405


@pytest.mark.parametrize("text_of_cell", ["=1", "+1", "-1", "@x", "\t=1", "\r=1"])
def test_no_text_can_begin_a_formula(text_of_cell: str) -> None:
    found = rows_of(sheet("a", [text_of_cell], [[text_of_cell, -1.5, -2, None, True]]).content)
    assert found[0][0].startswith("'")
    assert found[1][0].startswith("'")
    assert found[1][1:] == ["-1.5", "-2", "", "True"]


def test_a_file_name_holds_nothing_that_a_system_minds() -> None:
    assert sheet('CT 45/12"é', ["a"], [])["Content-Disposition"] == 'attachment; filename="CT-45-12--.csv"'
