"""Keeping an answer for an operation and opening one in a calculator, as pages: also without scripts."""

from __future__ import annotations

import html
import re
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.urls import reverse

from crib.catalogue.services import change_job
from crib.floor import services
from crib.floor.models import Operation
from tests.floor.test_keeping import drilled, milled
from tests.shop import Shop
from tests.web.pages import signed_in, text
from tests.web.test_machines_pages import see

MILLING = {
    "diameter": "16 mm", "teeth": "4", "surface_speed": "80", "feed_per_tooth": "0.06", "axial_depth": "3",
    "radial_depth": "6", "length_of_cut": "500", "units": "metric",
}  # fmt: skip


def words(response: Any) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def keep_url(name: str = "milling") -> str:
    return reverse("crib:keep_working", args=[name])


def keep_page(shop: Shop, operation: Operation | None = None, **changes: str) -> Any:
    chosen = {} if operation is None else {"operation": str(operation.pk)}
    return signed_in(shop.engineer).get(keep_url(), MILLING | chosen | changes)


def keep(shop: Shop, operation: Operation, **changes: str) -> Any:
    page = signed_in(shop.engineer)
    return page.post(keep_url(), query_params=MILLING | {"operation": str(operation.pk)} | changes, follow=True)


# --- opening --------------------------------------------------------------------------------------------


def test_an_operation_opens_in_its_calculator_with_what_it_says(shop: Shop) -> None:
    operation = milled(shop)
    response = see(shop.setter, "open_operation", operation.pk)
    assert response.status_code == 302
    address = urlsplit(response["Location"])
    asked = {key: value[0] for key, value in parse_qs(address.query).items()}
    assert address.path == "/workings/milling/"
    assert asked["surface_speed"] == "60 m/min"
    assert asked["tool"] == "EM-16"
    page = signed_in(shop.setter).get(response["Location"])
    assert "<h2>Answer</h2>" in text(page)


def test_an_operation_is_chosen_on_the_calculators_page(shop: Shop) -> None:
    operation = milled(shop)
    page = text(see(shop.setter, "working", "milling"))
    assert f'<option value="{operation.pk}">' in page
    chosen = signed_in(shop.setter).get(reverse("crib:open_chosen_operation"), {"operation": operation.pk}, follow=True)
    assert chosen.redirect_chain[0][0] == reverse("crib:open_operation", args=[operation.pk])
    assert "<h2>Answer</h2>" in text(chosen)
    assert "Open from an operation" not in text(see(shop.setter, "working", "drilling"))


@pytest.mark.parametrize("chosen", ["", "x", "-1", "1234567890123", "²"])
def test_nothing_sensible_chosen_goes_to_the_list(shop: Shop, chosen: str) -> None:
    response = signed_in(shop.setter).get(reverse("crib:open_chosen_operation"), {"operation": chosen})
    assert response["Location"] == reverse("crib:workings")


def test_an_operation_there_is_not_is_said(shop: Shop) -> None:
    response = see(shop.setter, "open_operation", 999_999)
    assert response.status_code == 404
    assert "There is no such operation; choose another one." in words(response)
    missing = signed_in(shop.engineer).get(keep_url(), MILLING | {"operation": "999999"})
    assert missing.status_code == 404


def test_the_operations_page_leads_to_the_calculator(shop: Shop) -> None:
    operation = milled(shop)
    assert reverse("crib:open_operation", args=[operation.pk]) in text(see(shop.setter, "operation", operation.pk))


# --- who may --------------------------------------------------------------------------------------------


def test_keeping_is_offered_to_those_who_may_change_operations_alone(shop: Shop) -> None:
    assert "Keep for an operation" in words(signed_in(shop.engineer).get("/workings/milling/", MILLING))
    assert "Keep for an operation" not in words(signed_in(shop.setter).get("/workings/milling/", MILLING))
    thread = signed_in(shop.engineer).get("/workings/thread/", {"thread": "M10"})
    assert "Keep for an operation" not in words(thread)


def test_keeping_is_refused_to_others_and_writes_nothing(shop: Shop) -> None:
    operation = milled(shop)
    query = MILLING | {"operation": str(operation.pk)}
    assert signed_in(shop.setter).get(keep_url(), query).status_code == 403
    assert signed_in(shop.setter).post(keep_url(), query_params=query).status_code == 403
    operation.refresh_from_db()
    assert operation.surface_speed == 60.0


# --- before and after -----------------------------------------------------------------------------------


