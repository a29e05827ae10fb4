"""Built tools as pages and on paper: what they bear, swapping by two scans, the setup sheet and its code."""

from __future__ import annotations

import io
import json
import re
from functools import partial
from typing import Any

import numpy
import pytest
import typst
import zxingcpp
from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image

from crib.catalogue.services import change_design
from crib.floor import selectors, services
from crib.floor.models import Assembly, Edge, Fitting, Operation, PocketLoad
from crib.people.models import Person
from crib.web import formats
from crib.web.drawings.built_tool import built_tool
from crib.web.papers.printing import SHEETS
from crib.web.papers.setup_sheet import cautions_of, setup_figures
from tests.shop import Shop, assert_ledger_balances
from tests.web.pages import signed_in, text
from tests.web.test_machines_pages import see, send

MM = partial(formats.amount, unit="mm", system="metric")


def _swap(person: Person, shop: Shop, out: str, into: str, **fields: Any) -> Any:
    return send(person, "swap", out=out, into=into, key=shop.key(), **({"outcome": ""} | fields))


# --- pages --------------------------------------------------------------------------------------------


def test_the_assembly_says_what_it_bears_and_where_it_is_used(shop: Shop) -> None:
    change_design(design=shop.holder, clamp_torque_nm=60.0, balance_note="G 2.5", length_mm=100.0, who=shop.lead)
    change_design(design=shop.chamfer_tip, max_spindle_speed=9000.0, who=shop.lead)
    shop.load_tool()
    built = shop.loaded.assembly
    page = text(see(shop.setter, "assembly", built.pk))
    for words in ("9000 rev/min", "(CT-45-12)", "Tighten BD-12-100 to", "60 N·m", "Balance of HD-40-C16", "G 2.5",
                  "works at it now", built.label, f"?of=assembly:{built.pk}"):  # fmt: skip
        assert words.replace(" ", "\u00a0") in page or words in page, words
    sent = {"gauge_length_mm": "160", "stick_out_mm": "60", "tightened_nm": "40", "note": "balanced"}
    page = text(send(shop.setter, "measure_assembly", built.pk, **sent))
    assert "What you measured is written down" in page
    assert "less than the 60 N·m" in page
    refused = send(shop.setter, "measure_assembly", built.pk, **(sent | {"gauge_length_mm": "40"}))
    assert refused.status_code == 400
    assert "alone is 100 mm long" in text(refused) or "cannot be longer" in text(refused)
    built.refresh_from_db()
    assert (built.gauge_length_mm, built.tightened_nm) == (160.0, 40.0)


def test_what_is_chosen_to_be_built_is_checked_before(shop: Shop) -> None:
    change_design(design=shop.holder, max_spindle_speed=12000.0, length_mm=80.0, who=shop.lead)
    holder, body = shop.item(shop.holder), shop.item(shop.body)
    thick = shop.item(shop.design("BD-20", "body", machine_side_system="cylindrical", machine_side_size="20"))
    assert see(shop.setter, "build_facts").status_code == 200
    for chosen, words in ((body, "180"), (thick, "the size differs")):
        chosen_parts = f"?holder={holder.pk}&body={chosen.pk}"
        answer = signed_in(shop.setter).get(f"/machines/assemblies/new/facts/{chosen_parts}")
        assert words in text(answer), words


def test_a_machines_page_says_tool_lengths_and_speed(shop: Shop) -> None:
    shop.load_tool()
    page = text(see(shop.setter, "machine", shop.machine.pk)).replace("\u00a0", " ")
    assert f"{shop.loaded.assembly.name}</a>, 160 mm long, 60 mm out, up to" in page


# --- swapping -----------------------------------------------------------------------------------------


