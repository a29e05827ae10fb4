"""The cutting workings: what they recompute when a limit holds them, what they leave out, what they warn of."""

import math
from collections.abc import Mapping
from typing import Any

import pytest

from calc.errors import WorkingError
from calc.workings import InputErrors, Known, run

MILL = {"diameter": 50, "teeth": 5, "surface_speed": 180, "feed_per_tooth": 0.12}
LOADED = MILL | {"axial_depth": 3, "radial_depth": 12.5, "kc11": 1700, "mc": 0.25}


def values(name: str, asked: Mapping[str, object], **more: Any) -> dict[str, Any]:
    return {key: value.value for key, value in run(name, asked, **more).results.items()}


def test_milling_without_depths_leaves_chip_and_power_out() -> None:
    found = values("milling", MILL)
    assert set(found) == {"spindle_speed", "surface_speed", "feed_per_tooth", "feed_rate", "capped_by"}
    assert found["capped_by"] == []
    assert set(values("milling", MILL | {"radial_depth": 5})) - set(found) == {
        "engagement_angle", "max_chip_thickness", "mean_chip_thickness",
    }  # fmt: skip
    assert "cutting_power" not in values("milling", MILL | {"radial_depth": 5, "axial_depth": 5})


def test_milling_from_feed_rate_and_spindle_speed() -> None:
    found = values("milling", {"diameter": 50, "teeth": 5, "spindle_speed": 1000, "feed_rate": 600})
    assert found["feed_per_tooth"] == pytest.approx(0.12)
    assert found["surface_speed"] == pytest.approx(math.pi * 50)


def test_a_capped_speed_keeps_the_feed_per_tooth_and_recomputes_the_rest() -> None:
    free, held = values("milling", LOADED), values("milling", LOADED | {"max_spindle_speed": 573})
    assert held["capped_by"] == ["max_spindle_speed"]
    assert held["spindle_speed"] == 573
    assert held["feed_per_tooth"] == pytest.approx(free["feed_per_tooth"])
    share = 573 / free["spindle_speed"]
    for name in ("surface_speed", "feed_rate", "removal_rate", "cutting_power", "spindle_power"):
        assert held[name] == pytest.approx(free[name] * share), name
    assert held["torque"] == pytest.approx(free["torque"])


def test_a_capped_feed_rate_thins_the_chip() -> None:
    free, held = values("milling", LOADED), values("milling", LOADED | {"max_feed_rate": 300})
    assert held["capped_by"] == ["max_feed_rate"]
    assert held["feed_rate"] == pytest.approx(300)
    assert held["spindle_speed"] == free["spindle_speed"]
    assert held["mean_chip_thickness"] < free["mean_chip_thickness"]
    assert held["specific_cutting_force"] > free["specific_cutting_force"]


def test_a_capped_power_lowers_the_speed_at_the_same_chip() -> None:
    free, held = values("milling", LOADED), values("milling", LOADED | {"max_power": 1})
    assert held["capped_by"] == ["max_power"]
    assert held["spindle_power"] == pytest.approx(1)
    assert held["cutting_power"] == pytest.approx(0.8)
    assert held["feed_per_tooth"] == pytest.approx(free["feed_per_tooth"])


def test_three_limits_take_hold_one_after_the_other_and_each_is_a_step() -> None:
    asked = LOADED | {"max_spindle_speed": 1000, "max_feed_rate": 150, "max_power": 0.5}
    answer = run("milling", asked)
    assert answer.results["capped_by"].value == ["max_spindle_speed", "max_power", "max_feed_rate"]
    assert answer.results["capped_by"].text == "the highest spindle speed, the spindle's power, the highest feed rate"
    held = [step for step in answer.steps if step.source == "own-limits"]
    assert held[0].with_numbers == "1146 rev/min, 688 mm/min; limit 1000 rev/min"
    assert held[0].result == "1000 rev/min, 600 mm/min"
    assert held[1].result == "307 rev/min, 184 mm/min"
    assert held[2].result == "307 rev/min, 150 mm/min"
    assert answer.results["spindle_power"].value < 0.5


