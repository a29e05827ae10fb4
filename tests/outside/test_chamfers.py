"""Chamfers as typed, in metric and in inches, against plane solids cut by shapely and against textbook trigonometry."""

from __future__ import annotations

import math
from typing import Any

import pytest
from shapely.geometry import Polygon, box

from calc.units import read_quantity
from tests.outside.published import Published, agrees, results

FAR = 300.0


def tool(angle: float, tip: float, largest: float, axis: float, tip_at: float) -> Polygon:
    """Section of a chamfer mill with a shank as wide as its flute."""
    height = (largest - tip) / 2 / math.tan(math.radians(angle) / 2)
    half = [(tip / 2, tip_at), (largest / 2, tip_at + height), (largest / 2, FAR)]
    return Polygon([(axis + x, y) for x, y in half] + [(axis - x, y) for x, y in reversed(half)])


EDGES: list[tuple[str, float, float, float, dict[str, Any]]] = [
    ("90 degrees, a width low on the flute", 90, 1, 16, {"chamfer_width": 0.5, "contact_low": 1}),
    ("60 degrees, a width high on the flute", 60, 0.5, 12, {"chamfer_width": 1.2, "contact_low": 4}),
    ("120 degrees, offset and depth", 120, 2, 20, {"axis_offset": 3, "depth_below_face": 1.9}),
    ("82 degrees, width and offset", 82, 0, 25.4, {"chamfer_width": "0.030 in", "axis_offset": "1/8 in"}),
    ("100 degrees, width and depth", 100, 1, 12.7, {"chamfer_width": "1/32 in", "depth_below_face": "0.12 in"}),
    ("90 degrees, contact and depth", 90, 0.2, 6, {"contact_low": 0.4, "depth_below_face": 1.1}),
    ("the tip flat in the wall", 90, 3, 10, {"axis_offset": 1.2, "depth_below_face": 0.9}),
    ("sharp and very steep", 40, 0, 8, {"chamfer_width": 0.3, "contact_low": 2}),
]


@pytest.mark.parametrize(("angle", "tip", "largest", "asked"), [edge[1:] for edge in EDGES], ids=[e[0] for e in EDGES])
def test_an_edge_as_typed_is_the_edge_that_shapely_leaves(
    angle: float, tip: float, largest: float, asked: dict[str, Any]
) -> None:
    found = results("chamfer-edge", included_angle=angle, tip_diameter=tip, max_diameter=largest, **asked)
    cut = box(-FAR, -FAR, 0, 0).intersection(
        tool(angle, tip, largest, found["axis_offset"], -found["depth_below_face"])
    )
    left, bottom, _, _ = cut.bounds
    assert found["chamfer_width"] == pytest.approx(-left, rel=1e-9)
    assert found["chamfer_depth"] == pytest.approx(-bottom, rel=1e-9)
    assert found["program_diameter"] == pytest.approx(2 * found["axis_offset"], rel=1e-12)
    # Three corners when the cone alone cuts, four when the tip flat bites into the wall.
    assert found["fits"] is (len(cut.exterior.coords) == 4)


HOLES: list[tuple[str, dict[str, Any]]] = [
    ("8.5 mm to 11 mm, 90 degrees", {"hole_diameter": 8.5, "chamfer_diameter": 11, "included_angle": 90}),
    ("5 mm to 10 mm, 120 degrees", {"hole_diameter": 5, "chamfer_diameter": 10, "included_angle": 120}),
    ("1/4 in to 3/8 in, 82 degrees", {"hole_diameter": "1/4 in", "chamfer_diameter": "3/8 in", "included_angle": 82}),
    ("0.201 in to 0.275 in, 60 degrees",
     {"hole_diameter": "0.201 in", "chamfer_diameter": "0.275 in", "included_angle": 60}),
]  # fmt: skip


