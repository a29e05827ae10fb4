"""Money: the cost of a part against speed, and a modular tool beside a solid one."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from django.utils.safestring import SafeString

from calc.life.economics import (
    PartCost,
    cost_against_speed,
    cost_per_part,
    minutes_per_part,
    modular_edge_cost,
    solid_edge_cost,
)
from calc.units import show_number
from crib.web.drawings.paper import EDGE, LINE, Sheet, text_width
from crib.web.drawings.plot import Plot
from crib.web.drawings.reading import Known, TooLittle

POINTS = 81
WAY_OF_CUT = 1000.0  # metres of cut: at 1 m/min as many minutes
PARTS = (("part-1", "cutting"), ("part-2", "changing the edge"), ("part-3", "the edge itself"))


def economics(known: Known) -> SafeString:
    """Cost and its two sides against surface speed, with the speeds of lowest cost and of highest output."""
    n, c, rate = known.number("n"), known.number("c"), known.number("machine_rate") / 60
    change, edge = known.number("change_time"), known.number("edge_cost")
    cheapest, fastest = known.number("speed_min_cost"), known.maybe("speed_max_output")
    speeds = np.linspace(0.45 * cheapest, 1.25 * max(cheapest, min(fastest or 0.0, 3 * cheapest)), POINTS)
    work = known.mapping("work")
    what, at_one = "1000 m of cut", WAY_OF_CUT
    if work:
        what = "part"
        across, along, feed = (float(work[name]) for name in ("diameter", "length", "feed"))
        at_one = float(minutes_per_part(1.0, across, along, feed))
    cost = cost_against_speed(speeds, n, c, at_one, change, rate, edge)
    lowest = float(cost_against_speed([cheapest], n, c, at_one, change, rate, edge).total[0])
    unit, factor = known.speed_unit
    sheet = Sheet()
    plot = Plot(
        sheet, speeds * factor, [0.0, min(float(cost.total.max()), 2.6 * lowest)], x_label=f"surface speed, {unit}",
        y_label=f"cost per {what}", marks=2,
    )  # fmt: skip
    for values, class_ in (
        (cost.cutting, "line line-2"), (cost.changing + cost.edges, "line line-3"), (cost.total, "line line-1"),
    ):  # fmt: skip
        inside = values <= plot.y.high
        if inside.any():
            plot.line(speeds[inside] * factor, values[inside], class_)
    plot.point(cheapest * factor, lowest, "point point-ended")
    plot.mark(cheapest * factor, f"least cost {known.text('speed_min_cost')}", tone="good")
    if fastest is not None and fastest <= speeds[-1]:
        plot.mark(fastest * factor, f"most output {known.text('speed_max_output')}")
    sheet.legend(
        [
            ("line line-1", f"cost per {what}"),
            ("line line-2", "machine and operator in the cut"),
            ("line line-3", "changes and edges"),
        ]
    )
    says = (
        f"Cost per {what} against surface speed: lowest, {show_number(lowest)}, at {known.text('speed_min_cost')} with "
        f"a life of {known.text('life_min_cost')}."
    )
    if fastest is not None:
        says += (
            f" Output is highest at {known.text('speed_max_output')} with a life of {known.text('life_max_output')}."
        )
    return sheet.drawn("Cost against speed", says, class_="chart drawing")


def compare(known: Known) -> SafeString:
    """What a part costs with each tool and of what that is made, and the parts after which the body has paid."""
    modular, solid = known.mapping("modular"), known.mapping("solid")
    if not (modular and solid):
        raise TooLittle("tools")
    edges = {
        "modular": _edge(modular, ("body_cost", "body_life_tips", "tip_cost", "edges"), modular_edge_cost),
        "solid": _edge(solid, ("cost", "regrinds", "regrind_cost"), solid_edge_cost),
    }
    costs = {way: _cost(known, way, edge) for way, edge in edges.items()}
    sheet = Sheet()
    _stacked(sheet, known, costs)
    told = _spent(sheet, known, modular, costs["solid"])
    totals = known.mapping("cost_per_part")
    says = (
        f"A part costs {show_number(float(totals['modular']))} with the modular tool and "
        f"{show_number(float(totals['solid']))} with the solid one. {told}"
    )
    return sheet.drawn("Modular against solid", says, class_="chart drawing")


def _edge(tool: Mapping[str, Any], names: tuple[str, ...], of: Any) -> float:
    return float(of(*(tool.get(name) or 0 for name in names)))


def _cost(known: Known, way: str, edge: float) -> PartCost:
    change = known.maybe(f"change_time_{way}") or 0.0
    rate = known.number("machine_rate") / 60
    return cost_per_part(known.number("minutes_per_part"), known.number("life"), change, rate, edge, whole=True)


def _stacked(sheet: Sheet, known: Known, costs: Mapping[str, PartCost]) -> None:
    """A bar for each tool, its pieces as long as they cost."""
    sheet.heading("Cost of a part")
    most = max(float(cost.total) for cost in costs.values())
    if not 0 < most < math.inf:
        raise TooLittle("cost")
    names = {"modular": "modular tool", "solid": "solid tool"}
    left = EDGE + max(text_width(name) for name in names.values()) + 10
    room = sheet.width - left - EDGE - 90
    for way, cost in costs.items():
        top, at = sheet.bottom + 8, left
        for (class_, _), value in zip(PARTS, (cost.cutting, cost.changing, cost.edges), strict=True):
            width = float(value) / most * room
            if width > 0:
                sheet.rectangle(at, top, width, 24, f"{class_}", data_name=f"{way}-{class_}")
            at += width
        sheet.bottom = top + 26
        sheet.words(names[way], EDGE, top + 17, anchor="start")
        sheet.words(show_number(float(cost.total)), at + 8, top + 17, anchor="start")
    sheet.legend([(class_, words) for class_, words in PARTS])


def _spent(sheet: Sheet, known: Known, modular: Mapping[str, Any], solid: PartCost) -> str:
    """Money spent against parts made: the body is paid at the start, and has paid where the lines cross."""
    body, lives = float(modular["body_cost"]), float(modular["body_life_tips"])
    tip = _edge({**modular, "body_cost": 0}, ("body_cost", "body_life_tips", "tip_cost", "edges"), modular_edge_cost)
    each = float(_cost(known, "modular", tip).total)
    even = known.maybe("break_even_parts")
    carried = lives * float(modular["edges"]) * (known.maybe("parts_per_edge") or 1.0)
    end = min(2.2 * even, max(carried, 1.2 * even)) if even else carried
    if not 0 < end < math.inf:
        return known.text("break_even_parts")
    xs = np.array([0.0, end])
    with_body, without = body + each * xs, float(solid.total) * xs
    sheet.heading("Money spent", y=sheet.bottom + LINE + 12)
    plot = Plot(
        sheet, xs, [0.0, float(max(with_body[-1], without[-1]))], x_label="parts made", y_label="spent on these parts",
        height=190, marks=1,
    )  # fmt: skip
    plot.line(xs, with_body, "line line-1")
    plot.line(xs, without, "line line-2")
    if even:
        plot.mark(even, f"paid after {even:.0f} parts", tone="good")
    sheet.legend([("line line-1", "modular, its body bought at the start"), ("line line-2", "solid")])
    return f"The body has paid after {even:.0f} parts." if even else f"{known.text('break_even_parts').capitalize()}."