def test_a_feed_rate_that_the_power_already_keeps_down_thins_no_chip() -> None:
    # Held back by its power the cut feeds 184 mm/min, far below a limit of 450 mm/min: the tooth bites as asked.
    found = values("milling", LOADED | {"max_spindle_speed": 1000, "max_feed_rate": 450, "max_power": 0.5})
    assert found["capped_by"] == ["max_spindle_speed", "max_power"]
    assert found["feed_per_tooth"] == pytest.approx(0.12)
    assert found["spindle_power"] == pytest.approx(0.5)


def test_a_power_limit_that_cannot_be_checked_is_said() -> None:
    answer = run("milling", MILL | {"max_power": 1})
    assert answer.assumed == ("The power limit was not checked. Give a work material, or kc1.1 with mc.",)


def test_a_slot_is_at_its_thickest_in_the_middle() -> None:
    found = values("milling", MILL | {"radial_depth": 50})
    assert found["engagement_angle"] == pytest.approx(180)
    assert found["max_chip_thickness"] == pytest.approx(0.12)


def test_radial_depth_past_the_diameter_is_refused_even_without_the_rest() -> None:
    with pytest.raises(WorkingError, match="cannot be more than the diameter") as caught:
        run("milling", MILL | {"radial_depth": 51})
    assert caught.value.argument == "radial_depth"


def test_time_in_cut_counts_the_passes() -> None:
    once = values("milling", MILL | {"length_of_cut": 300})
    thrice = values("milling", MILL | {"length_of_cut": 300, "passes": 3})
    assert thrice["time_in_cut"] == pytest.approx(3 * once["time_in_cut"])


def test_drilling_without_depth_and_through() -> None:
    asked = {"diameter": 10, "spindle_speed": 1000, "feed": 0.2}
    assert "time_in_cut" not in values("drilling", asked)
    answer = run("drilling", asked | {"depth": 20, "through": True, "holes": 4, "peck_depth": 6})
    point = answer.results["point_length"].value
    assert answer.results["travel"].value == pytest.approx(20 + point)
    assert answer.results["time_in_cut"].value == pytest.approx(4 * (20 + point) / 200)
    assert not any("blind" in sentence for sentence in answer.assumed)
    assert any(step.says == "Pecks in each hole" and step.result == "4" for step in answer.steps)


def test_drilling_power_against_its_parts() -> None:
    asked = {"diameter": 10, "spindle_speed": 1000, "feed": 0.2, "kc11": 2000, "mc": 0.25, "max_feed_rate": 100}
    found = values("drilling", asked)
    assert found["capped_by"] == ["max_feed_rate"]
    assert found["removal_rate"] == pytest.approx(math.pi * 25 * 100 / 1000)
    assert found["torque"] == pytest.approx(found["cutting_power"] * 1000 * 60 / (2 * math.pi * 1000))


def test_turning_in_full_and_in_part() -> None:
    bare = {"diameter": 80, "surface_speed": 120, "feed": 0.2}
    assert set(values("turning", bare)) == {
        "spindle_speed", "surface_speed", "feed_rate", "chip_thickness", "capped_by",
    }  # fmt: skip
    assert "cutting_power" not in values("turning", bare | {"depth_of_cut": 2})
    full = values(
        "turning", bare | {"depth_of_cut": 2, "material": "nickel", "nose_radius": 0.8, "length_of_cut": 100},
        shop=lambda what, name, words: Known(name, {"kc11": 2800, "mc": 0.25}),
    )  # fmt: skip
    # vc · ap · f · kc / 60e3 in kW.
    expected = 120 * 2 * 0.2 * full["specific_cutting_force"] / 60e3
    assert full["cutting_power"] == pytest.approx(expected)
    assert full["time_in_cut"] == pytest.approx(100 / full["feed_rate"])
    deep = run("turning", bare | {"depth_of_cut": 50})
    assert any("more than half the diameter" in sentence for sentence in deep.warnings)


