"""The search box: what is found by what is typed, in which order, and what hostile texts do to it."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from crib.catalogue import services as catalogue
from crib.catalogue.models import Job
from crib.catalogue.words import search_text, squeezed
from crib.floor.selectors import search_shop, suggest
from crib.stock.labels import make_label
from crib.stock.models import Item
from tests.shop import Shop


def names(text: str, kind: str = "") -> list[str]:
    return [hit.name for hit in search_shop(text=text).hits if kind in ("", hit.kind)]


@pytest.mark.parametrize(
    "typed",
    ["CT-45-12", "ct-45-12", "ct4512", "CT 45 12", "ct-45", "ct45", "90412", "904", "chamfer 12 tip", "12mm chamfer",
     "CHAMFER", "tip 12 mm", "tips fam chamfer"],
)  # fmt: skip
def test_a_design_by_code_number_or_words(shop: Shop, typed: str) -> None:
    catalogue.change_design(design=shop.chamfer_tip, who=shop.lead, family="fam of chamfer tips")
    assert names(typed, "design")[:1] == ["CT-45-12"]


def test_whole_codes_come_before_beginnings_and_those_before_words(shop: Shop) -> None:
    shop.design("AB-1", description="Long drill")
    shop.design("AB-12", description="Short drill")
    shop.design("ZZ-9", description="Goes with AB 1")
    shop.design("XAB-1", description="Other drill")
    assert names("ab1", "design") == ["AB-1", "AB-12", "ZZ-9", "XAB-1"]
    assert names("ab 1", "design") == ["AB-1", "AB-12", "ZZ-9", "XAB-1"]
    assert names("drill short", "design") == ["AB-12"]


def test_what_is_retired_stands_behind(shop: Shop) -> None:
    catalogue.retire_design(design=shop.design("AB-1", description="Long drill"), who=shop.lead)
    shop.design("AB-2", description="Long drill")
    answer = search_shop(text="long drill")
    assert [(hit.name, hit.retired) for hit in answer.hits] == [("AB-2", False), ("AB-1", True)]


def test_a_supplier_number_finds_the_design_until_it_is_changed(shop: Shop) -> None:
    offer = catalogue.create_offer(
        design=shop.chamfer_tip, supplier=shop.supplier, prices={1: Decimal("9.50")}, who=shop.lead,
        suppliers_number="ZQ/77-1", lead_days=3,
    )  # fmt: skip
    assert names("zq77 1", "design") == ["CT-45-12"]
    catalogue.change_offer(offer=offer, who=shop.lead, suppliers_number="NEW-5")
    assert names("zq771", "design") == []
    assert names("new5", "design") == ["CT-45-12"]
    assert names(shop.supplier.name, "supplier") == [shop.supplier.name]


def test_labels_whole_bare_and_misread(shop: Shop) -> None:
    shop.stock(shop.body, 1)
    item = Item.objects.get(design=shop.body)
    bare = item.label.removeprefix("ET1:")
    for typed in (item.label, item.label.lower(), bare, bare[:-1], str(item.pk), f"et1 {bare}"):
        assert names(typed)[0] == item.label, typed
    wrong = item.label[:-1] + ("0" if item.label[-1] != "0" else "1")
    answer = search_shop(text=wrong)
    assert answer.hits == ()
    assert "check character" in answer.said
    assert names(make_label("P", shop.setter.pk)) == ["sela"]
    assert names(make_label("M", shop.machine.pk)) == ["VM-1"]


def test_pieces_by_serial_and_lot(shop: Shop) -> None:
    shop.stock(shop.body, 2)
    first, second = Item.objects.filter(design=shop.body).order_by("pk")
    Item.objects.filter(pk=first.pk).update(serial="SN-00.17/A", lot="L 88")
    Item.objects.filter(pk=second.pk).update(serial="SN-0018")
    assert names("sn0017a", "item") == [first.label]
    assert names("sn 00", "item") == [first.label, second.label]
    assert names("l88", "item") == [first.label]


def test_people_jobs_places_machines_and_workings(shop: Shop) -> None:
    assert shop.setter.username == "sela"
    assert names("marsh", "person") == ["sela"]
    assert names("MARSH sela", "person") == ["sela"]
    assert names(shop.job.code.lower().replace("-", ""), "job") == [shop.job.code]
    assert names(shop.bin.code.lower().replace("-", " "), "place") == [shop.bin.code]
    assert shop.machine.code == "VM-1"
    assert names("mill vertical", "machine") == ["VM-1"]
    assert "chamfer-hole" in names("chamfer hole", "working")
    shop.tablet  # noqa: B018  # the cast is made when it is first asked for
    assert names("tablet", "person") == []


def test_a_badge_is_not_handed_round(shop: Shop) -> None:
    (hit,) = [hit for hit in search_shop(text=shop.setter.username).hits if hit.kind == "person"]
    assert hit.label == ""


@pytest.mark.parametrize(
    "typed", ["", " ", "%", "_", "\\", "' OR 1=1 --", "<script>", "\x00", "*" * 10_000, "ä" * 10_000, "ET1:", "ET1:I",
              "İ", "ﬀ", "\ud7ff\U0010ffff", "a " * 5000]
)  # fmt: skip
def test_hostile_texts_find_nothing_and_break_nothing(shop: Shop, typed: str) -> None:
    assert shop.chamfer_tip.code not in [hit.name for hit in search_shop(text=typed).hits]
    client = Client()
    client.force_login(shop.setter, backend="django.contrib.auth.backends.ModelBackend")
    for address in ("/search/", "/search/suggest/"):
        answer = client.get(address, {"q": typed})
        assert answer.status_code == 200
        assert b"<script>alert" not in answer.content
        assert b"\xe2\x80\x9c<script>" not in answer.content


def test_accents_and_capitals_count_for_nothing(shop: Shop) -> None:
    shop.design("SF-1", description="Schälfräser für Gewinde")
    assert names("schalfraser fur", "design") == names("SCHÄLFRÄSER", "design") == ["SF-1"]


def test_the_number_of_queries_does_not_grow(shop: Shop) -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            suggest(text="tip")
        return len(seen)

    for number in range(5):
        shop.design(f"TIP-{number}")
    few = queries()
    for number in range(5, 50):
        shop.design(f"TIP-{number}")
    assert queries() == few


def test_enter_on_one_exact_thing_leads_to_it_and_rights_decide_whose_page(shop: Shop) -> None:
    client = Client()
    client.force_login(shop.setter, backend="django.contrib.auth.backends.ModelBackend")
    number = shop.chamfer_tip.pk
    assert client.get("/search/", {"q": "CT4512", "go": "1"})["Location"] == f"/stock/designs/{number}/"
    other = shop.other_setter
    assert client.get("/search/", {"q": other.username, "go": "1"})["Location"] == f"/stock/held/?person={other.pk}"
    client.force_login(shop.lead, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/search/", {"q": other.username, "go": "1"})["Location"] == f"/people/{other.username}/"


def test_the_text_is_bounded_whatever_was_pasted() -> None:
    assert len(search_text(code="A", said=[f"word {n}" for n in range(5000)])) <= 1002
    assert squeezed("CT‑45 – 12") == "ct4512"


def test_a_job_among_many_is_found_by_its_code(shop: Shop) -> None:
    Job.objects.bulk_create([Job(code=f"J-{number:05d}", part="Housing") for number in range(700)])
    assert names("J-00617", "job") == names("j00617", "job") == names("housing 00617", "job") == ["J-00617"]
