"""The catalogue: sound entries, couplings that fit, and files that are loaded once."""

import json
from decimal import Decimal
from io import BytesIO, StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from crib.catalogue import services
from crib.catalogue.models import Design, Machine, Offer, Supplier, WorkMaterial
from crib.catalogue.services import CouplingDoesNotFit, check_coupling
from crib.core.errors import BadInput, Refused
from crib.people.models import ChangeRecord
from tests.shop import Shop

# --- couplings --------------------------------------------------------------------------------------


def test_what_fits_is_let_through_from_the_nose_to_the_tip(shop: Shop) -> None:
    check_coupling(tip=shop.chamfer_tip, body=shop.body, holder=shop.holder, machine=shop.machine)
    check_coupling(tip=shop.chamfer_tip, body=shop.body)
    # A chuck takes every shank within its range.
    check_coupling(holder=shop.holder, tip=shop.design("DR-8", "drill", **shank("8")))


def shank(size: str) -> dict[str, str]:
    return {"machine_side_system": "Cylindrical", "machine_side_size": size}


@pytest.mark.parametrize(
    ("size", "fits"), [("3", True), ("16", True), ("16.5", False), ("2.9", False), ("M8", False), ("", False)]
)
def test_a_range_holds_what_lies_in_it(shop: Shop, size: str, fits: bool) -> None:
    drill = shop.design("DR-1", "drill", **shank(size))
    if fits:
        check_coupling(holder=shop.holder, tip=drill)
    else:
        with pytest.raises(CouplingDoesNotFit):
            check_coupling(holder=shop.holder, tip=drill)


def test_what_does_not_fit_is_refused_with_both_sides_named(shop: Shop) -> None:
    other = shop.design("CT-M6", machine_side_system="screw-on", machine_side_size="M6")
    with pytest.raises(CouplingDoesNotFit) as refused:
        check_coupling(tip=other, body=shop.body)
    assert refused.value.sentence == (
        "CT-M6 does not fit BD-12-100: the size differs. BD-12-100 has screw-on M8 on its side towards the work; "
        "CT-M6 has screw-on M6 on its side towards the machine."
    )
    plain = shop.design("CT-0")
    with pytest.raises(CouplingDoesNotFit, match=r"the system differs.*CT-0 has nothing written down"):
        check_coupling(tip=plain, body=shop.body)
    turned = shop.design("HD-T", "holder", machine_side_system="polygon", machine_side_size="50")
    with pytest.raises(CouplingDoesNotFit, match="Machine VM-1 has 7/24 40 on its spindle nose"):
        check_coupling(holder=turned, machine=shop.machine)


def test_each_part_goes_where_its_kind_belongs(shop: Shop) -> None:
    with pytest.raises(CouplingDoesNotFit, match="CT-45-12 is a tip; here goes a body"):
        check_coupling(body=shop.chamfer_tip)
    with pytest.raises(CouplingDoesNotFit, match="here goes a holder"):
        check_coupling(holder=shop.body)
    with pytest.raises(CouplingDoesNotFit, match="here goes a tip or insert"):
        check_coupling(tip=shop.holder)


def test_where_nothing_is_written_down_nothing_is_refused(shop: Shop) -> None:
    check_coupling(tip=shop.design("CT-0"), body=shop.design("BD-0", "body"))


# --- entries ----------------------------------------------------------------------------------------


def test_a_refused_change_leaves_the_thing_as_it_was(shop: Shop) -> None:
    tip = shop.chamfer_tip
    with pytest.raises(BadInput) as refused:
        services.change_design(design=tip, who=shop.lead, diameter_mm=float("inf"))
    assert (refused.value.field, tip.diameter_mm) == ("diameter_mm", 12.0)
    before = ChangeRecord.objects.count()
    services.change_design(design=tip, who=shop.lead, diameter_mm=12.0)
    assert ChangeRecord.objects.count() == before
    services.change_design(design=tip, who=shop.lead, diameter_mm=11.5)
    record = ChangeRecord.objects.latest("id")
    assert (record.who, record.act, record.details) == (shop.lead, "changed", {"diameter_mm": [12.0, 11.5]})


