"""The pages on which tools are sent out and taken in, and worn carbide is written down."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from crib.floor import services as floor
from crib.people.models import Person
from crib.stock import services as stock
from crib.stock.models import Condition, Item, Place
from crib.stock.records import Dispatch, DispatchLine, ScrapCollection
from crib.web.papers.dispatch_note import dispatch_note_of
from tests.shop import Shop, assert_ledger_balances
from tests.web.pages import signed_in, text
from tests.web.test_full_shop import send_drills

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Shop:
    shop = Shop()
    send_drills(shop)
    return shop


def key_in(page: str) -> str:
    found = re.search(r'name="key" value="([^"]+)"', page)
    assert found
    return found[1]


def send(person: Person, **given: Any) -> Any:
    client = signed_in(person)
    key = key_in(client.get(reverse("crib:send_out")).content.decode())
    shop = Place.objects.get(kind=Place.Kind.REGRIND)
    return client.post(reverse("crib:send_out"), {"key": key, "shop": shop.pk, "work": "regrind"} | given)


def test_the_list_shows_what_is_out_overdue_and_worth_sending(shop: Shop) -> None:
    page = text(signed_in(shop.attendant).get(reverse("crib:sent_out")))
    assert "Overdue" in page
    assert "Worth sending" in page
    assert "12.50 EUR" in page, "24.50 new less 12.00 for the regrind"
    today = text(signed_in(shop.attendant).get(reverse("crib:today")))
    assert "Sent out and overdue" in today
    assert "1 tool at Keen Edge" in today
    machinist = text(signed_in(shop.setter).get(reverse("crib:sent_out")))
    assert reverse("crib:send_out") not in machinist, "who may not send is offered no button"


def test_scanned_labels_go_on_one_dispatch(shop: Shop) -> None:
    (item,) = Item.objects.filter(condition=Condition.PART_USED, place=shop.bin)
    shop.stock(item.design, 1, condition=Condition.PART_USED)
    missing = send(shop.attendant, items=f"{item.label}\nDR-8.5\n")
    assert missing.status_code == 400
    assert "Some of the tools have no label" in text(missing)
    sent = send(
        shop.attendant, items=f"{item.label}\r\nDR-8.5\r\n\r\n", loose_from=shop.bin.pk, loose_condition="part_used"
    )
    assert sent.status_code == 302, text(sent)
    dispatch = Dispatch.objects.latest("pk")
    assert dispatch.lines.count() == 2
    page = text(signed_in(shop.setter).get(reverse("crib:dispatch", args=[dispatch.pk])))
    assert "2 tools, 2 still out" in page
    assert "harmful dust that holds cobalt" in page
    assert_ledger_balances()


def test_a_line_that_cannot_be_read_is_named(shop: Shop) -> None:
    refused = send(shop.attendant, items="ET1:I1X\nA-01")
    assert refused.status_code == 400
    assert "Line 1:" in text(refused)
    assert "Line 2: “A-01” is no tool" in text(refused)


def test_a_tool_is_taken_in_with_its_measures(shop: Shop) -> None:
    line = DispatchLine.objects.get(state="out")
    address = reverse("crib:take_in", args=[line.dispatch_id, line.pk])
    client = signed_in(shop.attendant)
    key = key_in(client.get(address).content.decode())
    given = {"key": key, "result": "back", "to_place": shop.bin.pk, "diameter_mm": "8.45", "length_mm": "3.4 in"}
    larger = client.post(address, given | {"diameter_mm": "8.6"})
    assert larger.status_code == 400
    assert "grinding makes nothing larger" in text(larger)
    assert client.post(address, given).status_code == 302
    assert client.post(address, given).status_code == 302, "the button pressed twice counts once"
    item = Item.objects.get(pk=line.item_id)
    assert (item.regrinds_done, item.diameter_mm) == (1, 8.45)
    page = text(client.get(reverse("crib:item", args=[item.pk])))
    assert "Program 8.45 mm" in page
    assert "2 regrinds left" in page
    assert "It is no longer out" in text(client.get(address))
    assert signed_in(shop.setter).post(address, given).status_code == 403


def test_a_rejected_one_needs_no_bin(shop: Shop) -> None:
    line = DispatchLine.objects.get(state="out")
    address = reverse("crib:take_in", args=[line.dispatch_id, line.pk])
    client = signed_in(shop.attendant)
    given = {"key": "form:r", "result": "rejected", "to_place": shop.bin.pk, "note": "Cracked", "cost": "3"}
    assert client.post(address, given).status_code == 302
    assert "Cracked" in text(client.get(reverse("crib:dispatch", args=[line.dispatch_id])))


def test_the_note_says_what_goes_and_warns_of_the_dust(shop: Shop) -> None:
    sent = Dispatch.objects.get()
    answer = signed_in(shop.setter).get(reverse("crib:dispatch_note", args=[sent.pk]))
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    figures = dispatch_note_of(sent, "metric")
    assert [line["label"] for line in figures["lines"]] == [one.item.label for one in sent.lines.order_by("pk")]
    assert figures["lines"][1]["diameter"] == "8.5\xa0mm"
    assert signed_in(shop.setter).get(reverse("crib:dispatch_note", args=[9999])).status_code == 404


def test_the_day_on_the_note_is_that_of_the_shop() -> None:
    sent = Dispatch(pk=1, shop=Place(name="Grinder"), sent_by=Person(username="ada"))
    sent.sent_at = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    with timezone.override("Pacific/Auckland"):
        assert dispatch_note_of(sent, "metric")["sent"] == "2026-03-02"


def test_the_pocket_says_what_to_program(shop: Shop) -> None:
    drill = shop.design(
        "DR-9", "drill", edges=1, diameter_mm=9.0, regrinds_allowed=1, machine_side_system="cylindrical",
        machine_side_size="9",
    )  # fmt: skip
    operation = floor.create_operation(
        job=shop.job, number=10, name="Drill", machine=shop.machine, tip=drill, material=shop.material,
        kind_of_cut="drilling", surface_speed=60.0, feed=0.1, minutes_per_part=1.0, who=shop.engineer,
    )  # fmt: skip
    shop.stock(drill, 1, condition=Condition.PART_USED)
    item = stock.make_item(design=drill, condition=Condition.PART_USED, place=shop.bin, who=shop.attendant)
    floor.send_out(items=[item], shop=stock.place_of(regrind="Keen Edge"), who=shop.attendant, key="s9")
    floor.take_in(item=item, to_place=shop.bin, diameter_mm=8.8, who=shop.attendant, key="b9")
    item.refresh_from_db()
    chuck = floor.build_assembly(holder=shop.item(shop.holder), who=shop.setter)
    floor.fit_tip(assembly=chuck, item=item, who=shop.setter, key="f9")
    floor.load_pocket(machine=shop.machine, pocket=4, assembly=chuck, operation=operation, who=shop.setter)
    page = text(signed_in(shop.setter).get(reverse("crib:pocket", args=[shop.machine.pk, 4])))
    page = re.sub(r"[\u202f\u2009\xa0]", " ", page)
    assert "This tool was reground: program 8.8 mm" in page
    # n = vc·1000/(π·DC): 60 000/(π·8.8) and 60 000/(π·9).
    assert "it turns 2170 rev/min, a new one 2122 rev/min" in page


def test_worn_carbide_is_weighed_and_goes_into_a_spreadsheet(shop: Shop) -> None:
    address, client = reverse("crib:scrap"), signed_in(shop.attendant)
    last = ScrapCollection.objects.get()
    page = text(client.get(address))
    assert f'name="after" value="{last.pk}"' in page
    given = {"weighed_g": "55", "taken_by": "=Grey", "paid": "1.20", "after": last.pk}
    assert client.post(address, given).status_code == 302
    assert client.post(address, given).status_code == 302, "the button pressed twice counts once"
    assert ScrapCollection.objects.count() == 2
    rows = client.get(reverse("crib:scrap_sheet")).content.decode()
    assert "'=Grey" in rows, "no text turns into a formula"
    assert "<form" not in text(signed_in(shop.setter).get(address)).split('id="main"')[1]
    assert signed_in(shop.setter).post(address, given).status_code == 403


def test_the_ledger_leads_to_the_dispatch(shop: Shop) -> None:
    page = text(signed_in(shop.attendant).get(reverse("crib:ledger")))
    assert reverse("crib:dispatch", args=[Dispatch.objects.get().pk]) in page


def test_a_list_costs_the_same_however_long(shop: Shop, django_assert_max_num_queries: Any) -> None:
    client = signed_in(shop.attendant)
    drill = Item.objects.filter(design__code="DR-8.5").first()
    assert drill is not None
    shop.stock(drill.design, 12, condition=Condition.PART_USED)
    loose = [floor.LooseTool(drill.design, shop.bin, Condition.PART_USED)] * 12
    client.get(reverse("crib:sent_out"))
    grinder = Place.objects.get(kind=Place.Kind.REGRIND)
    floor.send_out(items=loose, shop=grinder, who=shop.attendant, key="many")
    with django_assert_max_num_queries(20):
        client.get(reverse("crib:sent_out"))
    with django_assert_max_num_queries(20):
        client.get(reverse("crib:dispatch", args=[Dispatch.objects.latest("pk").pk]))
