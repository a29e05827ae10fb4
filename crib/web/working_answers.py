"""What a calculator's page says to what was typed: nothing yet, what is wrong or missing, or the answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from calc.errors import WorkingError
from calc.sources import describe
from calc.units import System
from calc.workings import Answer, InputErrors, Kind, Result, Working, run
from crib.life.known import look_up
from crib.web.drawings import drawing_of
from crib.web.working_fields import Asked

MOST_FIGURES = 4
VERDICTS = ("fits", "why_not", "capped_by")


@dataclass(frozen=True)
class Shown:
    """One result as the page shows it."""

    label: str
    symbol: str
    number: str
    unit: str
    needs: str = ""

    @property
    def line(self) -> str:
        """The result as one line of text."""
        return " ".join(part for part in (f"{self.label}:", self.number, self.unit) if part)


@dataclass(frozen=True)
class Outcome:
    """The answer with what the page needs beside it."""

    answer: Answer | None = None
    wrong: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    given: tuple[tuple[str, str], ...] = ()
    figures: tuple[Shown, ...] = ()
    facts: tuple[Shown, ...] = ()
    left_out: tuple[Shown, ...] = ()
    verdict: str = ""
    fits: bool | None = None
    held_back: str = ""
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
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
        warned = f"{spoken} · {len(self.warnings)} to take care of" if self.warnings else spoken
        return f"Does not fit. {warned}" if self.fits is False else warned

    @property
    def as_text(self) -> str:
        """The results as lines, to be copied elsewhere."""
        if self.answer is None:
            return ""
        lines = [self.answer.working.title, *(shown.line for shown in (*self.figures, *self.facts))]
        return "\n".join([*lines, *(f"Take care: {sentence}" for sentence in self.warnings)])


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
    asked.tell_brought(answer)
    return _outcome(found, answer)


def _outcome(found: Working, answer: Answer) -> Outcome:
    shown = [result for result in found.results if result.name in answer.results and result.name not in VERDICTS]
    first = [name for name in found.headline if name in answer.results] or [
        result.name for result in shown if result.kind in (Kind.QUANTITY, Kind.NUMBER, Kind.COUNT)
    ]
    big = [next(result for result in shown if result.name == name) for name in first[:MOST_FIGURES]]
    verdicts = {name: answer.results[name] for name in VERDICTS if name in answer.results}
    held = verdicts.get("capped_by")
    verdict = verdicts["why_not"].text if "why_not" in verdicts else ""
    return Outcome(
        answer=answer,
        given=tuple(
            (entry.label, answer.inputs[entry.name].text)
            for entry in found.inputs
            if entry.name in answer.inputs and entry.kind not in (Kind.LIST, Kind.OBJECT)
        ),
        figures=tuple(_shown(result, answer) for result in big),
        facts=tuple(_shown(result, answer) for result in shown if result not in big),
        left_out=tuple(
            Shown(result.label, result.symbol, "", "", result.needs)
            for result in found.results
            if result.name not in answer.results and result.needs
        ),
        verdict=verdict,
        fits=verdicts["fits"].value if "fits" in verdicts else None,
        held_back=held.text if held is not None and held.value else "",
        warnings=tuple(sentence for sentence in answer.warnings if sentence != verdict),
        cautions=tuple(sentence for sentence in answer.cautions if sentence != verdict),
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
