"""Values from outside, asked of the workings as a person would type them, in metric or in inches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pytest

from calc.units import read_quantity
from calc.workings import Kind, get, run


@dataclass(frozen=True)
class Published:
    """One question with its answer from outside.

    Parameters
    ----------
    name : of the check
    source : where statement and value come from; "(m)" after what is from memory
    working : that is asked
    asked : its inputs, as typed
    gives : result -> value with its unit as text, or a plain number
    within : relative tolerance, as wide as the source's rounding
    """

    name: str
    source: str
    working: str
    asked: Mapping[str, Any]
    gives: Mapping[str, str | float] = field(default_factory=dict)
    within: float = 0.002

    def __str__(self) -> str:
        return self.name


def results(working: str, **asked: Any) -> dict[str, Any]:
    """Bare values of the results, in their listed units."""
    return {name: found.value for name, found in run(working, asked).results.items()}


def agrees(check: Published) -> None:
    """Ask the working, and compare each value that was published."""
    assert check.source
    assert check.gives
    found = run(check.working, check.asked).results
    declared = {result.name: result for result in get(check.working).results}
    for name, wanted in check.gives.items():
        if declared[name].kind is Kind.QUANTITY:
            wanted = read_quantity(name, wanted, declared[name].unit).magnitude
        assert found[name].value == pytest.approx(wanted, rel=check.within), (name, check.source)
