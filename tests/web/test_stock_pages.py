"""The stock pages: every figure has its ledger, every write its right, every refusal its sentence."""

import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from crib.catalogue.models import Design, Machine, Offer, Supplier, WorkMaterial
from crib.core import clock
from crib.stock.models import Balance, Item, Move, Place
from tests.shop import Shop, assert_ledger_balances
from tests.web.pages import signed_in


def url(name: str, *args: object) -> str:
    return reverse(f"crib:{name}", args=args)


def test_the_list_shows_what_is_where_and_finds_by_words(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 7)
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    shop.design("T-60")
    client = signed_in(shop.setter)
    page = client.get(url("stock"))
    (with_stock, without) = page.context["rows"]
    assert [(row.design.code, row.on_hand, row.out) for row, _ in (with_stock, without)] == [
        ("CT-45-12", 5, 2),
        ("T-60", 0, 0),
    ]
    for words, found in (("chamfer 12", ["CT-45-12"]), ("90412", ["CT-45-12"]), ("t-60", ["T-60"]), ("zzz", [])):
        rows = client.get(url("stock"), {"q": words}).context["rows"]
        assert [row.design.code for row, _ in rows] == found
    assert client.get(url("stock"), {"kind": "spoon"}).status_code == 400


def test_lists_cost_the_same_however_long(shop: Shop) -> None:
    client = signed_in(shop.attendant)
    pages = [url("stock"), url("ledger"), url("places"), url("held"), url("labels"), url("offers"), url("machine_list")]
    pages += [url("counts"), url("counts_due"), url("count_accuracy"), f"{url('stock')}?on=2026-01-01"]
    pages += [url("design", shop.chamfer_tip.pk), url("place", shop.bin.pk)]

    def fill(number: int) -> None:
        from crib.catalogue.services import create_machine, create_offer, create_supplier
        from crib.stock.services import create_place

        design = shop.design(f"T-{number}", returnable=True)
        place = create_place(code=f"Z-{number}", name="Bin", kind="bin", who=shop.lead)
        shop.stock(shop.chamfer_tip, 1, place=place)
        shop.stock(design, 2)
        shop.check_out(design, 1, by=shop.setter)
        supplier = create_supplier(name=f"Supplier {number}", who=shop.lead)
        create_offer(design=design, supplier=supplier, lead_days=3.0, prices={1: Decimal(2)}, who=shop.lead)
        create_machine(code=f"M-{number}", name="Mill", who=shop.lead)

    counted: dict[str, list[int]] = {}
    for start, end in ((0, 5), (5, 45)):
        for number in range(start, end):
            fill(number)
        for page in pages:
            client.get(page)
            with CaptureQueriesContext(connection) as queries:
                assert client.get(page).status_code == 200
            counted.setdefault(page, []).append(len(queries))
    assert {page: few for page, (few, _) in counted.items()} == {page: many for page, (_, many) in counted.items()}
    assert max(many for _, many in counted.values()) <= 20


def test_a_design_page_opens_down_to_its_moves(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 60)
    piece = shop.item(shop.chamfer_tip)
    for _ in range(55):
        shop.check_out(shop.chamfer_tip, by=shop.setter)
    _ = shop.offer
    client = signed_in(shop.attendant)
    page = client.get(url("design", shop.chamfer_tip.pk))
    text = page.content.decode()
    assert piece.label in text
    assert "Northgate Tooling" in text
    assert "DC" in text
    first = page.context["ledger"]
    assert len(first.moves) == 50
    rest = client.get(url("design", shop.chamfer_tip.pk), {"before": first.before}).context["ledger"]
    assert (len(rest.moves), rest.before) == (7, None)
    assert client.get(url("design", shop.chamfer_tip.pk), {"before": "x"}).status_code == 400
    assert client.get(url("design", 424242)).status_code == 404
    assert client.get(url("item", piece.pk)).status_code == 200


