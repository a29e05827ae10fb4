"""Chamfer mills are drawn whole and to scale, with worn bands and with what they collide with."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.workings import get, run
from crib.web.drawings import drawing_of
from tests.web.drawn import (
    asked,
    dimension,
    drawn,
    has_class,
    named,
    parsed,
    says,
    size,
    with_more,
    words_of,
)

pytestmark = pytest.mark.once


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
        assert "stronger with more wear" in words_of(root)


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
