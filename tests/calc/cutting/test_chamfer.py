"""Chamfers: any two of the four say where the tool stands, and a tool that does not fit says why."""

import re
from typing import Any

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.cutting.chamfer import ConicalMill, conical_mill, edge_chamfer
from calc.cutting.cone import speeds_in_contact
from calc.cutting.hole_chamfer import interpolate, plunge
from calc.errors import WorkingError
from calc.units import Quantity, revolutions_per_minute, ureg

Q = ureg.Quantity


def mm(value: Any) -> Quantity:
    return Q(value, "mm")


PAIRS = [
    ("chamfer_width", "contact_low"),
    ("chamfer_width", "axis_offset"),
    ("chamfer_width", "depth_below_face"),
    ("axis_offset", "depth_below_face"),
    ("contact_low", "depth_below_face"),
]


@settings(deadline=None, max_examples=60)
@given(
    st.floats(min_value=30, max_value=150),
    st.floats(min_value=0, max_value=3),
    st.floats(min_value=0.05, max_value=3),
    st.floats(min_value=0, max_value=5),
)
def test_any_two_say_the_same_place(angle: float, tip: float, width: float, low: float) -> None:
    mill = conical_mill(Q(angle, "deg"), mm(tip))
    cut = edge_chamfer(mill, chamfer_width=mm(width), contact_low=mm(low))
    for pair in PAIRS:
        again = edge_chamfer(mill, **{name: getattr(cut, name) for name in pair})
        for name in ("chamfer_width", "contact_low", "axis_offset", "depth_below_face", "effective_diameter"):
            assert getattr(again, name).magnitude == pytest.approx(getattr(cut, name).magnitude, rel=1e-9, abs=1e-9)
        assert again.fits
    # The cone's line through both ends of the chamfer.
    assert cut.chamfer_depth.magnitude * mill.slope == pytest.approx(width)
    assert cut.program_diameter.magnitude == pytest.approx(2 * cut.axis_offset.magnitude)
    assert cut.effective_diameter.magnitude == pytest.approx(2 * (cut.axis_offset.magnitude + width))


def test_working_higher_cuts_on_a_larger_diameter() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(10))
    low = edge_chamfer(mill, chamfer_width=mm(0.5), contact_low=mm(0.5))
    high = edge_chamfer(mill, chamfer_width=mm(0.5), contact_low=mm(2.5))
    assert high.effective_diameter > low.effective_diameter
    assert high.depth_below_face.magnitude == pytest.approx(low.depth_below_face.magnitude + 2)


def test_tip_flat_in_the_wall_does_not_fit() -> None:
    cut = edge_chamfer(conical_mill(Q(90, "deg"), mm(1)), axis_offset=mm(0.3), depth_below_face=mm(0.8))
    assert not cut.fits
    assert "tip flat would cut 0.2 mm into the wall" in cut.why_not
    assert cut.contact_low.magnitude == 0


def test_shank_on_the_edge_does_not_fit() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(5))
    assert edge_chamfer(mill, chamfer_width=mm(0.5), contact_low=mm(1.5)).fits
    cut = edge_chamfer(mill, chamfer_width=mm(0.5), contact_low=mm(1.6))
    assert "shank would meet the edge" in cut.why_not


def test_neighbouring_wall_leaves_too_little_room() -> None:
    mill, open_mill = conical_mill(Q(90, "deg"), mm(1), mm(5)), conical_mill(Q(90, "deg"), mm(1))

    def cut(tool: object, room: float) -> str:
        return edge_chamfer(
            tool,  # type: ignore[arg-type]
            chamfer_width=mm(0.5),
            contact_low=mm(0.5),
            neighbour_distance=mm(room),
        ).why_not

    assert cut(mill, 3.5) == ""
    assert "neighbouring wall leaves 2.4 mm" in cut(mill, 3.4)
    assert cut(open_mill, 3.4) == ""
    assert "neighbouring wall" in cut(open_mill, 2.4)


