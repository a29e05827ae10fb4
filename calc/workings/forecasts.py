"""Workings about an edge in use: when to change it, and what is left of it."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from calc.errors import WorkingError
from calc.life.batch import chance_of_batch, edges_to_stage, parts_left, whole_parts
from calc.life.replacement import Change, ChangeParts, change_age, change_parts
from calc.life.survival import remaining_minutes, survival
from calc.life.wear import chance_left, chances_of_parts, life_given_wear
from calc.units import plain, show, show_number
from calc.workings.declaration import Found, Given, Input, Kind, Mark, Result, Step, Working
from calc.workings.life import FORECAST_CAUTION, PER_PART, SCALE, SHAPE, magnitude, minutes, time

PERCENT = (10, 50, 90)


HOPELESS = 0.1  # fewer edges than this see one whole part through


def _change_interval(given: Given) -> Found:
    law = {"shape": given.number("shape"), "scale": minutes(given, "scale")}
    costs = {"cost_planned": given.number("cost_planned"), "cost_failure": given.number("cost_failure")}
    risk = given.number_or_none("accepted_risk")
    best: Change | ChangeParts
    if "minutes_per_part" in given:
        best = change_parts(**law, **costs, accepted_risk=risk, minutes_per_part=minutes(given, "minutes_per_part"))
    else:
        best = change_age(**law, **costs, accepted_risk=risk)
    to_the_end = np.isinf(best.minutes)
    found = Found(
        results={
            "minutes": time(np.where(to_the_end, np.nan, best.minutes)),
            "cost_rate": plain(best.cost_rate),
            "cost_rate_run_to_failure": plain(best.cost_rate_to_end),
            "chance_of_failure": plain(best.chance_of_failure),
        },
        marks=[
            Mark("to_the_end", "best run to the end", plain(to_the_end)),
            Mark("accepted_risk", "the accepted risk asks for it", plain(best.limited_by_risk)),
        ],
    )
    if isinstance(best, ChangeParts):
        found.results["parts"] = plain(np.where(to_the_end, np.nan, best.parts))
    if not given.many:
        each = minutes(given, "minutes_per_part") if "minutes_per_part" in given else 0.0
        _change_in_words(found, best, law, costs, float(survival(each, **law)))
    return found


def _change_in_words(
    found: Found, best: Change | ChangeParts, law: Mapping[str, float], costs: Mapping[str, float], one_part: float
) -> None:
    """The advice, the step and what was assumed; an edge that is run to its end has no minutes to name."""
    if np.isinf(best.minutes):
        found.results["minutes"] = None
    if isinstance(best, ChangeParts):
        found.results["parts"] = None if np.isinf(best.minutes) else int(best.parts)
    found.results["advice"] = _advice(best, law["shape"], costs, one_part)
    found.working.append(
        Step(
            "Cost per minute in cut when changed at age T",
            "g(T) = [Cp · S(T) + Cf · (1 - S(T))] / integral of S from 0 to T",
            f"Cp = {show_number(costs['cost_planned'])}, Cf = {show_number(costs['cost_failure'])}, "
            f"β = {show_number(law['shape'])}, η = {show_number(law['scale'])} min",
            f"{show_number(float(best.cost_rate))} per minute; to the end {show_number(float(best.cost_rate_to_end))}",
            "barlow-hunter-1960 (m)",
        )
    )
    found.assumed.append("Shape and scale are taken as known; the shop's own forecasts add their uncertainty.")


def _advice(best: Change | ChangeParts, shape: float, costs: Mapping[str, float], one_part: float) -> str:
    """What to do, in words; `one_part` is the chance that a fresh edge lasts a whole part."""
    if np.isinf(best.minutes):
        if shape <= 1:
            return (
                "Run to the end: the edge does not age (shape 1 or below), so a fresh one is no safer than a used one."
            )
        if costs["cost_failure"] <= costs["cost_planned"]:
            return "Run to the end: a failure costs no more than a planned change."
        if one_part < HOPELESS:
            return "Hardly an edge lasts a whole part: lower the speed, or split the cut between two edges."
        return "Run to the end: changing earlier would not pay."
    if best.minutes == 0:
        return "Even one part on a fresh edge risks more than is accepted: lower the duty or accept more risk."
    parts = f"{best.parts:.0f} part{'' if best.parts == 1 else 's'} (" if isinstance(best, ChangeParts) else ""
    when = f"{parts}{show_number(float(best.minutes))} min{')' if parts else ''}"
    if best.limited_by_risk:
        return f"Change after {when}: the accepted risk asks for it before the costs do."
    saved = 1 - float(best.cost_rate / best.cost_rate_to_end)
    return f"Change after {when}; this costs {saved:.0%} less per minute than running to the end."


def _remaining_life(given: Given) -> Found:
    shape, scale, used = given.number("shape"), minutes(given, "scale"), minutes(given, "used")
    readings = given.rows("wear")
    left, weight = None, None
    if readings:
        quantiles, left, weight = _by_wear(given, readings)
    else:
        quantiles = remaining_minutes(used, shape, scale)
    found = Found(results={"minutes_left": {key: time(value) for key, value in _by_percent(quantiles).items()}})
    if not given.many:
        found.texts["minutes_left"] = _in_words([show(time(float(value))) for value in quantiles])
        found.working.append(_remaining_step(shape, scale, used, float(quantiles[1]), len(readings)))
    if "minutes_per_part" in given:
        _whole_parts(given, found, quantiles, left, weight)
    elif "batch" in given:
        raise WorkingError("minutes_per_part", "Minutes in cut per part are missing: the batch needs them.")
    found.assumed.append("Shape and scale are taken as known; the shop's own forecasts add their uncertainty.")
    if readings:
        found.assumed.append(
            "The wear land grows in a straight line after break-in; readings are good to 0.02 mm. Common practice, no "
            "source."
        )
    return found


def _by_wear(given: Given, readings: list[Any]) -> tuple[Any, Any, Any]:
    """Percentiles of what is left by the readings, and each possible life left with its weight."""
    if "vb_limit_mm" not in given:
        raise WorkingError("vb_limit_mm", "The wear land limit is missing: it goes with the wear readings.")
    at, land = (
        [magnitude(row[name], unit) for row in readings] for name, unit in (("minutes", "minute"), ("vb_mm", "mm"))
    )
    used = minutes(given, "used")
    if np.any(max(at) > used + 1e-9):
        raise WorkingError("wear", "A reading was made after more minutes than the edge has cut; check them.")
    limit = plain(given.quantity("vb_limit_mm").m_as("mm"))
    return life_given_wear(at, land, limit, given.number("shape"), minutes(given, "scale"), used)


def _whole_parts(given: Given, found: Found, quantiles: Any, left: Any, weight: Any) -> None:
    shape, scale, used = given.number("shape"), minutes(given, "scale"), minutes(given, "used")
    each: Any = minutes(given, "minutes_per_part")
    if left is None:
        counts = parts_left(used, each, shape, scale)
    else:
        counts = whole_parts(quantiles, np.asarray(each)[..., None])
    found.results["parts_left"] = {key: plain(value.astype(int)) for key, value in _by_percent(counts).items()}
    if not given.many:
        found.texts["parts_left"] = _in_words([f"{value:.0f}" for value in counts])
    if "batch" not in given:
        return
    batch: Any = given.count("batch")
    if left is None:
        lasts, chance = None, chance_of_batch(used, batch, each, shape, scale)
    else:
        lasts, chance = chances_of_parts(left, weight, batch, each), chance_left(left, weight, batch * each)
    mean, ready = edges_to_stage(used, batch, each, shape, scale, first_lasts=lasts)
    found.results |= {"chance_of_batch": plain(chance), "edges_to_stage": ready, "edges_expected": mean}
    if given.many:
        return
    found.texts["chance_of_batch"] = f"{float(chance):.1%}"
    found.working.append(
        Step(
            "Chance that this edge finishes the batch",
            "S(used + N · τ) / S(used)",
            f"{batch} parts of {show_number(each)} min",
            f"{float(chance):.1%}",
            "nist-ehandbook",
        )
    )
    found.assumed.append(
        "Edges to stage are fresh edges beside the one in use, enough 95 times in 100, each run to its end; a part in "
        "which an edge ends is cut again."
    )


def _remaining_step(shape: float, scale: float, used: float, middle: float, readings: int) -> Step:
    if readings:
        return Step(
            "Minutes left to the wear limit, half of edges outlast",
            "each possible life weighed by the readings",
            f"{readings} readings, β = {show_number(shape)}, η = {show_number(scale)} min",
            f"{show_number(middle)} min",
            "common practice, no source",
        )
    return Step(
        "Minutes left that half of edges outlast",
        "x = η · ((u/η)^β - ln 0.5)^(1/β) - u",
        f"{show_number(scale)} min · (({show_number(used)} / {show_number(scale)})^{show_number(shape)} - ln 0.5)"
        f"^(1 / {show_number(shape)}) - {show_number(used)} min",
        f"{show_number(middle)} min",
        "nist-ehandbook",
    )


def _in_words(values: list[str]) -> str:
    return f"nine in ten outlast {values[0]}, half {values[1]}, one in ten {values[2]}"


def _by_percent(values: Any) -> dict[str, Any]:
    return {str(percent): values[..., place] for place, percent in enumerate(PERCENT)}


WORKINGS = (
    Working(
        name="change-interval",
        title="When to change an edge",
        family="Life",
        says="The age, or the whole parts, at which changing an edge costs least per minute in cut.",
        inputs=(
            SHAPE,
            SCALE,
            Input(
                name="cost_planned",
                label="Cost of a planned change",
                symbol="Cp",
                kind=Kind.NUMBER,
                required=True,
                above=0,
                example=6,
                hint="The edge and the time of the change.",
            ),
            Input(
                name="cost_failure",
                label="Whole cost of a failure",
                symbol="Cf",
                kind=Kind.NUMBER,
                required=True,
                lowest=0,
                example=30,
                hint="The edge, the time, and the lost part or rework weighed by its chance.",
            ),
            PER_PART,
            Input(
                name="accepted_risk",
                label="Accepted chance that an edge fails before its change",
                kind=Kind.NUMBER,
                above=0,
                highest=0.999,
                example=0.1,
            ),
        ),
        results=(
            Result(name="advice", label="Advice", kind=Kind.TEXT),
            Result(name="parts", label="Change after whole parts", kind=Kind.COUNT, needs="minutes in cut per part"),
            Result(name="minutes", label="Change after", unit="min"),
            Result(name="cost_rate", label="Cost per minute in cut", kind=Kind.NUMBER),
            Result(name="cost_rate_run_to_failure", label="Cost per minute when run to the end", kind=Kind.NUMBER),
            Result(name="chance_of_failure", label="Chance to fail before the change", kind=Kind.NUMBER),
        ),
        compute=_change_interval,
        takes_arrays=True,
        sources=("barlow-hunter-1960 (m)",),
        cautions=(FORECAST_CAUTION,),
    ),
    Working(
        name="remaining-life",
        title="What is left of an edge",
        family="Life",
        says="Minutes and whole parts left to a part-used edge, chance of lasting the batch, and edges to stage.",
        inputs=(
            SHAPE,
            SCALE,
            Input(
                name="used", label="Minutes already cut", symbol="u", unit="min", required=True, lowest=0, example=45
            ),
            PER_PART,
            Input(name="batch", label="Parts still to make", kind=Kind.COUNT, lowest=1, highest=20000, example=40),
            Input(
                name="wear",
                label="Wear land readings",
                kind=Kind.LIST,
                fields=(
                    Input(name="minutes", label="Minutes in cut at the reading", unit="min", required=True, lowest=0),
                    Input(name="vb_mm", label="Wear land", symbol="VB", unit="mm", required=True, lowest=0, highest=10),
                ),
            ),
            Input(
                name="vb_limit_mm", label="Wear land limit", symbol="VB", unit="mm", above=0, highest=10, example=0.3
            ),
        ),
        results=(
            Result(name="minutes_left", label="Minutes left", unit="min", kind=Kind.OBJECT),
            Result(name="parts_left", label="Whole parts left", kind=Kind.OBJECT, needs="minutes in cut per part"),
            Result(name="chance_of_batch", label="Chance of lasting the batch", kind=Kind.NUMBER, needs="the batch"),
            Result(name="edges_to_stage", label="Fresh edges to stage", kind=Kind.COUNT, needs="the batch"),
            Result(name="edges_expected", label="Fresh edges expected", kind=Kind.NUMBER, needs="the batch"),
        ),
        compute=_remaining_life,
        takes_arrays=True,
        sources=("nist-ehandbook", "cox-renewal (m)"),
        cautions=(FORECAST_CAUTION,),
    ),
)
