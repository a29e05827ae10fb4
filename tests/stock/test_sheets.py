"""An existing crib from a spreadsheet: nothing half in, nothing twice, and every bad row named.

The workbooks are written by openpyxl (MIT), the CSV by hand.
"""

from __future__ import annotations

import io
import zipfile
from datetime import date
from decimal import Decimal
from typing import Any

import openpyxl
import pytest

from crib.catalogue.models import Design
from crib.core.errors import ShopError
from crib.stock import selectors, services
from crib.stock.models import Balance, Item, Move, Place
from crib.stock.records import SheetImport
from crib.stock.sheet_columns import guess_columns, read_amount, read_count
from crib.stock.workbook import MOST_COLUMNS, MOST_ROWS, read_workbook
from tests.shop import Shop, assert_ledger_balances

HEADS: list[Any] = ["Tool No.", "Description", "Type", "Mfr. No.", "Bin", "Qty", "Condition", "Price", "Corners"]
ROWS: list[list[Any]] = [
    ["ct 90", "Chamfer tip 90°", "Tip", "00123", "A-07", 12, "new", 24.5, 2],
    ["CT-90", "", "tip", "", "A-07", 3, "part-used", "", ""],
    ["DR-8.5", "Drill 8.5", "Drill", "4711", "B 01", "40 pcs", "", "1.234,50", ""],
    ["HD-1", "Collet chuck", "Holder", "", "C-01", 2, "used", 310, ""],
]


def xlsx(*sheets: list[list[Any]], names: tuple[str, ...] = ("Crib", "Second", "Third")) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in zip(names, sheets, strict=False):
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


def csv_of(*rows: list[Any], delimiter: str = ",") -> bytes:
    return "\r\n".join(delimiter.join(f'"{cell}"' for cell in row) for row in rows).encode()


def start(shop: Shop, content: bytes, name: str = "crib.xlsx") -> SheetImport:
    return services.start_sheet(name=name, content=content, who=shop.lead)


def bad_rows(sheet: SheetImport) -> list[tuple[int, str]]:
    return [(bad.line, bad.column) for bad in selectors.judge_sheet(sheet=sheet).bad]


def test_a_whole_crib_is_taken_in_by_one_act(shop: Shop) -> None:
    sheet = start(shop, xlsx([["Our crib, autumn"], [], HEADS, *ROWS, [], [None, "4 lines"]]))
    assert sheet.header == HEADS
    judged = selectors.judge_sheet(sheet=sheet)
    assert [(bad.line, bad.column, bad.reason.split(".")[0]) for bad in judged.bad] == [
        (9, "Tool No.", "There is no code in this row")
    ]
    assert not Move.objects.exists()
    with pytest.raises(ShopError, match="1 rows cannot be taken in"):
        services.take_in_sheet(sheet=sheet, who=shop.lead)
    with pytest.raises(ShopError, match="1 rows are bad now, not 2"):
        services.take_in_sheet(sheet=sheet, who=shop.lead, leave_out=2)
    assert not Design.objects.exists()
    done = services.take_in_sheet(sheet=sheet, who=shop.lead, leave_out=1)
    assert {name: done.result[name] for name in ("rows", "designs", "places", "moves", "pieces", "already")} == {
        "rows": 4, "designs": 3, "places": 3, "moves": 4, "pieces": 57, "already": 0,
    }  # fmt: skip
    tip = Design.objects.get(code="CT-90")
    assert (tip.description, tip.makers_number, tip.edges, tip.unit_cost) == (
        "Chamfer tip 90°",
        "00123",
        2,
        Decimal("24.5"),
    )
    assert Design.objects.get(code="DR-8.5").unit_cost == Decimal("1234.50")
    held = {
        (row.design.code, row.condition, row.place.code): row.quantity
        for row in selectors.balances()
        if row.quantity > 0
    }
    assert held == {
        ("CT-90", "new", "A-07"): 12, ("CT-90", "part_used", "A-07"): 3, ("DR-8.5", "new", "B-01"): 40,
        ("HD-1", "part_used", "C-01"): 2,
    }  # fmt: skip
    assert Item.objects.filter(design__code="HD-1", place__code="C-01").count() == 2
    assert set(Move.objects.values_list("document", "from_place__name")) == {(f"IMPORT-{sheet.pk}", "Opening stock")}
    assert_ledger_balances()


def test_the_same_sheet_again_adds_nothing(shop: Shop) -> None:
    content = xlsx([HEADS, *ROWS])
    first = services.take_in_sheet(sheet=start(shop, content), who=shop.lead)
    assert services.take_in_sheet(sheet=first, who=shop.lead).result == first.result
    moves = Move.objects.count()
    again = start(shop, content, "another name.xlsx")
    judged = selectors.judge_sheet(sheet=again)
    assert (judged.already, judged.pieces, judged.new_designs, judged.new_places) == (4, 0, [], [])
    services.take_in_sheet(sheet=again, who=shop.lead)
    assert Move.objects.count() == moves
    changed = start(shop, xlsx([HEADS, [*ROWS[0][:5], 13, *ROWS[0][6:]]]))
    ((line, column),) = bad_rows(changed)
    assert (line, column) == (2, "Qty")


