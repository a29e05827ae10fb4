"""Every working has its drawing: to scale, its words clear of each other, and dropped when too little is known."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life.replacement import change_age
from calc.workings import Answer, Value, Working, all_workings, get, run
from crib.web.charts.svg import CannotDraw
from crib.web.drawings import drawing_of, life
from crib.web.drawings.geometry import Window, area, clip, clip_line, round_factor, spread
from crib.web.drawings.paper import Sheet, text_width
from crib.web.drawings.plot import Plot
from crib.web.drawings.reading import Known, TooLittle

WORKINGS = pytest.mark.parametrize("working", all_workings(), ids=lambda working: working.name)
SYSTEMS = pytest.mark.parametrize("system", ["metric", "inch"])
LOOSE = 0.25  # coordinates are written to a tenth of a pixel

# What the words for those who do not see it must name, beside the title.
TOLD = {
    "milling": ("engagement_angle", "max_chip_thickness", "mean_chip_thickness"),
    "drilling": ("travel", "point_length"),
    "turning": ("roughness_rz",),
    "facing": ("speed_cap_diameter", "time_in_cut"),
    "tapping": ("travel",),
    "thread": ("pitch", "minor_diameter", "pitch_diameter", "percent_of_handbook"),
    "chamfer-edge": ("axis_offset", "depth_below_face", "program_diameter", "contact_low", "contact_high"),
    "chamfer-hole": ("chamfer_diameter", "depth_below_face", "contact_low", "contact_high"),
    "effective-diameter": ("effective_diameter",),
    "chip-thinning": ("feed_per_tooth", "factor"),
    "corner-feed": ("feed_rate", "ratio"),
    "tool-life": ("tool_life", "n"),
    "life-fit": ("shape", "scale", "b10", "median"),
    "change-interval": ("advice", "cost_rate", "cost_rate_run_to_failure"),
    "remaining-life": ("minutes_left", "chance_of_batch"),
    "economics": ("speed_min_cost", "life_min_cost", "speed_max_output", "life_max_output"),
    "cost-compare": ("break_even_parts",),
    "renewal-demand": ("mean", "quantiles"),
    "reorder": ("reorder_point", "safety_stock", "order_quantity"),
}


def asked(name: str, **changed: Any) -> dict[str, Any]:
    """The working's example with some inputs changed; None takes one away."""
    merged = {**get(name).example, **changed}
    return {key: value for key, value in merged.items() if value is not None}


def drawn(name: str, system: Any = "metric", /, **changed: Any) -> ET.Element:
    return parsed(run(name, asked(name, **changed), system))


