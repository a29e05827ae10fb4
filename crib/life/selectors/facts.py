"""A learnt law in words and figures, for people."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from crib.life.laws import NAMES, Law, law_of
from crib.life.models import LifeModel
from crib.life.selectors.taylor import taylor_of

# Eight in ten: 1.2816 standard deviations either way.
EIGHT_IN_TEN = 1.2816
FASTER = 1.1


@dataclass(frozen=True, slots=True)
class Fact:
    """One figure of a law, with the range in which it lies eight times in ten."""

    name: str
    value: str
    range: str = ""


def law_facts(*, model: LifeModel) -> list[Fact]:
    """Typical life, shape, what speed, feed and depth do, Taylor's n, and how often such edges break."""
    law = law_of(model)
    spread = [math.sqrt(max(law.covariance[row][row], 0.0)) for row in range(len(NAMES))]
    facts = [
        Fact(
            "Typical life at the reference",
            f"{_minutes(law.mean[0])} min",
            _around(law.mean[0], spread[0], " min"),
        ),
        Fact("Shape (1 is chance, 4 regular wear)", _figure(law.shape), _around(law.mean[-1], spread[-1])),
    ]
    for row, words in ((1, "10 % more speed"), (2, "10 % more feed"), (3, "10 % more depth"), (4, "10 % more width")):
        low, high = (law.mean[row] + side * EIGHT_IN_TEN * spread[row] for side in (-1, 1))
        facts.append(Fact(f"{words} makes the life", _effect(law.mean[row]), f"{_effect(low)} to {_effect(high)}"))
    facts.append(_taylor(model, float(law.mean[1]), spread[1]))
    facts.append(_breakage(law))
    pooled = model.parameters.get("pooled")
    return [*facts, _rests_on(pooled)] if pooled else facts


def _rests_on(pooled: Mapping[str, Any]) -> Fact:
    """How much of the typical life is said by own edges, by relatives and by the starting value."""
    begun = "its new edges" if "new" in pooled else "starting value"
    named = (("own", "own edges"), ("relatives", "relatives"), ("start", begun))
    weights = ", ".join(f"{words} {100 * pooled[name]:.0f} %" for name, words in named)
    relatives = f"relatives: {pooled['family']['worn']} worn in its family, {pooled['material_group']['worn']} beyond"
    return Fact("The typical life rests on", weights, relatives)


def _breakage(law: Law) -> Fact:
    watched, unit = (law.break_entries, "entries") if law.breaks_by_entry else (law.break_minutes, "minutes")
    rate = law.breaks / watched
    return Fact("Chips or breaks", f"once in {1 / rate:,.0f} {unit}" if rate > 1e-6 else "hardly ever")


def _taylor(model: LifeModel, slope: float, spread: float) -> Fact:
    """Taylor's n, once the edges have told it: what calculators then take in place of the assumed one."""
    fitted = taylor_of(model)
    if fitted is None:
        return Fact("Taylor's n", "not told yet", "needs 8 or more ended edges, at speeds that differ")
    ends = [-slope + side * EIGHT_IN_TEN * spread for side in (1, -1)]
    low, high = (1 / end if end > 1 else 1.0 for end in ends)
    return Fact("Taylor's n, as calculators take it", f"{fitted.n:.2f}", f"{low:.2f} to {high:.2f}")


def _minutes(log: float) -> str:
    return f"{math.exp(min(log, 40.0)):.3g}"


def _figure(value: float) -> str:
    return f"{value:.2g}"


def _around(log: float, spread: float, unit: str = "") -> str:
    low, high = (math.exp(min(log + side * EIGHT_IN_TEN * spread, 40.0)) for side in (-1, 1))
    return f"{low:.3g} to {high:.3g}{unit}"


def _effect(exponent: float) -> str:
    change = 100 * (FASTER ** max(min(exponent, 50.0), -50.0) - 1)
    return f"{abs(change):.0f} % {'longer' if change > 0 else 'shorter'}" if abs(change) >= 0.5 else "no different"