def test_two_scans_swap_a_tip(shop: Shop) -> None:
    shop.log_run(parts=5)
    old, new = shop.edge, shop.item(shop.chamfer_tip)
    built = shop.loaded.assembly.label
    page = text(_swap(shop.setter, shop, built, new.label, outcome="worn", wear_land_mm="0.2"))
    assert f"{new.label} is in" in page
    old.refresh_from_db()
    assert (old.state, old.outcome) == ("ended", "worn")
    assert Fitting.objects.get(removed_at=None).item == new
    # By the label of the tip inside, and the box of tips that one holds.
    shop.stock(shop.chamfer_tip, 1)
    shop.check_out(shop.chamfer_tip, by=shop.setter)
    page = text(_swap(shop.setter, shop, new.label, shop.chamfer_tip.code))
    assert f"{new.label} is out" in page
    assert Edge.objects.get(item=new, number=1).state == "in_use"
    assert_ledger_balances()


def test_two_scans_swap_a_whole_tool(shop: Shop) -> None:
    spare = shop.assembly_with(shop.chamfer_tip)
    shop.load_tool()
    before = shop.loaded.assembly
    page = _swap(shop.setter, shop, before.holder.label, spare.holder.label, outcome="worn")
    assert page.status_code == 400
    assert "keep their minutes" in text(page)
    page = text(_swap(shop.setter, shop, before.holder.label, spare.label))
    assert f"{spare} is in pocket 3; {before} is out" in page
    assert PocketLoad.objects.get(unloaded_at=None).assembly == spare
    assert "in no pocket" in text(_swap(shop.setter, shop, before.label, spare.label))
    assert_ledger_balances()


def test_what_cannot_be_swapped_is_said_beside_its_scan(shop: Shop) -> None:
    shop.load_tool()
    built = shop.loaded.assembly.label
    loose = shop.item(shop.chamfer_tip).label
    wanted = [
        (loose, loose, "is in no built tool now"),
        ("ET1:A8X", loose, "misread"),
        (built, shop.machine.code, "neither a tip nor a built tool"),
        (built, "NO-SUCH", "not known here"),
        (built, shop.body.code, "No BD-12-100 that fits"),
    ]
    for out, into, words in wanted:
        page = _swap(shop.setter, shop, out, into)
        assert page.status_code == 400, words
        assert words in text(page), words
    # Whoever builds tools but logs no runs swaps, and says nothing of why an edge came off.
    assert _swap(shop.attendant, shop, built, loose, outcome="worn").status_code == 403
    assert PocketLoad.objects.get(unloaded_at=None).assembly == shop.loaded.assembly
    assert_ledger_balances()


def test_the_label_of_a_tool_taken_apart_is_refused(shop: Shop) -> None:
    built = services.build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter)
    services.take_apart(assembly=built, who=shop.setter)
    assert "was taken apart" in text(_swap(shop.setter, shop, built.label, shop.chamfer_tip.code))
    assert Assembly.objects.count() == 1


# --- drawing and paper --------------------------------------------------------------------------------


def test_the_drawing_holds_its_lengths_to_one_scale(shop: Shop) -> None:
    """Dimension lines are as long on paper, share for share, as the lengths that they tell."""
    drawn = built_tool(holder=shop.holder, body=shop.body, tip=shop.chamfer_tip, gauge_length_mm=160.0,
                       stick_out_mm=60.0, said=MM)  # fmt: skip
    found = {}
    for name, path in re.findall(r'data-dim="([\w-]+)" d="M([^"]+)"', str(drawn)):
        (x1, y1), (x2, y2) = (map(float, point.split()) for point in path.split("L"))
        found[name] = abs(x2 - x1) + abs(y2 - y1)
    assert found["gauge-length"] / found["stick-out"] == pytest.approx(160 / 60, rel=0.01)
    assert found["gauge-length"] / found["dc"] == pytest.approx(160 / 12, rel=0.02)


def test_a_tool_of_unknown_lengths_is_not_drawn(shop: Shop) -> None:
    known: dict[str, Any] = {"holder": shop.holder, "body": None, "tip": None, "said": MM}
    assert built_tool(**known, gauge_length_mm=None, stick_out_mm=None) == ""
    assert "gauge length" in built_tool(**known, gauge_length_mm=120.0, stick_out_mm=None)


