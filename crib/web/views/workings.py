"""The calculators: their list, and a page for each, made from its declaration."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from calc.errors import WorkingError
from calc.sources import describe
from calc.units import System
from calc.workings import Answer, InputErrors, Kind, Result, UnknownWorking, Working, all_workings, get, run
from crib.catalogue.known import cutting_material_names
from crib.core.errors import NotFound
from crib.life.known import look_up
from crib.web.acting import signed_in_person
from crib.web.drawings import drawing_of
from crib.web.working_fields import Asked, ask, example_query

MOST_FIGURES = 4
VERDICTS = ("fits", "why_not", "capped_by")


@require_safe
def workings(request: HttpRequest) -> HttpResponse:
    families = [(family, list(found)) for family, found in groupby(all_workings(), key=lambda one: one.family)]
    return render(request, "crib/workings/workings.html", {"families": families})


@require_safe
def working(request: HttpRequest, name: str) -> HttpResponse:
    found = _find(name)
    system = _system(request)
    asked = ask(found, _query(request), system, cutting_material_names())
    outcome = work_out(found, asked, system)
    page = reverse("crib:working", args=[name])
    context = {
        "working": found,
        "asked": asked,
        "outcome": outcome,
        "system": system,
        "others": [other for other in all_workings() if other.family == found.family and other is not found],
        "example": f"{page}?{urlencode({'units': system, **example_query(found, system)})}",
        "page": page,
    }
    part = getattr(request, "htmx", False)
    response = render(request, "crib/workings/_answer.html" if part else "crib/workings/working.html", context)
    if part:
        # The address keeps what was typed and nothing else, so that it can be passed on.
        typed = {key: value for key, value in _query(request).items() if value.strip()}
        response["HX-Replace-Url"] = f"{page}?{urlencode(typed)}"
    return response


def _query(request: HttpRequest) -> dict[str, str]:
    return {key: str(value) for key, value in request.GET.items()}


def _find(name: str) -> Working:
    try:
        return get(name)
    except UnknownWorking as unknown:
        raise NotFound(unknown.sentence) from unknown


def _system(request: HttpRequest) -> System:
    """The units an address was made in, so that it reads the same for whoever opens it; else the person's own."""
    person = signed_in_person(request)
    units = request.GET.get("units") or (person.units if person else settings.UNITS)
    return "inch" if units == "inch" else "metric"


@dataclass(frozen=True)
class Shown:
    """One result as the page shows it."""

    label: str
    symbol: str
    number: str
    unit: str
    needs: str = ""


@dataclass(frozen=True)
class Outcome:
    """What the page says to what was typed: nothing yet, what is wrong or missing, or the answer."""

    answer: Answer | None = None
    wrong: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    figures: tuple[Shown, ...] = ()
    facts: tuple[Shown, ...] = ()
    left_out: tuple[Shown, ...] = ()
    verdict: str = ""
    fits: bool | None = None
    held_back: str = ""
    drawing: Any = ""
    sources: tuple[tuple[str, str], ...] = ()

    @property
    def summary(self) -> str:
        """One line for whoever types further up the page, or does not see it."""
        if self.wrong:
            return ""  # said beside its control already
        if self.missing:
            return self.missing[0]
        spoken = " · ".join(f"{shown.label} {shown.number} {shown.unit}".strip() for shown in self.figures)
        return f"Does not fit. {spoken}" if self.fits is False else spoken


def work_out(found: Working, asked: Asked, system: System) -> Outcome:
    """Run the working on what was typed; what is missing is asked for, what is wrong is said beside its control."""
    if not asked.typed:
        return Outcome()
    try:
        answer = run(found.name, asked.raw, system, look_up)
    except InputErrors as problems:
        missing = asked.place(problems.by_field())
        wrong = tuple(sentence for one in asked.fields() for sentence in one.errors)
        return Outcome(wrong=wrong, missing=tuple(sentence for _, sentences in missing for sentence in sentences))
    except WorkingError as problem:
        asked.place({problem.argument: [problem.sentence]})
        return Outcome(wrong=(problem.sentence,))
    return _outcome(found, answer)


def _outcome(found: Working, answer: Answer) -> Outcome:
    shown = [result for result in found.results if result.name in answer.results and result.name not in VERDICTS]
    first = [name for name in found.headline if name in answer.results] or [
        result.name for result in shown if result.kind in (Kind.QUANTITY, Kind.NUMBER, Kind.COUNT)
    ]
    big = [next(result for result in shown if result.name == name) for name in first[:MOST_FIGURES]]
    verdicts = {name: answer.results[name] for name in VERDICTS if name in answer.results}
    held = verdicts.get("capped_by")
    return Outcome(
        answer=answer,
        figures=tuple(_shown(result, answer) for result in big),
        facts=tuple(_shown(result, answer) for result in shown if result not in big),
        left_out=tuple(
            Shown(result.label, result.symbol, "", "", result.needs)
            for result in found.results
            if result.name not in answer.results and result.needs
        ),
        verdict=verdicts["why_not"].text if "why_not" in verdicts else "",
        fits=verdicts["fits"].value if "fits" in verdicts else None,
        held_back=held.text if held is not None and held.value else "",
        drawing=drawing_of(answer),
        sources=tuple((key, describe(key)) for key in _used_sources(answer)),
    )


def _used_sources(answer: Answer) -> list[str]:
    """Those of the steps as they come, then what the working cites beside."""
    return list(dict.fromkeys([*(step.source for step in answer.steps), *answer.sources]))


def _shown(result: Result, answer: Answer) -> Shown:
    text = answer.results[result.name].text
    number, space, unit = text.partition(" ")
    plain = number.replace(".", "").replace("-", "").isdigit()
    if not (space and plain and len(unit) <= 10):
        number, unit = text, ""
    return Shown(result.label, result.symbol, number, unit)