@pytest.mark.parametrize(
    ("placed", "argument"),
    [
        ({}, "chamfer_width"),
        ({"chamfer_width": 1.0}, "chamfer_width"),
        ({"chamfer_width": 1.0, "contact_low": 1.0, "axis_offset": 1.0}, "chamfer_width"),
        ({"contact_low": 1.0, "axis_offset": 1.5}, "contact_low"),
        ({"chamfer_width": 0.0, "contact_low": 1.0}, "chamfer_width"),
        ({"chamfer_width": 1.0, "contact_low": -1.0}, "contact_low"),
        ({"axis_offset": 5.0, "depth_below_face": 1.0}, "depth_below_face"),
        ({"contact_low": 2.0, "depth_below_face": 1.0}, "depth_below_face"),
    ],
)
def test_places_that_make_no_chamfer_are_refused(placed: dict[str, float], argument: str) -> None:
    mill = conical_mill(Q(90, "deg"), mm(1))
    lengths: dict[str, Any] = {name: mm(value) for name, value in placed.items()}
    with pytest.raises(WorkingError) as caught:
        edge_chamfer(mill, **lengths)
    assert caught.value.argument == argument


def test_plunge_refuses_a_hole_the_tip_flat_does_not_enter() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(8))
    with pytest.raises(WorkingError) as caught:
        plunge(mill, mm(1), mm(3))
    assert caught.value.argument == "hole_diameter"
    assert "does not enter a hole of 1 mm" in caught.value.sentence


def test_plunge_past_the_flute_does_not_fit() -> None:
    cut = plunge(conical_mill(Q(90, "deg"), mm(1), mm(8)), mm(6), mm(9))
    assert "shank would meet the face" in cut.why_not
    assert plunge(conical_mill(Q(90, "deg"), mm(1), mm(8)), mm(6), mm(8)).fits


@settings(deadline=None, max_examples=60)
@given(
    st.floats(min_value=40, max_value=140),
    st.floats(min_value=5, max_value=50),
    st.floats(min_value=0.1, max_value=4),
    st.floats(min_value=0, max_value=1),
)
def test_circling_touches_the_hole_below_and_the_mouth_above(
    angle: float, hole: float, wide: float, low: float
) -> None:
    mill = conical_mill(Q(angle, "deg"), mm(1))
    cut = interpolate(mill, mm(hole), mm(hole + wide), mm(low))
    circle = cut.interpolation_radius.magnitude
    assert circle + mill.diameter_at(low).magnitude / 2 == pytest.approx(hole / 2)
    assert circle + cut.effective_diameter.magnitude / 2 == pytest.approx((hole + wide) / 2)
    assert cut.fits == (circle >= -1e-9)


def test_circling_at_the_highest_contact_is_a_plunge() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(9))
    down = plunge(mill, mm(6.8), mm(8.8))
    around = interpolate(mill, mm(6.8), mm(8.8), down.contact_low)
    assert around.interpolation_radius.magnitude == 0
    assert around.depth_below_face.magnitude == pytest.approx(down.depth_below_face.magnitude)


def test_circling_keeps_the_tip_off_the_wall_unless_told() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(8))
    cut = interpolate(mill, mm(20), mm(22))
    assert cut.fits
    assert 0 < cut.contact_low.magnitude < 1
    tight = interpolate(mill, mm(20), mm(30))
    assert tight.contact_low.magnitude == 0
    assert not tight.fits


def test_circling_too_high_does_not_enter() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(20))
    assert "does not enter the hole" in interpolate(mill, mm(4), mm(5), mm(3)).why_not
    with pytest.raises(WorkingError, match="Contact low cannot be negative"):
        interpolate(mill, mm(4), mm(5), mm(-1))
    with pytest.raises(WorkingError, match="larger than the hole"):
        interpolate(mill, mm(4), mm(4))


