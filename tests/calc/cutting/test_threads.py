"""Threads by name, and the drills before them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.cutting.drill_sizes import inch_drills, metric_drills, nearest_drill, read_drill
from calc.cutting.threads import (
    COARSE,
    UNIFIED,
    clearance_hole,
    drill_for,
    hole_for,
    hole_for_percent,
    percent_of_thread,
    thread,
)
from calc.errors import WorkingError
from calc.units import ureg

Q = ureg.Quantity


def test_hole_for_5_16_18_leaves_about_three_quarters_of_the_thread() -> None:
    # Common practice, no source: a letter F drill (0.257 in) for 5/16-18.
    drill = drill_for(thread("5/16-18 UNC"), percent=75)
    assert drill.name == "F"
    assert drill.diameter.to("in").magnitude == pytest.approx(0.257)


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("M10x1.5", "M10x1.5"),
        ("m10", "M10x1.5"),
        ("M10 x 1,25", "M10x1.25"),
        ("M 10×1", "M10x1"),
        ("M8x1-6H", "M8x1"),
        ("5/16-18 UNC", "5/16-18 UNC"),
        ("5/16 - 18", "5/16-18 UNC"),
        ('5/16"-24', "5/16-24 UNF"),
        ("1/4-20 UNC-2B", "1/4-20 UNC"),
        ("#10-32", "#10-32 UNF"),
        ("No. 10-24", "#10-24 UNC"),
        ("10-32 UNF", "#10-32 UNF"),
        ("1-8", "1-8 UNC"),
        ("1 1/8-7", "1 1/8-7 UNC"),
        ("1-1/8-7 UNC", "1 1/8-7 UNC"),
        ("1/2-28 UNEF", "1/2-28 UNEF"),
        ("0.3-20 UNS", "0.3-20 UNS"),
    ],
)
def test_reads_a_thread_as_the_shop_writes_it(written: str, name: str) -> None:
    assert thread(written).name == name


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("", "is not known"),
        ("ten", "is not known"),
        ("M13", "no coarse pitch"),
        ("M5x9", "does not go with"),
        ("M5x0", "does not go with"),
        ("5/16-20 UNC", "has 18 threads per inch, not 20"),
        ("#11-24", "no screw size #11"),
        ("1/0-20", "not a fraction"),
        ("1/4-0", "do not go with"),
        ("1/64-20", "do not go with"),
    ],
)
def test_refuses_what_is_no_thread(written: str, says: str) -> None:
    with pytest.raises(WorkingError) as caught:
        thread(written)
    assert caught.value.argument == "thread"
    assert says in caught.value.sentence


@pytest.mark.parametrize("diameter", COARSE)
def test_every_coarse_drill_is_stocked_and_about_the_nominal_less_the_pitch(diameter: float) -> None:
    named = thread(f"M{diameter:g}")
    drill = drill_for(named)
    assert drill.size == pytest.approx(COARSE[diameter][1])
    assert drill.size == pytest.approx(diameter - COARSE[diameter][0], abs=0.06)


@pytest.mark.parametrize(
    ("size", "tpi"), [(size, tpi) for size, both in UNIFIED.items() for tpi in both if tpi is not None]
)
def test_every_unified_size_reads_and_has_a_drill_near_75_percent(size: str, tpi: float) -> None:
    named = thread(f"{size}-{tpi:g}")
    assert named.inch
    left = percent_of_thread(named.diameter, named.pitch, drill_for(named).diameter)
    assert 60 < left.magnitude < 90


def test_basic_profile() -> None:
    # ISO 68-1 (m): H = √3/2 · P; D2 = D − 3/4 · H, D1 = D − 5/4 · H, depth 5/8 · H.
    named = thread("M20x2.5")
    height = math.sqrt(3) / 2 * 2.5
    assert named.pitch_diameter.m_as("mm") == pytest.approx(20 - 0.75 * height)
    assert named.minor_diameter.m_as("mm") == pytest.approx(20 - 1.25 * height)
    assert named.height.m_as("mm") == pytest.approx(0.625 * height)


@given(st.floats(min_value=1, max_value=100))
def test_percent_there_and_back(percent: float) -> None:
    hole = hole_for_percent(Q(10, "mm"), Q(1.5, "mm"), Q(percent, "percent"))
    assert percent_of_thread(Q(10, "mm"), Q(1.5, "mm"), hole).magnitude == pytest.approx(percent)


def test_a_form_tap_takes_a_larger_hole() -> None:
    named = thread("M6")
    assert hole_for(named, formed=True) > hole_for(named)
    assert drill_for(named, percent=65, formed=True) == drill_for(named, formed=True)


def test_percent_out_of_bounds_is_refused() -> None:
    for percent in (0, -5, 101):
        with pytest.raises(WorkingError) as caught:
            drill_for(thread("M6"), percent=percent)
        assert caught.value.argument == "percent"


def test_clearance_holes_and_sizes_the_tables_leave_out() -> None:
    hole = clearance_hole(thread("3/8-16"))
    assert hole is not None
    assert hole.m_as("in") == pytest.approx(13 / 32)
    assert clearance_hole(thread("#12-28")) is None
    assert clearance_hole(thread("M11")) is None
    with pytest.raises(WorkingError, match="Fit must be one of"):
        clearance_hole(thread("M6"), "snug")


@pytest.mark.parametrize(
    ("written", "name", "millimetres"),
    [
        ("F", "F", 0.257 * 25.4),
        ("f", "F", 0.257 * 25.4),
        ("#7", "#7", 0.201 * 25.4),
        ("no. 7", "#7", 0.201 * 25.4),
        ("27/64", "27/64", 27 / 64 * 25.4),
        ("27/64 in", "27/64", 27 / 64 * 25.4),
        ("1 1/32", "1 1/32", 33 / 32 * 25.4),
        ("8.5", "8.5", 8.5),
        ("0.2 in", "5.08", 5.08),
    ],
)
def test_reads_a_drill_by_name_or_size(written: str, name: str, millimetres: float) -> None:
    drill = read_drill(written)
    assert drill.name == name
    assert drill.size == pytest.approx(millimetres)


@pytest.mark.parametrize("written", ["", "#99", "AB", "-3", "0"])
def test_refuses_what_is_no_drill(written: str) -> None:
    with pytest.raises(WorkingError) as caught:
        read_drill(written)
    assert caught.value.argument == "drill"


def test_nearest_drill_and_its_bounds() -> None:
    assert nearest_drill(Q(6.75, "mm"), metric_drills()).name == "6.8"
    assert nearest_drill(Q(0.25, "in"), inch_drills()).name in ("1/4", "E")
    for size in (0.05, 200):
        with pytest.raises(WorkingError, match="No stocked drill"):
            nearest_drill(Q(size, "mm"), metric_drills())