def _pages(figures: dict[str, Any]) -> list[Any]:
    made = typst.compile(SHEETS / "setup.typ", root=SHEETS, sys_inputs={"figures": json.dumps(figures)},
                         ignore_system_fonts=True, format="png", ppi=110)  # fmt: skip
    pages: list[bytes] = made if isinstance(made, list) else [made]  # type: ignore[redundant-expr]  # many pages, a list
    return [numpy.asarray(Image.open(io.BytesIO(page)).convert("L")) for page in pages]


def test_the_sheets_code_is_read_back_and_names_are_only_printed(shop: Shop) -> None:
    """Read by zxing-cpp (Apache-2.0), a decoder that is not ours."""
    shop.log_run(parts=5)
    change_design(design=shop.chamfer_tip, description='#panic("no") $x$ *bold* <svg>', who=shop.lead)
    operation = selectors.operation_in_full(shop.operation.pk)
    assert operation is not None
    figures = setup_figures([operation], job=None, edge_related=("forecast",), system="metric")
    [tool] = figures["sheets"][0]["tools"]
    assert [part["role"] for part in tool["parts"]] == ["Holder", "Body", "Tip"]
    assert tool["parts"][2]["number"] == "90412"
    [page] = _pages(figures)
    assert [one.text for one in zxingcpp.read_barcodes(page)] == [shop.loaded.assembly.label]


def test_one_operation_and_the_whole_job_come_as_pdf(shop: Shop) -> None:
    shop.load_tool()
    job = shop.operation.job
    answers = [see(shop.planner, "setup_sheet_pdf", shop.operation.pk), see(shop.planner, "job_setup_sheets", job.pk)]
    for answer in answers:
        assert (answer.status_code, answer["Content-Type"], answer.content[:5]) == (200, "application/pdf", b"%PDF-")
    Operation.objects.update(retired_at="2026-01-01T00:00:00Z")
    nothing = see(shop.planner, "job_setup_sheets", job.pk)
    assert nothing.status_code == 404
    assert "nothing to print" in text(nothing)


def test_the_setup_sheet_costs_the_same_however_many_tools_are_loaded(shop: Shop) -> None:
    shop.load_tool()
    see(shop.setter, "setup_sheet", shop.operation.pk)

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert see(shop.setter, "setup_sheet", shop.operation.pk).status_code == 200
        return len(queries)

    before = asked()
    for pocket in (5, 6):
        spare = shop.assembly_with(shop.chamfer_tip)
        services.load_pocket(machine=shop.machine, pocket=pocket, assembly=spare, who=shop.setter)
    assert asked() == before


@pytest.mark.parametrize(
    ("name", "words"), [("Titanium 6-4", "Titanium chips burn"), ("Magnesium AZ91", "keep them dry"), ("Steel", "")]
)
def test_what_burns_is_named(shop: Shop, name: str, words: str) -> None:
    operation = shop.operation
    operation.material.name = name
    said = " ".join(cautions_of(operation))
    assert ("burn" in said) == bool(words)
    assert words in said
    assert "maker's torque" in said


def test_a_reground_tool_is_drawn_and_turned_as_it_was_ground(shop: Shop) -> None:
    """n = 1000 vc / (pi d): 60 m/min on 11.5 mm, by the definition of surface speed."""
    shop.log_run(parts=5)
    shop.edge.item.__class__.objects.filter(pk=shop.edge.item_id).update(diameter_mm=11.5)
    page = text(see(shop.setter, "setup_sheet", shop.operation.pk)).replace("\u00a0", " ")
    assert "Diameter as ground</dt><dd>11.5 mm" in page
    assert f"{60_000 / (3.141592653589793 * 11.5):.0f} rev/min" in page
    assert "DC 11.5 mm" in page
