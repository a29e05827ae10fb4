"""The catalogue over REST: list, detail, create, change, retire, each with its rights and refusals."""

import json
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from crib.catalogue.models import Design
from crib.people.models import ChangeRecord
from tests.api.calls import BASE, api
from tests.shop import Shop


def test_a_design_is_created_changed_and_retired(shop: Shop) -> None:
    client = api(shop.engineer)
    body = {
        "code": "ct-60-10",
        "kind": "tip",
        "description": "Chamfer tip 60°",
        "edges": 4,
        "diameter_mm": "0.5 in",
        "unit_cost": "31.20",
    }
    made = client.post(f"{BASE}/designs/", body, format="json")
    assert (made.status_code, made.data["code"], made.data["unit_cost"]) == (201, "CT-60-10", "31.20")
    assert made.data["diameter_mm"] == pytest.approx(12.7)
    changed = client.patch(f"{BASE}/designs/CT-60-10/", {"diameter_mm": 10}, format="json")
    assert (changed.status_code, changed.data["diameter_mm"]) == (200, 10.0)
    assert client.get(f"{BASE}/designs/{made.data['id']}/").data["code"] == "CT-60-10"
    retired = client.post(f"{BASE}/designs/CT-60-10/retire/", format="json")
    assert (retired.status_code, retired.data["retired_at"] is None) == (200, False)
    acts = list(ChangeRecord.objects.filter(which="CT-60-10").order_by("id").values_list("act", "who__username"))
    assert acts == [("created", "enno"), ("changed", "enno"), ("retired", "enno")]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "code"),
        ({"code": "T 1", "kind": "tip", "description": "x", "edges": 1}, "code"),
        ({"code": "T1", "kind": "spoon", "description": "x"}, "kind"),
        ({"code": "T1", "kind": "tip", "description": "x", "edges": 0}, "edges"),
        ({"code": "T1", "kind": "body", "description": "x"}, "seats"),
        ({"code": "T1", "kind": "tip", "description": "x", "edges": 1, "diameter_mm": -1}, "diameter_mm"),
        ({"code": "T1", "kind": "tip", "description": "x", "edges": 1, "diameter_mm": "1 kg"}, "diameter_mm"),
        ({"code": "T1", "kind": "tip", "description": "x", "edges": 1, "diameter_mm": True}, "diameter_mm"),
        (
            {"code": "T1", "kind": "tip", "description": "x", "edges": 1, "point_angle_deg": 181},
            "point_angle_deg",
        ),
        ({"code": "T1", "kind": "tip", "description": "x", "edges": 1, "unit_cost": "-1"}, "unit_cost"),
        ({"code": "T1", "kind": "tip", "description": "x", "edges": 1, "work_side_size": "M8"}, "work_side_system"),
        ({"code": "CT-45-12", "kind": "tip", "description": "x", "edges": 1}, "code"),
        ({"code": "T1", "kind": "drill", "description": "x", "tip_flat_mm": 9, "diameter_mm": 8}, "tip_flat_mm"),
        ({"code": "T1", "kind": "drill", "description": "x", "teeth": 0}, "teeth"),
    ],
)
def test_an_unsound_design_names_the_field(shop: Shop, body: dict[str, object], field: str) -> None:
    _ = shop.chamfer_tip
    refused = api(shop.engineer).post(f"{BASE}/designs/", body, format="json")
    assert (refused.status_code, field in refused.data["errors"]) == (400, True), refused.data
    assert Design.objects.count() == 1


def test_the_code_and_kind_of_a_design_stay(shop: Shop) -> None:
    client = api(shop.engineer)
    refused = client.patch(f"{BASE}/designs/{shop.chamfer_tip.code}/", {"kind": "insert"}, format="json")
    assert (refused.status_code, list(refused.data["errors"])) == (400, ["kind"])


@pytest.mark.parametrize("path", ["designs", "suppliers", "offers", "materials", "machines", "jobs", "places"])
def test_a_machinist_reads_and_writes_nothing(shop: Shop, path: str) -> None:
    client = api(shop.setter)
    assert client.get(f"{BASE}/{path}/").status_code == 200
    assert client.post(f"{BASE}/{path}/", {}, format="json").status_code == 403
    assert client.get(f"{BASE}/{path}/no-such/").status_code == 404
    assert APIClient().get(f"{BASE}/{path}/").status_code == 401


def test_an_offer_names_its_design_supplier_and_prices(shop: Shop) -> None:
    _ = shop.chamfer_tip
    _ = shop.supplier
    client = api(shop.engineer)
    body = {
        "design": "CT-45-12",
        "supplier": "Northgate Tooling",
        "lead_days": 6,
        "pack": 5,
        "prices": [{"unit_price": "24.5"}, {"from_quantity": 50, "unit_price": "22.00"}],
    }
    made = client.post(f"{BASE}/offers/", body, format="json")
    assert made.status_code == 201, made.data
    assert made.data["prices"] == [
        {"from_quantity": 1, "unit_price": "24.50"},
        {"from_quantity": 50, "unit_price": "22.00"},
    ]
    again = client.post(f"{BASE}/offers/", body, format="json")
    assert again.status_code == 400
    path = f"{BASE}/offers/{made.data['id']}/"
    changed = client.patch(path, {"prices": [{"unit_price": "20"}]}, format="json")
    assert changed.data["prices"] == [{"from_quantity": 1, "unit_price": "20.00"}]
    wrong = client.patch(path, {"prices": [{"unit_price": "1"}, {"unit_price": "2"}]}, format="json")
    assert (wrong.status_code, list(wrong.data["errors"])) == (400, ["prices"])
    unknown = client.post(f"{BASE}/offers/", body | {"design": "NOPE"}, format="json")
    assert "NOPE" in unknown.data["errors"]["design"][0]


