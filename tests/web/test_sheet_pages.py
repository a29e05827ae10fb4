"""The pages that take an existing crib in from a spreadsheet: who may, what is shown, and what is kept when refused."""

from __future__ import annotations

import csv
import io
from typing import Any

import openpyxl
from django.test import Client
from django.urls import reverse

from crib.catalogue.models import Design
from crib.stock.models import Move
from crib.stock.records import SheetImport
from tests.shop import Shop, assert_ledger_balances
from tests.web.pages import signed_in


def url(name: str, *args: object) -> str:
    return reverse(f"crib:{name}", args=args)


def workbook(*rows: list[Any]) -> io.BytesIO:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    made = io.BytesIO()
    book.save(made)
    made.seek(0)
    made.name = "crib.xlsx"
    return made


def read(client: Client, *rows: list[Any]) -> SheetImport:
    answer = client.post(url("import_crib"), {"file": workbook(*rows)})
    assert answer.status_code == 302, answer.content.decode()[:500]
    return SheetImport.objects.latest("pk")


HEADS = ["Code", "Kind", "Bin", "Qty"]


def test_a_sheet_is_read_matched_taken_in_and_taken_back(shop: Shop) -> None:
    client = signed_in(shop.lead)
    sheet = read(
        client, HEADS, ["D-1", "drill", "A-9", 4], ["D-2", "spoon", "A-9", 1], ["=1+1", "drill", "A-9", "<b>x"]
    )
    page = client.get(url("sheet_import", sheet.pk)).content.decode()
    assert "leave the 2 bad rows out" in page
    assert "<b>x" not in page
    rows = list(csv.reader(io.StringIO(client.get(url("sheet_bad_rows", sheet.pk)).content.decode("utf-8-sig"))))
    assert [row[:2] for row in rows] == [["Row", "Column"], ["3", "Kind"], ["4", "Code"]]
    refused = client.post(url("take_in_sheet", sheet.pk), {"leave_out": "0"})
    assert refused.status_code == 409
    for wrong in ("-1", "x", "9" * 20):
        assert client.post(url("take_in_sheet", sheet.pk), {"leave_out": wrong}).status_code == 400
    assert not Design.objects.exists()
    for _ in range(2):  # a second press of the button
        assert client.post(url("take_in_sheet", sheet.pk), {"leave_out": "2"}).status_code == 302
    assert Move.objects.count() == 1
    done = client.get(url("sheet_import", sheet.pk)).content.decode()
    assert f"of=document:IMPORT-{sheet.pk}" in done
    assert client.get(url("labels"), {"of": f"document:IMPORT-{sheet.pk}"}).context["plan"].labels == 1
    assert "spoon" in client.get(url("sheet_bad_rows", sheet.pk)).content.decode()
    assert client.post(url("undo_sheet", sheet.pk)).status_code == 302
    assert client.post(url("undo_sheet", sheet.pk)).status_code == 409
    assert "taken back" in client.get(url("sheet_import", sheet.pk)).content.decode()
    assert_ledger_balances()


def test_the_columns_are_changed_on_the_page(shop: Shop) -> None:
    client = signed_in(shop.lead)
    sheet = read(client, ["one", "two", "three"], ["D-1", "A-9", 4])
    form = {"worksheet": "0", "header_line": "1", "column_code": "0", "column_place": "1", "column_quantity": "2"}
    given = {"kind": "drill", "edges": "", "seats": "", "place": ""}
    twice = client.post(url("sheet_import", sheet.pk), form | given | {"column_lot": "2"})
    assert twice.status_code == 400
    assert "Each column holds one thing" in twice.content.decode()
    for wrong in ({"header_line": "77"}, {"column_code": "9"}, {"worksheet": "5"}, {"column_code": ""}, {"edges": "0"}):
        assert client.post(url("sheet_import", sheet.pk), form | given | wrong).status_code == 400, wrong
    assert client.post(url("sheet_import", sheet.pk), form | given).status_code == 302
    page = client.get(url("sheet_import", sheet.pk))
    (row,) = page.context["judged"].good
    assert (row.design.code, row.where, row.quantity) == ("D-1", "A-9", 4)
    assert client.post(url("drop_sheet", sheet.pk)).status_code == 302
    assert "Nothing was taken in" in client.get(url("sheet_import", sheet.pk)).content.decode()
    assert client.post(url("take_in_sheet", sheet.pk)).status_code == 409


def test_who_may_not_change_the_catalogue_takes_in_known_designs_alone(shop: Shop) -> None:
    client = signed_in(shop.attendant)
    sheet = read(client, HEADS, [shop.chamfer_tip.code, "", "A-9", 4], ["NEW-1", "drill", "A-9", 4])
    assert client.post(url("take_in_sheet", sheet.pk), {"leave_out": "0"}).status_code == 403
    known = read(client, HEADS, [shop.chamfer_tip.code, "", "A-9", 4])
    assert client.post(url("take_in_sheet", known.pk), {"leave_out": "0"}).status_code == 302
    assert_ledger_balances()


def test_a_file_that_is_none_is_refused_beside_its_field(shop: Shop) -> None:
    client = signed_in(shop.lead)
    for content in (b"\x00\x01\x02", b"PK\x03\x04", b""):
        answer = client.post(url("import_crib"), {"file": io.BytesIO(content)})
        assert answer.status_code == 400
    assert client.post(url("import_crib"), {}).status_code == 400
    assert not SheetImport.objects.exists()
    for name in ("sheet_import", "sheet_bad_rows"):
        assert client.get(url(name, 999)).status_code == 404