@pytest.mark.parametrize(("hours", "when"), [(1, "08:00"), (20, "yesterday 13:00"), (96, "Sat 21 Nov 09:00")])
def test_the_ledger_says_its_day_once(shop: Shop, monkeypatch: pytest.MonkeyPatch, hours: int, when: str) -> None:
    shop.stock(shop.chamfer_tip, 7)
    now = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    Move.objects.update(at=now - timedelta(hours=hours))
    monkeypatch.setattr(clock, "now", lambda: now)
    client = signed_in(shop.setter)
    for address in (url("ledger"), url("design", shop.chamfer_tip.pk), url("place", shop.bin.pk)):
        page = client.get(address).content.decode()
        assert re.search(rf'<td><time [^>]*>{when}</time><span class="sub">', page), address


def test_receiving_counts_once_however_often_the_button_is_pressed(shop: Shop) -> None:
    client = signed_in(shop.attendant)
    form = {
        "design": "ct-45-12",
        "quantity": 5,
        "to_place": shop.bin.pk,
        "supplier": shop.supplier.pk,
        "condition": "new",
        "key": "form:1",
        "lot": "L7",
    }
    assert shop.chamfer_tip.code == "CT-45-12"
    for _ in range(2):
        assert client.post(url("receive"), form).status_code == 302
    assert (Move.objects.get().lot, Move.objects.get().note) == ("L7", "")
    assert_ledger_balances()
    wrong = client.post(url("receive"), form | {"key": "form:2", "design": "NOPE", "quantity": 0})
    assert wrong.status_code == 400
    assert set(wrong.context["form"].errors) == {"design", "quantity"}
    assert signed_in(shop.setter).post(url("receive"), form).status_code == 403


def test_moving_to_spent_and_a_piece_by_its_label(shop: Shop) -> None:
    from crib.stock.services import spent_place

    shop.stock(shop.chamfer_tip, 5)
    piece = shop.item(shop.body)
    client = signed_in(shop.attendant)
    form = {"what": "CT-45-12", "quantity": 2, "from_place": shop.bin.pk, "to_place": spent_place().pk}
    form |= {"condition": "new", "becomes": "spent", "key": "f1"}
    assert client.post(url("move_stock"), form).status_code == 302
    by_label = {"what": piece.label, "quantity": 9, "to_place": shop.other_bin.pk, "condition": "new", "key": "f2"}
    assert client.post(url("move_stock"), by_label).status_code == 302
    assert Item.objects.get(pk=piece.pk).place == shop.other_bin
    too_many = client.post(url("move_stock"), form | {"quantity": 50, "key": "f3"})
    assert (too_many.status_code, "only 3" in too_many.content.decode()) == (409, True)
    nowhere = client.post(url("move_stock"), form | {"from_place": "", "key": "f4"})
    assert list(nowhere.context["form"].errors) == ["from_place"]
    assert_ledger_balances()


def test_a_move_is_reversed_with_its_reason(shop: Shop) -> None:
    move = shop.stock(shop.chamfer_tip, 5)
    client = signed_in(shop.attendant)
    page = url("reverse_move", move.pk)
    assert client.get(page).status_code == 200
    assert client.post(page, {"key": "r1", "note": ""}).status_code == 400
    assert client.post(page, {"key": "r1", "note": "wrong pallet"}).status_code == 302
    again = client.post(page, {"key": "r2", "note": "again"})
    assert (again.status_code, "was reversed before" in again.content.decode()) == (409, True)
    assert signed_in(shop.setter).get(page).status_code == 403
    assert_ledger_balances()


def test_places_are_made_changed_and_retired(shop: Shop) -> None:
    client = signed_in(shop.attendant)
    shop.design("T-60")
    form = {"code": "c-09", "name": "Drawer", "kind": "bin", "home_of": "T-60", "parent": shop.bin.pk}
    assert client.post(url("new_place"), form).status_code == 302
    place = Place.objects.get(code="C-09")
    assert (place.home_of.code if place.home_of else "") == "T-60"
    assert client.post(url("change_place", place.pk), form | {"name": "Drawer 9"}).status_code == 302
    assert Place.objects.get(pk=place.pk).name == "Drawer 9"
    assert client.post(url("new_place"), form).status_code == 400
    assert client.post(url("retire_place", place.pk)).status_code == 302
    assert Place.objects.get(pk=place.pk).retired_at


