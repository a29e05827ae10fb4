"""Chamfers through the register: the proposed band against a grid of places, wear, clearances, conditions, sweeps."""

import itertools
import math
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.workings import Answer, InputErrors, Known, run
from calc.workings.sweep import sweep

MILL = {"included_angle": 90, "tip_diameter": 1, "max_diameter": 9}
EDGE = {**MILL, "chamfer_width": 0.5}
HOLE = {**MILL, "hole_diameter": 8, "chamfer_diameter": 9, "how": "interpolate"}
WORN = [{"low": 0, "high": 0.7, "share": 0.8}]
FEED = {"surface_speed": 60, "teeth": 4, "feed_per_tooth": 0.05}


def values(answer: Answer) -> dict[str, Any]:
    return {name: value.value for name, value in answer.results.items()}


def shop(what: str, text: str, words: Mapping[str, str]) -> Known:
    if what == "material":
        return Known(text, {"speed_low": 100.0, "speed_high": 200.0})
    return Known(text, {**MILL, "teeth": 4, "worn": [{"low": 0, "high": 0.7, "share": None, "minutes": 12}]})


def worst(worn: list[dict[str, Any]], low: float, high: float) -> float:
    """The largest sum of shares over any stretch between two heights."""
    ends = sorted({low, high, *(end for row in worn for end in (row["low"], row["high"]) if low < end < high)})
    middles = [(one + other) / 2 for one, other in itertools.pairwise(ends)]
    return max(sum(float(row["share"]) for row in worn if row["low"] < at < row["high"]) for at in middles)


bands = st.lists(
    st.tuples(st.integers(0, 39), st.integers(1, 15), st.sampled_from([0.1, 0.3, 1.0])).map(
        lambda drawn: {"low": drawn[0] / 10, "high": (drawn[0] + drawn[1]) / 10, "share": drawn[2]}
    ),
    max_size=5,
)


@settings(max_examples=40)
@given(bands, st.sampled_from([0.3, 0.5, 1.0]), st.sampled_from([None, 5.5, 6.5]))
def test_the_proposed_band_fits_and_no_place_of_a_grid_is_worn_less(
    worn: list[dict[str, Any]], width: float, wall: float | None
) -> None:
    asked = {**MILL, "chamfer_width": width, "worn": worn, "neighbour_distance": wall}
    found = values(run("chamfer-edge", asked))
    if "proposed_contact_low" not in found:
        assert wall is not None
        return
    assert found["fits"] is True
    assert found["contact_low"] == pytest.approx(found["proposed_contact_low"])
    assert found["proposed_wear"] == pytest.approx(worst(worn, found["contact_low"], found["contact_high"]))
    for step in range(1, 39):
        place = {**asked, "contact_low": step / 10}
        if step / 10 + width <= 3.9 and values(run("chamfer-edge", place))["fits"]:
            assert found["proposed_wear"] <= worst(worn, step / 10, step / 10 + width) + 1e-9


def test_the_width_alone_takes_the_least_worn_band_and_says_so() -> None:
    answer = run("chamfer-edge", {**EDGE, "worn": WORN})
    assert values(answer)["contact_low"] == pytest.approx(0.8)
    assert values(answer)["proposed_axis_offset"] == pytest.approx(1.3)
    assert values(answer)["proposed_program_diameter"] == pytest.approx(2.6)
    assert any("least worn band" in said for said in answer.assumed)
    assert answer.results["proposed_wear"].text == "not worn"


def test_a_worn_place_is_warned_of_with_the_better_one() -> None:
    answer = run("chamfer-edge", {**EDGE, "worn": WORN, "contact_low": 0.2})
    assert "80 % of its life used" in answer.warnings[0]
    assert "put the lowest contact at 0.8 mm" in answer.warnings[0]
    nowhere = run("chamfer-edge", {**EDGE, "worn": [{"low": 0, "high": 4, "minutes": 5}], "contact_low": 1})
    assert "No band that fits is worn less" in nowhere.warnings[0]
    bare = {name: value for name, value in EDGE.items() if name != "max_diameter"}
    assert "can then be proposed" in run("chamfer-edge", {**bare, "worn": WORN, "contact_low": 0}).warnings[0]
    plunged = run("chamfer-hole", {**HOLE, "how": "plunge", "worn": [{"low": 3.4, "high": 4, "share": 1}]})
    assert "a plunge leaves no choice" in plunged.warnings[0]


def test_no_band_that_fits_is_said_and_the_collision_shown() -> None:
    answer = run("chamfer-edge", {**EDGE, "chamfer_width": 4.5, "worn": WORN})
    assert values(answer)["fits"] is False
    assert values(answer)["clearance_shank"] == pytest.approx(-0.5)
    assert "has no place for a band" in answer.warnings[0]
    circled = run("chamfer-hole", {**HOLE, "chamfer_diameter": 17, "worn": WORN})
    assert any("tenth of the room" in said for said in circled.assumed)


