"""Chamfers against plane solids: what the calculator says is what is left when the tool's section is cut away.

The tool is a polygon (tip flat, cone, shank), the work is a polygon, and shapely does the cutting. Nothing here knows
the calculator's formulas; the tool is placed where the calculator puts it and the rest is measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from shapely.affinity import scale
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from calc.cutting.chamfer import ConicalMill, EdgeChamfer, conical_mill, edge_chamfer
from calc.cutting.hole_chamfer import HoleChamfer, interpolate, plunge
from calc.units import Quantity, ureg

FAR = 400.0  # mm; beyond every tool and work below
TINY = 1e-7  # mm²; an overlap smaller than this is a touch
CLEAR = 1e-3  # mm; closer to a limit than this, polygons cannot say whether a tool touches or cuts
Q = ureg.Quantity

angles = st.floats(min_value=40, max_value=140)
tips = st.one_of(st.just(0.0), st.floats(min_value=0.05, max_value=4))
flutes = st.floats(min_value=0.3, max_value=8)
relaxed = settings(deadline=None, max_examples=80)


def mm(value: float) -> Quantity:
    return Q(value, "mm")


def size(length: Quantity) -> float:
    return float(length.m_as("mm"))


@dataclass(frozen=True)
class Tool:
    """A chamfer mill by its drawing; a flute height of None leaves the cone open above."""

    angle: float
    tip: float
    flute: float | None

    @property
    def slope(self) -> float:
        return math.tan(math.radians(self.angle) / 2)

    @property
    def largest(self) -> float:
        assert self.flute is not None
        return self.tip + 2 * self.flute * self.slope

    def mill(self) -> ConicalMill:
        return conical_mill(Q(self.angle, "deg"), mm(self.tip), None if self.flute is None else mm(self.largest))

    def section(self, axis: float, tip_at: float, open_to: float = 0.0) -> Polygon:
        """The outline with its axis at `axis` and its tip flat at the height `tip_at`; an open cone ends at open_to."""
        height = open_to - tip_at if self.flute is None else self.flute
        half = [(self.tip / 2, tip_at), (self.tip / 2 + height * self.slope, tip_at + height)]
        if self.flute is not None:
            half.append((half[-1][0], FAR))
        right = [(axis + across, up) for across, up in half]
        return Polygon(right + [(axis - across, up) for across, up in reversed(half)])


def cone_alone(tool: Tool, axis: float, tip_at: float) -> Polygon:
    """The cone drawn out to its sharp end below and without end above: all that a chamfer may be cut by."""
    point = tip_at - tool.tip / 2 / tool.slope
    across = (FAR - point) * tool.slope
    return Polygon([(axis, point), (axis + across, FAR), (axis - across, FAR)])


WORK = box(-FAR, -FAR, 0, 0)  # its face at height 0, its wall at 0 across


def bounds(region: Polygon) -> tuple[float, float]:
    left, bottom, _, _ = region.bounds
    return -left, -bottom


def only_the_chamfer(tool: Tool, cut: EdgeChamfer, room: float | None) -> bool:
    """Whether the tool's section meets nothing but what its cone may cut off the edge."""
    x, z = size(cut.axis_offset), size(cut.depth_below_face)
    section = tool.section(x, -z)
    removed = WORK.intersection(section)
    chamfer = WORK.intersection(cone_alone(tool, x, -z))
    if removed.symmetric_difference(chamfer).area > TINY:
        return False
    if room is None:
        return True
    # A wall beside a tool of unknown size is taken to end at the face; else it may stand as high as it likes.
    neighbour = box(room, -FAR, 2 * FAR, 0 if tool.flute is None else FAR)
    return bool(neighbour.intersection(section).area <= TINY)


