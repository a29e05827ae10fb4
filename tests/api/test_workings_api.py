"""The calculators over REST: the register, each working, and what is said of input that cannot be used."""

from __future__ import annotations

import json
from typing import Any

import pytest
from rest_framework.test import APIClient

from calc.workings import Kind, Working, all_workings, run
from calc.workings.sweep import sweepable
from crib.catalogue.models import WorkMaterial
from crib.people.models import Person
from tests.shop import Shop

BASE = "/api/v1/workings/"
MILLING = {"diameter": "5/8 in", "teeth": 6, "surface_speed": "120 sfm", "feed_per_tooth": "0.0022 in"}


@pytest.fixture
def client(shop: Shop) -> APIClient:
    return signed_in(shop.setter)


def signed_in(person: Person) -> APIClient:
    client = APIClient()
    client.force_authenticate(person)
    return client


def material(name: str, **more: Any) -> WorkMaterial:
    fields = {"iso_group": "M", "kc11": 2400, "mc": 0.21, "kc11_source": "handbook", "mc_source": "handbook"}
    return WorkMaterial.objects.create(name=name, **{**fields, **more})


def test_the_register_lists_every_working_with_its_inputs_and_units(client: APIClient) -> None:
    body = client.get(BASE).json()
    assert [entry["name"] for entry in body] == [working.name for working in all_workings()]
    milling = next(entry for entry in body if entry["name"] == "milling")
    inputs = {entry["name"]: entry for entry in milling["inputs"]}
    assert inputs["surface_speed"]["unit"] == "m/min"
    assert inputs["surface_speed"]["group"] == inputs["spindle_speed"]["group"] == "speed"
    assert inputs["kc11"]["way"] == inputs["mc"]["way"] == "force"
    assert {entry["name"] for entry in milling["results"]} >= {"spindle_speed", "torque", "capped_by"}
    assert client.get(BASE + "milling/").json() == milling


@pytest.mark.parametrize("working", all_workings(), ids=lambda working: working.name)
def test_every_working_answers_its_own_example(client: APIClient, working: Working) -> None:
    example = working.example
    response = client.post(f"{BASE}{working.name}/", example, format="json")
    assert response.status_code == 200, response.json()
    assert response.json() == json.loads(json.dumps(run(working.name, example).as_dict()))


def test_milling_by_the_shop_s_own_words(client: APIClient) -> None:
    # Common practice, no source: a 5/8 in six-flute chamfer mill at 120 sfm turns at 733 and feeds at 9.68 in/min.
    results = client.post(BASE + "milling/", MILLING, format="json").json()["results"]
    assert results["spindle_speed"]["value"] == pytest.approx(733, rel=0.001)
    assert results["feed_rate"]["value"] / 25.4 == pytest.approx(9.68, rel=0.001)
    assert results["feed_rate"]["unit"] == "mm/min"


def test_texts_follow_the_person_s_units_and_values_do_not(shop: Shop) -> None:
    client = signed_in(shop.setter)
    shop.setter.units = "inch"
    own = client.post(BASE + "milling/", MILLING, format="json").json()["results"]["feed_rate"]
    asked = client.post(BASE + "milling/?units=metric", MILLING, format="json").json()["results"]["feed_rate"]
    assert (own["text"], asked["text"]) == ("9.68 in/min", "246 mm/min")
    assert own["value"] == asked["value"]
    refused = client.post(BASE + "milling/?units=cubits", MILLING, format="json")
    assert refused.status_code == 400
    assert refused.json()["errors"] == {"units": ["Units are metric or inch."]}


def test_a_material_is_found_by_name_or_number(client: APIClient) -> None:
    duplex = material("Duplex 1.4462")
    loaded = {**MILLING, "axial_depth": 5, "radial_depth": 1}
    by_name = client.post(BASE + "milling/", {**loaded, "material": "duplex 1.4462"}, format="json").json()
    by_number = client.post(BASE + "milling/", {**loaded, "material": str(duplex.pk)}, format="json").json()
    as_number = client.post(BASE + "milling/", {**loaded, "material": duplex.pk}, format="json").json()
    assert by_name["results"] == by_number["results"] == as_number["results"]
    assert by_name["results"]["cutting_power"]["value"] > 0
    assert "Duplex 1.4462: kc1.1 2400 N/mm², mc 0.21 (handbook)." in by_name["assumed"]


