"""Workings about life, money and what to buy: one input as an array answers as each of its values alone."""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pint
import pytest

from calc.errors import WorkingError
from calc.units import unit_named, ureg
from calc.workings import Given, Input, InputErrors, Kind, Known, Mark, Working, all_workings, compute, get, run
from calc.workings.reading import read_inputs
from calc.workings.sweep import sweep, sweepable

FAMILIES = ("Life", "Money", "What to buy")
WORK = {"diameter": 60, "length": 400, "feed": 0.2}
WEAR = [{"minutes": 15, "vb_mm": 0.12}, {"minutes": 30, "vb_mm": 0.19}]
# What is asked beside the register's own example; None leaves out what the example gives.
ASKED: Mapping[str, tuple[Mapping[str, Any], ...]] = {
    "tool-life": ({}, {"n": None, "c": None, "points": [[60, 60], [80, 21], [100, 10]]}),
    "economics": ({}, {"work": WORK}, {"work": WORK, "surface_speed": 90}),
    "change-interval": ({}, {"minutes_per_part": None}, {"minutes_per_part": None, "accepted_risk": None},
                        {"shape": 1.2, "accepted_risk": None}),
    "remaining-life": ({}, {"batch": None}, {"minutes_per_part": None, "batch": None}, {"wear": WEAR},
                       {"wear": WEAR, "batch": None}, {"wear": WEAR, "minutes_per_part": None, "batch": None}),
    "renewal-demand": ({}, {"change_at": None, "used": None}, {"horizon": 9000}),
    "reorder": ({}, {"daily_demand_mean": None, "daily_demand_sd": None, "daily_demand": {"mean": 3, "sd": 1}},
                {"on_hand": None, "order_cost": None}),
    "cost-compare": ({"change_time_modular": 1.5, "change_time_solid": 4},
                     {"modular": {"body_cost": 300, "body_life_tips": 5, "tip_cost": 90, "edges": 2, "carbide_mass": 6},
                      "solid": {"cost": 90, "regrinds": 3, "regrind_cost": 14, "carbide_mass": 50}}),
}  # fmt: skip


def cases() -> list[tuple[str, str, dict[str, Any]]]:
    found = []
    for working in all_workings():
        if working.family not in FAMILIES or not working.takes_arrays:
            continue
        for extra in ASKED[working.name]:
            asked = {name: value for name, value in {**working.example, **extra}.items() if value is not None}
            found += [(working.name, entry.name, asked) for entry in sweepable(working) if asked.get(entry.name)]
    return found


def along(entry: Input, middle: float) -> np.ndarray[Any, Any]:
    if entry.kind is Kind.COUNT:
        return np.unique(np.round(middle * np.array([0.1, 0.5, 1.0, 1.3, 2.0])) + 1)
    most = math.inf if entry.highest is None else entry.highest
    return np.minimum(middle * np.array([1.0, 1.3, 2.0, 0.97, 1.04]), most)


def in_place(given: Given, entry: Input, value: Any, many: bool) -> Given:
    kept = ureg.Quantity(value, unit_named(entry.unit)) if entry.kind is Kind.QUANTITY else value
    return replace(given, values={**given.values, entry.name: kept}, many=many, used=set())


def number(value: Any, place: int) -> float:
    """The value at a place of an array, or the one value; none is no number."""
    value = value.magnitude if isinstance(value, pint.Quantity) else value
    value = value[place] if isinstance(value, np.ndarray) else value
    return math.nan if value is None else float(value)


