"""Labels on paper: read back by zxing-cpp (Apache-2.0), an independent decoder, and measured on the raster and the PDF.

The raster comes from the same sheet and the same figures as the PDF, at 300 dots to the inch.
"""

import io
import json
import re
from typing import Any

import numpy
import pytest
import typst
import zxingcpp
from PIL import Image

from crib.core.errors import ShopError
from crib.stock.labels import KINDS, make_label
from crib.web.label_batches import face_of
from crib.web.papers.label_layouts import LAYOUTS, Layout, roll, sheet
from crib.web.papers.labels import DOTS, SMALLEST_MODULE_MM, Face, Plan, Print, label_figures, plan_labels, print_labels
from crib.web.papers.printing import SHEETS
from tests.shop import Shop
from tests.web.pages import signed_in

DPI = 300
PER_MM = DPI / 25.4
HOSTILE = (
    '#panic("x") $a^2$ *b* _c_ @d <e> `f` \\\\ [g] //h',
    "<script>alert(1)</script>",
    "\u202e=1+1\x00\n\t" + "W" * 300,
)


def raster(plan: Plan) -> numpy.ndarray:
    """The first page as a grey picture."""
    made = typst.compile(
        SHEETS / "labels.typ", root=SHEETS, sys_inputs={"figures": json.dumps(label_figures(plan))},
        ignore_system_fonts=True, format="png", ppi=DPI,
    )  # fmt: skip
    # One page comes as it is, several as a list, whatever the library's own hints say.
    pages: list[Any] = made if isinstance(made, list) else [made]  # type: ignore[redundant-expr]
    return numpy.asarray(Image.open(io.BytesIO(pages[0])).convert("L"))


def faces(*kinds: str) -> list[Face]:
    return [
        Face(make_label(kind, 40_000 + number), "CT-45-12", ("Chamfer tip 90°, 12 mm", "90412"))
        for number, kind in enumerate(kinds)
    ]


@pytest.mark.parametrize("as_qr", [False, True], ids=["data-matrix", "qr"])
@pytest.mark.parametrize("layout", ["a4-3x9", "letter-5x12", "roll-25x10", "roll-62x29"])
def test_labels_of_every_kind_are_read_back(layout: str, as_qr: bool) -> None:
    kinds = sorted(KINDS)
    batches = [[kind] for kind in kinds[:3]] if LAYOUTS[layout].is_roll else [kinds]
    for batch in batches:
        plan = plan_labels(faces(*batch), Print(layout=LAYOUTS[layout], as_qr=as_qr))
        read = zxingcpp.read_barcodes(raster(plan))
        assert sorted(one.text for one in read) == sorted(face.text for face in plan.faces)
        assert {str(one.format) for one in read} == {"QR Code" if as_qr else "Data Matrix"}


@pytest.mark.parametrize("text", HOSTILE)
def test_whatever_people_typed_is_printed_and_never_obeyed(text: str) -> None:
    label = make_label("D", 7)
    plan = plan_labels([Face(label, text, (text, text))], Print(layout=LAYOUTS["roll-62x29"]))
    assert [one.text for one in zxingcpp.read_barcodes(raster(plan))] == [label]
    assert print_labels(plan).startswith(b"%PDF")


@pytest.mark.parametrize(
    "layout",
    [
        roll(25, 10), roll(62, 29), LAYOUTS["a4-5x13"],
        sheet(paper="letter", columns=3, rows=4, width=50.8, height=25.4, left=12, top=15, pitch_x=55, pitch_y=30),
    ],
    ids=lambda layout: layout.says,
)  # fmt: skip
def test_the_pdf_is_as_large_as_the_paper(layout: Layout) -> None:
    pdf = print_labels(plan_labels(faces("I"), Print(layout=layout)))
    boxes = re.findall(rb"/MediaBox\s*\[\s*([\d.]+)\s+([\d.]+)\s+([\d.]+)\s+([\d.]+)\s*\]", pdf)
    assert boxes
    left, bottom, right, top = (float(one) for one in boxes[0])
    # A point of PDF is 1/72 inch (ISO 32000-1, 8.3.2.3, from memory).
    assert (left, bottom) == (0, 0)
    assert right / 72 * 25.4 == pytest.approx(layout.page_width, abs=0.01)
    assert top / 72 * 25.4 == pytest.approx(layout.page_height, abs=0.01)


