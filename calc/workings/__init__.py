"""The register of workings: each calculator is declared once, and everything that offers it is made from that.

The page, the API with its schema, the command line and the documentation read the same declaration, so a working
added here appears everywhere, and nothing has to be listed a second time.

To add one, write in a module of this package (`cutting.py` shows many)::

    def _speed(given: Given) -> Found:
        surface_speed, diameter = given.quantity("surface_speed"), given.quantity("diameter")
        speed = spindle_speed(surface_speed, diameter)
        numbers = f"{given.show(surface_speed)} / (π · {given.show(diameter)})"
        step = Step("Spindle speed", "n = vc / (π · DC)", numbers, given.show(speed), "iso-3002-3 (m)")
        return Found(results={"spindle_speed": speed}, working=[step])

    WORKINGS = (
        Working(
            name="speed", title="Spindle speed", says="How fast to turn for a surface speed.", family="Cutting",
            inputs=(
                Input(name="diameter", label="Diameter", symbol="DC", unit="mm", required=True, above=0, example=10),
                Input(name="surface_speed", label="Surface speed", symbol="vc", unit="m/min", required=True, above=0),
            ),
            results=(Result(name="spindle_speed", label="Spindle speed", symbol="n", unit="1/min"),),
            compute=_speed,
            sources=("iso-3002-3 (m)",),
        ),
    )

- Every module of this package with a `WORKINGS` tuple is found by itself. Import heavy libraries inside `compute`:
  listing the register must stay light.
- Units are spelled as the interface prints them: mm, m/min, 1/min, mm/min, deg, min, kW, N/mm², cm³/min, N·m, µm, g;
  "" is a plain number. A `Kind.NUMBER` may carry any word as its unit ("per hour"): it is shown, not read.
- Kinds: QUANTITY (default), NUMBER, COUNT (whole), TEXT, CHOICE (with `choices`), BOOL, LIST (plain numbers, or rows
  with `fields`), OBJECT (with `fields`). Members of rows and objects are Inputs themselves, read the same way.
- Several ways to say one thing: give the inputs the same `group` and declare `Group(name=…, label=…)`; `needs=2` asks
  for any two; `required=False` lets all be left out; inputs that only make sense together (kc11, mc) share a `way`;
  `enough` names inputs that will do instead, where `compute` can choose the rest.
- Sources are keys of `calc/references.md`; "(m)" after one says that it is cited from memory.
- `default` is used when nothing is said; `assumed` is the sentence the answer then carries if `compute` read it.
- `above`, `lowest`, `highest` bound an input in its own unit. What only `compute` can see it refuses with
  `WorkingError(input name, sentence)`.
- Inputs called `tool`, `item`, `machine` and `material` are TEXT; the caller's `shop` looks them up, and what it knows
  of them fills inputs of the same names that were not given. `given.known` holds what was found.
- `takes_arrays=True` says that `compute` can be given one input as an array: it then leaves out the words
  (`given.many`), and marks limits and warnings with arrays of yes and no. A sweep of it is one call.
- `compute` leaves out of `results` what it could not work out; `Result.needs` says what would make it possible.
- A result may be a quantity, number, text, bool, None, or a list or mapping of these; `Found.texts` gives a better
  text for one where the usual text will not do.
"""

import functools
import importlib
import math
import pkgutil
from collections.abc import Mapping
from typing import Any

import numpy
import pint

from calc.errors import WorkingError
from calc.units import System
from calc.workings.answer import Answer, Value, value_of
from calc.workings.declaration import (
    Found,
    Given,
    Group,
    Input,
    InputErrors,
    Kind,
    Known,
    Mark,
    Result,
    Shop,
    Step,
    Working,
)
from calc.workings.reading import read_inputs

__all__ = [
    "Answer", "Found", "Given", "Group", "Input", "InputErrors", "Kind", "Known", "Mark", "Result", "Shop", "Step",
    "UnknownWorking", "Value", "Working", "all_workings", "compute", "get", "run",
]  # fmt: skip


FAMILIES = ("Cutting", "Life", "Money", "What to buy")
"""The order in which the register lists them; one that is not named here comes last."""


class UnknownWorking(WorkingError):
    """No working has that name."""


@functools.cache
def _register() -> dict[str, Working]:
    found: dict[str, Working] = {}
    for module in pkgutil.iter_modules(__path__):
        for working in getattr(importlib.import_module(f"{__name__}.{module.name}"), "WORKINGS", ()):
            if working.name in found:
                raise ValueError(f"two workings are called {working.name}")
            found[working.name] = working
    return found


def all_workings() -> tuple[Working, ...]:
    """Every working, grouped by family, in the order each family declares them.

    Returns
    -------
    the declarations

    >>> "milling" in [working.name for working in all_workings()]
    True
    """
    found = list(_register().values())
    families = list(dict.fromkeys([*FAMILIES, *(working.family for working in found)]))
    return tuple(sorted(found, key=lambda working: families.index(working.family)))