def test_sentences_speak_the_reader_s_units() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(8))
    assert "ends 0.1378 in above the tip" in plunge(mill, mm(6), mm(9), "inch").why_not
    assert "0.0079 in into the wall" in (
        edge_chamfer(mill, axis_offset=mm(0.3), depth_below_face=mm(0.8), system="inch").why_not
    )


def outline(mill: ConicalMill, heights: Any) -> Any:
    """Radius of the whole tool at heights above the tip flat, its body drawn as a cylinder over the flute."""
    assert mill.max_diameter is not None
    body = (mill.shank_diameter or mill.max_diameter).m_as("mm") / 2
    return np.where(heights <= mill.flute_height, mill.tip_radius + heights * mill.slope, body)


@settings(deadline=None, max_examples=200)
@given(
    st.floats(min_value=40, max_value=140),
    st.floats(min_value=0, max_value=3),
    st.floats(min_value=0.5, max_value=8),
    st.none() | st.floats(min_value=0.5, max_value=30),
    st.floats(min_value=0.05, max_value=2),
    st.floats(min_value=0, max_value=5),
    st.floats(min_value=0.5, max_value=20),
    st.none() | st.floats(min_value=0, max_value=8),
    st.floats(min_value=0.5, max_value=20),
)
def test_clearances_are_what_a_fine_outline_leaves(
    angle: float,
    tip: float,
    wider: float,
    shank: float | None,
    width: float,
    low: float,
    wall: float,
    wall_height: float | None,
    floor: float,
) -> None:
    mill = conical_mill(Q(angle, "deg"), mm(tip), mm(tip + wider), None if shank is None else mm(shank))
    flute = mill.flute_height
    cut = edge_chamfer(
        mill, chamfer_width=mm(width), contact_low=mm(low), neighbour_distance=mm(wall),
        neighbour_height=None if wall_height is None else mm(wall_height), floor_depth=mm(floor),
    )  # fmt: skip
    x, z = cut.axis_offset.m_as("mm"), cut.depth_below_face.m_as("mm")
    top = 100.0 if wall_height is None else wall_height
    heights = np.append(np.linspace(0, z + top, 4001), [flute] if flute <= z + top else [])
    beside = np.min(wall - x - outline(mill, heights))
    near_the_step = wall_height is not None and abs(z + wall_height - flute) < 1e-6
    assert cut.clearances.far_wall is not None
    if not near_the_step:
        assert cut.clearances.far_wall.m_as("mm") == pytest.approx(beside, abs=1e-9)
    assert cut.clearances.floor is not None
    assert cut.clearances.floor.m_as("mm") == pytest.approx(floor - z, abs=1e-9)
    assert cut.clearances.tip_flat.m_as("mm") == pytest.approx(x - outline(mill, 0.0), abs=1e-9)
    assert cut.clearances.shank is not None
    assert cut.clearances.shank.m_as("mm") == pytest.approx(flute - z, abs=1e-9)
    numbers = [each.m_as("mm") for each in (cut.clearances.far_wall, cut.clearances.floor, cut.clearances.shank)]
    assert cut.fits is (min(numbers) >= 0)
    assert cut.fits is not bool(cut.why_not)


def test_a_wide_shank_needs_more_room_and_a_thin_one_cuts_no_higher() -> None:
    wide = conical_mill(Q(90, "deg"), mm(1), mm(5), mm(8))
    thin = conical_mill(Q(90, "deg"), mm(1), mm(5), mm(3))

    def beside(mill: ConicalMill, **around: Any) -> Any:
        return edge_chamfer(mill, chamfer_width=mm(0.5), contact_low=mm(0.5), **around)

    assert beside(wide, neighbour_distance=mm(5)).fits
    assert "The tool needs 4 mm beside its axis" in beside(wide, neighbour_distance=mm(4.9)).why_not
    # A wall level with the face ends below the shank: only the radius at the face counts.
    level = beside(wide, neighbour_distance=mm(2.5), neighbour_height=mm(0))
    assert level.fits
    assert level.clearances.far_wall.m_as("mm") == 0
    assert not beside(wide, neighbour_distance=mm(2.4), neighbour_height=mm(0)).fits
    assert beside(thin, neighbour_distance=mm(3.5)).fits
    cut = edge_chamfer(thin, chamfer_width=mm(0.5), contact_low=mm(1.6))
    assert "the shank is thinner, so the edge would stay uncut" in cut.why_not