def test_labels_are_drawn_and_read_back_by_an_independent_reader(shop: Shop) -> None:
    import numpy
    import zxingcpp
    from ppf.datamatrix import DataMatrix

    piece = shop.item(shop.body)
    client = signed_in(shop.setter)
    text = client.get(url("labels"), {"of": f"item:{piece.pk}"}).content.decode()
    assert f"Code of {piece.label}" in text
    pixels = numpy.kron(1 - numpy.pad(numpy.array(DataMatrix(piece.label).matrix), 4), numpy.ones((8, 8))) * 255
    read = zxingcpp.read_barcodes(pixels.astype(numpy.uint8))
    assert [one.text for one in read] == [piece.label]
    for of in ("places", "people", f"design:{shop.body.pk}"):
        assert client.get(url("labels"), {"of": of, "code": "qr"}).status_code == 200
    assert client.get(url("labels"), {"of": "spoons"}).status_code == 400


def test_a_loose_piece_gets_a_label(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 1)
    row = Balance.objects.get(place=shop.bin)
    client = signed_in(shop.attendant)
    assert client.post(url("make_item"), {"balance": row.pk}).status_code == 302
    assert Item.objects.get().design == shop.chamfer_tip
    assert client.post(url("make_item"), {"balance": row.pk}).status_code == 409
    assert client.post(url("make_item"), {"balance": "x"}).status_code == 404
    assert_ledger_balances()


# --- catalogue --------------------------------------------------------------------------------------

DESIGN = {
    "code": "DR-8",
    "kind": "drill",
    "description": "Drill 8 mm",
    "unit_cost": "12.00",
    "pack_size": 1,
    "edges": 1,
    "seats": 0,
    "regrinds_allowed": 3,
    "regrind_cost": "4",
    "diameter_mm": "8",
}


def test_a_design_is_entered_in_the_persons_own_units(shop: Shop) -> None:
    engineer = shop.engineer
    client = signed_in(engineer)
    assert client.post(url("new_design"), DESIGN).status_code == 302
    drill = Design.objects.get(code="DR-8")
    assert drill.diameter_mm == 8.0
    engineer.units = "inch"
    engineer.save()
    form = client.get(url("change_design", drill.pk)).context["form"]
    assert form["diameter_mm"].value() == "0.314961"
    unchanged = DESIGN | {"diameter_mm": "0.314961", "description": "Drill"}
    assert client.post(url("change_design", drill.pk), unchanged).status_code == 302
    drill.refresh_from_db()
    assert (drill.diameter_mm, drill.description) == (8.0, "Drill")
    client.post(url("change_design", drill.pk), DESIGN | {"diameter_mm": "0.5"})
    drill.refresh_from_db()
    assert drill.diameter_mm == pytest.approx(12.7)
    wrong = client.post(url("change_design", drill.pk), DESIGN | {"diameter_mm": "5 kg", "unit_cost": "-1"})
    assert (wrong.status_code, set(wrong.context["form"].errors)) == (400, {"diameter_mm", "unit_cost"})
    assert signed_in(shop.setter).get(url("new_design")).status_code == 403
    client.post(url("retire_design", drill.pk))
    assert Design.objects.get(pk=drill.pk).retired
    client.post(url("retire_design", drill.pk))
    assert not Design.objects.get(pk=drill.pk).retired