def parsed(answer: Answer) -> ET.Element:
    """The drawing as a parser reads it, after what every drawing must have."""
    text = str(drawing_of(answer))
    assert text, f"nothing drawn for {answer.working.name}"
    assert not re.search(r"\bnan\b|\binf\b", text.lower())
    root = ET.fromstring(text)
    assert root.tag == "svg"
    assert root.get("role") == "img"
    assert [child.tag for child in root][:2] == ["title", "desc"]
    for element in root.iter():
        assert element.get("style") is None
        assert not any(name.startswith("on") for name in element.attrib)
    width, height = (float(number) for number in root.attrib["viewBox"].split()[2:])
    for x, y in points_of(root):
        assert -0.5 <= x <= width + 0.5
        assert -0.5 <= y <= height + 0.5
    boxes = [box_of(element) for element in root.iter("text")]
    for words, (left, top, right, bottom) in boxes:
        assert left >= 0, words
        assert right <= width, words
        assert top >= 0, words
        assert bottom <= height, words
    for (words, one), (others, other) in combinations(boxes, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, f"{words!r} lies on {others!r}"
    return root


def box_of(element: ET.Element) -> tuple[str, tuple[float, float, float, float]]:
    """About where the words stand, at the size the style sheet gives them."""
    words = element.text or ""
    width, x, y = 0.97 * text_width(words), float(element.attrib["x"]), float(element.attrib["y"])
    left = x - {"start": 0.0, "middle": width / 2, "end": width}[element.attrib["text-anchor"]]
    return words, (left, y - 11, left + width, y + 3)


def points_of(root: ET.Element) -> Iterator[tuple[float, float]]:
    for element in root.iter("path"):
        if "hatch-" not in element.get("class", ""):
            yield from coordinates(element)


def coordinates(element: ET.Element) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([-\d.]+) ([-\d.]+)", element.attrib["d"])]


def dimension(root: ET.Element, name: str) -> float:
    """How long a dimension is on the paper."""
    found = [element for element in root.iter("path") if element.get("data-dim") == name]
    assert len(found) == 1, f"{len(found)} dimensions called {name}"
    one, other = coordinates(found[0])
    return math.dist(one, other)


def named(root: ET.Element, name: str) -> ET.Element:
    return next(element for element in root.iter() if element.get("data-name") == name)


def size(element: ET.Element) -> tuple[float, float]:
    """Width and height of a shape on the paper."""
    xs, ys = zip(*coordinates(element), strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


def says(root: ET.Element) -> str:
    return root.findtext("desc") or ""


def words_of(root: ET.Element) -> str:
    return " ".join(element.text or "" for element in root.iter("text"))


def has_class(root: ET.Element, name: str) -> bool:
    return any(name in element.get("class", "").split() for element in root.iter())


# ---- every working ----


@WORKINGS
@SYSTEMS
def test_every_example_has_a_drawing_that_says_what_it_shows(working: Working, system: Any) -> None:
    answer = run(working.name, working.example, system)
    root = parsed(answer)
    told = says(root)
    assert root.get("aria-label") == f"{root.findtext('title')}. {told}"
    for result in TOLD[working.name]:
        assert answer.results[result].text in told, result


@WORKINGS
def test_every_number_may_be_left_out_or_be_extreme_without_breaking_the_answer(working: Working) -> None:
    for entry in working.inputs:
        if isinstance(entry.example, int | float) and not isinstance(entry.example, bool):
            for value in (None, entry.example * 1e-4, entry.example * 1e4):
                try:
                    answer = run(working.name, asked(working.name, **{entry.name: value}))
                except WorkingError:
                    continue
                if drawing_of(answer):
                    parsed(answer)


@WORKINGS
def test_a_drawing_changes_with_the_numbers(working: Working) -> None:
    before = str(drawing_of(run(working.name, working.example)))
    changed = 0
    for entry in working.inputs:
        if (
            isinstance(entry.example, int | float)
            and not isinstance(entry.example, bool)
            and entry.name in asked(working.name)
        ):
            try:
                answer = run(working.name, asked(working.name, **{entry.name: entry.example * 0.9}))
            except WorkingError:
                continue
            changed += str(drawing_of(answer)) != before
    assert changed or working.name in ("thread", "life-fit")


def test_names_of_threads_and_lives_change_the_drawing_too() -> None:
    assert words_of(drawn("thread", thread="M12")) != words_of(drawn("thread"))
    more = [{"minutes": 41}, {"minutes": 58}, {"minutes": 90}]
    assert says(drawn("life-fit", lives=more)) != says(drawn("life-fit"))


def test_inches_are_written_in_inches() -> None:
    for name in ("milling", "chamfer-edge", "drilling", "thread", "corner-feed"):
        assert " mm" not in words_of(drawn(name, "inch"))
        assert " in" in words_of(drawn(name, "inch"))
    assert "ft/min" in words_of(drawn("economics", "inch"))
    assert "ft/min" in words_of(drawn("tool-life", "inch"))
    assert "m/min" in words_of(drawn("tool-life"))


def test_a_working_without_a_drawing_draws_nothing() -> None:
    answer = run("milling", get("milling").example)
    unknown = replace(answer, working=replace(answer.working, name="something-new"))
    assert drawing_of(unknown) == ""


def test_what_is_not_known_is_not_drawn() -> None:
    answer = run("facing", get("facing").example)
    assert drawing_of(replace(answer, results={})) == ""
    swept = {**answer.inputs, "outer_diameter": Value([1.0, 2.0], "mm", "")}
    assert drawing_of(replace(answer, inputs=swept)) == ""


def test_typed_markup_stays_text() -> None:
    answer = run("milling", get("milling").example)
    hostile = {**answer.inputs, "radial_depth": Value(1.6, "mm", "<script>alert(1)</script>")}
    text = str(drawing_of(replace(answer, inputs=hostile)))
    assert "<script" not in text
    assert "&lt;script&gt;" in text


# ---- to scale ----


def test_milling_is_to_scale_from_above_and_from_the_side() -> None:
    root = drawn("milling", diameter=20, radial_depth=5, axial_depth=12)
    across, _ = size(named(root, "cutter"))
    assert dimension(root, "ae") / across == pytest.approx(5 / 20, abs=0.005)
    assert dimension(root, "ap") / across == pytest.approx(12 / 20, abs=0.005)
    wide, high = size(named(root, "taken"))
    assert wide / high == pytest.approx(5 / 12, abs=0.01)
    # θe = 60°: the arc spans r · sin θe across and r · (1 - cos θe) up.
    wide, high = size(named(root, "band"))
    assert (wide / across, high / across) == pytest.approx((math.sin(math.pi / 3) / 2, 0.25), abs=0.005)


def test_the_milling_chip_is_a_sickle_as_thick_as_it_says() -> None:
    root = drawn("milling", diameter=16, radial_depth=16, feed_per_tooth=0.1)
    factor = float(re.search(r"drawn (\d+) times thicker", words_of(root))[1])  # type: ignore[index]
    _, high = size(named(root, "chip"))
    # A full slot's chip is as high as the cutter is wide.
    assert dimension(root, "hmax") / high == pytest.approx(0.1 * factor / 16, abs=0.01)
    assert "hmax 0.1 mm" in words_of(root)


def test_without_a_radial_depth_there_is_only_the_cutter() -> None:
    root = drawn("milling", radial_depth=None, axial_depth=None)
    assert "Give the radial depth" in says(root)
    assert "ae" not in words_of(root)
    parsed(run("milling", asked("milling", axial_depth=None)))
    assert not has_class(drawn("milling", teeth=90, radial_depth=None), "tooth")


@pytest.mark.parametrize(("depth", "through"), [(30, False), (30, True), (250, False)])
def test_drilling_is_to_scale(depth: float, through: bool) -> None:
    answer = run("drilling", asked("drilling", depth=depth, through=through))
    root = parsed(answer)
    travel = dimension(root, "travel")
    assert dimension(root, "depth") / travel == pytest.approx(depth / answer.results["travel"].value, abs=0.005)
    assert dimension(root, "dc") / travel == pytest.approx(8.5 / answer.results["travel"].value, abs=0.01)
    assert ("through" if through else "blind") in says(root)


def test_pecks_are_marked_where_the_drill_is_drawn_back() -> None:
    def levels(**changed: Any) -> int:
        return sum(element.get("data-name") == "peck" for element in drawn("drilling", **changed).iter())

    assert levels(peck_depth=10) == 3  # of 32.554 mm
    assert levels(peck_depth=40) == 0
    assert levels(peck_depth=0.01) == 0  # too many to draw
    assert "Give the depth" in says(drawn("drilling", depth=None))


def test_the_tap_and_its_thread_are_to_scale() -> None:
    root = drawn("tapping", thread="M10x1.5", depth=20, chamfer_threads=4)
    assert dimension(root, "travel") / dimension(root, "major") == pytest.approx(2, abs=0.01)
    assert dimension(root, "minor") / dimension(root, "major") == pytest.approx(0.8376, abs=0.005)
    _, lead = size(named(root, "chamfer"))
    assert lead / dimension(root, "travel") == pytest.approx(4 * 1.5 / 20, abs=0.01)
    assert has_class(root, "air")
    fine = drawn("tapping", thread=None, diameter=30, pitch=0.35, depth=60, starts=2)
    assert named(fine, "root") is not None
    assert "2 starts" in words_of(fine)
    assert "Give the depth" in says(drawn("tapping", depth=None))


def test_the_thread_profile_is_to_scale() -> None:
    root = drawn("thread", thread="M10x1.5", percent=None)
    # Depth of the basic profile over the pitch, from memory: 5/8 · √3/2.
    assert dimension(root, "height") / dimension(root, "pitch") == pytest.approx(0.54127, abs=0.005)
    drill, profile = coordinates(named(root, "drill")), coordinates(named(root, "profile"))
    crest, top = max(y for _, y in profile), min(y for _, y in profile)
    # The 8.5 mm drill stands (8.5 - 8.376) / 2 over the minor diameter.
    assert (crest - drill[0][1]) / (crest - top) == pytest.approx(0.062 / 0.8119, abs=0.01)
    assert "77 % of thread" in words_of(root)


@pytest.mark.parametrize(("name", "over_pitch"), [("G 1/2", 0.640327), ("1/2-14 NPT", 0.8), ("Rc 1/2", 0.640327)])
def test_pipe_threads_have_their_own_profile_and_taper(name: str, over_pitch: float) -> None:
    root = drawn("thread", thread=name, percent=None)
    assert dimension(root, "height") / dimension(root, "pitch") == pytest.approx(over_pitch, abs=0.005)
    assert ("tapers 1 in 16" in says(root)) == (name != "G 1/2")
    if name != "G 1/2":
        (x1, y1), (x2, y2) = coordinates(named(root, "taper"))
        assert (y2 - y1) / (x2 - x1) == pytest.approx(1 / 32, abs=0.003)


def test_an_outside_pipe_thread_has_no_drill_and_a_far_one_no_drawing() -> None:
    answer = run("thread", asked("thread"))
    bare = {key: value for key, value in answer.results.items() if key not in ("drill", "drill_diameter")}
    assert "drill" not in words_of(parsed(replace(answer, results=bare)))
    away = {**answer.results, "drill": Value({"name": "x", "mm": 2.0}, "mm", "x")}
    assert drawing_of(replace(answer, results=away)) == ""


def test_turning_shows_the_step_and_the_tracks_to_scale() -> None:
    root = drawn("turning", diameter=40, depth_of_cut=4)
    assert dimension(root, "ap") / dimension(root, "d") == pytest.approx(0.1, abs=0.005)
    assert dimension(root, "after") / dimension(root, "d") == pytest.approx(32 / 40, abs=0.005)
    factor = float(re.search(r"drawn (\d+) times larger", words_of(root))[1])  # type: ignore[index]
    # Rz = f² / (8 · rε) = 6.25 µm over a feed of 0.2 mm.
    assert dimension(root, "rz") / dimension(root, "feed") == pytest.approx(0.00625 * factor / 0.2, abs=0.01)
    assert "Give the depth of cut" in says(drawn("turning", depth_of_cut=None, nose_radius=None))


def test_facing_shows_where_the_spindle_is_at_its_limit() -> None:
    root = drawn("facing")
    across, _ = size(named(root, "outer"))
    held, _ = size(named(root, "cap"))
    # vc / (π · nmax) = 200 m/min / (π · 2000/min) = 31.831 mm of 100 mm.
    assert held / across == pytest.approx(0.31831, abs=0.003)
    assert "over the whole face" in says(drawn("facing", max_spindle_speed=100))
    assert "stays under its limit" in says(drawn("facing", inner_diameter=60))


@pytest.mark.parametrize(
    ("shape", "more"),
    [("ball", {}), ("bull", {"corner_radius": 2}), ("cone", {"included_angle": 90, "tip_diameter": 1})],
)
def test_the_diameter_that_cuts_is_to_scale(shape: str, more: Mapping[str, float]) -> None:
    answer = run("effective-diameter", {"shape": shape, "diameter": 10, "axial_depth": 1, **more})
    root = parsed(answer)
    cuts = answer.results["effective_diameter"].value
    assert dimension(root, "effective") / dimension(root, "dc") == pytest.approx(cuts / 10, abs=0.005)
    assert dimension(root, "ap") / dimension(root, "dc") == pytest.approx(0.1, abs=0.005)


def test_chip_and_feed_are_compared_at_one_scale() -> None:
    answer = run("chip-thinning", get("chip-thinning").example)
    root = parsed(answer)
    feed, _ = size(named(root, "fz"))
    thickest, _ = size(named(root, "hmax-bar"))
    assert feed / thickest == pytest.approx(answer.results["factor"].value, abs=0.01)
    assert "mean one was asked for" in says(drawn("chip-thinning", max_chip_thickness=None, mean_chip_thickness=0.03))


@pytest.mark.parametrize("inside", [True, False])
def test_the_corner_shows_both_radii_and_both_feeds(inside: bool) -> None:
    root = drawn("corner-feed", inside=inside)
    centre = 15 if inside else 25
    assert dimension(root, "path") / dimension(root, "wall") == pytest.approx(centre / 20, abs=0.005)
    wall, at_centre = size(named(root, "wall-feed"))[0], size(named(root, "centre-feed"))[0]
    assert at_centre / wall == pytest.approx(centre / 20, abs=0.005)


# ---- chamfers ----


def with_more(answer: Answer, inputs: Mapping[str, Any], results: Mapping[str, float] | None = None) -> Answer:
    """An answer with inputs and results that the calculator may add."""
    more = {name: Value(value, "mm", f"{value} mm") for name, value in inputs.items()}
    found = {name: Value(value, "mm", f"{value} mm") for name, value in (results or {}).items()}
    return replace(answer, inputs={**answer.inputs, **more}, results={**answer.results, **found})


def test_the_chamfer_on_an_edge_is_to_scale() -> None:
    root = drawn("chamfer-edge", included_angle=90, tip_diameter=1, max_diameter=10, chamfer_width=2, contact_low=1)
    # x = 1.5, z = 3, w = 2, program 3.
    z = dimension(root, "z")
    for name, length in (("x", 1.5), ("w", 2.0), ("program", 3.0)):
        assert dimension(root, name) / z == pytest.approx(length / 3, abs=0.01), name
    wide, high = size(named(root, "band"))
    assert (wide / z, high / z) == pytest.approx((2 / 3, 2 / 3), abs=0.01)
    small = drawn("chamfer-edge", included_angle=60, chamfer_width=0.5, contact_low=1)
    # A flute of 60°: the depth is the width over tan 30°.
    ratio = dimension(small, "leg-enlarged") / dimension(small, "w-enlarged")
    assert ratio == pytest.approx(math.sqrt(3), abs=0.01)
    assert "times as large" in words_of(small)


def test_the_chamfer_in_a_hole_is_to_scale() -> None:
    plunged = drawn("chamfer-hole")
    z = dimension(plunged, "z")
    assert dimension(plunged, "hole") / z == pytest.approx(8.5 / 5, abs=0.01)
    assert dimension(plunged, "mouth") / z == pytest.approx(11 / 5, abs=0.01)
    circled = drawn(
        "chamfer-hole", how="interpolate", hole_diameter=20, chamfer_diameter=22, max_diameter=10, contact_low=1
    )
    # The axis runs on 20/2 - (0.5 + 1) = 8.5 mm, the tip 2 mm deep.
    assert dimension(circled, "circle") / dimension(circled, "hole") == pytest.approx(8.5 / 20, abs=0.005)
    assert dimension(circled, "z") / dimension(circled, "hole") == pytest.approx(2 / 20, abs=0.005)
    assert not has_class(circled, "clash")


def test_worn_and_proposed_bands_are_marked_on_the_flute_and_told() -> None:
    worn = [{"low": 0.0, "high": 0.5, "share": 0.2}, {"low": 1, "high": 2, "share": 0.9}, {"low": 3, "high": 99}]
    for name in ("chamfer-edge", "chamfer-hole"):
        answer = run(name, get(name).example)
        plain = parsed(answer)
        assert not has_class(plain, "worn")
        assert not has_class(plain, "proposed")
        root = parsed(with_more(answer, {"worn": worn}, {"proposed_contact_low": 2.2, "proposed_contact_high": 2.7}))
        assert has_class(root, "worn-1")
        assert has_class(root, "worn-4")
        assert has_class(root, "proposed")
        assert "0 mm to 0.5 mm (20 % of a life); 1 mm to 2 mm (90 % of a life); 3 mm to 7.5 mm" in says(root)
        assert "The least worn band that fits is 2.2 mm to 2.7 mm." in says(root)
        assert "least worn to 2.7 mm" in words_of(root)
        assert "darker with more wear" in words_of(root)


def test_worn_rows_that_make_no_sense_are_passed_over() -> None:
    answer = run("chamfer-edge", get("chamfer-edge").example)
    odd = ["x", {"low": "a", "high": 1}, {"low": 2, "high": 1}, {"low": 90, "high": 91}, {"low": math.nan, "high": 2}]
    assert not has_class(parsed(with_more(answer, {"worn": odd})), "worn")
    many = [{"low": i, "high": i + 0.5} for i in range(7)]
    assert "and 3 more" in says(parsed(with_more(answer, {"worn": many})))


@pytest.mark.parametrize(
    ("changed", "more", "told"),
    [
        (
            {"chamfer_width": None, "contact_low": None, "axis_offset": 0.2, "depth_below_face": 1},
            {},
            "the tip flat cuts",
        ),
        ({"max_diameter": 3, "chamfer_width": 2}, {}, "the shank above the flute meets the edge"),
        ({"neighbour_distance": 7}, {}, "runs into the neighbouring wall"),
        ({}, {"floor_depth": 1.2}, "the tip runs into the floor"),
        ({"neighbour_distance": 6}, {"floor_depth": 1.2, "neighbour_height": 6}, "runs into the neighbouring wall"),
    ],
)
def test_collisions_on_an_edge_are_drawn_where_they_occur(
    changed: dict[str, Any], more: dict[str, float], told: str
) -> None:
    answer = run("chamfer-edge", asked("chamfer-edge", **changed))
    root = parsed(with_more(answer, more))
    assert has_class(root, "clash")
    assert f"Collision: {told}" in says(root).replace("the tool runs", "runs")


def test_what_clears_the_tool_is_drawn_without_a_collision() -> None:
    answer = run("chamfer-edge", asked("chamfer-edge", neighbour_distance=14))
    root = parsed(with_more(answer, {"floor_depth": 3, "shank_diameter": 10}))
    assert not has_class(root, "clash")
    assert dimension(root, "neighbour") / dimension(root, "x") == pytest.approx(14 / 1.5, abs=0.15)
    assert "floor 3 mm down" in words_of(root)
    low = with_more(run("chamfer-edge", asked("chamfer-edge", neighbour_distance=6)), {"neighbour_height": 0.0})
    assert not has_class(parsed(low), "clash")
    far = run("chamfer-edge", asked("chamfer-edge", neighbour_distance=900))
    told = says(parsed(with_more(far, {"floor_depth": 900})))
    assert "The neighbouring wall, 900 mm off, lies beyond the drawing." in told
    assert "The floor, 900 mm down, lies beyond the drawing." in told


def test_the_chamfer_is_drawn_with_the_axis_on_the_wall_and_without_the_largest_diameter() -> None:
    on_wall = drawn(
        "chamfer-edge", tip_diameter=0, chamfer_width=None, contact_low=None, axis_offset=0, depth_below_face=1
    )
    assert "the axis stands on the wall" in words_of(on_wall)
    unknown = drawn("chamfer-edge", max_diameter=None)
    assert has_class(unknown, "open-end")
    assert "flute ends" not in words_of(unknown)


@pytest.mark.parametrize(
    ("changed", "more", "told"),
    [
        ({"hole_diameter": 5, "chamfer_diameter": 18}, {}, "the shank above the flute meets the face"),
        (
            {"how": "interpolate", "hole_diameter": 5, "chamfer_diameter": 7, "max_diameter": 10, "contact_low": 3},
            {},
            "the tool is too wide to enter the hole",
        ),
        (
            {"how": "interpolate", "hole_diameter": 12, "chamfer_diameter": 16, "max_diameter": 4},
            {},
            "the shank above the flute meets the face",
        ),
        ({}, {"hole_depth": 4.5}, "the tip runs into the bottom of the hole"),
    ],
)
def test_collisions_in_a_hole_are_drawn_where_they_occur(
    changed: dict[str, Any], more: dict[str, float], told: str
) -> None:
    answer = run("chamfer-hole", asked("chamfer-hole", **changed))
    root = parsed(with_more(answer, more))
    assert has_class(root, "clash")
    assert f"Collision: {told}." in says(root)


def test_a_tip_flat_wider_than_the_hole_stands_on_its_rim() -> None:
    answer = run("chamfer-hole", asked("chamfer-hole", tip_diameter=6, hole_diameter=5, chamfer_diameter=7))
    assert answer.results["fits"].value is False
    root = parsed(answer)
    assert has_class(root, "clash")
    if "tip" in {element.get("data-dim") for element in root.iter()}:
        assert dimension(root, "tip") / dimension(root, "hole") == pytest.approx(6 / 5, abs=0.01)


sizes = st.floats(0.001, 2000)


@settings(max_examples=150, deadline=None)
@given(
    angle=st.floats(1, 178), tip=st.floats(0, 50), largest=st.none() | sizes, first=sizes, second=sizes,
    pair=st.sampled_from(
        [("chamfer_width", "contact_low"), ("axis_offset", "depth_below_face"), ("chamfer_width", "depth_below_face")]
    ),
    wall=st.none() | sizes, floor=st.none() | sizes,
    bands=st.lists(st.tuples(st.floats(0, 50), st.floats(0, 50), st.none() | st.floats(0, 2)), max_size=6),
)  # fmt: skip
def test_no_chamfer_breaks_its_drawing(
    angle: float, tip: float, largest: float | None, first: float, second: float, pair: tuple[str, str],
    wall: float | None, floor: float | None, bands: list[tuple[float, float, float | None]],
) -> None:  # fmt: skip
    given_ = {"included_angle": angle, "tip_diameter": tip, "max_diameter": largest, "neighbour_distance": wall}
    given_ |= dict(zip(pair, (first, second), strict=True))
    try:
        answer = run("chamfer-edge", {key: value for key, value in given_.items() if value is not None})
    except WorkingError:
        return
    worn = [{"low": low, "high": high, "share": share} for low, high, share in bands]
    more = {"worn": worn} | ({} if floor is None else {"floor_depth": floor})
    answer = with_more(answer, more)
    if drawing_of(answer):
        parsed(answer)


@settings(max_examples=100, deadline=None)
@given(
    diameter=sizes, teeth=st.integers(1, 200), tooth=st.floats(1e-4, 5), radial=st.none() | st.floats(0.001, 1),
    axial=st.none() | sizes, lead=st.floats(5, 90), inch=st.booleans(),
)  # fmt: skip
def test_no_milling_breaks_its_drawing(
    diameter: float, teeth: int, tooth: float, radial: float | None, axial: float | None, lead: float, inch: bool
) -> None:
    given_ = {"diameter": diameter, "teeth": teeth, "surface_speed": 60, "feed_per_tooth": tooth, "lead_angle": lead}
    if radial is not None:
        given_["radial_depth"] = radial * diameter
    if axial is not None:
        given_["axial_depth"] = axial
    try:
        answer = run("milling", given_, "inch" if inch else "metric")
    except WorkingError:
        return
    if drawing_of(answer):
        parsed(answer)


# ---- curves ----


def test_taylors_line_goes_through_the_life_asked_and_shows_how_sure_it_is() -> None:
    points = [{"surface_speed": speed, "life": minutes} for speed, minutes in ((60, 60), (80, 25), (100, 10), (75, 33))]
    fitted = drawn("tool-life", n=None, c=None, points=points)
    assert has_class(fitted, "band-1")
    assert "95 % confidence" in words_of(fitted)
    two = drawn("tool-life", n=None, c=None, points=points[:2], surface_speed=None)
    assert not has_class(two, "band-1")
    exact = [{"surface_speed": 60, "life": 60}, {"surface_speed": 60, "life": 50}, {"surface_speed": 90, "life": 9}]
    parsed(run("tool-life", {"points": exact}))


def test_the_cost_of_changing_has_its_least_where_the_working_says() -> None:
    answer = run("change-interval", {"shape": 2.5, "scale": 60, "cost_planned": 6, "cost_failure": 30})
    root = parsed(answer)
    curve = next(element for element in root.iter("path") if element.get("class") == "line line-1")
    lowest = max(coordinates(curve), key=lambda point: point[1])
    point = next(element for element in root.iter("circle") if element.get("data-name") is None)
    assert float(point.attrib["cy"]) == pytest.approx(lowest[1], abs=1)
    best = change_age(2.5, 60, 6, 30)
    assert answer.results["minutes"].value == pytest.approx(float(best.minutes))
    to_the_end = run("change-interval", asked("change-interval", shape=0.8, accepted_risk=None, minutes_per_part=None))
    assert "Run to the end" in says(parsed(to_the_end))


def test_what_is_left_is_weighed_by_wear_readings() -> None:
    plain = drawn("remaining-life")
    wear = [{"minutes": 20, "vb_mm": 0.1}, {"minutes": 40, "vb_mm": 0.2}]
    assert says(drawn("remaining-life", wear=wear)) != says(plain)
    assert "batch of 3 done" in words_of(drawn("remaining-life", batch=3))
    worn_out = [{"minutes": 40, "vb_mm": 0.31}]
    assert drawing_of(run("remaining-life", asked("remaining-life", wear=worn_out, batch=None))) == ""


def test_lives_of_differing_duty_are_drawn_for_the_typical_one() -> None:
    rows = [
        {"minutes": minutes, "duty": {"surface_speed": speed}}
        for minutes, speed in ((41, 60), (58, 55), (30, 70), (25, 75), (62, 50))
    ]
    assert "for the typical duty" in words_of(drawn("life-fit", lives=rows))
    assert "still good when last seen: 1" in words_of(drawn("life-fit"))


def test_costs_are_drawn_per_part_of_the_work_or_per_length_of_cut() -> None:
    assert "cost per 1000 m of cut" in words_of(drawn("economics"))
    work = {"diameter": 60, "length": 400, "feed": 0.2}
    answer = run("economics", asked("economics", work=work))
    told = says(parsed(answer))
    assert f"lowest, {answer.results['cost_per_part'].text}" in told
    assert "Output" not in says(drawn("economics", change_time=0))


def test_the_two_tools_bars_are_as_long_as_they_cost() -> None:
    answer = run("cost-compare", get("cost-compare").example)
    root = parsed(answer)

    def bar(way: str) -> float:
        parts = [element for element in root.iter() if (element.get("data-name") or "").startswith(f"{way}-")]
        return sum(size(part)[0] for part in parts)

    costs = answer.results["cost_per_part"].value
    assert bar("modular") / bar("solid") == pytest.approx(costs["modular"] / costs["solid"], abs=0.01)
    never = asked("cost-compare", solid={"cost": 1})
    assert "does not pay for itself" in says(parsed(run("cost-compare", never)))


def test_the_chances_of_changes_are_bars_and_many_are_drawn_together() -> None:
    root = drawn("renewal-demand", horizon=20000)
    bars = [element for element in root.iter() if (element.get("data-name") or "").startswith("bar-")]
    assert 10 < len(bars) <= 60
    parsed(run("renewal-demand", asked("renewal-demand", horizon=0, used=None)))


def test_the_stock_falls_to_the_reorder_point_and_runs_out_when_it_is_too_late() -> None:
    late = drawn("reorder", on_hand=12, on_order=0)
    assert "runs out after 3 days" in says(late)
    assert "The order is due now." in says(late)
    fine = drawn("reorder", on_hand=100, on_order=20)
    assert "No order is due yet." in says(fine)
    assert "with what is on order" in words_of(fine)
    assert "is an example" in says(drawn("reorder", price=None, on_hand=None, on_order=None))
    both = drawn("reorder", daily_demand_mean=None, daily_demand_sd=None, daily_demand={"mean": 4, "sd": 2})
    assert words_of(both) == words_of(drawn("reorder"))
    nothing = run("reorder", asked("reorder", daily_demand_mean=0, daily_demand_sd=0))
    assert drawing_of(nothing) == ""


def test_lasting_needs_a_limit_that_is_not_reached() -> None:
    answer = run("remaining-life", get("remaining-life").example)
    swapped = {**answer.inputs, "wear": Value([{"minutes": 40, "vb_mm": 0.5}], "", "")}
    with pytest.raises(TooLittle):
        life.remaining(Known(replace(answer, inputs=swapped)))


# ---- paper ----


def test_words_move_off_each_other_and_stay_on_the_paper() -> None:
    sheet = Sheet()
    for _ in range(12):
        sheet.words("the same place", 530, 5)
    sheet.words("rising", 100, 90)
    sheet.words("rising", 100, 90, rise=True)
    assert not any(one.meets(other) for one, other in combinations(sheet.boxes, 2))
    assert all(box.left >= 0 and box.right <= sheet.width and box.top >= 0 for box in sheet.boxes)
    assert sheet.boxes[-1].top < sheet.boxes[-2].top


def test_dimensions_on_the_right_edge_have_their_words_on_the_left() -> None:
    sheet = Sheet()
    view = sheet.view(Window(0, 100, 0, 40), left=8, top=10, width=524, height=200)
    view.across(98, 100, 30, "a rather long dimension", name="a", start=(40, 20))
    view.across(100, 98, 60, "another", name="b", start=(20, 40))
    view.down(40, 40, 30, "nothing", name="c")
    assert 'data-dim="a"' in "".join(sheet.lines)
    assert 'data-dim="c"' not in "".join(sheet.lines)


def test_legends_break_long_words_into_rows() -> None:
    sheet = Sheet()
    sheet.legend([("metal", "short"), ("band", "so many words that they do not fit on one row " * 3), ("zone", "last")])
    assert len(sheet.texts) >= 5
    assert len(sheet.lines) == 3


@pytest.mark.parametrize("window", [Window(0, 0, 0, 1), Window(0, 1e12, 0, 1), Window(0, math.nan, 0, 1)])
def test_a_window_without_a_size_is_not_drawn(window: Window) -> None:
    with pytest.raises(TooLittle):
        Sheet().view(window, left=0, top=0, width=100, height=100)
    with pytest.raises(TooLittle):
        Sheet().view(Window(0, 1, 0, 1), left=0, top=0, width=0, height=100)
    with pytest.raises(TooLittle):
        Sheet().bars([(0.0, "none", "bar", "none")], room=10)


def test_clipping_keeps_what_lies_in_the_window() -> None:
    window = Window(0, 10, 0, 10)
    assert area(clip([(-5, -5), (5, -5), (5, 5), (-5, 5)], window)) == pytest.approx(25)
    assert clip([(20, 20), (30, 20), (30, 30)], window) == []
    assert clip_line([(-5, 5), (15, 5), (15, 20), (5, 5)], window)[0] == [(0, 5), (10, 5)]
    assert clip_line([(1, 1), (2, 2), (3, 1)], window) == [[(1, 1), (2, 2), (3, 1)]]


def test_levels_are_spread_and_factors_are_round() -> None:
    assert spread([10, 11, 12], 0, 100, 18) == [10, 28, 46]
    assert spread([98, 99], 0, 100, 18) == [82, 100]
    assert [round_factor(value) for value in (0.2, 1, 3, 19.9, 20, 740)] == [1, 1, 2, 10, 20, 500]


def test_a_plot_refuses_what_no_axis_can_show() -> None:
    with pytest.raises(CannotDraw):
        Plot(Sheet(), [0, math.nan], [0, 1], x_label="x", y_label="y")
    with pytest.raises(CannotDraw):
        Plot(Sheet(), [0, 1], [0, 1e40], x_label="x", y_label="y")
    sheet = Sheet()
    plot = Plot(sheet, [3, 3], [0, 0], x_label="x", y_label="y")
    plot.line([0, 1], [9, 9], "line")
    plot.level(0.5, "half", "threshold")
    assert "half" in "".join(sheet.texts)
    Plot(Sheet(), [-3, -3], [0, 1], x_label="x", y_label="y")