def test_a_floor_under_the_tip_flat_says_how_low_to_work() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(9))

    def over(low: float, floor: float) -> Any:
        return edge_chamfer(mill, chamfer_width=mm(0.5), contact_low=mm(low), floor_depth=mm(floor))

    assert over(1.0, 1.5).fits
    cut = over(1.0, 1.2)
    assert "0.3 mm into the floor: keep the lowest contact within 0.7 mm of the tip flat" in cut.why_not
    assert cut.clearances.floor.m_as("mm") == pytest.approx(-0.3)
    assert over(1.0, 0.4).why_not == "The tip flat would cut 1.1 mm into the floor: make the chamfer narrower."
    assert "keep the lowest contact at the tip flat, or make" in over(1.0, 0.5).why_not


WAY_OUT = re.compile(r"keep the lowest contact (?:at|within ([\d.]+) mm of) the tip flat")


@settings(deadline=None, max_examples=150)
@given(
    st.floats(min_value=60, max_value=120),
    st.floats(min_value=0, max_value=2),
    st.floats(min_value=2, max_value=8),
    st.none() | st.floats(min_value=1, max_value=20),
    st.floats(min_value=0.1, max_value=2),
    st.floats(min_value=0, max_value=5),
    st.sampled_from(["neighbour_distance", "level", "floor_depth", "shank"]),
    st.floats(min_value=0.5, max_value=12),
)
def test_the_way_out_that_is_named_leads_out(
    angle: float, tip: float, wider: float, shank: float | None, width: float, low: float, what: str, room: float
) -> None:
    mill = conical_mill(Q(angle, "deg"), mm(tip), mm(tip + wider), None if shank is None else mm(shank))
    around: dict[str, Any] = {}
    if what == "level":
        around = {"neighbour_distance": mm(room), "neighbour_height": mm(0)}
    elif what != "shank":
        around = {what: mm(room)}
    limits = [float(found or 0) for found in WAY_OUT.findall(at(mill, width, low, around).why_not)]
    if limits:
        # Rounded for reading, the limit may lie a thousandth beyond; a hair lower everything must fit.
        assert at(mill, width, max(0.0, min(limits) - 0.001), around).fits or min(limits) <= 0.001
        assert not at(mill, width, min(limits) + 0.002, around).fits


def at(mill: ConicalMill, width: float, low: float, around: dict[str, Any]) -> Any:
    return edge_chamfer(mill, chamfer_width=mm(width), contact_low=mm(low), **around)


def test_every_collision_is_told_at_once() -> None:
    mill = conical_mill(Q(90, "deg"), mm(4), mm(5))
    cut = edge_chamfer(
        mill, axis_offset=mm(1.5), depth_below_face=mm(0.8), neighbour_distance=mm(2), floor_depth=mm(0.5)
    )
    for part in ("into the wall", "the shank would meet the edge", "neighbouring wall", "into the floor"):
        assert part in cut.why_not


@pytest.mark.parametrize(
    ("made", "argument"),
    [
        ({"tip_diameter": -1.0}, "tip_diameter"),
        ({"tip_diameter": float("nan")}, "tip_diameter"),
        ({"max_diameter": 1.0}, "max_diameter"),
        ({"max_diameter": float("inf")}, "max_diameter"),
        ({"shank_diameter": 0.0}, "shank_diameter"),
        ({"max_diameter": np.array([9.0, 0.5])}, "max_diameter"),
    ],
)
def test_mills_that_are_none_are_refused(made: dict[str, Any], argument: str) -> None:
    lengths = {"tip_diameter": 1.0} | made
    with pytest.raises(WorkingError) as caught:
        conical_mill(Q(90, "deg"), **{name: mm(value) for name, value in lengths.items()})
    assert caught.value.argument == argument