def test_materials_machines_suppliers_and_offers_have_their_forms(shop: Shop) -> None:
    client = signed_in(shop.engineer)
    material = {"name": "Alloy 718", "iso_group": "S", "kc11": 2900, "mc": 0.25, "speed_high": "150 ft/min"}
    sources = dict.fromkeys(("kc11_source", "mc_source", "taylor_n_source", "speed_source"), "assumed")
    assert client.post(url("new_material"), material | sources).status_code == 302
    made = WorkMaterial.objects.get()
    assert made.speed_high == pytest.approx(45.72)
    machine = {"code": "LT-1", "name": "Lathe", "pockets": 12, "efficiency": 0.8, "hourly_rate": 80, "feed": "none"}
    machine |= {"max_power_kw": "20 hp", "shifts": "Mon-Fri 06:00-14:00\nSat 06:00-12:00"}
    assert client.post(url("new_machine"), machine).status_code == 302
    lathe = Machine.objects.get()
    assert lathe.shifts.count() == 6
    assert lathe.stop_minutes == 1.0
    longer = machine | {"stop_minutes": "90 s"}
    assert client.post(url("machine_entry", lathe.pk), longer).status_code == 302
    lathe.refresh_from_db()
    assert lathe.stop_minutes == pytest.approx(1.5)
    endless = client.post(url("machine_entry", lathe.pk), machine | {"stop_minutes": "-2"})
    assert list(endless.context["form"].errors) == ["stop_minutes"]
    assert lathe.max_power_kw == pytest.approx(14.91, abs=0.01)
    bad = client.post(url("machine_entry", lathe.pk), machine | {"shifts": "whenever"})
    assert list(bad.context["form"].errors) == ["shifts"]
    assert client.post(url("machine_entry", lathe.pk), machine | {"shifts": ""}).status_code == 302
    assert lathe.shifts.count() == 0
    assert client.post(url("new_supplier"), {"name": "Eastgate"}).status_code == 302
    supplier = Supplier.objects.get()
    offer = {"design": shop.chamfer_tip.code, "supplier": supplier.pk, "pack": 5, "minimum": 5, "lead_days": 6}
    offer |= {"lead_days_sd": 1, "prices": "1: 24.50\n50: 22"}
    assert client.post(url("new_offer"), offer).status_code == 302
    entered = Offer.objects.get()
    assert entered.prices.count() == 2
    wrong = client.post(url("offer", entered.pk), offer | {"prices": "cheap"})
    assert list(wrong.context["form"].errors) == ["prices"]
    assert client.post(url("offer", entered.pk), offer | {"prices": "1: 20"}).status_code == 302
    for name, thing in (("material", made), ("machine_entry", lathe), ("supplier", supplier), ("offer", entered)):
        assert client.get(url(name, thing.pk)).status_code == 200
    for what, thing in (("material", made), ("machine", lathe), ("supplier", supplier), ("offer", entered)):
        assert client.post(url("retire_entry", what, thing.pk)).status_code == 302
        thing.refresh_from_db()
        assert thing.retired
    assert client.post(url("retire_entry", "spoon", 1)).status_code == 404


def test_a_catalogue_file_is_reported_row_by_row(shop: Shop) -> None:
    client = signed_in(shop.engineer)
    rows = b"record,name\nsupplier,Eastgate\nspoon,Big\n"
    page = client.post(url("import_catalogue"), {"file": BytesIO(rows)})
    report = page.context["report"]
    assert (page.status_code, report.created, report.refused[0].line) == (400, 1, 3)
    nothing = client.post(url("import_catalogue"), {})
    assert (nothing.status_code, list(nothing.context["form"].errors)) == (400, ["file"])


def test_an_empty_shop_can_start_with_common_metals(shop: Shop) -> None:
    client = signed_in(shop.engineer)
    empty = client.get(url("materials")).content.decode()
    assert "Load the starting set" in empty
    assert "Load the starting set" not in signed_in(shop.setter).get(url("materials")).content.decode()
    assert signed_in(shop.setter).post(url("load_starting_materials")).status_code == 403
    assert WorkMaterial.objects.count() == 0
    loaded = client.post(url("load_starting_materials"), follow=True).content.decode()
    assert "32 materials added." in loaded
    assert "Add what is missing" not in loaded
    assert "kc1.1, mc: Wikipedia (de), Spezifische Schnittkraft" in loaded
    assert "n, speeds: assumed" in loaded
    WorkMaterial.objects.filter(name="Titanium grade 2").delete()
    page = client.get(url("materials")).content.decode()
    assert "1 common metal of the starting set is not here: Titanium grade 2." in page
    again = client.post(url("load_starting_materials"), follow=True).content.decode()
    assert "1 material added. 31 that the shop has already stay as they are." in again