def test_labels_stand_where_the_sheet_has_them_and_codes_are_as_large_as_said() -> None:
    """Corners of the drawn edges and of the codes, in dots of the raster against millimetres; one dot is 0.085 mm."""
    layout = sheet(paper="a4", columns=3, rows=4, width=50, height=25, left=12, top=15, pitch_x=55, pitch_y=30)
    plan = plan_labels(faces("I"), Print(layout=layout, start=5, outlines=True))
    picture = raster(plan)
    assert picture.shape == (round(297 * PER_MM), round(210 * PER_MM))
    rows, columns = numpy.nonzero(picture < 250)
    for found, meant in (
        (columns.min(), 12 + 55), (columns.max(), 12 + 55 + 50), (rows.min(), 15 + 30), (rows.max(), 15 + 30 + 25)
    ):  # fmt: skip
        assert found / PER_MM == pytest.approx(meant, abs=0.15)
    (read,) = zxingcpp.read_barcodes(picture)
    corners = read.position
    fit = plan.fits[0]
    modules = round(fit.code_mm / fit.module_mm) - 2  # a white module on either side
    wide = (corners.top_right.x - corners.top_left.x + 1) / PER_MM
    assert wide == pytest.approx(modules * fit.module_mm, abs=0.2)
    dark = numpy.nonzero(picture[:, : round((67 + fit.code_mm) * PER_MM)] < 100)
    assert (dark[1].max() - dark[1].min() + 1) / PER_MM == pytest.approx(modules * fit.module_mm, abs=0.1)


@pytest.mark.parametrize("dots", DOTS)
@pytest.mark.parametrize("as_qr", [False, True])
def test_a_label_too_small_is_refused_and_the_smallest_named_will_do(dots: str, as_qr: bool) -> None:
    with pytest.raises(ShopError, match="too small") as refused:
        plan_labels(faces("I"), Print(layout=roll(12, 6), as_qr=as_qr, dots=dots))
    sizes = re.findall(r"([\d.]+) × ([\d.]+) mm", refused.value.sentence.split("smallest")[1])
    assert len(sizes) == 2
    for width, height in sizes:
        smallest = roll(float(width), float(height))
        fit = plan_labels(faces("I"), Print(layout=smallest, as_qr=as_qr, dots=dots)).fits[0]
        assert fit.module_mm >= SMALLEST_MODULE_MM
        assert fit.module_mm / DOTS[dots] == pytest.approx(fit.dots)
        for wide, high in ((float(width) - 1, float(height)), (float(width), float(height) - 1)):
            with pytest.raises(ShopError):
                plan_labels(faces("I"), Print(layout=roll(wide, high), as_qr=as_qr, dots=dots))


def test_copies_and_a_used_sheet_are_counted() -> None:
    layout = LAYOUTS["a4-2x5"]
    plan = plan_labels(faces("I", "D", "B"), Print(layout=layout, copies=4, start=10))
    assert (plan.labels, plan.pages) == (12, 3)
    pages = label_figures(plan)["pages"]
    assert [len(page) for page in pages] == [1, 10, 1]
    assert [spot[2] for page in pages for spot in page] == [0] * 4 + [1] * 4 + [2] * 4
    for start, copies in ((11, 1), (0, 1), (1, 0), (1, 400)):
        with pytest.raises(ShopError):
            plan_labels(faces("I", "D", "B"), Print(layout=layout, copies=copies, start=start))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"columns": 5}, "columns"), ({"rows": 12}, "rows"), ({"pitch_x": 30.0}, "pitch_x"),
        ({"left": 80.0}, "columns"),
        ({"pitch_y": 5.0}, "pitch_y"), ({"width": float("nan")}, "width"), ({"paper": "b9"}, "paper"),
        ({"height": 1.0}, "height"), ({"columns": 0}, "columns"), ({"top": -3.0}, "rows"),
    ],
)  # fmt: skip
def test_measures_that_do_not_fit_the_paper_are_refused(changes: dict[str, object], field: str) -> None:
    given = {"paper": "a4", "columns": 3, "rows": 5, "width": 50.0, "height": 25.0} | changes
    with pytest.raises(ShopError) as refused:
        sheet(**given)  # type: ignore[arg-type]  # wrong on purpose
    assert refused.value.field == field