def test_an_item_brings_its_worn_bands_and_a_material_its_speeds() -> None:
    answer = run("chamfer-edge", {"chamfer_width": 0.5, "item": "T-1", "material": "718", **FEED}, shop=shop)
    assert values(answer)["wear_measure"] == "minutes"
    assert values(answer)["contact_low"] == pytest.approx(0.8)
    assert "lies outside" in answer.warnings[0]
    worn = run("chamfer-edge", {"chamfer_width": 0.5, "contact_low": 0, "item": "T-1"}, "inch", shop)
    assert "12 min in cut" in worn.warnings[0]


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"worn": [{"low": 2, "high": 1}]}, "worn", "row 1: the band ends at 1 mm"),
        ({"worn": [{"low": 0, "high": 1}] * 201}, "worn", "at most 200"),
        ({"worn": [*WORN, {"low": 1, "high": 2, "minutes": 3}]}, "worn", "cannot be compared"),
        ({"worn": WORN, "max_diameter": None}, "max_diameter", "without it"),
        ({"contact_low": 1, "neighbour_height": 2}, "neighbour_distance", "is missing"),
        ({"contact_low": 1, **FEED, "teeth": None}, "teeth", "goes with feed per tooth"),
    ],
)
def test_what_cannot_be_worked_with_is_refused_by_name(change: dict[str, Any], field: str, says: str) -> None:
    with pytest.raises(WorkingError, match=says) as caught:
        run("chamfer-edge", {**EDGE, **change})
    assert caught.value.argument == field


def test_the_width_alone_is_too_little_without_wear() -> None:
    with pytest.raises(InputErrors, match="or chamfer width along the face with worn bands"):
        run("chamfer-edge", EDGE)
    with pytest.raises(WorkingError, match="not larger than the hole") as caught:
        run("chamfer-hole", {**HOLE, "chamfer_diameter": None, "thread": "M6"})
    assert caught.value.argument == "thread"


def test_bands_of_which_no_amount_is_said_count_as_used_up() -> None:
    rows = [{"low": step / 10, "high": (step + 1) / 10} for step in range(10)] + [{"low": 0, "high": 0}]
    answer = run("chamfer-edge", {**EDGE, "worn": rows})
    assert any("used up" in said for said in answer.assumed)
    assert values(answer)["contact_low"] == pytest.approx(1.1)
    assert any("2 more" in step.with_numbers for step in answer.steps)


def test_speeds_feeds_and_times() -> None:
    edge = {**EDGE, "contact_low": 1, "floor_depth": 2, "neighbour_distance": 8, **FEED, "length_of_cut": 100}
    found = values(run("chamfer-edge", edge))
    assert found["smallest_speed"] == pytest.approx(60 * 3 / 4)
    assert found["time_in_cut"] == pytest.approx(100 / found["feed_rate"])
    assert found["clearance_floor"] == pytest.approx(0.5)
    rated = values(run("chamfer-edge", {**EDGE, "contact_low": 1, "spindle_speed": 5000, "feed_rate": 900}))
    assert rated["feed_rate"] == pytest.approx(900)
    assert rated["surface_speed"] == pytest.approx(math.pi * 4 * 5)
    circled = values(run("chamfer-hole", {**HOLE, "contact_low": 1, "holes": 3, **FEED}))
    assert circled["time_in_cut"] == pytest.approx(3 * math.pi * 9 / circled["feed_rate"])
    assert circled["program_diameter"] == pytest.approx(3)
    stuck = values(run("chamfer-hole", {**HOLE, "contact_low": 3.7, **FEED}))
    assert "centre_feed_rate" not in stuck
    plunged = values(run("chamfer-hole", {**HOLE, "how": "plunge", "holes": 2, **FEED}))
    assert plunged["time_in_cut"] == pytest.approx(2 * 0.5 / plunged["feed_rate"])


def test_sweeps_mark_the_collisions_and_blank_what_does_not_enter() -> None:
    swept = sweep("chamfer-edge", {**EDGE, "worn": WORN, "contact_low": 1, **FEED}, "contact_low", 0, 5, points=51)
    assert {"clearance_shank", "worn"} <= {stretch.name for stretch in swept.stretches}
    asked = {**HOLE, "how": "plunge", **FEED}
    shut = sweep("chamfer-hole", asked, "hole_diameter", 0.4, 3, points=14)
    depth = next(curve for curve in shut.curves if curve.name == "contact_low").values
    assert depth[0] is None
    assert depth[-1] == pytest.approx(1)
    assert "tip_flat" in {stretch.name for stretch in shut.stretches}
    wide = sweep("chamfer-edge", {**EDGE, "worn": WORN}, "chamfer_width", 0.2, 6, points=30)
    assert "no_band" in {stretch.name for stretch in wide.stretches}
    assert len(wide.at) == 30


def test_circling_takes_the_least_worn_band_with_the_margin_asked_for() -> None:
    found = values(run("chamfer-hole", {**HOLE, "worn": WORN, "margin": 0.2}))
    assert found["contact_low"] == pytest.approx(0.9)
    assert found["proposed_interpolation_radius"] == pytest.approx(found["interpolation_radius"])
    assert found["fits"] is True
