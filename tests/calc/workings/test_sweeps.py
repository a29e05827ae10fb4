"""Sweeps: arrays answer as point by point does, limits become stretches, and a range ends where sense does."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from calc.errors import WorkingError
from calc.workings import (
    Found,
    Given,
    Input,
    InputErrors,
    Kind,
    Known,
    Working,
    all_workings,
    compute,
    get,
    run,
)
from calc.workings.reading import read_inputs
from calc.workings.sweep import Sweep, sweep, sweepable

MILLING = {
    "diameter": 16, "teeth": 4, "surface_speed": 60, "feed_per_tooth": 0.08, "axial_depth": 8, "radial_depth": 2,
    "kc11": 2800, "mc": 0.25, "length_of_cut": 300,
}  # fmt: skip
# What the examples leave out, so that every result and every limit is swept too.
FULLER: Mapping[str, Mapping[str, Any]] = {
    "milling": {
        **MILLING, "hone": 0.03, "max_chip": 0.1, "stick_out": 60, "max_depth": 12, "rake_angle": 10,
        "max_spindle_speed": 4000, "max_feed_rate": 600, "max_power": 2,
        "power_curve": [{"speed": 1500, "power": 3}, {"speed": 6000, "power": 2}],
    },
    "drilling": {
        "kc11": 2000, "mc": 0.25, "peck_depth": 10, "rapid_rate": 10000, "stick_out": 80, "max_spindle_speed": 1400,
        "power_curve": [{"speed": 1500, "power": 0.8}],
    },
    "turning": {"kc11": 2000, "mc": 0.25, "hone": 0.05, "max_chip": 0.4, "max_power": 3},
    "tapping": {"kc11": 2000, "mc": 0.25, "chamfer_threads": 4, "max_spindle_speed": 500},
    "effective-diameter": {"shape": "bull", "corner_radius": 2},
}  # fmt: skip


def asked_of(working: Working) -> dict[str, Any]:
    return {**working.example, **FULLER.get(working.name, {})}


def range_about(entry: Input, middle: float) -> tuple[float, float]:
    if entry.kind is Kind.COUNT:
        return 1, 7
    middle = middle or 10
    least = -math.inf if entry.lowest is None else entry.lowest
    return max(0.55 * middle, least), min(1.45 * middle, math.inf if entry.highest is None else entry.highest)


def in_arrays() -> list[tuple[str, str]]:
    found = []
    for working in all_workings():
        asked = asked_of(working)
        for entry in sweepable(working):
            if working.takes_arrays and isinstance(asked.get(entry.name, entry.default), int | float):
                found.append((working.name, entry.name))
    return found


"""They are said, but hold nothing back."""


@pytest.mark.parametrize(("name", "over"), in_arrays())
def test_an_array_answers_as_point_by_point(name: str, over: str) -> None:
    working = get(name)
    asked = asked_of(working)
    middle = asked.get(over, working.input(over).default)
    swept = sweep(name, asked, over, *range_about(working.input(over), middle), points=7)
    assert swept.curves
    for place, at in enumerate(swept.at):
        value = int(at) if working.input(over).kind is Kind.COUNT else at
        alone = run(name, {**asked, over: value})
        for curve in swept.curves:
            result, _, key = curve.name.partition(".")
            expected = alone.results[result].value
            expected = expected[key] if key else expected
            assert curve.values[place] == pytest.approx(expected, rel=1e-9, abs=1e-12), (curve.name, at)
        marks = compute(working, read_inputs(working, {**asked, over: value}, "metric", None)).marks
        for stretch in swept.stretches:
            if stretch.start < at < stretch.stop:
                assert stretch.name in {mark.name for mark in marks if mark.where}


def test_every_working_can_be_swept_one_way_or_the_other() -> None:
    for working in all_workings():
        asked = asked_of(working)
        for entry in sweepable(working):
            middle = asked.get(entry.name)
            if isinstance(middle, int | float):
                swept = sweep(working.name, asked, entry.name, *range_about(entry, middle), points=5)
                assert swept.at
                assert all(len(curve.values) == len(swept.at) for curve in swept.curves)
                assert all(value is None or math.isfinite(value) for curve in swept.curves for value in curve.values)


def values(swept: Sweep, name: str) -> np.ndarray[Any, Any]:
    return np.array(next(curve.values for curve in swept.curves if curve.name == name), dtype=float)


def test_a_limit_becomes_a_stretch_of_the_range() -> None:
    asked = {**MILLING, "max_power": 1.0}
    swept = sweep("milling", asked, "axial_depth", 1, 15, points=29)
    power = values(swept, "spindle_power")
    assert power.max() == pytest.approx(1.0)
    (stretch,) = [stretch for stretch in swept.stretches if stretch.name == "max_power"]
    assert stretch.says == "held back by the spindle's power"
    assert stretch.stop == 15
    over = np.array(swept.at) > stretch.start
    assert np.all(power[over] == pytest.approx(1.0))
    assert np.all(power[~over] <= 1.0)


def test_a_range_ends_where_it_makes_no_sense_and_says_why() -> None:
    swept = sweep("milling", MILLING, "radial_depth", "1 mm", "1 in", points=50, system="inch")
    assert swept.at[-1] == pytest.approx(16, abs=1e-4)
    assert swept.ends == (
        "From 0.6299 in on: Radial depth cannot be more than the diameter; a full slot is the diameter.",
    )
    both = sweep("corner-feed", {"diameter": 10, "corner_radius": 20, "feed_rate": 500}, "diameter", 1, 90)
    assert both.at[-1] == pytest.approx(40, abs=1e-3)


def test_the_lower_end_may_make_no_sense_either() -> None:
    asked = {"diameter": 10, "corner_radius": 20, "feed_rate": 500}
    swept = sweep("corner-feed", asked, "corner_radius", 1, 30, points=10)
    assert swept.at[0] == pytest.approx(5, abs=1e-3)
    assert swept.ends[0].startswith("Up to 5 mm: An inside corner must have a larger radius")


def test_what_stands_elsewhere_is_found_though_the_asked_value_does_not() -> None:
    swept = sweep("milling", {**MILLING, "radial_depth": 40}, "radial_depth", 2, 30, points=5)
    assert swept.at[-1] == pytest.approx(16, abs=1e-4)


def test_nothing_in_the_range_is_refused_with_the_reason() -> None:
    with pytest.raises(WorkingError, match="Radial depth cannot be more"):
        sweep("milling", MILLING, "radial_depth", 20, 30)


def test_a_range_that_touches_sense_at_one_point_alone_is_refused() -> None:
    with pytest.raises(WorkingError, match="Radial depth cannot be more"):
        sweep("milling", MILLING, "radial_depth", 16, 30)


def test_the_swept_input_takes_the_place_of_another_way_to_say_it() -> None:
    asked = {key: value for key, value in MILLING.items() if key != "surface_speed"} | {"spindle_speed": 1200}
    swept = sweep("milling", asked, "surface_speed", 20, 100, points=3)
    assert values(swept, "surface_speed") == pytest.approx([20, 60, 100])


def test_of_several_that_follow_from_each_other_only_a_given_one_can_be_swept() -> None:
    asked = {"included_angle": 90, "tip_diameter": 1, "max_diameter": 10, "chamfer_width": 0.5, "contact_low": 1}
    assert sweep("chamfer-edge", asked, "chamfer_width", 0.2, 1).at[0] == pytest.approx(0.2)
    with pytest.raises(WorkingError, match="follows from what is given of the place of the tool"):
        sweep("chamfer-edge", asked, "axis_offset", 1, 2)


def test_teeth_are_swept_in_whole_numbers() -> None:
    swept = sweep("milling", MILLING, "teeth", 2, 8, points=100)
    assert swept.at == (2, 3, 4, 5, 6, 7, 8)
    assert values(swept, "feed_rate")[-1] == pytest.approx(4 * values(swept, "feed_rate")[0])


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"over": "colour"}, "over", "cannot be drawn against; these can: diameter, teeth"),
        ({"over": "material"}, "over", "cannot be drawn against"),
        ({"start": None}, "from", "From is missing"),
        ({"stop": ""}, "to", "To is missing"),
        ({"start": 9, "stop": 1}, "to", "more than from"),
        ({"start": 1, "stop": 1}, "to", "more than from"),
        ({"start": -1}, "from", "must be above zero"),
        ({"stop": "2 kW"}, "to", "must be a length"),
        ({"stop": math.nan}, "to", "finite"),
        ({"points": 1}, "points", "from 2 to 500"),
        ({"points": 501}, "points", "from 2 to 500"),
        ({"points": True}, "points", "whole number"),
        ({"points": "many"}, "points", "whole number"),
    ],
)
def test_a_bad_range_is_refused_by_name(change: dict[str, Any], field: str, says: str) -> None:
    asked: dict[str, Any] = {"over": "axial_depth", "start": 1, "stop": 5, "points": 10, **change}
    with pytest.raises(WorkingError, match=says) as caught:
        sweep("milling", MILLING, **asked)
    assert caught.value.argument == field


def test_bad_inputs_beside_the_swept_one_are_refused_as_ever() -> None:
    with pytest.raises(InputErrors) as caught:
        sweep("milling", {**MILLING, "teeth": 0}, "axial_depth", 1, 5)
    assert list(caught.value.by_field()) == ["teeth"]


def test_as_dict_is_plain_data() -> None:
    body = sweep("milling", {**MILLING, "max_power": 1}, "axial_depth", 1, 15, points=4).as_dict()
    assert body["over"]["unit"] == "mm"
    assert len(body["over"]["values"]) == 4
    assert body["results"]["spindle_power"]["unit"] == "kW"
    assert body["limits"][0]["name"] == "max_power"
    assert body["ends"] == []


def test_several_numbers_of_one_result_become_as_many_curves() -> None:
    asked = {"shape": 2, "scale": 30, "used": 5, "minutes_per_part": 2}
    swept = sweep("remaining-life", asked, "used", 0, 40, points=5)
    assert {"minutes_left.10", "minutes_left.50", "minutes_left.90"} <= {curve.name for curve in swept.curves}
    assert np.all(np.diff(values(swept, "minutes_left.50")) <= 1e-9)


def test_a_working_without_arrays_marks_where_its_warnings_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    def compute(given: Given) -> Found:
        height = given.quantity("corner_radius").m_as("mm")
        found = Found(results={"ratio": height, "feed_rate": given.quantity("feed_rate")})
        if height > 6:
            found.warn("high", "too high", True, lambda: "Too high.")
        return found

    from calc import workings

    slow = Working(**{
        name: getattr(get("corner-feed"), name)
        for name in ("name", "title", "says", "inputs", "results", "sources")
    } | {"compute": compute})  # fmt: skip
    monkeypatch.setattr(workings.sweep, "get", lambda name: slow)
    swept = sweep("corner-feed", {"diameter": 1, "feed_rate": 5}, "corner_radius", 1, 11, points=200)
    assert len(swept.at) == 60
    (stretch,) = swept.stretches
    assert stretch.start == pytest.approx(6, abs=0.2)
    assert stretch.stop == 11


def test_what_is_named_is_looked_up_for_a_sweep_too() -> None:
    def shop(what: str, name: str, words: Mapping[str, str]) -> Known:
        return Known(name, {"kc11": 2400, "mc": 0.21, "speed_low": 40, "speed_high": 80})

    asked = {key: value for key, value in MILLING.items() if key not in ("kc11", "mc")} | {"material": "duplex"}
    swept = sweep("milling", asked, "surface_speed", 20, 100, points=81, shop=shop)
    outside = [stretch for stretch in swept.stretches if stretch.name == "speed"]
    assert [(round(one.start), round(one.stop)) for one in outside] == [(20, 40), (80, 100)]
    assert outside[0].says == "outside the speeds kept for duplex"
