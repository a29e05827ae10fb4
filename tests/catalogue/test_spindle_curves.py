"""A machine's power at its speeds, and hones and chips of designs: entered, checked, loaded from files."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest

from crib.catalogue import services
from crib.catalogue.models import Design, Machine
from crib.catalogue.reading import read_curve, show_curve
from crib.core.errors import BadInput
from tests.shop import Shop

CURVE = [[350.0, 9.0], [1150.0, 18.0], [12000.0, 12.0]]


def refused(shop: Shop, **fields: Any) -> BadInput:
    with pytest.raises(BadInput) as bad:
        services.change_machine(machine=shop.machine, who=shop.lead, **fields)
    return bad.value


def test_a_curve_is_kept_and_taken_away_again(shop: Shop) -> None:
    services.change_machine(machine=shop.machine, who=shop.lead, power_curve=CURVE)
    assert Machine.objects.get().power_curve == CURVE
    services.change_machine(machine=shop.machine, who=shop.lead, power_curve=[])
    assert Machine.objects.get().power_curve == []


@pytest.mark.parametrize(
    ("curve", "says"),
    [
        ([[1500.0, 15.0]], "2 to 30 points of speed and power; this has 1"),
        ([[100.0 + speed, 5.0] for speed in range(31)], "this has 31"),
        ([[1500.0, 15.0], [1500.0, 16.0]], "1500 does not follow 1500"),
        ([[1500.0, 15.0], [900.0, 15.0]], "The speeds rise from point to point"),
        ([[0.0, 15.0], [900.0, 15.0]], "above zero"),
        ([[500.0, -1.0], [900.0, 15.0]], "above zero"),
        ([[500.0, float("nan")], [900.0, 15.0]], "above zero"),
        ([[500.0, 15.0], [float("inf"), 15.0]], "above zero"),
        ([[500.0, 15000.0], [900.0, 15000.0]], "No spindle gives 15000 kW at 500 1/min. Check the decimal point"),
        ([[500.0, 5.0], [900000.0, 5.0]], "No spindle gives 5 kW at 900000 1/min"),
        ([[500.0, 5.0], [900.0, 28.0]], "The curve reaches 28 kW, far above the machine's largest power of 18 kW"),
    ],
)
def test_curves_that_no_spindle_has(shop: Shop, curve: list[list[float]], says: str) -> None:
    error = refused(shop, power_curve=curve)
    assert error.field == "power_curve"
    assert says in error.sentence


def test_a_spindle_may_give_more_for_a_short_time(shop: Shop) -> None:
    services.change_machine(machine=shop.machine, who=shop.lead, power_curve=[[500.0, 12.0], [1500.0, 26.0]])
    assert refused(shop, max_power_kw=15.0).field == "power_curve"


def test_points_are_read_as_people_write_them() -> None:
    assert read_curve("350; 9\n1150 ; 18 kW\n\n12000 rpm;12") == CURVE
    assert read_curve("350: 9; 1150: 18; 12000: 12") == CURVE
    assert read_curve("350\t9\n1150\t18\n12000\t12") == CURVE
    assert read_curve("") == []
    (point,) = read_curve("1500; 20 hp")
    assert point == [1500.0, pytest.approx(14.914, abs=0.001)]
    assert read_curve(show_curve(CURVE)) == CURVE
    for text in ("1500", "1500; 15; 3", "1500; 15 mm", "fast; 15"):
        with pytest.raises(BadInput) as bad:
            read_curve(text)
        assert bad.value.field == "power_curve"


def test_a_file_brings_curves_hones_and_chips(shop: Shop) -> None:
    rows = (
        "record,code,name,kind,description,edges,power_curve,hone_mm,max_chip_mm\n"
        'machine,M-1,Mill,,,,"350: 9; 1150: 18",,\n'
        "machine,M-2,Mill,,,,1150: 18,,\n"
        "design,T-1,,solid_mill,Mill,1,,0.0008 in,0.2\n"
    )
    report = services.import_catalogue(file=BytesIO(rows.encode()), who=shop.lead)
    assert [(row.line, row.column) for row in report.refused] == [(3, "power_curve")]
    assert Machine.objects.get(code="M-1").power_curve == [[350.0, 9.0], [1150.0, 18.0]]
    design = Design.objects.get(code="T-1")
    assert [design.hone_mm, design.max_chip_mm] == pytest.approx([0.02032, 0.2])
    again = services.import_catalogue(file=BytesIO(rows.encode()), who=shop.lead)
    assert (again.unchanged, again.changed) == (2, 0)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"hone_mm": 0.0}, "hone_mm"),
        ({"hone_mm": -0.1}, "hone_mm"),
        ({"max_chip_mm": 6.0}, "max_chip_mm"),
        ({"hone_mm": 0.2, "max_chip_mm": 0.1}, "hone_mm"),
    ],
)
def test_hones_and_chips_that_no_edge_has(shop: Shop, fields: dict[str, float], field: str) -> None:
    with pytest.raises(BadInput) as bad:
        shop.design("T-1", "solid_mill", **fields)
    assert bad.value.field == field