@pytest.mark.parametrize("name", ["neighbour_distance", "neighbour_height", "floor_depth"])
def test_distances_around_an_edge_are_checked(name: str) -> None:
    around: dict[str, Any] = {"neighbour_distance": mm(9.0), name: mm(-1.0)}
    with pytest.raises(WorkingError) as caught:
        edge_chamfer(conical_mill(Q(90, "deg"), mm(1)), chamfer_width=mm(1), contact_low=mm(1), **around)
    assert caught.value.argument == name


def test_a_blind_hole_s_bottom_is_seen() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(12))
    assert plunge(mill, mm(6), mm(8), hole_depth=mm(3.5)).fits
    cut = plunge(mill, mm(6), mm(8), hole_depth=mm(3))
    assert "0.5 mm into the bottom of the hole: circle with the contact lower on the flute" in cut.why_not
    assert cut.clearances.bottom is not None
    assert cut.clearances.bottom.m_as("mm") == pytest.approx(-0.5)
    around = interpolate(mill, mm(6), mm(8), mm(2.5), hole_depth=mm(3))
    assert "keep the lowest contact within 2 mm of the tip flat" in around.why_not
    assert interpolate(mill, mm(6), mm(8), hole_depth=mm(1.5)).contact_low.m_as("mm") == pytest.approx(0.05)
    with pytest.raises(WorkingError, match="Hole depth must be above zero"):
        plunge(mill, mm(6), mm(8), hole_depth=mm(0))


def test_a_hole_names_only_ways_out_that_lead_out() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(8))
    assert "meet the face: circle with the contact lower on the flute, or take a larger tool" in (
        plunge(mill, mm(6), mm(9)).why_not
    )
    assert plunge(mill, mm(6), mm(20)).why_not.endswith("the shank would meet the face: take a larger tool.")
    assert interpolate(mill, mm(6), mm(20), mm(0)).why_not.endswith(
        "the shank would meet the face: take a larger tool."
    )
    cut = interpolate(mill, mm(6), mm(8), mm(2.8))
    assert "does not enter the hole: keep the lowest contact within 2.5 mm of the tip flat" in cut.why_not
    assert "the shank would meet the face: keep the lowest contact within 2.5 mm of the tip flat" in cut.why_not


def test_a_hole_s_program_diameter_puts_the_axis_on_its_circle() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(12))
    for cut in (interpolate(mill, mm(10), mm(12), mm(1.5)), plunge(mill, mm(10), mm(12))):
        circle = 5 - cut.program_diameter.m_as("mm") / 2
        assert circle == pytest.approx(cut.interpolation_radius.m_as("mm"))
    assert interpolate(mill, mm(10), mm(12), mm(1.5)).clearances.tip_flat.m_as("mm") == pytest.approx(1.5)


def test_speeds_at_both_ends_of_the_band() -> None:
    cut = edge_chamfer(conical_mill(Q(90, "deg"), mm(0)), chamfer_width=mm(1), contact_low=mm(0))
    slow, fast = speeds_in_contact(cut.smallest_diameter, cut.effective_diameter, revolutions_per_minute(1000))
    assert slow.m_as("m/min") == 0
    assert fast.m_as("m/min") == pytest.approx(np.pi * 2)
    with pytest.raises(WorkingError, match="Spindle speed must be above zero"):
        speeds_in_contact(cut.smallest_diameter, cut.effective_diameter, revolutions_per_minute(0))