def test_an_import_is_taken_back_whole_and_may_come_again(shop: Shop) -> None:
    content = xlsx([HEADS, *ROWS])
    sheet = services.take_in_sheet(sheet=start(shop, content), who=shop.lead)
    with pytest.raises(ShopError, match="Take it back on its page"):
        services.reverse(move=Move.objects.first(), who=shop.lead, key=shop.key())  # type: ignore[arg-type]
    services.undo_sheet(sheet=sheet, who=shop.lead)
    assert not Balance.objects.exclude(quantity=0).exists()
    assert_ledger_balances()
    with pytest.raises(ShopError, match="Only an import that was taken in"):
        services.undo_sheet(sheet=sheet, who=shop.lead)
    again = services.take_in_sheet(sheet=start(shop, content), who=shop.lead)
    assert again.result["pieces"] == 57
    assert again.result["designs"] == 0
    assert_ledger_balances()
    third = start(shop, content)
    assert selectors.judge_sheet(sheet=third).already == 4


def test_an_import_that_was_used_is_not_taken_back_at_all(shop: Shop) -> None:
    sheet = services.take_in_sheet(sheet=start(shop, xlsx([HEADS, *ROWS])), who=shop.lead)
    place = Place.objects.get(code="B-01")
    shop.check_out(Design.objects.get(code="DR-8.5"), 1, by=shop.setter, from_place=place)
    moves = Move.objects.count()
    with pytest.raises(ShopError, match=r"DR-8\.5"):
        services.undo_sheet(sheet=sheet, who=shop.lead)
    assert Move.objects.count() == moves
    assert_ledger_balances()


def test_pieces_held_by_people_and_serial_numbers(shop: Shop) -> None:
    heads: list[Any] = ["Code", "Kind", "Cabinet", "Drawer", "Quantity", "Serial", "Issued to", "Lot"]
    shop.setter  # noqa: B018  # a property that makes the person
    rows: list[list[Any]] = [
        ["HD-2", "toolholder", "Cab 1", "C1-1", 1, "SN-1", "", ""],
        ["HD-2", "toolholder", "Cab 1", "C1-1", 1, "SN-2", "", ""],
        ["HD-2", "toolholder", "", "", 1, "SN-3", "Sela Marsh", ""],
        ["DR-9", "drill", "Cab 1", "C1-2", 7, "", "", "L-77"],
        ["HD-2", "holder", "", "C1-1", 2, "SN-4", "", ""],
        ["HD-2", "holder", "", "C1-1", 1, "SN-1", "", ""],
        ["DR-9", "drill", "", "", 1, "", "Nobody Known", ""],
        ["DR-9", "tap", "", "C1-1", 1, "", "", ""],
    ]
    sheet = start(shop, xlsx([heads, *rows]))
    assert bad_rows(sheet) == [(6, "Serial"), (7, "Serial"), (8, "Issued to"), (9, "Kind")]
    services.take_in_sheet(sheet=sheet, who=shop.lead, leave_out=4)
    where = {item.serial: item.place.code for item in Item.objects.select_related("place")}
    assert where == {"SN-1": "C1-1", "SN-2": "C1-1", "SN-3": services.place_of(person=shop.setter).code}
    assert Place.objects.get(code="C1-1").parent == Place.objects.get(code="CAB-1", kind="cabinet")
    assert Move.objects.get(design__code="DR-9").lot == "L-77"
    (held,) = selectors.not_brought_back()
    assert (held.person, held.design.code) == (shop.setter, "HD-2")
    assert_ledger_balances()
    more = start(shop, xlsx([heads, ["HD-2", "", "", "C1-9", 1, "SN-1", "", ""]]))
    assert bad_rows(more) == [(2, "Serial")]


