"""Chamfers: any two of the four say where the tool stands, and a tool that does not fit says why."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.cutting.chamfer import conical_mill, edge_chamfer
from calc.cutting.hole_chamfer import interpolate, plunge
from calc.errors import WorkingError
from calc.units import Quantity, ureg

Q = ureg.Quantity


def mm(value: float) -> Quantity:
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