@pytest.mark.parametrize(("name", "over", "asked"), cases())
def test_an_array_answers_as_its_values_alone(name: str, over: str, asked: dict[str, Any]) -> None:
    working = get(name)
    entry = working.input(over)
    given = read_inputs(working, asked, "metric", None)
    at = along(entry, asked[over])
    together = compute(working, in_place(given, entry, at, True))
    assert together.results
    for place, value in enumerate(at):
        alone = compute(
            working, in_place(given, entry, int(value) if entry.kind is Kind.COUNT else float(value), False)
        )
        words = {"advice", "cheaper", "cost_against_speed", "interval"}
        assert together.results.keys() == alone.results.keys() - words
        for result, found in together.results.items():
            expected = alone.results[result]
            parts = found if isinstance(found, Mapping) else {"": found}
            for key, part in parts.items():
                one = expected[key] if key else expected
                assert not isinstance(one, np.ndarray | np.generic), result
                assert number(part, place) == pytest.approx(number(one, place), rel=1e-8, abs=1e-9, nan_ok=True), result
        assert [mark.name for mark in together.marks] == [mark.name for mark in alone.marks]
        for mark, one in zip(together.marks, alone.marks, strict=True):
            assert np.broadcast_to(mark.where, at.shape)[place] == one.where, mark.name
            assert isinstance(one.where, bool)


def test_all_but_fits_take_arrays() -> None:
    found = {working.name for working in all_workings() if working.family in FAMILIES and not working.takes_arrays}
    assert found == {"life-fit"}


def shop(what: str, word: str, words: Mapping[str, str]) -> Known:
    del words
    known = {
        ("material", "hard alloy"): Known("Hard alloy", {"n": 0.25, "speed_low": 30, "speed_high": 60}, "assumed"),
        ("material", "fitted"): Known("Fitted alloy", {"n": 0.3, "c": 200}, "fitted to 14 ended edges"),
        ("machine", "M1"): Known("M1", {"machine_rate": 72}),
        ("tool", "T1"): Known("T1", {"edge_cost": 5.5}),
    }
    return known[what, word]


def test_tool_life_takes_n_and_c_from_the_shops_own_lives() -> None:
    answer = run("tool-life", {"material": "fitted", "surface_speed": 100}, shop=shop)
    assert answer.results["tool_life"].value == pytest.approx(2 ** (1 / 0.3))
    assert "fitted to 14 ended edges" in " ".join(answer.assumed)
    assert answer.warnings == ()


@pytest.mark.parametrize(
    ("name", "more"), [("tool-life", {"surface_speed": 50}), ("economics", {"change_time": 3, "edge_cost": 6})]
)
def test_an_exponent_alone_asks_for_c_and_says_how(name: str, more: dict[str, Any]) -> None:
    with pytest.raises(InputErrors) as refused:
        run(name, {"material": "hard alloy", "machine": "M1", **more} if name == "economics"
            else {"material": "hard alloy", **more}, shop=shop)  # fmt: skip
    assert list(refused.value.by_field()) == ["c"]
    assert "C is missing" in str(refused.value)
    assert "lasts one minute" in str(refused.value)


def test_a_typed_n_beside_a_fitted_c_is_told() -> None:
    answer = run("tool-life", {"material": "fitted", "n": 0.2, "surface_speed": 100}, shop=shop)
    assert "belong together" in answer.warnings[0]


def test_nothing_of_taylors_law_is_said_as_before() -> None:
    with pytest.raises(InputErrors, match="Taylor's law is missing"):
        run("tool-life", {"surface_speed": 100})


def test_economics_takes_the_rate_of_the_machine_and_the_cost_of_the_edge() -> None:
    asked = {"material": "hard alloy", "machine": "M1", "tool": "T1", "c": 180, "change_time": 3}
    answer = run("economics", asked, shop=shop)
    assert answer.results["life_min_cost"].value == pytest.approx(3 * (3 + 5.5 / 1.2))


def test_economics_at_a_speed_tells_life_and_cost_there_and_the_least() -> None:
    asked = {**get("economics").example, "work": WORK}
    cheapest = run("economics", asked)
    least = cheapest.results["cost_per_part"].value
    assert cheapest.results["cost_per_part_min"].value == least
    assert "tool_life" not in cheapest.results
    best = cheapest.results["speed_min_cost"].value
    for speed in (0.8 * best, best, 1.3 * best):
        answer = run("economics", {**asked, "surface_speed": speed})
        life = (180 / speed) ** 4
        cut = math.pi * 60 * 400 / (1000 * 0.2 * speed)
        # By hand: one a minute, a change of 3 min and an edge of 6, spread over the parts of a life.
        assert answer.results["tool_life"].value == pytest.approx(life)
        assert answer.results["cost_per_part"].value == pytest.approx(cut + cut / life * (3 + 6))
        assert answer.results["cost_per_part_min"].value == pytest.approx(least)
        assert answer.results["cost_per_part"].value >= least * (1 - 1e-12)


