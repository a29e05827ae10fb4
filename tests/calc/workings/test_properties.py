"""What must hold of the workings whatever the numbers: in any units, solved back and forth, and in which direction.

The round trip through other units and the list of what must be covered come from the register, so that a working or an
input that is added is tried too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.units import System, ureg
from calc.workings import Input, Kind, Working, all_workings, get, run

OTHER_UNITS = {
    "mm": "in", "m/min": "ft/min", "mm/min": "in/min", "1/min": "1/s", "deg": "rad", "min": "h", "kW": "hp",
    "N/mm²": "psi", "N": "lbf", "N·m": "lbf*ft", "g": "lb", "µm": "in", "mm²": "in^2", "cm³/min": "in^3/min",
}  # fmt: skip
every_working = pytest.mark.parametrize("working", all_workings(), ids=lambda working: working.name)
factors = st.floats(min_value=0.6, max_value=1.6)


def values(working: str, **asked: Any) -> dict[str, Any]:
    return {name: found.value for name, found in run(working, asked).results.items()}


# --- in any units -----------------------------------------------------------------------------------


def stretched(entry: Input, example: Any, stretch: Any) -> Any:
    """An example with every quantity in it made longer or shorter by a factor of its own."""
    if entry.kind is Kind.QUANTITY:
        return example * stretch()
    if isinstance(example, Mapping):
        fields = {member.name: member for member in entry.fields}
        return {name: stretched(fields[name], value, stretch) for name, value in example.items()}
    if isinstance(example, list):
        rows = [
            dict(zip((member.name for member in entry.fields), row, strict=False)) if isinstance(row, list) else row
            for row in example
        ]
        return [stretched(entry, row, stretch) for row in rows]
    return example


def in_other_units(entry: Input, value: Any) -> Any:
    """The same as text in the units of the other side of the ocean."""
    if entry.kind is Kind.QUANTITY and entry.unit in OTHER_UNITS:
        other = OTHER_UNITS[entry.unit]
        unit = entry.unit.replace("²", "**2").replace("³", "**3").replace("·", "*")
        return f"{ureg.Quantity(value, unit).m_as(other)!r} {other}"
    if isinstance(value, Mapping):
        fields = {member.name: member for member in entry.fields}
        return {name: in_other_units(fields[name], member) for name, member in value.items()}
    if isinstance(value, list):
        return [in_other_units(entry, row) for row in value]
    return value


def same(one: Any, other: Any) -> bool:
    if isinstance(one, Mapping):
        return set(one) == set(other) and all(same(value, other[key]) for key, value in one.items())
    if isinstance(one, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, float) or isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-7, abs_tol=1e-9)
    return bool(one == other)


def quantities(entry: Input) -> bool:
    return entry.kind is Kind.QUANTITY or any(map(quantities, entry.fields))


def refused(working: Working, asked: Mapping[str, Any], system: System) -> str:
    """The input that is complained of; none when there is an answer."""
    try:
        run(working.name, asked, system)
    except WorkingError as refusal:
        return refusal.argument
    return ""


@every_working
@settings(max_examples=25)
@given(data=st.data())
def test_a_result_is_the_same_however_its_inputs_are_measured(working: Working, data: st.DataObject) -> None:
    asked, again = {}, {}
    for name, example in working.example.items():
        entry = working.input(name)
        asked[name] = stretched(entry, example, lambda: data.draw(factors))
        again[name] = in_other_units(entry, asked[name])
    told = [entry for entry in working.inputs if entry.name in asked and quantities(entry)]
    assert all(again[entry.name] != asked[entry.name] for entry in told if entry.unit not in ("", "%"))
    refusal = refused(working, asked, "metric")
    assert refused(working, again, "inch") == refusal
    if refusal:
        return
    metric = run(working.name, asked)
    inch = run(working.name, again, "inch")
    assert set(metric.results) == set(inch.results)
    for name, found in metric.results.items():
        if not isinstance(found.value, str):  # a sentence is written in the reader's own units
            assert same(found.value, inch.results[name].value), (name, asked)


# --- solved back and forth --------------------------------------------------------------------------

sizes = st.floats(min_value=0.5, max_value=200)
speeds = st.floats(min_value=5, max_value=800)
feeds = st.floats(min_value=0.01, max_value=1)


@pytest.mark.parametrize(
    ("working", "more"),
    [
        ("milling", {"teeth": 3, "feed_per_tooth": 0.05}),
        ("drilling", {"feed": 0.1}),
        ("turning", {"feed": 0.1}),
        ("tapping", {"pitch": 1.5}),
    ],
)
@settings(max_examples=30)
@given(diameter=sizes, speed=speeds)
def test_surface_speed_and_spindle_speed_lead_to_each_other(
    working: str, more: dict[str, Any], diameter: float, speed: float
) -> None:
    there = values(working, diameter=diameter, surface_speed=speed, **more)
    back = values(working, diameter=diameter, spindle_speed=there["spindle_speed"], **more)
    assert back["surface_speed"] == pytest.approx(speed, rel=1e-9)
    assert same(back, there)


@settings(max_examples=30)
@given(sizes, speeds, st.integers(1, 12), feeds)
def test_feed_per_tooth_and_feed_rate_lead_to_each_other(
    diameter: float, speed: float, teeth: int, feed: float
) -> None:
    turning = {"diameter": diameter, "teeth": teeth, "surface_speed": speed}
    there = values("milling", **turning, feed_per_tooth=feed)
    back = values("milling", **turning, feed_rate=there["feed_rate"])
    assert back["feed_per_tooth"] == pytest.approx(feed, rel=1e-9)
    assert same(back, there)


@settings(max_examples=30)
@given(sizes, st.floats(0.01, 1), st.floats(20, 160), st.floats(0.005, 0.5), st.booleans())
def test_the_chip_wanted_is_the_chip_milled(
    diameter: float, share: float, lead: float, chip: float, thickest: bool
) -> None:
    wanted = "max_chip_thickness" if thickest else "mean_chip_thickness"
    cut = {"diameter": diameter, "radial_depth": diameter * share, "lead_angle": lead}
    feed = values("chip-thinning", **cut, **{wanted: chip})["feed_per_tooth"]
    milled = values("milling", **cut, teeth=4, spindle_speed=1000, feed_per_tooth=feed)
    assert milled[wanted] == pytest.approx(chip, rel=1e-9)


PLACES = ("chamfer_width", "contact_low", "axis_offset", "depth_below_face")


@settings(max_examples=40)
@given(st.floats(30, 150), st.sampled_from([0, 0.2, 1.37, 4]), st.floats(0.05, 3), st.floats(0.01, 6))
def test_any_two_of_the_four_place_the_same_chamfer(angle: float, tip: float, width: float, low: float) -> None:
    mill = {"included_angle": angle, "tip_diameter": tip}
    first = values("chamfer-edge", **mill, chamfer_width=width, contact_low=low)
    for pair in combinations(PLACES, 2):
        asked = {**mill, **{name: first[name] for name in pair}}
        if set(pair) == {"contact_low", "axis_offset"}:  # the same thing said twice
            with pytest.raises(WorkingError):
                run("chamfer-edge", asked)
            continue
        again = values("chamfer-edge", **asked)
        for name, value in first.items():
            if isinstance(value, float):
                assert again[name] == pytest.approx(value, rel=1e-7, abs=1e-7), (pair, name)


@pytest.mark.parametrize("name", ["M10", "M20x1.5", "1/4-20 UNC", "#10-32"])
@settings(max_examples=20)
@given(percent=st.floats(50, 95))
def test_percent_of_thread_and_drill_lead_to_each_other(name: str, percent: float) -> None:
    there = values("thread", thread=name, percent=percent)
    back = values("thread", thread=name, drill=f"{there['drill_diameter']:.9f}")
    assert back["percent_of_handbook"] == pytest.approx(percent, rel=1e-5)


@settings(max_examples=30)
@given(st.floats(0.08, 0.6), st.floats(50, 900), st.floats(0.1, 10), st.floats(10, 200), st.floats(0, 50))
def test_the_cheapest_speed_lasts_the_cheapest_life(
    n: float, c: float, change: float, rate: float, edge: float
) -> None:
    best = values("economics", n=n, c=c, change_time=change, machine_rate=rate, edge_cost=edge)
    for which in ("min_cost", "max_output"):
        lasts = values("tool-life", n=n, c=c, surface_speed=best[f"speed_{which}"])
        assert lasts["tool_life"] == pytest.approx(best[f"life_{which}"], rel=1e-8)


@settings(max_examples=30)
@given(st.floats(0.08, 0.6), st.floats(50, 900), st.floats(1, 30), st.floats(31, 300))
def test_two_points_of_a_law_give_the_law(n: float, c: float, short: float, long: float) -> None:
    points = [[c / life**n, life] for life in (short, long)]
    found = values("tool-life", points=points)
    assert found["n"] == pytest.approx(n, rel=1e-6)
    assert found["c"] == pytest.approx(c, rel=1e-6)


@settings(max_examples=15)
@given(st.floats(0.1, 20))
def test_lives_that_all_last_longer_have_the_same_shape(longer: float) -> None:
    seen = [(41, True), (58, True), (70, False), (35, True), (66, True), (52, False)]
    one = values("life-fit", lives=[{"minutes": t, "ended": e} for t, e in seen])
    other = values("life-fit", lives=[{"minutes": t * longer, "ended": e} for t, e in seen])
    assert other["shape"] == pytest.approx(one["shape"], rel=1e-5)
    for name in ("scale", "b10", "median", "mean"):
        assert other[name] == pytest.approx(one[name] * longer, rel=1e-5)


@settings(max_examples=20)
@given(st.floats(1.2, 6), st.floats(5, 500), st.floats(0.05, 20))
def test_what_is_left_now_is_less_by_what_was_cut_since(shape: float, scale: float, more: float) -> None:
    # The median of those that outlast a little more lies later, never earlier, than the one that was told before.
    before = values("remaining-life", shape=shape, scale=scale, used=scale / 3)["minutes_left"]["50"]
    after = values("remaining-life", shape=shape, scale=scale, used=scale / 3 + more)["minutes_left"]["50"]
    assert before - more <= after + 1e-9
    assert after <= before + 1e-9


# --- in which direction -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Rule:
    """As `over` grows from low to high, each of `rises` never falls, and each of `falls` never rises."""

    working: str
    over: str
    low: float
    high: float
    rises: tuple[str, ...] = ()
    falls: tuple[str, ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)
    instead_of: tuple[str, ...] = ()
    whole: bool = False
    hair: float = 1e-9

    def __str__(self) -> str:
        return f"{self.working}: {', '.join(self.rises + self.falls)} over {self.over}"

    def at(self, value: float) -> dict[str, float]:
        asked = {name: given for name, given in get(self.working).example.items() if name not in self.instead_of}
        found = values(self.working, **{**asked, **self.more, self.over: int(value) if self.whole else value})
        return {name: told(found, name) for name in self.rises + self.falls}


def told(found: Mapping[str, Any], name: str) -> float:
    """A result, or a member of one written as result.member; a time without end is longer than any."""
    name, _, member = name.partition(".")
    value = found[name][member] if member else found[name]
    return math.inf if value is None else float(value)


GRID = 1e-5
"""Renewals are summed on a grid of minutes, which is as good as this."""
LOAD = ("removal_rate", "cutting_power", "torque")
RULES = [
    Rule("milling", "axial_depth", 0.1, 40, rises=LOAD),
    Rule("milling", "radial_depth", 0.1, 16, rises=(*LOAD, "engagement_angle", "max_chip_thickness")),
    Rule("milling", "radial_depth", 0.1, 8, rises=("mean_chip_thickness",)),  # beyond half the diameter it falls again
    Rule("milling", "feed_per_tooth", 0.005, 0.5, rises=("feed_rate", *LOAD), falls=("time_in_cut",)),
    Rule("milling", "surface_speed", 5, 500, rises=("spindle_speed", "feed_rate", "cutting_power")),
    Rule("milling", "kc11", 300, 6000, rises=("specific_cutting_force", "cutting_power", "spindle_power")),
    Rule("milling", "efficiency", 0.3, 1, falls=("spindle_power",)),
    Rule("milling", "length_of_cut", 1, 5000, rises=("time_in_cut",)),
    Rule("milling", "teeth", 1, 20, rises=("feed_rate", "cutting_power"), whole=True),
    Rule("milling", "max_spindle_speed", 100, 5000, rises=("spindle_speed", "feed_rate", "cutting_power")),
    Rule("milling", "max_power", 0.05, 20, rises=("feed_rate", "spindle_power")),
    Rule("drilling", "depth", 1, 200, rises=("travel", "time_in_cut")),
    Rule("drilling", "feed", 0.02, 0.6, rises=("feed_rate", *LOAD), falls=("time_in_cut",)),
    Rule("drilling", "point_angle", 60, 179, falls=("point_length", "travel")),
    Rule("drilling", "diameter", 1, 50, rises=("point_length",), falls=("spindle_speed",)),
    Rule("turning", "feed", 0.02, 0.8, rises=("roughness_ra", "roughness_rz", *LOAD), falls=("time_in_cut",)),
    Rule("turning", "nose_radius", 0.1, 3, falls=("roughness_ra", "roughness_rz")),
    Rule("turning", "depth_of_cut", 0.1, 10, rises=LOAD),
    Rule("facing", "outer_diameter", 5, 400, rises=("time_in_cut",)),
    Rule("facing", "max_spindle_speed", 50, 9000, falls=("time_in_cut", "speed_cap_diameter")),
    Rule("facing", "feed", 0.02, 0.8, falls=("time_in_cut",)),
    Rule("tapping", "depth", 1, 80, rises=("time_in_cut",)),
    Rule("tapping", "retract_ratio", 1, 5, falls=("time_in_cut",)),
    Rule("tapping", "pitch", 0.2, 4, rises=("feed_rate",), more={"diameter": 12}, instead_of=("thread",)),
    Rule("thread", "percent", 40, 100, falls=("drill_diameter",)),
    Rule("chamfer-edge", "chamfer_width", 0.05, 4, rises=("chamfer_depth", "effective_diameter", "depth_below_face"),
         falls=("spindle_speed",)),
    Rule("chamfer-edge", "contact_low", 0, 5, rises=("axis_offset", "program_diameter", "effective_diameter")),
    Rule("chamfer-hole", "chamfer_diameter", 9, 15, rises=("depth_below_face", "effective_diameter")),
    Rule("chamfer-hole", "included_angle", 40, 150, falls=("depth_below_face",)),
    Rule("chamfer-hole", "contact_low", 0, 2, rises=("effective_diameter",), falls=("interpolation_radius",),
         more={"how": "interpolate", "hole_diameter": 20, "chamfer_diameter": 22}),
    Rule("effective-diameter", "axial_depth", 0.01, 8, rises=("effective_diameter",)),
    Rule("chip-thinning", "radial_depth", 0.05, 16, falls=("factor", "feed_per_tooth")),
    Rule("corner-feed", "corner_radius", 5.5, 500, rises=("ratio", "feed_rate")),
    Rule("corner-feed", "corner_radius", 5.5, 500, falls=("ratio", "feed_rate"), more={"inside": False}),
    Rule("tool-life", "surface_speed", 20, 400, falls=("tool_life",), instead_of=("points",)),
    Rule("tool-life", "c", 50, 900, rises=("tool_life",)),
    Rule("economics", "edge_cost", 0, 100, rises=("life_min_cost",), falls=("speed_min_cost",)),
    Rule("economics", "machine_rate", 10, 300, rises=("speed_min_cost",), falls=("life_min_cost",)),
    Rule("economics", "change_time", 0.1, 30, rises=("life_min_cost", "life_max_output"), falls=("speed_max_output",)),
    Rule("change-interval", "cost_failure", 7, 500, falls=("minutes", "parts")),
    Rule("change-interval", "cost_planned", 0.5, 29, rises=("minutes", "parts", "cost_rate")),
    Rule("change-interval", "accepted_risk", 0.01, 0.9, rises=("minutes", "chance_of_failure")),
    Rule("change-interval", "scale", 15, 500, rises=("minutes",), falls=("cost_rate",)),
    Rule("remaining-life", "used", 0, 150, falls=("minutes_left.10", "minutes_left.50", "minutes_left.90",
         "parts_left.50", "chance_of_batch"), instead_of=("vb_limit_mm",)),
    Rule("remaining-life", "scale", 20, 300, rises=("minutes_left.10", "minutes_left.50", "chance_of_batch"),
         falls=("edges_expected", "edges_to_stage")),
    Rule("remaining-life", "minutes_per_part", 1, 30, rises=("edges_expected",), falls=("parts_left.50",
         "chance_of_batch")),
    Rule("remaining-life", "batch", 1, 60, rises=("edges_expected", "edges_to_stage"), falls=("chance_of_batch",),
         whole=True),
    Rule("renewal-demand", "horizon", 1, 600, rises=("mean", "quantiles.50", "quantiles.95"),
         falls=("chance_of_none",), hair=GRID),
    Rule("renewal-demand", "scale", 15, 200, rises=("chance_of_none",), falls=("mean", "quantiles.90"), hair=GRID),
    Rule("renewal-demand", "used", 0, 39, rises=("mean",), falls=("chance_of_none",), hair=GRID),
    Rule("renewal-demand", "change_at", 31, 200, falls=("mean",), hair=GRID),
    Rule("reorder", "service", 0.01, 0.9999, rises=("reorder_point", "safety_stock")),
    Rule("reorder", "lead_time_mean", 0.5, 60, rises=("reorder_point",)),
    Rule("reorder", "lead_time_sd", 0, 20, rises=("reorder_point", "safety_stock")),
    Rule("reorder", "daily_demand_mean", 0.1, 200, rises=("reorder_point", "eoq", "order_quantity")),
    Rule("reorder", "daily_demand_sd", 0, 50, rises=("reorder_point", "safety_stock")),
    Rule("reorder", "order_cost", 1, 500, rises=("eoq", "order_quantity")),
    Rule("reorder", "price", 0.5, 500, falls=("eoq", "order_quantity")),
    Rule("cost-compare", "life", 6, 300, rises=("parts_per_edge",), falls=("cost_per_part.modular",
         "cost_per_part.solid")),
    Rule("cost-compare", "machine_rate", 5, 300, rises=("cost_per_part.modular", "cost_per_part.solid")),
    Rule("cost-compare", "change_time_solid", 0, 30, rises=("cost_per_part.solid",)),
]  # fmt: skip


@pytest.mark.parametrize("rule", RULES, ids=str)
@settings(max_examples=12)
@given(data=st.data())
def test_a_result_moves_the_way_it_must(rule: Rule, data: st.DataObject) -> None:
    one, other = (round(data.draw(st.floats(rule.low, rule.high)), 6) for _ in range(2))
    ends = sorted((one, other))
    low, high = rule.at(ends[0]), rule.at(ends[1])
    hair = rule.hair
    for name in rule.rises:
        assert low[name] <= high[name] * (1 + hair) + hair or low[name] == high[name], (name, ends, low, high)
    for name in rule.falls:
        assert high[name] <= low[name] * (1 + hair) + hair or low[name] == high[name], (name, ends, low, high)


def test_every_working_has_its_direction() -> None:
    # A fit of lives has none: what is longer in it, and what that does to its shape, is looked at above.
    assert {rule.working for rule in RULES} | {"life-fit"} == {working.name for working in all_workings()}


@pytest.mark.parametrize("absurd", [1e13, -1e13, 1e-10, 5e-324, 1e308])
@pytest.mark.parametrize(("working", "name"), [("economics", "edge_cost"), ("reorder", "price"), ("milling", "teeth")])
def test_a_plain_number_no_shop_can_mean_is_refused(working: str, name: str, absurd: float) -> None:
    with pytest.raises(WorkingError) as problem:
        run(working, {**get(working).example, name: absurd})
    assert problem.value.argument == name
    if working != "milling" or absurd == 1e308:
        assert "beyond anything a shop can mean" in problem.value.sentence