@pytest.mark.parametrize("how", ["plunge", "interpolate"])
@pytest.mark.parametrize("asked", [hole[1] for hole in HOLES], ids=[hole[0] for hole in HOLES])
def test_a_hole_as_typed_is_the_hole_that_shapely_leaves(asked: dict[str, Any], how: str) -> None:
    found = results("chamfer-hole", tip_diameter=1, max_diameter=16, how=how, **asked)
    bore = read_quantity("hole_diameter", asked["hole_diameter"], "mm").magnitude
    cut = box(bore / 2, -FAR, FAR, 0).intersection(
        tool(asked["included_angle"], 1, 16, found["interpolation_radius"], -found["depth_below_face"])
    )
    _, bottom, right, _ = cut.bounds
    assert found["fits"]
    assert found["chamfer_diameter"] == pytest.approx(2 * right, rel=1e-9)
    assert found["contact_high"] - found["contact_low"] == pytest.approx(-bottom, rel=1e-9)
    assert found["effective_diameter"] / 2 + found["interpolation_radius"] == pytest.approx(right, rel=1e-9)


# Depth of a countersink over the difference of its diameters, 1 / (2 · tan(σ/2)), as trigonometry gives it to four
# figures; the derivation for 82° was read on a page of countersink mathematics.
FACTORS = [(60, 0.8660), (82, 0.5752), (90, 0.5), (100, 0.4195), (110, 0.3501), (118, 0.3004), (120, 0.2887)]


@pytest.mark.parametrize(("angle", "factor"), FACTORS)
def test_a_countersink_s_depth_is_its_factor_times_what_it_widens(angle: float, factor: float) -> None:
    found = results(
        "chamfer-hole", hole_diameter="5 mm", chamfer_diameter="9 mm", included_angle=f"{angle} deg", tip_diameter=0
    )
    assert found["contact_high"] - found["contact_low"] == pytest.approx(4 * factor, rel=2e-4)
    assert found["depth_below_face"] == pytest.approx(9 * factor, rel=2e-4)


PUBLISHED = [
    Published(
        "the mouth for a thread is 1.10 times its diameter",
        "common practice, no source; M10: 11 mm, so 1.25 mm down a 90° cone from a hole of 8.5 mm",
        "chamfer-hole",
        {"hole_diameter": 8.5, "thread": "M10", "included_angle": 90, "tip_diameter": 0},
        {"chamfer_diameter": "11 mm", "depth_below_face": "5.5 mm", "contact_low": "4.25 mm"},
        1e-9,
    ),
    Published(
        "a 60° centre hole 2 mm with a mouth of 4.25 mm",
        "DIN 332 form A, 2 × 4.25 (m); the cone is 2.25 / (2 · tan 30°) = 1.949 mm deep",
        "chamfer-hole",
        {"hole_diameter": 2, "chamfer_diameter": 4.25, "included_angle": 60, "tip_diameter": 0},
        {"depth_below_face": "3.681 mm", "effective_diameter": "4.25 mm"},
        0.0002,
    ),
    Published(
        "speed at the largest diameter in contact",
        "the textbook rule that the speed counts where the cutter is largest in the cut (m): 120 sfm at 5 mm",
        "chamfer-edge",
        {
            "included_angle": 90, "tip_diameter": 1, "max_diameter": 16, "chamfer_width": 1, "contact_low": 1,
            "surface_speed": "120 sfm", "teeth": 4, "feed_per_tooth": "0.002 in",
        },
        {"effective_diameter": "5 mm", "spindle_speed": "2328.5 1/min", "feed_rate": "18.628 in/min"},
        0.0001,
    ),
]  # fmt: skip


@pytest.mark.parametrize("check", PUBLISHED, ids=str)
def test_chamfers_agree_with_practice(check: Published) -> None:
    agrees(check)


def test_one_by_forty_five_degrees() -> None:
    # The drawing rule that 1 × 45° is 1 mm along the face and 1 mm down the wall (ISO 129 (m)), with a sharp 90° tool.
    found = results("chamfer-edge", included_angle=90, tip_diameter=0, chamfer_width="1 mm", contact_low=0)
    assert found["chamfer_depth"] == found["depth_below_face"] == pytest.approx(1)
    assert found["axis_offset"] == 0