def test_facing_says_each_zone_it_has() -> None:
    asked = {"outer_diameter": 100, "surface_speed": 200, "feed": 0.2}
    both = run("facing", asked | {"max_spindle_speed": 2000})
    assert [step.says for step in both.steps][1:] == ["At constant surface speed", "At the highest spindle speed"]
    assert "The cut runs to the centre." in both.assumed
    slow = run("facing", asked | {"max_spindle_speed": 100, "inner_diameter": 10})
    assert [step.says for step in slow.steps][1:] == ["At the highest spindle speed"]
    ring = run("facing", asked | {"max_spindle_speed": 9000, "inner_diameter": 50})
    assert [step.says for step in ring.steps][1:] == ["At constant surface speed"]


def test_tapping_follows_the_lead_even_when_held_back() -> None:
    asked = {"thread": "M6", "surface_speed": 15, "starts": 2, "max_spindle_speed": 500, "depth": 12}
    answer = run("tapping", asked | {"form": "form", "retract_ratio": 2})
    found = {key: value.value for key, value in answer.results.items()}
    assert found["capped_by"] == ["max_spindle_speed"]
    assert found["feed_rate"] == pytest.approx(500 * 1 * 2)
    assert found["time_in_cut"] == pytest.approx(12 / 1000 * 1.5)
    assert any("form tap" in sentence for sentence in answer.cautions)
    inch = values("tapping", {"thread": "1/4-20", "surface_speed": 15})
    assert "travel" not in inch
    assert inch["feed_rate"] == pytest.approx(inch["spindle_speed"] * 1.27)


def test_a_tap_goes_its_chamfer_deeper_than_the_full_thread() -> None:
    asked = {"thread": "M10", "spindle_speed": 500, "depth": 20}
    bare, full = run("tapping", asked), run("tapping", asked | {"chamfer_threads": 4})
    assert bare.results["travel"].value == 20
    assert "drilled_depth" not in bare.results
    assert any("how far the tap goes in" in sentence for sentence in bare.assumed)
    # 20 mm and 4 threads of 1.5 mm, in and out at 750 mm/min; one thread more is drilled for the chips.
    assert full.results["travel"].value == pytest.approx(26)
    assert full.results["time_in_cut"].value == pytest.approx(2 * 26 / 750)
    assert full.results["drilled_depth"].value == pytest.approx(27.5)
    assert not any("how far the tap goes in" in sentence for sentence in full.assumed)


def test_each_start_of_a_tap_asks_for_its_own_torque() -> None:
    asked = {"diameter": 20, "pitch": 2, "spindle_speed": 100, "kc11": 2000, "mc": 0.25}
    # kc 2000 at a chip of half the pitch, 1 mm; 2000 · 4 · 20 / 8000.
    assert values("tapping", asked)["torque"] == pytest.approx(20)
    twice = run("tapping", asked | {"starts": 2})
    assert twice.results["torque"].value == pytest.approx(40)
    assert "starts" in next(step for step in twice.steps if "Torque" in step.says).formula


@pytest.mark.parametrize("name", ["tapping", "drilling"])
def test_drills_and_taps_may_be_slower_than_the_speeds_kept_for_turning(name: str) -> None:
    def shop(what: str, word: str, words: object) -> Known:
        return Known(word, {"kc11": 2600, "mc": 0.24, "speed_low": 25, "speed_high": 75})

    sizes = {"thread": "M10"} if name == "tapping" else {"diameter": 8.5, "feed": 0.1}
    slow, fast = (run(name, {**sizes, "material": "718", "surface_speed": speed}, shop=shop) for speed in (4, 80))
    assert slow.warnings == ()
    assert fast.warnings == ("80 m/min is faster than the 75 m/min kept for 718 (assumed).",)