def test_what_changes_is_shown_before_anything_is_written(shop: Shop) -> None:
    operation = milled(shop)
    first = keep_page(shop)
    assert "See what changes" in words(first)
    assert "What changes" not in text(first)
    shown = keep_page(shop, operation)
    said = words(shown)
    assert "Surface speed 60 m/min 80 m/min" in said
    assert "Feed 0.05 mm 0.06 mm" in said
    assert "Depth of cut 1 mm 3 mm" in said
    assert "Minutes in cut per part" in said
    assert f"Keep for {operation}" in said
    operation.refresh_from_db()
    assert operation.surface_speed == 60.0


def test_what_changes_is_shown_in_the_readers_units(shop: Shop) -> None:
    metric = {"surface_speed": "80 m/min", "feed_per_tooth": "0.06 mm", "axial_depth": "3 mm", "radial_depth": "6 mm"}
    said = words(keep_page(shop, milled(shop), units="inch", length_of_cut="500 mm", **metric))
    assert "Surface speed 197 ft/min 262 ft/min" in said


def test_what_is_kept_stands_with_the_operation(shop: Shop) -> None:
    operation = milled(shop)
    answer = keep(shop, operation)
    assert answer.redirect_chain[-1][0] == reverse("crib:operation", args=[operation.pk])
    assert f"Kept for {operation}: milling" in words(answer)
    operation.refresh_from_db()
    assert operation.surface_speed == pytest.approx(80.0)
    assert operation.depth == 3.0
    assert operation.minutes_source == "computed"
    again = words(keep_page(shop, operation))
    assert "Nothing would change: the operation has these conditions already." in again


def test_the_way_back_keeps_what_was_typed(shop: Shop) -> None:
    page = html.unescape(text(keep_page(shop, milled(shop))))
    back = re.search(r'<a class="button button--quiet" href="([^"]+)">Back to the calculator', page)
    assert back is not None
    kept = {key: value[0] for key, value in parse_qs(urlsplit(back[1]).query).items()}
    assert kept == MILLING
    assert all(f'<input type="hidden" name="{key}" value="{value}">' in page for key, value in MILLING.items())


def test_no_time_in_cut_is_said(shop: Shop) -> None:
    said = words(keep_page(shop, milled(shop), length_of_cut=""))
    assert "The calculator gives no time in cut; add the length of cut there" in said


def test_a_doubt_is_shown_beside_what_changes(shop: Shop) -> None:
    said = words(keep_page(shop, milled(shop), diameter="20 mm"))
    assert "Worked out with a diameter of 20 mm, but the operation's tool has 16 mm." in said


# --- what cannot be kept --------------------------------------------------------------------------------


def test_without_an_answer_there_is_nothing_to_keep(shop: Shop) -> None:
    operation = milled(shop)
    for wrong, sentence in (({"diameter": "wide"}, "is not a number"), ({"surface_speed": ""}, "The speed is missing")):
        said = words(keep_page(shop, operation, **wrong))
        assert "There is no answer to keep yet." in said
        assert sentence in said
    assert keep(shop, operation, diameter="wide").status_code == 200
    operation.refresh_from_db()
    assert operation.surface_speed == 60.0


def test_another_kind_of_cut_and_what_is_put_away_are_refused_with_a_sentence(shop: Shop) -> None:
    other = drilled(shop)
    response = keep(shop, other)
    assert response.status_code == 400
    assert "is drilling, which this calculator does not work out" in words(response)
    gone = services.retire_operation(operation=milled(shop, number=40), who=shop.engineer)
    assert "is put away; choose another one" in words(keep_page(shop, gone))


def test_a_cut_the_operations_tool_cannot_take_is_refused_with_a_sentence(shop: Shop) -> None:
    shallow = shop.design("EM-16S", "solid_mill", diameter_mm=16.0, teeth=4, edges=1, max_depth_mm=2.0)
    operation = milled(shop, tip=shallow, number=50)
    response = keep(shop, operation)
    assert response.status_code == 400
    operation.refresh_from_db()
    assert operation.depth == 1.0


def test_a_calculator_of_no_cut_and_a_shop_without_operations_have_none_to_choose(shop: Shop) -> None:
    none = "No job that is planned or running has an operation of this kind of cut. Add one under Jobs first."
    assert none in words(keep_page(shop))
    assert none in words(signed_in(shop.engineer).get(keep_url("thread"), {"thread": "M10"}))


def test_operations_of_jobs_that_are_done_are_not_offered(shop: Shop) -> None:
    operation = milled(shop)
    assert f'<option value="{operation.pk}">' in text(keep_page(shop))
    change_job(job=shop.job, state="done", who=shop.lead)
    assert f'<option value="{operation.pk}">' not in text(keep_page(shop))