@pytest.mark.parametrize(
    ("changes", "column"),
    [
        ({"Qty": "lots"}, "Qty"), ({"Qty": -3}, "Qty"), ({"Qty": "1,5"}, "Qty"), ({"Qty": 2.5}, "Qty"),
        ({"Qty": 10**8}, "Qty"), ({"Price": "cheap"}, "Price"), ({"Price": "1,234"}, "Price"),
        ({"Price": "-1"}, "Price"),
        ({"Type": "spoon"}, "Type"), ({"Type": ""}, "Type"), ({"Condition": "worn out"}, "Condition"),
        ({"Condition": "so-so"}, "Condition"), ({"Bin": ""}, "Bin"), ({"Bin": "=A1"}, "Bin"),
        ({"Bin": "x" * 60}, "Bin"),
        ({"Tool No.": "Ü-1"}, "Tool No."), ({"Tool No.": "=1+1"}, "Tool No."), ({"Tool No.": "T" * 50}, "Tool No."),
        ({"Corners": 0}, "Corners"), ({"Corners": "many"}, "Corners"), ({"Description": "x" * 400}, "Description"),
        ({"Mfr. No.": "9" * 80}, "Mfr. No."), ({"Bin": "SUPPLIED"}, "Bin"), ({"Price": 10**13}, "Price"),
    ],
    ids=str,
)  # fmt: skip
def test_a_bad_row_is_named_by_row_column_and_reason(shop: Shop, changes: dict[str, Any], column: str) -> None:
    Place.objects.create(code="SUPPLIED", name="Outside", kind=Place.Kind.SUPPLIER)
    row = dict(zip(HEADS, ROWS[0], strict=True)) | changes
    # As text in CSV, since a workbook would take a text that begins with = for a formula.
    sheet = start(
        shop, csv_of(HEADS, ["GOOD-1", "", "drill", "", "A-1", 1, "", "", ""], list(row.values())), "crib.csv"
    )
    (bad,) = selectors.judge_sheet(sheet=sheet).bad
    assert (bad.line, bad.column) == (3, column)
    assert bad.reason.endswith((".", "24.50"))
    services.take_in_sheet(sheet=sheet, who=shop.lead, leave_out=1)
    assert list(Design.objects.values_list("code", flat=True)) == ["GOOD-1"]
    assert set(Place.objects.filter(kind="bin").values_list("code", flat=True)) == {"A-1"}


def test_columns_are_matched_anew_and_what_is_empty_is_given_for_all(shop: Shop) -> None:
    sheet = start(shop, csv_of(["foo", "bar", "baz"], ["T-1", "4", "x"], ["T-2", "", "y"]), "odd.csv")
    assert sheet.matching["columns"] == {}
    given = {"kind": "insert", "edges": 4, "place": "Z-9"}
    ask: dict[str, Any] = {"sheet": sheet, "who": shop.lead, "worksheet": 0, "header_line": 1, "given": given}
    for wrong, field in (
        ({"quantity": 1}, "code"), ({"code": 0, "quantity": 0}, "quantity"), ({"code": 9}, "code"),
        ({"spoon": 0}, "spoon"),
    ):  # fmt: skip
        with pytest.raises(ShopError) as refused:
            services.match_sheet(**ask, matched=wrong)
        assert refused.value.field == field
    sheet = services.match_sheet(**ask, matched={"code": 0, "quantity": 1, "description": 2})
    services.take_in_sheet(sheet=sheet, who=shop.lead)
    assert Balance.objects.get(place__code="Z-9").quantity == 4
    assert set(Design.objects.values_list("code", "edges", "description")) == {("T-1", 4, "x"), ("T-2", 4, "y")}
    with pytest.raises(ShopError, match="done with"):
        services.match_sheet(**ask, matched={"code": 0})
    with pytest.raises(ShopError, match="done with"):
        services.drop_sheet(sheet=sheet, who=shop.lead)


def test_one_of_several_worksheets_is_guessed_and_may_be_changed(shop: Shop) -> None:
    sheet = start(shop, xlsx([["Notes"], ["by hand"]], [HEADS, *ROWS], [["Code", "Qty"], ["X-1", 0]]))
    assert sheet.matching["sheet"] == 1
    sheet = services.match_sheet(sheet=sheet, who=shop.lead, worksheet=2, header_line=1, matched={}, given={})
    assert (sheet.header, sheet.matching["columns"]) == (["Code", "Qty"], {"code": 0, "quantity": 1})
    with pytest.raises(ShopError):
        services.match_sheet(sheet=sheet, who=shop.lead, worksheet=7, header_line=1, matched={}, given={})
    with pytest.raises(ShopError):
        services.match_sheet(sheet=sheet, who=shop.lead, worksheet=2, header_line=99, matched={}, given={})
    dropped = services.drop_sheet(sheet=sheet, who=shop.lead)
    assert (dropped.state, dropped.rows) == ("dropped", [])


def test_what_is_known_here_stays_as_it_is(shop: Shop) -> None:
    tip = shop.chamfer_tip
    rows = [[tip.code, "Other words", "", "999", shop.bin.code, 5, "", "1.00", ""]]
    services.take_in_sheet(sheet=start(shop, xlsx([HEADS, *rows])), who=shop.lead)
    tip.refresh_from_db()
    assert (tip.description, tip.makers_number) == ("Chamfer tip 90°, 12 mm", "90412")
    assert selectors.on_hand(design=tip) == 5