def test_turning_deeper_than_the_edge_may_is_told() -> None:
    asked = {"diameter": 80, "surface_speed": 120, "feed": 0.2, "max_depth": 3}
    assert run("turning", {**asked, "depth_of_cut": 3}).warnings == ()
    (said,) = run("turning", {**asked, "depth_of_cut": 4}).warnings
    assert said == "A depth of 4 mm is more than the 3 mm that the tool may cut: take more passes."


def test_tapping_needs_the_thread_or_both_its_sizes() -> None:
    with pytest.raises(InputErrors) as caught:
        run("tapping", {"diameter": 6, "surface_speed": 15})
    assert caught.value.by_field() == {"pitch": ["Pitch is missing: it goes with nominal diameter."]}
    with pytest.raises(WorkingError, match="is not known"):
        run("tapping", {"thread": "six", "surface_speed": 15})


@pytest.mark.parametrize(
    ("asked", "drill", "text"),
    [
        ({"thread": "M12"}, {"name": "10.2", "mm": 10.2}, "10.2 mm"),
        ({"thread": "M10", "percent": 75}, {"name": "8.5", "mm": 8.5}, "8.5 mm"),
        ({"thread": "5/16-18"}, {"name": "F", "mm": 6.5278}, "F (6.528 mm)"),
        ({"thread": "M6", "drill": "5.1"}, {"name": "5.1", "mm": 5.1}, "5.1 mm"),
        ({"thread": "M6", "form": "form"}, {"name": "5.6", "mm": 5.6}, "5.6 mm"),
        ({"thread": "M6", "form": "form", "percent": 70}, {"name": "5.5", "mm": 5.5}, "5.5 mm"),
    ],
)
def test_thread_names_its_drill(asked: dict[str, object], drill: dict[str, object], text: str) -> None:
    found = run("thread", asked).results["drill"]
    assert found.value == drill
    assert found.text == text


def test_thread_shows_both_measures_of_a_cut_thread_and_one_of_a_formed() -> None:
    cut = values("thread", {"thread": "M8", "drill": 6.8})
    assert cut["percent_of_handbook"] == pytest.approx(73.9, abs=0.01)
    assert cut["percent_of_profile"] == pytest.approx(88.7, abs=0.03)
    assert "percent_of_profile" not in values("thread", {"thread": "M8", "form": "form"})
    assert "clearance_medium" not in values("thread", {"thread": "#12-28"})
    assert values("thread", {"thread": "3/8-16"})["clearance_medium"] == pytest.approx(13 / 32 * 25.4)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"thread": "M8", "drill": "8"}, "a hole of 8 mm in a thread of 8 mm leaves nothing to tap"),
        ({"thread": "5/16-18", "drill": "0.257"}, "A bare number is in mm; write inches as 0.257 in."),
    ],
)
def test_a_drill_that_cannot_be_meant_is_sent_back(asked: dict[str, object], says: str) -> None:
    with pytest.raises(WorkingError) as caught:
        run("thread", asked)
    assert caught.value.argument == "drill"
    assert says in caught.value.sentence


def test_the_hole_shows_its_numbers() -> None:
    def hole(asked: dict[str, object]) -> tuple[str, str, str]:
        step = next(step for step in run("thread", asked).steps if step.says == "Hole before the tap")
        return step.formula, step.with_numbers, step.result

    assert hole({"thread": "M10", "percent": 75}) == (
        "D − 1.299 · P · percent", "10 mm − 1.299 · 1.5 mm · 75 %", "8.539 mm",
    )  # fmt: skip
    assert hole({"thread": "M10"}) == ("D − P, in the standard's sizes", "10 mm − 1.5 mm", "8.5 mm")
    assert hole({"thread": "M6", "form": "form"})[1] == "6 mm − 0.68 · 1 mm · 65 %"


EDGE = {"included_angle": 90, "tip_diameter": 1, "max_diameter": 10, "chamfer_width": 0.5, "contact_low": 1}