def test_a_material_s_two_sources_are_both_named(client: APIClient) -> None:
    material("Ti 6-4", kc11_source="test cuts", mc_source="assumed")
    body = client.post(
        BASE + "milling/", {**MILLING, "axial_depth": 5, "radial_depth": 1, "material": "Ti 6-4"}, "json"
    )
    assert "Ti 6-4: kc1.1 2400 N/mm² (test cuts), mc 0.21 (assumed)." in body.json()["assumed"]


def test_an_unknown_material_names_what_there_is(client: APIClient) -> None:
    def refusal(name: str) -> str:
        response = client.post(BASE + "milling/", {**MILLING, "material": name}, format="json")
        assert response.status_code == 400
        return str(response.json()["errors"]["material"][0])

    assert refusal("duplex").startswith("Material: the catalogue holds no work material yet")
    material("Duplex 1.4462")
    material("Nickel 718")
    assert refusal("dup") == "Material: “dup” is not in the catalogue. There is Duplex 1.4462."
    assert refusal("cheese") == "Material: “cheese” is not in the catalogue. There is Duplex 1.4462, Nickel 718."
    for number in range(7):
        material(f"Steel {number}")
    assert refusal("steel").endswith("Steel 4, Steel 5 and others.")


@pytest.mark.parametrize(
    ("body", "field", "says"),
    [
        ({}, "diameter", "Diameter is missing"),
        ({**MILLING, "diameter": 0}, "diameter", "Diameter must be above zero."),
        ({**MILLING, "diameter": "10 kW"}, "diameter", 'given in "kW"'),
        ({**MILLING, "diameter": True}, "diameter", "not yes or no"),
        ({**MILLING, "diameter": 1e300}, "diameter", "beyond anything a shop can mean"),
        ({**MILLING, "diameter": [1]}, "diameter", "must be a number"),
        ({**MILLING, "diameter": {"value": 1}}, "diameter", "must be a number"),
        ({**MILLING, "teeth": 2.5}, "teeth", "whole number"),
        ({**MILLING, "colour": "red"}, "colour", "There is no input"),
        ({**MILLING, "spindle_speed": 100}, "spindle_speed", "said twice over"),
        ({**MILLING, "radial_depth": 500}, "radial_depth", "cannot be more than the diameter"),
    ],
)
def test_bad_input_is_a_problem_document_that_names_the_field(
    client: APIClient, body: dict[str, Any], field: str, says: str
) -> None:
    response = client.post(BASE + "milling/", body, format="json")
    assert response.status_code == 400
    assert response["Content-Type"] == "application/problem+json"
    problem = response.json()
    assert problem["type"] == "urn:edgetally:problem:bad-input"
    assert says in problem["errors"][field][0]
    assert problem["detail"].endswith(".")


def test_several_problems_are_told_at_once(client: APIClient) -> None:
    errors = client.post(BASE + "milling/", {"diameter": -1, "teeth": "many"}, format="json").json()["errors"]
    assert set(errors) == {"diameter", "teeth", "surface_speed", "feed_per_tooth"}


@pytest.mark.parametrize("body", ["[1, 2]", '"milling"', "null", "3", "{", '{"diameter": NaN}'])
def test_a_body_that_is_no_object_is_refused(client: APIClient, body: str) -> None:
    response = client.post(BASE + "milling/", body, content_type="application/json")
    assert response.status_code == 400
    assert response.json()["detail"]


