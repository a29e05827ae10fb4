"""The calculators: one address for each working of the register, generated from its declaration."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from calc.units import System
from calc.workings import UnknownWorking, Working, all_workings, get, run
from calc.workings.sweep import sweep
from crib.api.workings_schema import (
    DECLARATION_SCHEMA,
    PROBLEM_SCHEMA,
    REGISTER_SCHEMA,
    answer_schema,
    declared,
    request_schema,
    sweep_answer_schema,
    sweep_request_schema,
)
from crib.core.errors import BadInput, NotFound
from crib.life.known import look_up

UNITS = OpenApiParameter(
    "units", enum=["metric", "inch"], description="Units of the texts; by default those of the person. Values stay."
)


class Register(APIView):
    """Every calculator with its inputs, their units, and its results."""

    @extend_schema(operation_id="workings_list", responses={(200, "application/json"): REGISTER_SCHEMA})
    def get(self, request: Request) -> Response:
        return Response([declared(working) for working in all_workings()])


class WorkingView(APIView):
    """One calculator: GET is what it takes and gives, POST works it out."""

    working_name: ClassVar[str] = ""

    def get(self, request: Request, name: str = "") -> Response:
        return Response(declared(_find(name or self.working_name)))

    def post(self, request: Request, name: str = "") -> Response:
        working = _find(name or self.working_name)
        body = request.data
        if not isinstance(body, Mapping):
            raise ValidationError('Send a JSON object of inputs, such as {"diameter": 10}.')
        answer = run(working.name, body, _system(request), look_up)
        return Response(answer.as_dict())


class SweepView(APIView):
    """All results of one calculator along a range of one of its inputs."""

    working_name: ClassVar[str] = ""

    def post(self, request: Request, name: str = "") -> Response:
        working = _find(name or self.working_name)
        body = request.data
        if not isinstance(body, Mapping) or not isinstance(body.get("inputs", {}), Mapping):
            raise ValidationError(
                'Send a JSON object, such as {"inputs": {…}, "over": "diameter", "from": 5, "to": 20}.'
            )
        if unknown := sorted(set(body) - set(SWEEP_FIELDS)):
            raise BadInput(
                unknown[0], f"There is no “{unknown[0][:40]}” in a sweep: it takes {', '.join(SWEEP_FIELDS)}."
            )
        swept = sweep(
            working.name, body.get("inputs", {}), body.get("over", ""), body.get("from"), body.get("to"),
            points=body.get("points", 100), system=_system(request), shop=look_up,
        )  # fmt: skip
        return Response(swept.as_dict())


SWEEP_FIELDS = ("inputs", "over", "from", "to", "points")


def _find(name: str) -> Working:
    try:
        return get(name)
    except UnknownWorking as unknown:
        raise NotFound(unknown.sentence) from unknown


def _system(request: Request) -> System:
    """The reader's units: as asked for in the address, else the person's own."""
    asked = request.GET.get("units", getattr(request.user, "units", "metric"))
    if asked not in ("metric", "inch"):
        raise BadInput("units", "Units are metric or inch.")
    return "inch" if asked == "inch" else "metric"


def _views_of(working: Working) -> tuple[Any, Any]:
    """Views of its own for each working, so that the schema shows what that one takes and gives."""
    name, word = working.name.title().replace("-", ""), working.name.replace("-", "_")
    about = {"working_name": working.name, "__doc__": working.says}
    run_view: type[APIView] = type(f"{name}Working", (WorkingView,), about)
    sweep_view: type[APIView] = type(f"{name}Sweep", (SweepView,), about)
    wrong = {(400, "application/problem+json"): PROBLEM_SCHEMA}
    described = extend_schema_view(
        get=extend_schema(
            operation_id=f"workings_{word}_retrieve",
            description=f"{working.title}: what it takes and gives.",
            responses={(200, "application/json"): DECLARATION_SCHEMA},
        ),
        post=extend_schema(
            operation_id=f"workings_{word}_run",
            description=working.says,
            parameters=[UNITS],
            request={"application/json": request_schema(working)},
            responses={(200, "application/json"): answer_schema(working), **wrong},
        ),
    )(run_view)
    swept = extend_schema_view(
        post=extend_schema(
            operation_id=f"workings_{word}_sweep",
            description=f"{working.title}: all results along a range of one input, with the limits on the way.",
            parameters=[UNITS],
            request={"application/json": sweep_request_schema(working)},
            responses={(200, "application/json"): sweep_answer_schema(working), **wrong},
        ),
    )(sweep_view)
    return described.as_view(), swept.as_view()


@extend_schema(exclude=True)
class UnknownName(WorkingView):
    """Whatever other name is asked for is told which there are."""


@extend_schema(exclude=True)
class UnknownSweep(SweepView):
    """As above, for a sweep."""


paths = [path("workings/", Register.as_view(), name="workings")]
for one in all_workings():
    run_it, sweep_it = _views_of(one)
    paths += [path(f"workings/{one.name}/", run_it), path(f"workings/{one.name}/sweep/", sweep_it)]
paths += [
    path("workings/<str:name>/", UnknownName.as_view(), name="working"),
    path("workings/<str:name>/sweep/", UnknownSweep.as_view(), name="working-sweep"),
]
