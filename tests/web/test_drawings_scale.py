"""Drawings of tools and work are to scale: drawn lengths stand to each other as the numbers do."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.workings import Value, get, run
from crib.web.drawings import drawing_of
from tests.web.drawn import (
    asked,
    coordinates,
    dimension,
    drawn,
    has_class,
    named,
    parsed,
    says,
    size,
    words_of,
)

pytestmark = pytest.mark.once

sizes = st.floats(0.001, 2000)


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
    # Full thread to 20 mm: four threads of chamfer, 6 mm, go in below it.
    assert dimension(root, "travel") / dimension(root, "major") == pytest.approx(2.6, abs=0.01)
    assert dimension(root, "drilled") / dimension(root, "travel") == pytest.approx(27.5 / 26, abs=0.01)
    assert dimension(root, "minor") / dimension(root, "major") == pytest.approx(0.8376, abs=0.005)
    _, lead = size(named(root, "chamfer"))
    assert lead / dimension(root, "travel") == pytest.approx(4 * 1.5 / 26, abs=0.01)
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