def test_a_speed_outside_the_metals_range_or_past_the_life_of_a_part_is_told() -> None:
    asked = {"material": "hard alloy", "c": 180, "change_time": 3, "machine_rate": 60, "edge_cost": 6, "work": WORK}
    assert run("economics", {**asked, "surface_speed": 50}, shop=shop).warnings == ()
    fast = run("economics", {**asked, "surface_speed": 150}, shop=shop).warnings
    assert "outside the 30 m/min to 60 m/min" in fast[0]
    assert "less than the 2.51 min of one part" in fast[1]
    swept = sweep("economics", asked, "surface_speed", 20, 170, shop=shop)
    assert {stretch.name for stretch in swept.stretches} == {"speed", "short_life"}
    assert {"tool_life", "cost_per_part", "cost_per_part_min"} <= {curve.name for curve in swept.curves}
    outside = run("tool-life", {"material": "hard alloy", "c": 180, "surface_speed": 20}, shop=shop)
    assert "outside" in outside.warnings[0]


def test_a_sweep_past_a_change_without_time_leaves_the_fastest_life_open() -> None:
    swept = sweep("economics", get("economics").example, "change_time", 0, 4, points=5)
    lives = {curve.name: curve.values for curve in swept.curves}
    assert lives["life_max_output"][0] is None
    assert lives["life_max_output"][1] == pytest.approx(3.0)
    assert lives["life_min_cost"][0] == pytest.approx(18.0)


def test_where_an_edge_is_best_run_to_its_end_the_curve_has_a_gap_and_a_mark() -> None:
    asked = {"shape": 2, "scale": 45, "cost_planned": 5, "cost_failure": 25, "minutes_per_part": 6}
    swept = sweep("change-interval", asked, "shape", 0.5, 3, points=26)
    parts = next(curve.values for curve in swept.curves if curve.name == "parts")
    (end,) = [stretch for stretch in swept.stretches if stretch.name == "to_the_end"]
    assert parts[0] is None
    assert parts[-1] is not None
    assert 1.0 < end.stop < 1.5


def test_edges_to_stage_are_worked_out_in_bundles_that_fit() -> None:
    # 100 points of 2,500 parts are more than are worked out at once.
    asked = {"shape": 3, "scale": 600, "used": 100, "minutes_per_part": 2, "batch": 2500}
    swept = sweep("remaining-life", asked, "scale", 300, 900, points=100)
    staged = next(curve.values for curve in swept.curves if curve.name == "edges_to_stage")
    for place in (0, 57, 99):
        alone = run("remaining-life", {**asked, "scale": swept.at[place]}).results
        assert staged[place] == alone["edges_to_stage"].value
    assert list(staged) == sorted(staged, key=lambda value: -(value or 0))


def test_a_swept_batch_is_counted_up_to_each_of_its_numbers() -> None:
    with pytest.raises(WorkingError, match="from 1 to 20,000"):
        compute(
            get("remaining-life"),
            in_place(
                read_inputs(get("remaining-life"), get("remaining-life").example, "metric", None),
                get("remaining-life").input("batch"), np.array([1.0, 30000.0]), True,
            ),
        )  # fmt: skip


def test_order_now_is_marked_where_the_stock_has_come_down() -> None:
    given = read_inputs(get("reorder"), get("reorder").example, "metric", None)
    found = compute(get("reorder"), in_place(given, get("reorder").input("on_hand"), np.array([10.0, 500.0]), True))
    (mark,) = found.marks
    assert isinstance(mark, Mark)
    assert mark.where.tolist() == [True, False]


def test_every_case_stands_for_a_working_of_the_register() -> None:
    names = {working.name for working in all_workings() if working.family in FAMILIES and working.takes_arrays}
    assert names == set(ASKED)
    assert all(isinstance(get(name), Working) for name in names)