def test_an_offer_for_what_is_retired_is_refused(shop: Shop) -> None:
    services.retire_design(design=shop.chamfer_tip, who=shop.lead)
    services.retire_design(design=shop.chamfer_tip, who=shop.lead)
    assert ChangeRecord.objects.filter(act="retired").count() == 1
    with pytest.raises(Refused, match="is retired"):
        _ = shop.offer
    services.reinstate_design(design=shop.chamfer_tip, who=shop.lead)
    _ = shop.offer
    with pytest.raises(BadInput):
        services.create_offer(
            design=shop.chamfer_tip, supplier=shop.supplier, lead_days=3.0, prices={1: Decimal(2)}, who=shop.lead
        )


@pytest.mark.parametrize("prices", [{}, {0: Decimal(1)}, {1: Decimal(-1)}, {1: Decimal("NaN")}])
def test_prices_are_sound(shop: Shop, prices: dict[int, Decimal]) -> None:
    with pytest.raises(BadInput):
        services.create_offer(
            design=shop.chamfer_tip, supplier=shop.supplier, lead_days=3.0, prices=prices, who=shop.lead
        )
    assert Offer.objects.count() == 0


def test_a_codes_spelling_is_checked_and_put_into_capitals(shop: Shop) -> None:
    assert shop.design("ct-1.5/2").code == "CT-1.5/2"
    for code in ("", " ", "-A", "Ä1", "=1+1", "A B", "x" * 41):
        with pytest.raises(BadInput) as refused:
            shop.design(code)
        assert refused.value.field == "code"


# --- files ------------------------------------------------------------------------------------------

CATALOGUE = """\
mc,record,code,name,kind,description,edges,diameter_mm,unit_cost,design,supplier,lead_days,prices,shifts,iso_group,kc11
,offer,,,,,,,,CT-9,Eastgate,6,1: 24.50; 50: 22,,,
,supplier,,Eastgate,,,,,,,,,,,,
,design,ct-9,,tip,=HYPERLINK(1),2,0.5 in,24.50,,,,,,,
,machine,LT-9,Lathe 9,,,,,,,,,,Mon-Fri 06:00-14:00; Sat 06:00-12:00,,
0.25,material,,Alloy 718,,,,,,,,,,,S,2900
"""


def load(shop: Shop, text: str | bytes, *, only_check: bool = False) -> services.CatalogueReport:
    content = text if isinstance(text, bytes) else text.encode()
    return services.import_catalogue(file=BytesIO(content), who=shop.lead, only_check=only_check)


def test_a_file_is_loaded_in_any_order_and_once(shop: Shop) -> None:
    checked = load(shop, CATALOGUE, only_check=True)
    assert (checked.created, checked.refused, Supplier.objects.count()) == (5, [], 0)
    first = load(shop, CATALOGUE)
    assert (first.created, first.refused) == (5, [])
    design = Design.objects.get(code="CT-9")
    assert design.diameter_mm == pytest.approx(12.7)
    assert design.description == "=HYPERLINK(1)"  # what looks like a formula is text
    assert Machine.objects.get().shifts.count() == 6
    assert list(Offer.objects.get().prices.values_list("from_quantity", "unit_price")) == [
        (1, Decimal("24.50")),
        (50, Decimal("22.00")),
    ]
    records = ChangeRecord.objects.count()
    again = load(shop, CATALOGUE)
    assert (again.created, again.changed, again.unchanged) == (0, 0, 5)
    assert ChangeRecord.objects.count() == records
    changed = load(shop, CATALOGUE.replace("0.5 in,24.50", "0.5 in,25.00").replace("50: 22", "50: 21"))
    assert (changed.changed, changed.unchanged) == (2, 3)