def test_the_page_shows_what_will_come_out_and_gives_the_pdf(shop: Shop) -> None:
    client = signed_in(shop.setter)
    piece, tip, machine = shop.item(shop.body), shop.chamfer_tip, shop.machine
    asked = {
        "of": f"design:{shop.body.pk}",
        "things": f"{tip.code}\n{shop.bin.code}, {piece.label}",
        "layout": "roll-25x10",
    }
    page = client.get("/stock/labels/", asked)
    assert [face.text for face in page.context["plan"].faces] == [
        make_label("D", shop.body.pk), piece.label, make_label("D", tip.pk), make_label("B", shop.bin.pk)
    ]  # fmt: skip
    assert f"{page.context['plan'].smallest.module_mm:.3g}" in page.content.decode()
    pdf = client.get("/stock/labels/pdf/", asked)
    assert pdf["Content-Type"] == "application/pdf"
    assert len(re.findall(rb"/Type\s*/Page\b", pdf.content)) == 4
    own = {"layout": "roll", "width": "0.6 in", "height": "20", "of": "places"}
    assert client.get("/stock/labels/", own).context["plan"].how.layout.width == pytest.approx(15.24)
    for wrong in (
        {"layout": "roll"},
        {"layout": "sheet", "width": "50", "height": "20"},
        {"things": "nothing-like-it"},
        {"copies": "0"},
        {"layout": "x"},
        {"of": "spoon:1"},
        {"start": "28"},
        {"layout": "roll-25x10", "copies": "x"},
    ):
        assert client.get("/stock/labels/", wrong).status_code == 400, wrong
        assert client.get("/stock/labels/pdf/", wrong).status_code == 400, wrong
    assert client.get("/stock/labels/", {"of": f"machine:{machine.pk}"}).context["plan"].labels == 1


def test_each_kind_of_thing_has_its_label(shop: Shop) -> None:
    client = signed_in(shop.setter)
    assert shop.assembly.name
    assert [shop.job, shop.machine]
    for of in ("places", "people", "machines", "jobs", "assemblies"):
        assert client.get("/stock/labels/", {"of": of}).context["plan"].labels >= 1, of
    for of in (
        f"assembly:{shop.assembly.pk}",
        f"job:{shop.job.pk}",
        f"person:{shop.setter.pk}",
        f"place:{shop.bin.pk}",
    ):
        assert client.get("/stock/labels/", {"of": of}).context["plan"].labels == 1, of
    assert client.get("/stock/labels/", {"of": "job:99999"}).context["plan"] is None


def test_the_label_of_a_design_says_code_description_and_makers_number(shop: Shop) -> None:
    face = face_of(shop.chamfer_tip)
    assert (face.name, face.more) == ("CT-45-12", ("Chamfer tip 90°, 12 mm", "90412"))
    figures = label_figures(plan_labels([face], Print(layout=LAYOUTS["roll-40x20"])))
    words = [line["words"] for line in figures["faces"][0]["lines"]]
    assert words == [face.text, "CT-45-12", "Chamfer tip 90°,", "12 mm", "90412"]


def test_the_labels_of_a_cabinet_and_of_what_came_with_an_order(shop: Shop) -> None:
    from crib.stock import services

    cabinet = services.create_place(code="CAB", name="Cabinet", kind="cabinet", who=shop.lead)
    drawer = services.create_place(code="CAB-1", name="Drawer", kind="bin", parent=cabinet, who=shop.lead)
    client = signed_in(shop.attendant)
    faces_in = client.get("/stock/labels/", {"of": f"place:{cabinet.pk}"}).context["plan"].faces
    assert [face.name for face in faces_in] == ["CAB", "CAB-1"]
    for design in (shop.body, shop.chamfer_tip):
        services.receive(
            design=design, quantity=3, to_place=drawer, supplier=shop.supplier, who=shop.attendant, key=shop.key(),
            document="PO-9",
        )  # fmt: skip
    came = client.get("/stock/labels/", {"of": "document:PO-9"}).context["plan"].faces
    assert [face.name for face in came] == ["BD-12-100"] * 3 + ["CT-45-12"]