def test_machines_materials_suppliers_and_jobs_are_made_and_retired(shop: Shop) -> None:
    client = api(shop.lead)
    bodies: dict[str, dict[str, object]] = {
        "machines": {"code": "LT-1", "name": "Lathe 1", "max_power_kw": "15 kW", "hourly_rate": "80"},
        "materials": {"name": "Alloy 718", "iso_group": "S", "kc11": 2900, "mc": 0.25},
        "suppliers": {"name": "Eastgate Edges"},
        "jobs": {"code": "J-7", "part": "Pump shaft", "quantity": 12, "due": "2026-12-24"},
    }
    for path, body in bodies.items():
        made = client.post(f"{BASE}/{path}/", body, format="json")
        assert made.status_code == 201, made.data
        found = client.post(f"{BASE}/{path}/{made.data['id']}/retire/", format="json")
        assert found.data["retired_at"]
    assert client.patch(f"{BASE}/materials/Alloy 718/", {"mc": 1.0}, format="json").status_code == 400
    assert client.patch(f"{BASE}/machines/LT-1/", {"efficiency": 0}, format="json").status_code == 400
    assert client.patch(f"{BASE}/machines/LT-1/", {"stop_minutes": "90 s"}, format="json").data["stop_minutes"] == 1.5
    refused = client.patch(f"{BASE}/machines/LT-1/", {"stop_minutes": -1}, format="json")
    assert "A stop costs no less than no time" in str(refused.data)
    assert client.patch(f"{BASE}/jobs/J-7/", {"quantity": 0}, format="json").status_code == 400


def test_lists_filter_by_field_and_cost_the_same_however_long(shop: Shop) -> None:
    client = api(shop.planner)
    for number in range(5):
        shop.design(f"T-{number}", unit_cost=Decimal(number))
    with CaptureQueriesContext(connection) as few:
        assert len(client.get(f"{BASE}/designs/").data["results"]) == 5
    for number in range(5, 50):
        shop.design(f"T-{number}")
    with CaptureQueriesContext(connection) as many:
        assert len(client.get(f"{BASE}/designs/?kind=tip&ordering=-code").data["results"]) == 50
    assert len(few) == len(many)
    assert client.get(f"{BASE}/designs/?colour=red").status_code == 400


def test_a_spindle_curve_comes_and_goes_as_points(shop: Shop) -> None:
    client = api(shop.engineer)
    path = f"{BASE}/machines/{shop.machine.code}/"
    assert client.get(path).data["power_curve"] == []
    changed = client.patch(path, {"power_curve": [[350, 9], ["1150 rpm", "20 hp"]]}, format="json")
    assert changed.status_code == 200
    assert changed.data["power_curve"] == [[350.0, 9.0], [1150.0, pytest.approx(14.914, abs=0.001)]]
    cleared = client.patch(path, {"power_curve": []}, format="json")
    assert (cleared.status_code, cleared.data["power_curve"]) == (200, [])
    made = client.post(
        f"{BASE}/machines/", {"code": "m-9", "name": "Mill", "power_curve": [[1, 1], [2, 2]]}, format="json"
    )
    assert (made.status_code, made.data["power_curve"]) == (201, [[1.0, 1.0], [2.0, 2.0]])


@pytest.mark.parametrize(
    ("curve", "says"),
    [
        (None, "may not be null"),
        ("1500; 15", "Give a list of points"),
        ({"speed": 1}, "Give a list of points"),
        ([1500, 15], "Point 1 is not a speed and a power"),
        ([[1500, 15, 3]], "Point 1 is not"),
        ([[1500, 15], [2000, "15 mm"]], "Point 2: "),
        ([[1500, 15], [2000, True]], "Point 2: "),
        ([[1500, 15], [1e300, 15]], "Point 2: "),
        ([[1500, 15]], "2 to 30 points"),
        ([[1500, 15], [1000, 15]], "speeds rise"),
    ],
)
def test_a_curve_that_cannot_be_says_why(shop: Shop, curve: object, says: str) -> None:
    body = json.dumps({"power_curve": curve})
    path = f"{BASE}/machines/{shop.machine.code}/"
    refused = api(shop.engineer).patch(path, body, content_type="application/json")
    assert refused.status_code == 400
    assert says in str(refused.json()["errors"]["power_curve"][0])


def test_hone_and_thickest_chip_take_units(shop: Shop) -> None:
    path = f"{BASE}/designs/{shop.chamfer_tip.code}/"
    changed = api(shop.engineer).patch(path, {"hone_mm": "20 um", "max_chip_mm": 0.12}, format="json")
    assert (changed.data["hone_mm"], changed.data["max_chip_mm"]) == (pytest.approx(0.02), 0.12)
    refused = api(shop.engineer).patch(path, {"hone_mm": 0.2}, format="json")
    assert (refused.status_code, list(refused.data["errors"])) == (400, ["hone_mm"])


def test_a_material_s_new_figure_asks_for_its_source(shop: Shop) -> None:
    client = api(shop.engineer)
    path = f"{BASE}/materials/{shop.material.name}/"
    assert client.patch(path, {"kc11": 2300, "kc11_source": "a handbook"}, format="json").status_code == 200
    refused = client.patch(path, {"kc11": 2400}, format="json")
    assert (refused.status_code, list(refused.data["errors"])) == (400, ["kc11_source"])
    # Whoever names the source along with the figure has said it, even when it is the same.
    same = client.patch(path, {"kc11": 2400, "kc11_source": "a handbook"}, format="json")
    assert (same.status_code, same.data["kc11"]) == (200, 2400.0)
