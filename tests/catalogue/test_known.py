"""What the catalogue brings to a calculator for a word typed into it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calc.errors import WorkingError
from calc.workings import Known, run
from crib.catalogue import services
from crib.catalogue.known import cutting_material_names, look_up, machine_names, tool_names
from tests.shop import Shop


def found(what: str, text: str) -> Known:
    """Looked up in one query."""
    with CaptureQueriesContext(
        connection,
    ) as queries:
        known = look_up(what, text)
    assert len(queries) == 1
    return known


def refusal(what: str, text: str) -> str:
    with pytest.raises(WorkingError) as refused:
        look_up(what, text)
    assert refused.value.argument == what
    return refused.value.sentence


def test_a_material_brings_its_force_its_exponent_and_its_speeds_each_with_its_source(shop: Shop) -> None:
    services.change_material(
        material=shop.material, kc11_source="test cuts", speed_low=70.0, speed_high=160.0, speed_source="own lathe",
        who=shop.lead,
    )  # fmt: skip
    known = found("material", " duplex 1.4462 ")
    assert known.name == "Duplex 1.4462"
    assert known.values == {
        "kc11": 2200.0, "mc": 0.23, "n": 0.25, "speed_low": 70.0, "speed_high": 160.0, "speed_source": "own lathe",
    }  # fmt: skip
    assert (known.source, known.sources["mc"], known.sources["n"]) == ("test cuts", "assumed", "assumed")
    assert found("material", str(shop.material.pk)) == known


def test_a_machine_brings_its_limits_its_curve_and_its_rate(shop: Shop) -> None:
    shop.machine.power_curve = [[1500, 15], [6000, 15]]
    shop.machine.save()
    known = found("machine", "vm-1")
    assert (known.name, known.source) == ("VM-1", "")
    assert known.values == {
        "max_spindle_speed": 12000.0, "max_feed_rate": 20000.0, "max_power": 18.0, "efficiency": 0.8,
        "power_curve": [{"speed": 1500, "power": 15}, {"speed": 6000, "power": 15}], "machine_rate": 95.0,
    }  # fmt: skip
    services.change_machine(machine=shop.machine, max_power_kw=None, hourly_rate=Decimal(0), who=shop.lead)
    assert {"max_power", "machine_rate"}.isdisjoint(look_up("machine", "VM-1").values)


def test_a_chamfer_tip_brings_its_cone(shop: Shop) -> None:
    _ = shop.chamfer_tip
    assert found("tool", "ct-45-12").values == {
        "diameter": 12.0, "teeth": 4, "included_angle": 90.0, "tip_diameter": 2.0, "max_diameter": 12.0,
        "max_depth": 5.0, "edge_cost": 12.25,
    }  # fmt: skip
    shop.design("CT-60-8", diameter_mm=8.0, included_angle_deg=60.0)
    assert look_up("tool", "CT-60-8").values["tip_diameter"] == 0.0  # sharp: no flat is written down


@pytest.mark.parametrize(
    ("kind", "fields", "brings"),
    [
        ("drill", {"diameter_mm": 8.5, "point_angle_deg": 140.0}, {"diameter": 8.5, "point_angle": 140.0}),
        ("tap", {"diameter_mm": 10.0, "pitch_mm": 1.5}, {"diameter": 10.0, "pitch": 1.5}),
        ("solid_mill", {"diameter_mm": 10.0, "corner_radius_mm": 1.0}, {"corner_radius": 1.0, "nose_radius": 1.0}),
        # A ball has no corner of its own.
        ("solid_mill", {"diameter_mm": 10.0, "corner_radius_mm": 5.0}, {"diameter": 10.0, "nose_radius": 5.0}),
        ("insert", {"corner_radius_mm": 0.8, "lead_angle_deg": 95.0}, {"nose_radius": 0.8, "lead_angle": 95.0}),
        ("solid_mill", {"shank_mm": 10.0, "max_spindle_speed": 9e3}, {"shank_diameter": 10, "max_spindle_speed": 9e3}),
        ("solid_mill", {"hone_mm": 0.02, "max_chip_mm": 0.1}, {"hone": 0.02, "max_chip": 0.1}),
        # 90 for the tool and three regrinds at 14, over four lives of one edge.
        (
            "solid_mill",
            {"unit_cost": Decimal(90), "regrinds_allowed": 3, "regrind_cost": Decimal(14), "edges": 1},
            {"edge_cost": 33.0},
        ),
    ],
)
def test_a_tool_brings_what_is_known_of_it(
    shop: Shop, kind: str, fields: dict[str, Any], brings: dict[str, float]
) -> None:
    shop.design("T-1", kind, **({"edges": 1, "unit_cost": Decimal(0)} | fields))
    values = look_up("tool", "T-1").values
    assert {name: values.get(name) for name in brings} == brings
    assert "corner_radius" not in values or "corner_radius" in brings or kind == "insert"


def test_everything_that_is_brought_fits_the_workings(shop: Shop) -> None:
    shop.design(
        "EM-16", "solid_mill", diameter_mm=16.0, teeth=4, max_depth_mm=20.0, hone_mm=0.01, max_chip_mm=0.2, edges=1,
        max_spindle_speed=8000.0,
    )  # fmt: skip
    shop.machine.power_curve = [[500, 9], [1500, 18], [12000, 12]]
    shop.machine.save()
    asked = {
        "tool": "EM-16", "machine": shop.machine.code, "material": shop.material.name, "surface_speed": 80,
        "feed_per_tooth": 0.08, "axial_depth": 8, "radial_depth": 4,
    }  # fmt: skip
    answer = run("milling", asked, shop=look_up)
    assert answer.results["power_available"].value == pytest.approx(18.0, abs=0.2)
    assert "EM-16: DC 16 mm, ZEFP 4, APMX 20 mm, hone of the edge 0.01 mm" in " ".join(answer.assumed)
    assert "Duplex 1.4462: kc1.1 2200 N/mm², mc 0.23 (assumed)." in answer.assumed


def test_unknown_words_name_what_is_near(shop: Shop) -> None:
    assert refusal("tool", "EM-16") == (
        "Tool: the catalogue holds no tool yet, so “EM-16” is not known. Give its sizes instead."
    )
    assert refusal("machine", "x").startswith("Machine: the catalogue holds no machine yet")
    for code in ("CT-45-12", "CT-45-16", "DR-8"):
        shop.design(code)
    shop.design("HD-1", "holder")
    assert refusal("tool", "45") == "Tool: “45” is not in the catalogue. There is CT-45-12, CT-45-16."
    assert refusal("tool", "DR8") == "Tool: “DR8” is not in the catalogue. There is DR-8."
    assert refusal("tool", "zebra").endswith("There is CT-45-12, CT-45-16, DR-8.")
    for number in range(6):
        shop.design(f"EM-{number}")
    assert refusal("tool", "-").endswith("EM-1, EM-2 and others.")
    assert refusal("spoon", "x").startswith("Spoon: the catalogue holds no such things.")


def test_what_is_retired_is_neither_found_nor_offered(shop: Shop) -> None:
    _ = shop.chamfer_tip, shop.machine, shop.material
    assert (tool_names(), machine_names(), cutting_material_names()) == (["CT-45-12"], ["VM-1"], ["Duplex 1.4462"])
    services.retire_design(design=shop.chamfer_tip, who=shop.lead)
    services.retire_machine(machine=shop.machine, who=shop.lead)
    services.retire_material(material=shop.material, who=shop.lead)
    assert (tool_names(), machine_names(), cutting_material_names()) == ([], [], [])
    for what, text in (("tool", "CT-45-12"), ("machine", "VM-1"), ("material", "Duplex 1.4462")):
        assert "is not known" in refusal(what, text)


def test_a_name_that_is_a_number_comes_before_the_number_of_another(shop: Shop) -> None:
    first = shop.design("A-1")
    shop.design(str(first.pk))
    assert look_up("tool", str(first.pk)).name == str(first.pk)
