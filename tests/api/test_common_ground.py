"""What every resource of the API shares: problems, kept answers, unknown addresses, the schema and its page."""

import json

import pytest
from django.db import OperationalError
from django.test import Client
from rest_framework import exceptions, serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory, force_authenticate
from rest_framework.views import APIView

from calc.errors import WorkingError
from crib.api.errors import PROBLEM_JSON, problem
from crib.api.fields import PhysicalField
from crib.api.idempotency import idempotent, service_key
from crib.core.errors import NotFound, Refused
from crib.core.models import KeptAnswer
from crib.people.models import Person


@pytest.fixture
def anna(db: None) -> Person:
    return Person.objects.create_user("anna")


class Tally(APIView):
    """A stand-in resource that counts how often its work was really done."""

    done = 0

    @idempotent
    def post(self, request: Request) -> Response:
        if isinstance(request.data, dict) and request.data.get("fail"):
            raise Refused("The bin is empty. Take from another.")
        type(self).done += 1
        return Response({"done": type(self).done, "key": service_key(request)}, status=201)


def send(person: Person, body: object, key: str | None = None) -> Response:
    headers = {"Idempotency-Key": key} if key is not None else {}
    request = APIRequestFactory().post("/tally/", body, format="json", headers=headers)
    force_authenticate(request, person)
    answer = Tally.as_view()(request)
    answer.render()
    return answer


@pytest.fixture(autouse=True)
def fresh_tally() -> None:
    Tally.done = 0


def test_the_same_key_and_body_answers_the_first_result(anna: Person) -> None:
    first, again = send(anna, {"a": 1, "b": 2}, "k1"), send(anna, {"b": 2, "a": 1}, "k1")
    assert (first.status_code, first.data["done"]) == (201, 1)
    assert (again.status_code, again.data) == (201, json.loads(first.content))
    assert again["Idempotent-Replayed"] == "true"
    assert Tally.done == 1


def test_the_same_key_with_another_body_is_a_conflict(anna: Person) -> None:
    send(anna, {"a": 1}, "k1")
    refused = send(anna, {"a": 2}, "k1")
    assert refused.status_code == 409
    assert refused.data["type"] == "urn:edgetally:problem:key-already-used"
    assert Tally.done == 1


def test_two_people_may_use_the_same_key(anna: Person) -> None:
    send(anna, {"a": 1}, "k1")
    assert send(Person.objects.create_user("bert"), {"a": 1}, "k1").data["done"] == 2


def test_a_refused_request_keeps_nothing_so_that_it_can_be_sent_again(anna: Person) -> None:
    assert send(anna, {"fail": True}, "k1").status_code == 409
    assert not KeptAnswer.objects.exists()
    assert send(anna, {"fail": False}, "k1").status_code == 201


def test_without_a_key_each_request_is_new_work(anna: Person) -> None:
    assert send(anna, {}).data["key"] != send(anna, {}).data["key"]
    assert Tally.done == 2


@pytest.mark.parametrize("key", ["x" * 101, "a\x07b"])
def test_a_key_that_cannot_be_kept_is_refused_by_name(anna: Person, key: str) -> None:
    refused = send(anna, {}, key)
    assert refused.status_code == 400
    assert "Idempotency-Key" in refused.data["errors"]


@pytest.mark.parametrize(
    ("raised", "status", "code", "field"),
    [
        (NotFound("No design goes by “X”. Check the code."), 404, "not-found", None),
        (WorkingError("diameter", "The diameter must be above zero."), 400, "bad-input", "diameter"),
        (serializers.ValidationError({"parts": ["Not a number."]}), 400, "bad-input", "parts"),
        (serializers.ValidationError({"lines": [{}, {"parts": ["Not a number."]}]}), 400, "bad-input", "lines.1.parts"),
        (serializers.ValidationError(["Send a list."]), 400, "bad-input", "body"),
        (serializers.ValidationError({"non_field_errors": ["Both are given."]}), 400, "bad-input", "body"),
        (exceptions.NotAuthenticated(), 401, "not-signed-in", None),
        (exceptions.PermissionDenied(), 403, "not-allowed", None),
        (exceptions.Throttled(wait=3), 429, "too-many-requests", None),
        (OverflowError("int too large"), 400, "bad-input", None),
        (OperationalError("attempt to write a readonly database"), 503, "database-away", None),
    ],
)
def test_a_refusal_is_a_problem_document(raised: Exception, status: int, code: str, field: str | None) -> None:
    answer = problem(raised, {})
    assert answer is not None
    assert answer.status_code == answer.data["status"] == status
    assert answer.content_type == PROBLEM_JSON
    assert answer.data["type"].endswith(":" + code)
    assert answer.data["detail"].strip()
    assert list(answer.data["errors"]) == ([field] if field else [])


def test_what_nobody_expected_is_left_to_be_logged() -> None:
    assert problem(RuntimeError("a defect"), {}) is None


@pytest.mark.parametrize(("given", "kept"), [(12, 12.0), ("0.5 in", 12.7), ("12.7", 12.7), ("1 cm", 10.0)])
def test_a_physical_field_takes_a_number_or_a_text_with_a_unit(given: object, kept: float) -> None:
    field = PhysicalField(unit="mm")
    assert field.run_validation(given) == pytest.approx(kept)


@pytest.mark.parametrize("given", ["ten", "5 kW", True, [], "", "1e400 mm", float("nan")])
def test_a_physical_field_refuses_what_is_no_length(given: object) -> None:
    with pytest.raises(serializers.ValidationError):
        PhysicalField(unit="mm").run_validation(given)


def test_a_physical_field_can_ask_for_more_than_zero() -> None:
    with pytest.raises(serializers.ValidationError, match="above zero"):
        PhysicalField(unit="mm", above_zero=True).run_validation(0)
    with pytest.raises(serializers.ValidationError, match="below zero"):
        PhysicalField(unit="mm", not_negative=True).run_validation(-1)


@pytest.mark.django_db
def test_signed_out_callers_are_told_how_to_sign_in(client: Client) -> None:
    answer = client.get("/api/v1/nothing-here/")
    assert answer.status_code == 401
    assert answer["Content-Type"] == PROBLEM_JSON
    assert "token" in answer.json()["detail"]


def test_an_address_that_leads_nowhere_is_a_problem_document(client: Client, anna: Person) -> None:
    client.force_login(anna, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.get("/api/v1/nothing-here/")
    assert answer.status_code == 404
    assert answer["Content-Type"] == PROBLEM_JSON


def test_the_schema_and_its_page_can_be_read(client: Client, anna: Person) -> None:
    client.force_login(anna, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/api/v1/schema/").status_code == 200
    page = client.get("/api/v1/docs/")
    assert page.status_code == 200
    assert b"Idempotency-Key" in page.content