def test_what_does_not_fit_is_an_answer_not_an_error(client: APIClient) -> None:
    body = {"hole_diameter": 0.8, "chamfer_diameter": 2, "included_angle": 90, "tip_diameter": 1}
    response = client.post(BASE + "chamfer-hole/", body, format="json")
    assert response.status_code == 200
    results = response.json()["results"]
    assert results["fits"]["value"] is False
    assert "does not enter a hole of 0.8 mm" in results["why_not"]["value"]


def test_an_unknown_working_lists_the_known(client: APIClient) -> None:
    for response in (client.get(BASE + "milking/"), client.post(BASE + "milking/", {}, format="json")):
        assert response.status_code == 404
        assert "There are: milling, drilling" in response.json()["detail"]


def test_the_calculators_ask_for_sign_in(db: None) -> None:
    for response in (APIClient().get(BASE), APIClient().post(BASE + "milling/", MILLING, format="json")):
        assert response.status_code == 401


def test_the_schema_describes_each_working_from_its_declaration(client: APIClient) -> None:
    schema = client.get("/api/v1/schema/?format=json").json()
    for working in all_workings():
        call = schema["paths"][f"{BASE}{working.name}/"]["post"]
        asked = call["requestBody"]["content"]["application/json"]["schema"]
        assert list(asked["properties"]) == [entry.name for entry in working.inputs]
        assert asked.get("required", []) == [entry.name for entry in working.inputs if entry.required]
        given = call["responses"]["200"]["content"]["application/json"]["schema"]["properties"]["results"]
        assert list(given["properties"]) == [result.name for result in working.results]
    assert "/api/v1/workings/{name}/" not in schema["paths"]


SWEEP = {"inputs": MILLING, "over": "radial_depth", "from": 1, "to": "1 in", "points": 20}


def test_a_sweep_answers_every_result_along_a_range(client: APIClient) -> None:
    body = client.post(BASE + "milling/sweep/", SWEEP, format="json").json()
    assert body["over"]["values"][0] == 1
    assert body["over"]["values"][-1] == pytest.approx(15.875, abs=1e-4)
    assert body["results"]["max_chip_thickness"]["unit"] == "mm"
    assert len(body["results"]["engagement_angle"]["values"]) == 20
    assert body["ends"][0].startswith("From 15.875 mm on: Radial depth cannot be more than the diameter")
    assert "radial_depth" in client.get(BASE + "milling/").json()["sweepable"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"over": "colour"}, "over"),
        ({"over": ["radial_depth"]}, "over"),
        ({"from": None}, "from"),
        ({"to": "NaN"}, "to"),
        ({"points": 10**9}, "points"),
        ({"inputs": {**MILLING, "teeth": 0}}, "teeth"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_sweep_that_makes_no_sense_names_the_field(client: APIClient, change: dict[str, Any], field: str) -> None:
    response = client.post(BASE + "milling/sweep/", {**SWEEP, **change}, format="json")
    assert response.status_code == 400
    assert field in response.json()["errors"]


@pytest.mark.parametrize("body", [[1], {"inputs": [1], "over": "teeth"}, "radial_depth"])
def test_a_sweep_wants_an_object(client: APIClient, body: object) -> None:
    assert client.post(BASE + "milling/sweep/", body, format="json").status_code == 400


def test_a_sweep_of_an_unknown_working_is_told_which_there_are(client: APIClient) -> None:
    response = client.post(BASE + "sawing/sweep/", SWEEP, format="json")
    assert response.status_code == 404
    assert "milling" in response.json()["detail"]


@pytest.mark.parametrize("working", all_workings(), ids=lambda working: working.name)
def test_every_working_can_be_swept_from_its_own_declaration(client: APIClient, working: Working) -> None:
    for entry in sweepable(working):
        middle = working.example.get(entry.name)
        if not isinstance(middle, int | float):
            continue
        low, high = (1, 4) if entry.kind is Kind.COUNT else (middle * 0.9, middle * 1.05)
        asked = {"inputs": working.example, "over": entry.name, "from": low, "to": high, "points": 3}
        response = client.post(f"{BASE}{working.name}/sweep/", asked, format="json")
        assert response.status_code == 200, response.json()