def test_chamfer_speed_is_at_the_largest_contact_and_may_be_left_out() -> None:
    bare = values("chamfer-edge", EDGE)
    assert "spindle_speed" not in bare
    assert bare["fits"] is True
    assert bare["why_not"] == ""
    speed_alone = values("chamfer-edge", EDGE | {"surface_speed": 60})
    assert speed_alone["spindle_speed"] == pytest.approx(60_000 / math.pi / bare["effective_diameter"])
    assert "feed_rate" not in speed_alone
    assert values("chamfer-edge", EDGE | {"surface_speed": 60, "max_spindle_speed": 900, "max_feed_rate": 1})[
        "spindle_speed"
    ] == pytest.approx(900)
    full = values("chamfer-edge", EDGE | {"surface_speed": 60, "teeth": 4, "feed_per_tooth": 0.05})
    assert full["feed_rate"] == pytest.approx(0.2 * full["spindle_speed"])


def test_chamfer_edge_offers_the_bands_and_says_what_it_could_not_check() -> None:
    answer = run("chamfer-edge", EDGE)
    bands = next(step for step in answer.steps if step.says.startswith("Bands"))
    assert bands.result.startswith("0.1 mm to 0.6 mm; 0.7 mm to 1.2 mm")
    unknown = run("chamfer-edge", {key: value for key, value in EDGE.items() if key != "max_diameter"})
    assert any("was not checked" in sentence for sentence in unknown.assumed)
    wide = run("chamfer-edge", EDGE | {"chamfer_width": 4.5, "contact_low": 0})
    assert next(step for step in wide.steps if step.says.startswith("Bands")).result == "none"


def test_chamfer_edge_that_does_not_fit_warns() -> None:
    asked = {"included_angle": 90, "tip_diameter": 1, "axis_offset": 0.3, "depth_below_face": 0.8}
    answer = run("chamfer-edge", asked)
    assert answer.results["fits"].value is False
    assert answer.results["why_not"].value in answer.cautions
    with pytest.raises(InputErrors, match="give two of"):
        run("chamfer-edge", {"included_angle": 90, "tip_diameter": 1, "axis_offset": 1})


HOLE = {"hole_diameter": 6.8, "chamfer_diameter": 8.8, "included_angle": 90, "tip_diameter": 1, "max_diameter": 10}


def test_chamfer_hole_by_plunge_and_by_circling() -> None:
    down = values("chamfer-hole", HOLE)
    assert down["depth_below_face"] == pytest.approx(3.9)
    assert down["interpolation_radius"] == 0
    asked = HOLE | {"how": "interpolate", "contact_low": 1, "surface_speed": 60, "teeth": 4, "feed_per_tooth": 0.05}
    answer = run("chamfer-hole", asked)
    assert answer.results["depth_below_face"].value == pytest.approx(2)
    assert answer.results["interpolation_radius"].value == pytest.approx(1.9)
    centre = next(step for step in answer.steps if "centre" in step.says)
    assert centre.source == "plane-geometry"
    assert any("feeds the centre" in sentence for sentence in answer.cautions)
    plunged = run("chamfer-hole", HOLE | {"surface_speed": 60, "teeth": 4, "feed_per_tooth": 0.05})
    assert not any("centre" in step.says for step in plunged.steps)
    assert any("tenth of the room" in text for text in run("chamfer-hole", HOLE | {"how": "interpolate"}).assumed)


def test_chamfer_hole_for_a_thread() -> None:
    asked = {key: value for key, value in HOLE.items() if key != "chamfer_diameter"}
    assert values("chamfer-hole", asked | {"thread": "M8"})["chamfer_diameter"] == pytest.approx(8.8)
    assert values("chamfer-hole", asked | {"thread": "M8", "factor": 1.05})["chamfer_diameter"] == pytest.approx(8.4)