# --- files as strangers send them ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "coding"),
    [
        ("Code;Qty;Price\nÄ1;3;1,50", "utf-8"), ("Code;Qty;Price\nÄ1;3;1,50", "utf-8-sig"),
        ("Code;Qty;Price\nÄ1;3;1,50", "cp1252"), ("Code\tQty\tPrice\nÄ1\t3\t1,50", "utf-16"),
        ("Code\tQty\tPrice\nÄ1\t3\t1,50", "utf-16-le"), ("sep=;\nCode;Qty;Price\nÄ1;3;1,50", "utf-8"),
        ("Code,Qty,Price\nÄ1,3,\"1,50\"\n", "utf-8"), ("Code|Qty|Price\r\nÄ1|3|1,50\r\n", "utf-8"),
    ],
)  # fmt: skip
def test_csv_in_any_usual_coding_and_with_any_usual_mark(text: str, coding: str) -> None:
    (sheet,) = read_workbook(text.encode(coding), "crib.csv")
    assert [row.cells for row in sheet.rows] == [["Code", "Qty", "Price"], ["Ä1", "3", "1,50"]]


def test_cells_of_a_workbook_are_read_as_people_see_them() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ["Bin", "Code", "Qty"],
        ["A-1", "00123", 4.0],
        [None, 123, 0.1 + 0.2],
        [date(2026, 3, 1), True, "=1+1"],
    ):
        sheet.append(row)
    sheet.merge_cells("A2:A3")
    made = io.BytesIO()
    book.save(made)
    (read,) = read_workbook(made.getvalue(), "x")
    assert [row.cells for row in read.rows] == [
        ["Bin", "Code", "Qty"], ["A-1", "00123", "4"], ["A-1", "123", "0.3"], ["2026-03-01", "yes"]
    ]  # fmt: skip


def far_out(reference: str) -> bytes:
    """A sound workbook in which one cell says that it stands somewhere else."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(xlsx([["Code", "Qty"], ["A", 1]]))) as old, zipfile.ZipFile(made, "w") as new:
        for entry in old.infolist():
            content = old.read(entry)
            if entry.filename.startswith("xl/worksheets/"):
                content = content.replace(b'r="B2"', f'r="{reference}"'.encode())
            new.writestr(entry, content)
    return made.getvalue()


def bomb() -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        new.writestr("xl/workbook.xml", "<a/>")
        new.writestr("xl/worksheets/sheet1.xml", b" " * (101 * 1024 * 1024))
    return made.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        b"", b"\n\n,,\n", b"PK\x03\x04 no zip", b"\xd0\xcf\x11\xe0 old", b"\x00\x01\x02\x03" * 99,
        b"%PDF-1.4" + bytes(range(256)),
        far_out("XFD1048576"), far_out("B1048576"), far_out("ZZZZZZ9"), far_out("B99999999999"), bomb(),
        xlsx([["x"] * (MOST_COLUMNS + 1)]), b"a,b\n" * (MOST_ROWS + 1), b"\xff" * (11 * 1024 * 1024),
        xlsx([["Code"], ["A"]])[:-300],
        b"PK\x03\x04" + xlsx([["Code"], ["A"]]).replace(b"workbook.xml", b"workbo0k.xml")[4:],
    ],
    ids=range(16),
)  # fmt: skip
def test_what_is_no_sound_spreadsheet_is_refused_in_a_sentence(content: bytes) -> None:
    with pytest.raises(ShopError) as refused:
        read_workbook(content, "x")
    assert refused.value.field == "file"


def test_heads_are_known_in_the_words_of_the_trade() -> None:
    assert guess_columns(["Item No.", "Designation", "On Hand", "Location", "Unit Price (EUR)", "EDP", "Ø [mm]"]) == {
        "code": 0, "description": 1, "quantity": 2, "place": 3, "unit_cost": 4, "makers_number": 5,
    }  # fmt: skip
    assert guess_columns(["Maker's number", "Held by", "Tool code", "Dia."]) == {
        "makers_number": 0, "held_by": 1, "code": 2, "diameter_mm": 3,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "amount"),
    [("24.50", "24.50"), ("24,50", "24.50"), ("€ 1.234,50", "1234.50"), ("1,234.50", "1234.50"), ("12", "12"),
     ("1,234,567", "1234567"), ("0,125", "0.125"), ("$3", "3")],
)  # fmt: skip
def test_amounts_as_people_write_them(text: str, amount: str) -> None:
    assert read_amount("unit_cost", text) == Decimal(amount)


@pytest.mark.parametrize(("text", "count"), [("12", 12), ("12.0", 12), ("12,00", 12), ("7 pcs.", 7), ("0", 0)])
def test_counts_as_people_write_them(text: str, count: int) -> None:
    assert read_count("quantity", text) == count
