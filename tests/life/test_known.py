"""What calculators are told of a word: items by their label, and fitted Taylor values in place of assumed ones."""

from __future__ import annotations

from typing import Any

import pytest

from calc.errors import WorkingError
from calc.workings import Found, Group, Input, InputErrors, Kind, Working
from calc.workings.reading import read_inputs
from crib.floor.models import EdgeMinutes
from crib.life.known import look_up
from crib.life.selectors import worn_bands
from crib.stock.labels import make_label
from tests.life.test_taylor import at_speed, wear_out
from tests.shop import Shop


def refusal(what: str, text: str) -> str:
    with pytest.raises(WorkingError) as refused:
        look_up(what, text, {})
    assert refused.value.argument == what
    return refused.value.sentence


def test_tools_and_machines_are_the_catalogue_s(shop: Shop) -> None:
    _ = shop.chamfer_tip, shop.machine
    assert look_up("tool", "CT-45-12", {}).values["diameter"] == 12.0
    assert look_up("machine", "VM-1", {}).values["max_power"] == 18.0
    assert "is not in the catalogue" in refusal("machine", "VM-9")


def test_an_item_brings_its_design_and_its_assembly(shop: Shop) -> None:
    edge = shop.edge
    known = look_up("item", edge.item.label.lower(), {})
    assert known.name == f"{edge.item.label}, CT-45-12"
    assert known.values["tip_diameter"] == 2.0
    assert known.values["stick_out"] == 60.0
    assert "worn" not in known.values
    assert look_up("item", str(edge.item.pk), {}) == known
    loose = shop.item(shop.chamfer_tip)
    assert "stick_out" not in look_up("item", loose.label, {}).values


def test_an_item_brings_the_bands_that_have_cut(shop: Shop) -> None:
    item = shop.edge.item
    EdgeMinutes.objects.create(
        edge=shop.edge, operation=shop.operation, minutes=12.0, parts=6, contact_low=1.0, contact_high=2.0
    )
    (row,) = look_up("item", item.label, {}).values["worn"]
    assert (row["low"], row["high"], row["minutes"]) == (1.0, 2.0, 12.0)
    (band,) = worn_bands(item)
    assert row["share"] == band.share is not None


def test_inserts_cut_on_their_body(shop: Shop) -> None:
    insert = shop.design("SI-12", "insert", max_spindle_speed=9000.0, machine_side_system="seat")
    body = shop.design(
        "BD-50", "body", diameter_mm=50.0, teeth=5, max_spindle_speed=6000.0, machine_side_system="cylindrical",
        machine_side_size="16", work_side_system="seat",
    )  # fmt: skip
    built = shop.assembly_with(insert, body=body)
    item = built.fittings.get().item
    values = look_up("item", item.label, {}).values
    assert (values["diameter"], values["teeth"], values["max_spindle_speed"]) == (50.0, 5, 6000.0)


def test_an_item_that_is_not_here_is_a_sentence(shop: Shop) -> None:
    assert refusal("item", "spoon").endswith("No tool has a label yet; name the tool by its code instead.")
    item = shop.item(shop.chamfer_tip)
    way_out = f"Scan it on the thing itself, or type it in full, such as {item.label}."
    assert refusal("item", "999999") == f"Item: no item here has the label “999999”. {way_out}"
    assert "misread" in refusal("item", "ET1:I1X")
    assert "something else" in refusal("item", make_label("D", 1))


def test_fitted_values_take_the_place_of_the_assumed_exponent(shop: Shop) -> None:
    name = shop.material.name
    assert look_up("material", name, {}).values["n"] == 0.25
    wear_out(shop, {45.0: 12, 60.0: 12, 80.0: 12})
    known = look_up("material", name, {"material": name})
    assert known.values["n"] == pytest.approx(1 / 3, rel=0.08)
    assert 150 < known.values["c"] < 400
    assert known.values["kc11"] == 2200.0
    said = known.sources["n"]
    assert said == known.sources["c"]
    assert said.startswith("fitted to 36 ended edges of CT-45-12, chamfering")
    assert said.endswith("in place of the assumed n of 0.25")


def test_a_tool_or_item_named_beside_decides_whose_edges_count(shop: Shop) -> None:
    wear_out(shop, {45.0: 12, 80.0: 12})
    name = shop.material.name
    shop.design("DR-8", "drill", edges=1)
    item = shop.item(shop.chamfer_tip)
    assert "c" in look_up("material", name, {"tool": "CT-45-12"}).values
    assert "c" in look_up("material", name, {"item": item.label}).values
    for words in ({"tool": "DR-8"}, {"tool": "DR-8", "item": item.label}):
        known = look_up("material", name, words)
        assert ("c" in known.values, known.values["n"], known.sources["n"]) == (False, 0.25, "assumed")
    # A label that cannot be read is told of at its own field.
    assert "c" in look_up("material", name, {"item": "ET1:I1X"}).values


def test_without_an_exponent_to_replace_the_source_says_only_what_it_is(shop: Shop) -> None:
    shop.material.taylor_n = None
    shop.material.save()
    wear_out(shop, {45.0: 12, 80.0: 12})
    assert "in place" not in look_up("material", shop.material.name, {}).sources["n"]
    shop.material.taylor_n, shop.material.taylor_n_source = 0.3, "a handbook"
    shop.material.save()
    said = look_up("material", shop.material.name, {}).sources["n"]
    assert said.endswith("in place of the catalogue's n of 0.3")
    assert at_speed(shop, 50.0, 900).surface_speed == 50.0


def test_a_working_that_asks_for_n_and_c_takes_them_together_or_asks_for_them(shop: Shop) -> None:
    numbers: dict[str, Any] = {"kind": Kind.NUMBER, "group": "law", "way": "numbers"}
    probe = Working(
        name="probe", title="", says="", results=(), sources=(), compute=lambda given: Found(),
        inputs=(
            Input(name="material", label="Work material", kind=Kind.TEXT), Input(name="n", label="n", **numbers),
            Input(name="c", label="C", unit="m/min", **(numbers | {"kind": Kind.QUANTITY})),
        ),
        groups=(Group(name="law", label="Taylor's law"),),
    )  # fmt: skip
    asked = {"material": shop.material.name}
    with pytest.raises(InputErrors) as missing:
        read_inputs(probe, asked, "metric", look_up)
    assert missing.value.argument == "c"
    assert missing.value.sentence == "C is missing: it goes with n."  # the assumed n says nothing of C
    assert read_inputs(probe, asked | {"c": 180}, "metric", look_up).number("n") == 0.25
    wear_out(shop, {45.0: 12, 60.0: 12, 80.0: 12})
    given = read_inputs(probe, asked, "metric", look_up)
    assert given.number("n") == pytest.approx(1 / 3, rel=0.08)
    assert given.quantity("c").m_as("m/min") == pytest.approx(60 * 60 ** (1 / 3), rel=0.25)