def test_a_changed_figure_is_asked_for_its_source_beside_the_source(shop: Shop) -> None:
    client = signed_in(shop.engineer)
    client.post(url("load_starting_materials"))
    steel = WorkMaterial.objects.get(name="Alloy steel 42CrMo4")
    names = [field.name for field in WorkMaterial._meta.concrete_fields if field.name not in ("id", "retired_at")]
    typed = {name: getattr(steel, name) for name in names} | {"kc11": 2400}
    refused = client.post(url("material", steel.pk), typed)
    assert (refused.status_code, list(refused.context["form"].errors)) == (400, ["kc11_source"])
    assert "its source still says" in refused.content.decode()
    assert client.post(url("material", steel.pk), typed | {"kc11_source": "own test cuts"}).status_code == 302
    steel.refresh_from_db()
    assert (steel.kc11, steel.kc11_source, steel.mc_source) == (2400, "own test cuts", typed["mc_source"])


def test_a_machine_s_spindle_is_drawn_from_what_was_typed(shop: Shop) -> None:
    client = signed_in(shop.engineer)
    machine = {"name": "Mill", "pockets": 24, "efficiency": 0.8, "hourly_rate": 95, "feed": "none"}
    machine |= {"max_spindle_speed": 12000, "max_feed_rate": 20000, "max_power_kw": 18}
    page = url("machine_entry", shop.machine.pk)
    assert "Spindle power at its speeds of" not in client.get(page).content.decode()
    assert client.post(page, machine | {"power_curve": "350; 9\n1150; 18 kW\n12000; 16 hp"}).status_code == 302
    shop.machine.refresh_from_db()
    assert shop.machine.power_curve == [[350.0, 9.0], [1150.0, 18.0], [12000.0, pytest.approx(11.931, abs=0.001)]]
    shown = client.get(page).content.decode()
    assert "Spindle power at its speeds of VM-1" in shown
    assert "245.55\u00a0N·m" in shown  # 9 kW at 350 1/min: P / (2π · n)
    kept = shop.machine.power_curve
    form = client.get(page).context["form"]
    assert client.post(page, machine | {"power_curve": form["power_curve"].value()}).status_code == 302
    shop.machine.refresh_from_db()
    assert shop.machine.power_curve == kept  # being shown and read back is no change
    wrong = client.post(page, machine | {"power_curve": "1500"})
    assert (wrong.status_code, list(wrong.context["form"].errors)) == (400, ["power_curve"])
    few = client.post(page, machine | {"power_curve": "1500; 15"})
    assert (few.status_code, list(few.context["form"].errors)) == (400, ["power_curve"])
    shop.engineer.units = "inch"
    shop.engineer.save()
    assert "hp" in client.get(page).content.decode()


def test_what_was_retired_can_be_brought_back(shop: Shop) -> None:
    client = signed_in(shop.engineer)
    things = {"material": shop.material, "machine": shop.machine, "supplier": shop.supplier, "offer": shop.offer}
    pages = {"material": "material", "machine": "machine_entry", "supplier": "supplier", "offer": "offer"}
    for what, thing in things.items():
        client.post(url("retire_entry", what, thing.pk))
        assert f"Bring this {what} back into use" in client.get(url(pages[what], thing.pk)).content.decode()
    # An offer of somebody who is retired stays so until they are back.
    assert client.post(url("reinstate_entry", "offer", shop.offer.pk)).status_code == 409
    for what, thing in things.items():
        assert (
            f"The {what} is in use again."
            in client.post(url("reinstate_entry", what, thing.pk), follow=True).content.decode()
        )
        thing.refresh_from_db()
        assert not thing.retired
    assert client.post(url("reinstate_entry", "spoon", 1)).status_code == 404
    assert signed_in(shop.setter).post(url("reinstate_entry", "material", shop.material.pk)).status_code == 403
