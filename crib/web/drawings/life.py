"""Curves of tool life: against speed, of what outlasts an age, of the cost of changing, and of what is left."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from django.utils.safestring import SafeString

from calc.life.checks import Floats
from calc.life.kaplan_meier import lives_seen
from calc.life.survival import chance_of_lasting, life_law, life_percentile, survival, time_outlasted
from calc.life.taylor import fit_extended, life_at, student_t, surface_speed, tool_life
from calc.life.wear import life_given_wear
from crib.web.drawings.paper import Sheet
from crib.web.drawings.plot import Plot
from crib.web.drawings.reading import Known, TooLittle, minutes

POINTS = 61
CURVE = "line line-1"


def taylor(known: Known) -> SafeString:
    """Life against surface speed, with the lives seen and how surely the line is known."""
    n, c = known.number("n"), known.number("c")
    seen = [_pair(row, "surface_speed", "life") for row in known.rows("points")]
    asked = known.maybe("surface_speed")
    speeds = [speed for speed, _ in seen] + ([asked] if asked else [])
    if not speeds:
        speeds = [float(surface_speed(life, n, c)) for life in (10.0, 60.0)]
    low, high = min(speeds) / 1.25, max(speeds) * 1.25
    xs = np.linspace(low, high, POINTS)
    ys = tool_life(xs, n, c)
    unit, factor = known.speed_unit
    band = _band(xs, seen)
    tops = [life for _, life in seen] + ([float(tool_life(asked, n, c))] if asked else [])
    top = min(float(ys.max()), 1.6 * max(tops)) if tops else float(ys.max())
    sheet = Sheet()
    plot = Plot(sheet, xs * factor, [0.0, top], x_label=f"surface speed, {unit}", y_label="life, min in cut", marks=1)
    if band is not None:
        plot.area(xs * factor, *band, "band-1")
    plot.line(xs * factor, ys, CURVE)
    for speed, life in seen:
        plot.point(speed * factor, life, "point point-ended")
    entries = [(CURVE, f"Taylor's line, n {known.text('n')}, C {known.speed(c)}")]
    if band is not None:
        entries.append(("band-1", "where the line lies with 95 % confidence"))
    if seen:
        entries.append(("point point-ended", "lives seen"))
    says = f"Life against surface speed by Taylor's law, n {known.text('n')} and C {known.speed(c)}."
    if asked:
        plot.mark(asked * factor, f"{known.text('tool_life')} at {known.text('surface_speed')}")
        says += f" At {known.text('surface_speed')} an edge lasts {known.text('tool_life')}."
    sheet.legend(entries)
    return sheet.drawn("Life against speed", says, class_="chart drawing")


def _pair(row: Any, *names: str) -> tuple[float, ...]:
    """The named numbers of a row, whether it is written with names or as a plain list."""
    values = [row[name] for name in names] if isinstance(row, Mapping) else list(row)[: len(names)]
    return tuple(float(value) for value in values)


def _band(xs: Floats, seen: list[tuple[float, ...]]) -> tuple[Floats, Floats] | None:
    """Where the fitted line lies with 95 % confidence; two points leave nothing to tell it by."""
    if len(seen) < 3:
        return None
    law = fit_extended([life for _, life in seen], [speed for speed, _ in seen])
    if law.freedom < 1:
        return None
    design = np.column_stack([np.ones(xs.size), np.log(xs)])
    reach = student_t(0.975, law.freedom) * np.sqrt(np.einsum("ij,jk,ik->i", design, law.covariance, design))
    middle = life_at(law.coefficients, xs)
    return middle * np.exp(-reach), middle * np.exp(reach)


def fitted(known: Known) -> SafeString:
    """The share of edges that outlast an age, with the lives as they were: ended, or last seen still good."""
    shape, scale = known.number("shape"), known.number("scale")
    lives = [(_pair(row, "minutes")[0], row.get("ended") is not False) for row in known.rows("lives")]
    end = max([age for age, _ in lives] + [float(life_percentile(95, shape, scale))])
    xs = np.linspace(0, end, POINTS)
    sheet = Sheet()
    plot = Plot(
        sheet, xs, [0.0, 1.0], x_label="minutes in cut", y_label="share of edges that last longer", share=True, marks=2
    )
    if any(ended for _, ended in lives):
        curve = lives_seen([age for age, _ in lives], [ended for _, ended in lives])
        ages, left = [0.0], [1.0]
        for age, outlasted in zip(curve.minutes, curve.outlasted, strict=True):
            ages += [float(age), float(age)]
            left += [left[-1], float(outlasted)]
        plot.line([*ages, end], [*left, left[-1]], "line line-2")
    plot.line(xs, survival(xs, shape, scale), CURVE)
    for age, ended in lives:
        plot.point(age, float(survival(age, shape, scale)), f"point point-{'ended' if ended else 'open'}")
    plot.mark(known.number("b10"), f"B10 {known.text('b10')}")
    plot.mark(known.number("median"), f"half {known.text('median')}")
    typical = " for the typical duty" if known.mapping("exponents") else ""
    sheet.legend(
        [
            (CURVE, f"fitted{typical}: β {known.text('shape')}, η {known.text('scale')}"),
            ("line line-2", "as seen, edge by edge"),
            ("point point-ended", f"ended: {known.text('ended')}"),
            ("point point-open", f"still good when last seen: {known.text('censored')}"),
        ]
    )
    says = (
        f"Share of edges that outlast an age: shape {known.text('shape')}, scale {known.text('scale')}, fitted to "
        f"{known.text('ended')} ended and {known.text('censored')} censored lives. One in ten has ended by "
        f"{known.text('b10')}, half by {known.text('median')}."
    )
    return sheet.drawn("The life law", says, class_="chart drawing")


def change_interval(known: Known) -> SafeString:
    """Cost per minute in cut against the age at which edges are changed."""
    shape, scale = known.number("shape"), known.number("scale")
    planned, failure = known.number("cost_planned"), known.number("cost_failure")
    to_end, best = known.number("cost_rate_run_to_failure"), known.maybe("minutes")
    end = max(float(life_percentile(90, shape, scale)), 1.5 * (best or 0.0))
    ages = end * np.linspace(1 / POINTS, 1, POINTS) ** 2  # closer together where the curve is steep
    lasting = survival(ages, shape, scale)
    # What a cycle costs over how long it lasts, the two taken from the life law; at the optimum the working's own.
    rates = (planned * lasting + failure * (1 - lasting)) / time_outlasted(ages, life_law(shape, scale))
    least = known.number("cost_rate")
    top = 2.2 * max(to_end, least)
    sheet = Sheet()
    plot = Plot(
        sheet, [0.0, *ages], [0.0, min(top, float(rates.max()))], x_label="changed after, minutes in cut",
        y_label="cost per minute in cut", marks=1,
    )  # fmt: skip
    first = int(np.argmax(rates <= plot.y.high)) if bool((rates <= plot.y.high).any()) else 0
    plot.line(ages[first:], rates[first:], CURVE)
    plot.level(to_end, "", "line line-2")
    if best:
        plot.mark(best, f"change after {known.text('minutes')}", tone="good")
        plot.point(best, least, "point point-ended")
    sheet.legend(
        [
            (CURVE, "changed at that age, or when it fails before"),
            ("line line-2", f"run to the end: {known.text('cost_rate_run_to_failure')} per minute"),
        ]
    )
    says = (
        f"Cost per minute in cut against the age of change. {known.text('advice')} It costs {known.text('cost_rate')} "
        f"per minute; run to the end {known.text('cost_rate_run_to_failure')}."
    )
    return sheet.drawn("When to change", says, class_="chart drawing")


def remaining(known: Known) -> SafeString:
    """The chance that this edge lasts so many minutes more, with what nine, five and one in ten outlast."""
    shape, scale, used = known.number("shape"), known.number("scale"), known.number("used")
    quantiles = known.mapping("minutes_left")
    low, middle, high = (float(quantiles[key]) for key in ("10", "50", "90"))
    end = max(1.35 * high, 1e-3 * scale)
    xs = np.linspace(0, end, POINTS)
    ys = _lasting(known, xs, (shape, scale, used))
    sheet = Sheet()
    plot = Plot(
        sheet, xs, [0.0, 1.0], x_label="minutes in cut from now", y_label="chance to last longer", share=True, marks=3
    )
    inside = (xs >= low) & (xs <= high)
    if inside.any():
        plot.area(xs[inside], np.zeros(int(inside.sum())), ys[inside], "band-1")
    plot.line(xs, ys, CURVE)
    for value, words in ((low, "nine in ten"), (middle, "half"), (high, "one in ten")):
        plot.mark(value, f"{words} {minutes(value)}")
    entries = [(CURVE, f"this edge, {known.text('used')} used"), ("band-1", "eight in ten end in this stretch")]
    batch, each = known.maybe("batch"), known.maybe("minutes_per_part")
    says = f"Chance that an edge with {known.text('used')} of use lasts longer: {known.text('minutes_left')}."
    if batch and each and known.has("chance_of_batch"):
        if batch * each <= plot.x.high:
            plot.mark(batch * each, f"batch of {batch:.0f} done", tone="caution")
        says += f" The chance that it finishes the batch of {batch:.0f} is {known.text('chance_of_batch')}."
    sheet.legend(entries)
    return sheet.drawn("What is left of the edge", says, class_="chart drawing")


def _lasting(known: Known, xs: Floats, law: tuple[float, float, float]) -> Floats:
    """The chance at each stretch, weighed by the wear readings where there are any."""
    shape, scale, used = law
    readings = [_pair(row, "minutes", "vb_mm") for row in known.rows("wear")]
    if not readings:
        return chance_of_lasting(xs, used, shape, scale)
    limit = known.number("vb_limit_mm")
    at, land = [age for age, _ in readings], [wear for _, wear in readings]
    _, left, weight = life_given_wear(at, land, limit, shape, scale, used)
    if not math.isfinite(float(left.max())) or float(left.max()) <= 0:
        raise TooLittle("wear")
    return np.asarray((weight * (left >= xs[:, None])).sum(axis=1))