def test_chamfer_hole_smaller_than_the_tip_flat_does_not_fit_by_plunge() -> None:
    found = values("chamfer-hole", HOLE | {"hole_diameter": 0.9, "chamfer_diameter": 2})
    assert found == {"chamfer_diameter": 2, "fits": False, "why_not": found["why_not"]}
    assert "does not enter a hole of 0.9 mm" in found["why_not"]


def test_a_plunge_leaves_no_choice_of_band() -> None:
    with pytest.raises(WorkingError, match="only by interpolation") as caught:
        run("chamfer-hole", HOLE | {"contact_low": 1})
    assert caught.value.argument == "contact_low"


@pytest.mark.parametrize(
    ("asked", "diameter"),
    [
        ({"shape": "ball"}, 2 * math.sqrt(0.5 * 9.5)),
        ({"shape": "bull", "corner_radius": 2}, 6 + 2 * math.sqrt(0.5 * 3.5)),
        ({"shape": "cone", "included_angle": 90, "tip_diameter": 1}, 2),
        ({"shape": "ball", "axial_depth": 7}, 10),
    ],
)
def test_effective_diameter_of_each_shape(asked: dict[str, object], diameter: float) -> None:
    found = values("effective-diameter", {"diameter": 10, "axial_depth": 0.5} | asked)
    assert found["effective_diameter"] == pytest.approx(diameter)


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"shape": "bull"}, "corner_radius"),
        ({"shape": "cone", "tip_diameter": 1}, "included_angle"),
        ({"shape": "ball", "corner_radius": 2}, "corner_radius"),
    ],
)
def test_effective_diameter_asks_for_what_the_shape_has(asked: dict[str, object], field: str) -> None:
    with pytest.raises(WorkingError) as caught:
        run("effective-diameter", {"diameter": 10, "axial_depth": 0.5} | asked)
    assert caught.value.argument == field


def test_a_cone_without_a_flat_is_taken_as_sharp() -> None:
    asked = {"shape": "cone", "diameter": 10, "axial_depth": 0.5, "included_angle": 90}
    answer = run("effective-diameter", asked)
    assert answer.results["effective_diameter"].value == pytest.approx(1)
    assert "The cone is sharp: it has no flat at its tip." in answer.assumed


def test_chip_thinning_by_either_chip() -> None:
    asked = {"diameter": 16, "radial_depth": 2}
    assert values("chip-thinning", asked | {"max_chip_thickness": 0.05})["factor"] == pytest.approx(1.511858, rel=1e-6)
    mean = values("chip-thinning", asked | {"mean_chip_thickness": 0.05})
    back = values("milling", {"diameter": 16, "teeth": 2, "surface_speed": 60, "radial_depth": 2} | {
        "feed_per_tooth": mean["feed_per_tooth"]
    })  # fmt: skip
    assert back["mean_chip_thickness"] == pytest.approx(0.05)
    half = values("chip-thinning", {"diameter": 16, "radial_depth": 8, "max_chip_thickness": 0.05})
    assert half["factor"] == pytest.approx(1)


def test_corner_feed_both_ways() -> None:
    asked = {"diameter": 10, "corner_radius": 20, "feed_rate": 500}
    assert values("corner-feed", asked) == {"feed_rate": 375, "ratio": 0.75}
    assert values("corner-feed", asked | {"inside": False}) == {"feed_rate": 625, "ratio": 1.25}


@pytest.mark.parametrize(("speed", "beyond"), [(30, True), (40, False), (60, False), (150, True)])
def test_a_life_asked_beyond_the_speeds_seen_is_told(speed: float, beyond: bool) -> None:
    answer = run("tool-life", {"points": [[40, 60], [50, 25], [60, 12]], "surface_speed": speed})
    assert any("beyond the 40 m/min to 60 m/min" in said for said in answer.warnings) == beyond


def test_drills_in_stock_without_commas_are_told_of_them() -> None:
    with pytest.raises(WorkingError, match="Put commas between drills"):
        run("thread", {"thread": "M10", "stock": "8.4 8.5 8.6"})