@relaxed
@given(angles, tips, st.one_of(st.none(), flutes), st.floats(min_value=0.02, max_value=6), st.floats(0.05, 8))
@example(90.0, 1.0, 4.0, 1.5, 1.5)
@example(90.0, 1.0, None, 0.3, 0.8)  # the tip flat in the wall
@example(90.0, 0.0, 2.0, 1.0, 2.5)  # the shank on the edge
def test_an_edge_is_left_as_said(angle: float, tip: float, flute: float | None, x: float, z: float) -> None:
    tool = Tool(angle, tip, flute)
    assume(tip / 2 + z * tool.slope - x > CLEAR)
    cut = edge_chamfer(tool.mill(), axis_offset=mm(x), depth_below_face=mm(z))
    assume(abs(x - tip / 2) > CLEAR)
    assume(flute is None or abs(z - flute) > CLEAR)
    removed = WORK.intersection(tool.section(x, -z))
    if flute is None or z < flute:
        width, depth = bounds(removed)
        assert size(cut.chamfer_width) == pytest.approx(width, rel=1e-9, abs=1e-9)
        assert size(cut.chamfer_depth) == pytest.approx(depth, rel=1e-9, abs=1e-9)
        assert cut.cut_area.m_as("mm^2") == pytest.approx(removed.area, rel=1e-9, abs=1e-9)
        section = tool.section(x, -z)
        across = [
            section.intersection(box(-FAR, -z + size(height) - 1e-9, FAR, -z + size(height) + 1e-9)).bounds
            for height in (cut.contact_high, cut.contact_low)
        ]
        for (left, _, right, _), diameter in zip(across, (cut.effective_diameter, cut.smallest_diameter), strict=True):
            assert size(diameter) == pytest.approx(right - left, abs=1e-6)
    assert cut.fits is only_the_chamfer(tool, cut, None), cut.why_not


@relaxed
@given(angles, tips, st.one_of(st.none(), flutes), st.floats(0.02, 5), st.floats(0.05, 1), st.floats(0.3, 1.7))
def test_a_neighbouring_wall_is_met_or_not(
    angle: float, tip: float, flute: float | None, width: float, share: float, gap: float
) -> None:
    tool = Tool(angle, tip, flute)
    low = share * (3.0 if flute is None else flute)
    cut = edge_chamfer(tool.mill(), chamfer_width=mm(width), contact_low=mm(low))
    x, z = size(cut.axis_offset), size(cut.depth_below_face)
    reach = tip / 2 + z * tool.slope if flute is None else tool.largest / 2
    room = x + gap * reach
    assume(abs(gap - 1) * reach > CLEAR)
    assume(flute is None or abs(z - flute) > CLEAR)
    placed = edge_chamfer(tool.mill(), axis_offset=mm(x), depth_below_face=mm(z), neighbour_distance=mm(room))
    assert placed.fits is only_the_chamfer(tool, placed, room), placed.why_not


def test_touching_is_not_cutting() -> None:
    tool = Tool(90, 1, 4)
    rim = edge_chamfer(tool.mill(), axis_offset=mm(0.5), depth_below_face=mm(1))  # the tip flat's rim on the wall
    full = edge_chamfer(tool.mill(), axis_offset=mm(3), depth_below_face=mm(4))  # to the very top of the flute
    beside = edge_chamfer(tool.mill(), axis_offset=mm(3), depth_below_face=mm(3), neighbour_distance=mm(7.5))
    for cut, room in ((rim, None), (full, None), (beside, 7.5)):
        assert cut.fits
        assert only_the_chamfer(tool, cut, room)


def hole_work(hole: float) -> Polygon:
    """The section of a plate with a hole, through the axis of the hole at 0."""
    return unary_union([box(-FAR, -FAR, -hole / 2, 0), box(hole / 2, -FAR, FAR, 0)])