def agree(many: Any, alone: Any, at: int) -> None:
    """Every number of an answer for arrays is the one for that point alone; the clearances within it too."""
    for name in many.__slots__:
        both, one = getattr(many, name), getattr(alone, name)
        if hasattr(both, "__slots__") and name == "clearances":
            agree(both, one, at)
        elif isinstance(both, pint.Quantity):
            value = np.broadcast_to(both.magnitude, (3,))[at]
            assert value == pytest.approx(one.magnitude, abs=1e-12), name
            assert isinstance(one.magnitude, float), name
        elif name == "fits":
            assert np.broadcast_to(both, (3,))[at] == one
            assert type(one) is bool


EDGE: dict[str, Any] = {
    "included_angle": [60.0, 90.0, 120.0], "tip_diameter": [0.0, 1.0, 2.0], "max_diameter": [5.0, 8.0, 4.0],
    "shank_diameter": [3.0, 6.0, 12.0], "chamfer_width": [0.2, 0.5, 1.5], "contact_low": [0.0, 1.0, 2.0],
    "neighbour_distance": [3.0, 5.0, 20.0], "neighbour_height": [0.0, 2.0, 9.0], "floor_depth": [0.3, 2.0, 5.0],
}  # fmt: skip
TOOL = ("included_angle", "tip_diameter", "max_diameter", "shank_diameter")


def edge_of(values: dict[str, Any]) -> Any:
    made: dict[str, Any] = {
        name: Q(value, "deg" if name == "included_angle" else "mm") for name, value in values.items()
    }
    mill = conical_mill(**{name: made.pop(name) for name in TOOL})
    return edge_chamfer(mill, **made)


@pytest.mark.parametrize("swept", [*((name,) for name in EDGE), tuple(EDGE)])
def test_an_edge_answers_arrays_as_each_value_alone(swept: tuple[str, ...]) -> None:
    steady = {name: values[1] for name, values in EDGE.items()}
    many = edge_of(steady | {name: np.array(EDGE[name]) for name in swept})
    for at in range(3):
        agree(many, edge_of(steady | {name: EDGE[name][at] for name in swept}), at)
    assert isinstance(many.fits, np.ndarray)
    assert many.why_not == ""


@pytest.mark.parametrize("swept", ["hole_diameter", "chamfer_diameter", "contact_low", "hole_depth", "tip_diameter"])
def test_a_hole_answers_arrays_as_each_value_alone(swept: str) -> None:
    points = {
        "hole_diameter": [5.0, 8.0, 12.0], "chamfer_diameter": [12.5, 13.0, 20.0], "contact_low": [0.0, 1.0, 9.0],
        "hole_depth": [0.5, 4.0, 9.0], "tip_diameter": [0.0, 1.0, 3.0],
    }  # fmt: skip
    steady = {"hole_diameter": 12.0, "chamfer_diameter": 13.0, "contact_low": 1.0, "hole_depth": 6.0}

    def answers(value: Any) -> list[Any]:
        asked: dict[str, Any] = {name: mm(each) for name, each in (steady | {swept: value}).items()}
        mill = conical_mill(Q(90, "deg"), asked.pop("tip_diameter", mm(1.0)), mm(14.0))
        low = asked.pop("contact_low")
        around, left = interpolate(mill, contact_low=low, **asked), interpolate(mill, **asked)
        return [around, left, plunge(mill, **asked)]

    many = answers(np.array(points[swept]))
    for at, value in enumerate(points[swept]):
        for both, alone in zip(many, answers(value), strict=True):
            agree(both, alone, at)


def test_one_bad_point_of_a_sweep_is_refused_by_name() -> None:
    mill = conical_mill(Q(90, "deg"), mm(1), mm(9))
    with pytest.raises(WorkingError, match=r"go deeper than 2\.5 mm") as caught:
        edge_chamfer(mill, axis_offset=mm(np.array([1.0, 2.0, 3.0])), depth_below_face=mm(2))
    assert caught.value.argument == "depth_below_face"
    with pytest.raises(WorkingError, match=r"enter a hole of 0\.5 mm"):
        plunge(mill, mm(np.array([0.5, 4.0])), mm(6))