def get(name: str) -> Working:
    """Find a working by its name.

    Parameters
    ----------
    name : such as "chamfer-edge"

    Returns
    -------
    the declaration

    Raises
    ------
    UnknownWorking : when there is none

    >>> get("milling").title
    'Milling'
    """
    try:
        return _register()[name]
    except KeyError:
        known = ", ".join(working.name for working in all_workings())
        raise UnknownWorking("name", f'There is no working called "{str(name)[:40]}". There are: {known}.') from None


def run(name: str, raw_inputs: Mapping[str, object], system: System = "metric", shop: Shop | None = None) -> Answer:
    """Run a working on what a person or a program gave.

    Parameters
    ----------
    name : of the working
    raw_inputs : input name -> number in the listed unit, "value unit", text, bool, list or mapping
    system : "metric" or "inch", the units of the texts; values stay in the listed units
    shop : looks up what is named by "tool", "item", "machine" and "material"

    Returns
    -------
    the answer; its `as_dict` is what the API sends

    Raises
    ------
    UnknownWorking : when there is none of that name
    InputErrors : with every problem of the inputs, each naming its field
    WorkingError : for what only shows while computing

    >>> asked = {"diameter": "5/8 in", "teeth": 6, "surface_speed": "120 sfm", "feed_per_tooth": "0.0022 in"}
    >>> answer = run("milling", asked)
    >>> round(answer.results["spindle_speed"].value), answer.results["feed_rate"].text
    (733, '246 mm/min')
    """
    working = get(name)
    given = read_inputs(working, raw_inputs, system, shop)
    found = compute(working, given)
    for value in found.results.values():
        if not _finite(value):
            raise out_of_range(working, given)
    return Answer(
        working=working,
        inputs={
            entry.name: value_of(entry, given.values[entry.name], system)
            for entry in working.inputs
            if entry.name in given.values
        },
        results={
            result.name: value_of(result, found.results[result.name], system, found.texts.get(result.name))
            for result in working.results
            if result.name in found.results
        },
        steps=tuple(found.working),
        assumed=(*_assumed(working, given), *_looked_up(working, given), *found.assumed),
        cautions=(*working.cautions, *found.cautions),
        sources=working.sources,
        warnings=tuple(found.warnings),
        brought={name: given.known[lookup].name for name, lookup in given.brought.items()},
        system=system,
    )


def compute(working: Working, given: Given) -> Found:
    """Compute with inputs that were read, and turn what overflows into a sentence.

    Parameters
    ----------
    working : the declaration
    given : its inputs; one of them an array in a sweep

    Returns
    -------
    what was found

    Raises
    ------
    WorkingError : for what only shows while computing

    >>> compute(get("milling"), read_inputs(get("milling"), get("milling").example, "metric", None)).marks
    []
    """
    try:
        # What overflows in an array is found among the results, and refused there with a sentence.
        with numpy.errstate(all="ignore"):
            found = working.compute(given)
    except (OverflowError, ZeroDivisionError):
        raise out_of_range(working, given) from None
    if undeclared := found.results.keys() - {result.name for result in working.results}:
        raise KeyError(f"{working.name} does not declare its result {min(undeclared)}")
    return found


def _assumed(working: Working, given: Given) -> list[str]:
    return [entry.assumed for entry in working.inputs if entry.name in given.defaulted & given.used and entry.assumed]


def _looked_up(working: Working, given: Given) -> list[str]:
    """What was taken from the shop's own records, a sentence for each thing that was named."""
    said = []
    for lookup, thing in given.known.items():
        taken: dict[str, list[str]] = {}
        for entry in working.inputs:
            if given.brought.get(entry.name) == lookup and entry.name in given.used:
                text = value_of(entry, given.values[entry.name], given.system).text
                source = thing.sources.get(entry.name, thing.source)
                taken.setdefault(source, []).append(f"{entry.symbol or entry.label.lower()} {text}")
        parts = [", ".join(texts) + (f" ({source})" if source else "") for source, texts in taken.items()]
        if parts:
            said.append(f"{thing.name}: {', '.join(parts)}.")
    return said


def out_of_range(working: Working, given: Given) -> WorkingError:
    """The complaint about numbers that lead beyond what can be computed.

    Parameters
    ----------
    working : the declaration
    given : its inputs

    Returns
    -------
    the error to raise

    >>> given = read_inputs(get("milling"), get("milling").example, "metric", None)
    >>> out_of_range(get("milling"), given).argument
    'diameter'
    """
    first = next((entry for entry in working.inputs if entry.name in given.values), working.inputs[0])
    return WorkingError(
        first.name, "These numbers together lead to something beyond all measure; check each with its unit."
    )


def _finite(value: Any) -> bool:
    """No infinity and no not-a-number may leave, wherever it hides."""
    if isinstance(value, pint.Quantity):
        return _finite(value.magnitude)
    if isinstance(value, Mapping):
        return all(_finite(member) for member in value.values())
    if isinstance(value, list | tuple):
        return all(_finite(member) for member in value)
    return not isinstance(value, float) or math.isfinite(value)