def test_bad_rows_are_named_and_the_good_ones_kept(shop: Shop) -> None:
    rows = [
        "record,code,name,kind,description,edges,diameter_mm,design,supplier,lead_days,prices,shifts,unit_cost",
        "supplier,,Eastgate",
        "spoon,,Big",
        "design,CT-1,,tip,Tip,two",
        "design,CT-2,,tip,Tip,2,5 kg",
        "design,CT-3,,tip,Tip,0",
        "design,CT-4,,tip,,2",
        "design,CT-5,,spoon,Tip,2",
        "offer,,,,,,,CT-77,Eastgate,5,1: 2",
        "offer,,,,,,,CT-9,Westgate,5,1: 2",
        "offer,,,,,,,CT-9,Eastgate,5,cheap",
        "supplier,,Other,,,,4",
        "machine,M-1,Mill,,,,,,,,,whenever",
        "supplier,,A,,,,,,,,,,,too,many",
        "design,CT-9,,tip,Tip,2,,,,,,,NaN",
        "design,CT-9,,tip,Tip,2",
        "",
        "machine,,Nameless",
    ]
    report = load(shop, "\n".join(rows))
    refused = [(row.line, row.column) for row in report.refused]
    assert refused == [
        (3, "record"), (4, "edges"), (5, "diameter_mm"), (6, "edges"), (7, "description"), (8, "kind"),
        (9, "design"), (10, "supplier"), (11, "prices"), (12, "diameter_mm"), (13, "shifts"), (14, ""),
        (15, "unit_cost"), (18, "code"),
    ]  # fmt: skip
    assert [row.reason for row in report.refused if len(row.reason.split()) < 4] == []
    assert (report.created, report.rows) == (2, 16)
    assert set(Design.objects.values_list("code", flat=True)) == {"CT-9"}


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "“record” is one of them"),
        (b"code,name\n", "“record” is one of them"),
        (b"record,colour\n", "no column “colour”"),
        (b"record,name,name\n", "is there twice"),
        (b"record,name\n\xff\xfe", "not UTF-8"),
        (b'record,name\nsupplier,"open', "cannot be read as CSV"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(shop: Shop, content: bytes, said: str) -> None:
    with pytest.raises(BadInput, match=said) as refused:
        load(shop, content)
    assert refused.value.field == "file"


def test_a_file_too_large_is_refused_before_it_is_read(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    from crib.catalogue.services import importing

    monkeypatch.setattr(importing, "LARGEST_BYTES", 1024 * 1024)
    with pytest.raises(BadInput, match="at most 1 MB"):
        load(shop, b"record\n" + b"x" * 1024 * 1024)
    monkeypatch.setattr(importing, "MOST_ROWS", 2)
    with pytest.raises(BadInput, match="at most 2 rows"):
        load(shop, "record,name\nsupplier,A\nsupplier,B\nsupplier,C\n")
    assert Supplier.objects.count() == 0


def test_what_is_retired_or_of_another_kind_is_not_changed_by_a_file(shop: Shop) -> None:
    services.retire_supplier(supplier=shop.supplier, who=shop.lead)
    _ = shop.chamfer_tip
    report = load(shop, "record,code,name,kind\nsupplier,,Northgate Tooling,\ndesign,CT-45-12,,insert\n")
    assert [(row.line, row.column) for row in report.refused] == [(2, "name"), (3, "kind")]


def test_the_command_reports_and_fails_on_bad_rows(shop: Shop, tmp_path: Path) -> None:
    path = tmp_path / "catalogue.csv"
    path.write_text(CATALOGUE)
    with pytest.raises(CommandError, match="Nobody here is a lead yet"):
        call_command("import_catalogue", str(path))
    assert shop.lead.username == "lena"
    out = StringIO()
    call_command("import_catalogue", str(path), "--check", stdout=out)
    assert "5 would be new" in out.getvalue()
    call_command("import_catalogue", str(path), "--who", "lena", stdout=StringIO())
    assert WorkMaterial.objects.get().name == "Alloy 718"
    path.write_text("record,name\nspoon,Big\n")
    for flags in ([], ["--json"]):
        out = StringIO()
        with pytest.raises(SystemExit):
            call_command("import_catalogue", str(path), *flags, stdout=out)
    assert json.loads(out.getvalue())["refused"][0]["line"] == 2
    with pytest.raises(CommandError, match="cannot be opened"):
        call_command("import_catalogue", str(tmp_path / "none.csv"))
    with pytest.raises(CommandError):
        call_command("import_catalogue", str(path), "--who", "nobody")