def hole_is_left_as_said(tool: Tool, hole: float, cut: HoleChamfer) -> bool:
    """Measure the chamfer on both sides of the hole, and say whether the tool cuts nothing else.

    The tool stands on one side of its circle and then on the other, as it does in half a turn.
    """
    circle, tip_at = size(cut.interpolation_radius), -size(cut.depth_below_face)
    here, cone = tool.section(circle, tip_at), cone_alone(tool, circle, tip_at)
    swept = unary_union([here, scale(here, xfact=-1, origin=(0, 0))])
    allowed = unary_union(
        [
            cone.intersection(box(0, -FAR, FAR, 0)),
            scale(cone, xfact=-1, origin=(0, 0)).intersection(box(-FAR, -FAR, 0, 0)),
        ]
    )
    work = hole_work(hole)
    removed = work.intersection(swept)
    clean = bool(removed.symmetric_difference(work.intersection(allowed)).area <= TINY)
    if clean:
        left, bottom, right, top = removed.bounds
        assert size(cut.chamfer_diameter) == pytest.approx(right - left, rel=1e-9)
        assert size(cut.chamfer_depth) == pytest.approx(-bottom, rel=1e-9, abs=1e-9)
        assert top == pytest.approx(0, abs=1e-9)
        one_side = removed.intersection(box(0, -FAR, FAR, 0))
        turned = 2 * math.pi * one_side.centroid.x * one_side.area  # Pappus: the section times the way of its centre
        assert cut.removed_volume.m_as("mm^3") == pytest.approx(turned, rel=1e-6)
    return clean


@relaxed
@given(angles, tips, st.one_of(st.none(), flutes), st.floats(0.5, 20), st.floats(0.05, 5))
@example(90.0, 1.0, 4.0, 6.8, 2.0)
@example(90.0, 1.0, 3.5, 6.0, 3.0)  # the shank on the face
def test_a_plunged_hole_is_left_as_said(
    angle: float, tip: float, flute: float | None, hole: float, wide: float
) -> None:
    tool = Tool(angle, tip, flute)
    assume(hole - tip > CLEAR)
    assume(flute is None or abs(hole + wide - tool.largest) > CLEAR)
    cut = plunge(tool.mill(), mm(hole), mm(hole + wide))
    assert size(cut.interpolation_radius) == 0
    assert cut.fits is hole_is_left_as_said(tool, hole, cut), cut.why_not


@relaxed
@given(angles, tips, st.one_of(st.none(), flutes), st.floats(1, 30), st.floats(0.05, 4), st.floats(0, 6))
@example(90.0, 1.0, 3.5, 20.0, 2.0, 1.0)
@example(90.0, 1.0, 10.0, 4.0, 1.0, 3.0)  # too wide to enter
@example(90.0, 1.0, 1.5, 20.0, 2.0, 1.0)  # past the flute
def test_a_circled_hole_is_left_as_said(
    angle: float, tip: float, flute: float | None, hole: float, wide: float, low: float
) -> None:
    tool = Tool(angle, tip, flute)
    cut = interpolate(tool.mill(), mm(hole), mm(hole + wide), mm(low))
    circle = hole / 2 - tip / 2 - low * tool.slope
    assume(abs(circle) > CLEAR)
    assume(flute is None or abs(size(cut.contact_high) - flute) > CLEAR)
    if circle > 0:  # touches the hole's wall at the lowest contact and the mouth at the highest
        assert circle == pytest.approx(size(cut.interpolation_radius))
    assert cut.fits is hole_is_left_as_said(tool, hole, cut), cut.why_not


@relaxed
@given(angles, tips, flutes, st.floats(1, 30), st.floats(0.05, 4))
def test_a_circle_left_to_the_calculator_is_left_as_said(
    angle: float, tip: float, flute: float, hole: float, wide: float
) -> None:
    tool = Tool(angle, tip, flute)
    assume(abs(hole - tip) > CLEAR)
    assume(abs(wide / 2 / tool.slope - flute) > CLEAR)
    cut = interpolate(tool.mill(), mm(hole), mm(hole + wide))
    assert cut.fits is hole_is_left_as_said(tool, hole, cut), cut.why_not
