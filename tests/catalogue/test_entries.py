"""Figures that no tool, metal, machine or supplier has are refused beside their field."""

from datetime import time
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest

from crib.catalogue import services
from crib.catalogue.models import Machine
from crib.catalogue.reading import read_money, read_number, read_prices, read_shifts, read_whole, read_yes
from crib.core.errors import BadInput
from tests.shop import Shop


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"length_mm": 10_001.0}, "length_mm"),
        ({"shank_mm": 0.0}, "shank_mm"),
        ({"lead_angle_deg": -1.0}, "lead_angle_deg"),
        ({"corner_radius_mm": -0.1}, "corner_radius_mm"),
        ({"unit_cost": Decimal(-1)}, "unit_cost"),
        ({"pack_size": 0}, "pack_size"),
        ({"edges": 201}, "edges"),
        ({"diameter_mm": float("nan")}, "diameter_mm"),
        ({"description": ""}, "description"),
        ({"machine_side_size": "40"}, "machine_side_system"),
    ],
)
def test_an_unsound_design(shop: Shop, fields: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        shop.design("T-1", "drill", **fields)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"kc11": 0.0}, "kc11"),
        ({"kc11": 30_000.0}, "kc11"),
        ({"mc": 1.0}, "mc"),
        ({"taylor_n": 1.2}, "taylor_n"),
        ({"speed_low": 100.0, "speed_high": 50.0}, "speed_low"),
        ({"iso_group": "X"}, "iso_group"),
    ],
)
def test_an_unsound_material(shop: Shop, fields: dict[str, Any], field: str) -> None:
    given: dict[str, Any] = {"name": "Alloy", "iso_group": "S", "kc11": 2900.0, "mc": 0.25}
    with pytest.raises(BadInput) as refused:
        services.create_material(**(given | fields), who=shop.lead)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"efficiency": 0.0}, "efficiency"),
        ({"efficiency": 1.1}, "efficiency"),
        ({"hourly_rate": Decimal(-1)}, "hourly_rate"),
        ({"stop_minutes": -1.0}, "stop_minutes"),
        ({"stop_minutes": 1441.0}, "stop_minutes"),
        ({"stop_minutes": float("nan")}, "stop_minutes"),
        ({"max_power_kw": 0.0}, "max_power_kw"),
    ],
)
def test_an_unsound_machine(shop: Shop, fields: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        services.change_machine(machine=shop.machine, who=shop.lead, **fields)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("fields", "field"),
    [({"pack": 0}, "pack"), ({"lead_days": -1.0}, "lead_days"), ({"lead_days": 4000.0}, "lead_days")],
)
def test_an_unsound_offer(shop: Shop, fields: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        services.change_offer(offer=shop.offer, who=shop.lead, **fields)
    assert refused.value.field == field


def test_freight_and_jobs_are_sound(shop: Shop) -> None:
    with pytest.raises(BadInput):
        services.change_supplier(supplier=shop.supplier, who=shop.lead, free_freight_from=Decimal(-1))
    with pytest.raises(BadInput):
        services.change_job(job=shop.job, who=shop.lead, quantity=0)
    with pytest.raises(BadInput, match="taken by another"):
        services.create_supplier(name="Northgate Tooling", who=shop.lead)


@pytest.mark.parametrize(
    "shifts",
    [
        [services.ShiftTimes(7, time(6), time(14))],
        [services.ShiftTimes(0, time(6), time(6))],
        [services.ShiftTimes(0, time(6), time(14)), services.ShiftTimes(0, time(6), time(10))],
    ],
)
def test_a_week_of_shifts_is_sound(shop: Shop, shifts: list[services.ShiftTimes]) -> None:
    with pytest.raises(BadInput):
        services.set_shifts(machine=shop.machine, shifts=shifts, who=shop.lead)
    assert shop.machine.shifts.count() == 0


def test_what_people_write_is_read() -> None:
    assert read_prices("1: 24.50; 50:22") == {1: Decimal("24.50"), 50: Decimal(22)}
    assert read_shifts("Fri 22:00-06:00") == [(4, time(22), time(6))]
    assert (read_whole("n", "12"), read_number("n", "0.25"), read_money("n", "3.5")) == (12, 0.25, Decimal("3.5"))
    assert (read_yes("n", "Yes"), read_yes("n", "0")) == (True, False)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (read_prices, "1: 2; 1: 3"),
        (read_prices, "-1: 2"),
        (read_shifts, "Mon-Fri 25:00-26:00"),
        (read_shifts, "Fri-Mon 06:00-14:00"),
        (lambda text: read_whole("n", text), "1.5"),
        (lambda text: read_number("n", text), "half"),
        (lambda text: read_money("n", text), "cheap"),
        (lambda text: read_money("n", text), "Infinity"),
        (lambda text: read_yes("n", text), "perhaps"),
    ],
)
def test_what_cannot_be_read_is_refused(read: Any, text: str) -> None:
    with pytest.raises(BadInput):
        read(text)


def test_a_file_says_what_a_stop_of_a_machine_costs(shop: Shop) -> None:
    rows = "record,code,name,stop_minutes\nmachine,M-1,Mill,90 s\nmachine,M-2,Mill,-1\nmachine,M-3,Mill,\n"
    report = services.import_catalogue(file=BytesIO(rows.encode()), who=shop.lead)
    assert [(row.line, row.column) for row in report.refused] == [(3, "stop_minutes")]
    assert Machine.objects.get(code="M-1").stop_minutes == pytest.approx(1.5)
    assert Machine.objects.get(code="M-3").stop_minutes == 1.0
