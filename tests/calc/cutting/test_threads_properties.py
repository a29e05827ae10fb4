"""What holds of every thread: there and back by name and by percent, and an answer for each size in the tables."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.cutting.drill_sizes import inch_drills, metric_drills
from calc.cutting.thread_tables import CLEARANCE_INCH, CLEARANCE_METRIC, PIPE_NPT, PIPE_PARALLEL, PIPE_TAPER
from calc.cutting.threads import (
    FORMED,
    HANDBOOK,
    PROFILE,
    WHITWORTH,
    drill_for,
    hole_for_percent,
    percent_of_thread,
    thread,
    thread_names,
)
from calc.units import ureg
from calc.workings import run

Q = ureg.Quantity
NAMES = st.sampled_from(thread_names())
SIXTY = [name for name in thread_names() if not thread(name).pipe]
SHARES = st.floats(min_value=1, max_value=100)


def numbers(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [number for member in value.values() for number in numbers(member)]
    return [value] if isinstance(value, int | float) else []


@pytest.mark.parametrize("name", thread_names())
def test_every_thread_in_the_tables_is_answered(name: str) -> None:
    answer = run("thread", {"thread": name}, "inch" if thread(name).inch else "metric")
    found = {key: value.value for key, value in answer.results.items()}
    assert found["designation"] == name
    assert all(math.isfinite(number) for value in found.values() for number in numbers(value))
    assert 0 < found["minor_diameter"] < found["pitch_diameter"] < found["major_diameter"]
    assert found["pitch"] * found["threads_per_inch"] == pytest.approx(25.4)
    if "drill" in found:
        assert 0.9 * found["minor_diameter"] < found["drill"]["mm"] < found["major_diameter"]
    if "percent_of_handbook" in found:
        assert 60 < found["percent_of_handbook"] < 90
    assert ("gauge_length" in found) == thread(name).taper
    assert ("percent_of_handbook" in found) == ("stress_area" in found) == (not thread(name).pipe)


@pytest.mark.parametrize("name", SIXTY)
def test_every_metric_and_unified_thread_can_be_formed(name: str) -> None:
    found = run("thread", {"thread": name, "form": "form"}).results
    cut = run("thread", {"thread": name}).results
    assert found["drill_diameter"].value > cut["drill_diameter"].value
    assert "percent_of_profile" not in found


@pytest.mark.parametrize("name", [name for name in thread_names() if not name.startswith("R ")])
def test_every_thread_that_is_tapped_has_its_feed(name: str) -> None:
    found = run("tapping", {"thread": name, "surface_speed": 10, "starts": 2}).results
    lead = 2 * thread(name).pitch.m_as("mm")
    assert found["feed_rate"].value == pytest.approx(lead * found["spindle_speed"].value)


@given(NAMES, st.sampled_from(["", " LH"]))
def test_a_name_reads_back_as_itself(name: str, hand: str) -> None:
    named = thread(name + hand)
    assert named.name == name + hand
    assert named.left == bool(hand)
    assert thread(named.name) == named
    assert thread(name.lower()).name == name
    assert thread(f"  {name.replace('x', ' × ')}  ").name == name
    assert thread(name.replace(".", ",")).name == name


@given(st.sampled_from(SIXTY), SHARES, st.sampled_from([(HANDBOOK, False), (PROFILE, False), (FORMED, True)]))
def test_percent_of_the_hole_for_a_percent_is_that_percent(
    name: str, percent: float, measure: tuple[float, bool]
) -> None:
    named, (factor, formed) = thread(name), measure
    hole = hole_for_percent(named.diameter, named.pitch, Q(percent, "percent"), factor, formed)
    assert hole < named.diameter
    assert percent_of_thread(named.diameter, named.pitch, hole, factor).magnitude == pytest.approx(percent)


@given(st.sampled_from(SIXTY), st.sampled_from(metric_drills() + inch_drills()), st.floats(1e-3, 5))
def test_percent_falls_as_the_drill_grows(name: str, drill: Any, more: float) -> None:
    named, larger = thread(name), Q(drill.size + more, "mm")
    small = percent_of_thread(named.diameter, named.pitch, drill.diameter)
    assert percent_of_thread(named.diameter, named.pitch, larger) < small


@given(st.sampled_from([name for name in SIXTY if thread(name).diameter < Q(60, "mm")]), st.floats(40, 90))
def test_a_drill_is_the_nearest_that_there_is(name: str, percent: float) -> None:
    named = thread(name)
    hole = hole_for_percent(named.diameter, named.pitch, Q(percent, "percent")).m_as("mm")
    drills = inch_drills() if named.inch else metric_drills()
    taken = drill_for(named, percent)
    assert abs(taken.size - hole) == pytest.approx(min(abs(drill.size - hole) for drill in drills))
    assert drill_for(named, percent, stock=drills) == taken


def test_percents_and_holes_of_arrays_are_those_of_their_points() -> None:
    shares = np.array([50.0, 60.0, 75.0])
    holes = hole_for_percent(Q(10, "mm"), Q(1.5, "mm"), Q(shares, "percent"))
    back = percent_of_thread(Q(10, "mm"), Q(1.5, "mm"), holes)
    assert back.magnitude == pytest.approx(shares)
    for share, hole in zip(shares, holes.magnitude, strict=True):
        assert hole_for_percent(Q(10, "mm"), Q(1.5, "mm"), Q(float(share), "percent")).magnitude == pytest.approx(hole)


@pytest.mark.parametrize("size", PIPE_NPT)
def test_the_drill_for_npt_leaves_thread_from_the_face_to_where_the_wrench_stops(size: str) -> None:
    # ASME B1.20.1 (m): after the hand-tight plane at the face, two or three threads more by wrench.
    named = thread(f"{size} NPT")
    if not named.drill:
        return
    at_face = named.minor_diameter.m_as("mm")
    further = at_face - (2 if size in ("2 1/2", "3", "3 1/2", "4", "5", "6") else 3) * named.pitch.m_as("mm") / 16
    assert further - named.gauge_length.m_as("mm") / 16 < drill_for(named).size < at_face  # type: ignore[union-attr]


@pytest.mark.parametrize("size", PIPE_TAPER)
def test_the_holes_for_jointing_threads_lie_by_their_minor_diameter(size: str) -> None:
    rp, rc = thread(f"Rp {size}"), thread(f"Rc {size}")
    assert rp.diameter == rc.diameter == thread(f"R {size}").diameter == thread(f"G {size}").diameter
    if rp.drill:
        minor = rp.minor_diameter.m_as("mm")
        assert minor < drill_for(rp).size < minor + 0.16
        assert minor - rc.useful_length.m_as("mm") / 16 < drill_for(rc).size < minor  # type: ignore[union-attr]


@pytest.mark.parametrize("size", PIPE_PARALLEL)
def test_the_hole_for_g_lies_inside_the_limits_of_its_minor_diameter(size: str) -> None:
    # ISO 228-1, tolerance of the internal minor diameter by threads per inch, as bd_warehouse tabulates it.
    named = thread(f"G {size}")
    minor, tolerance = named.minor_diameter.m_as("mm"), {28: 0.282, 19: 0.445, 14: 0.541, 11: 0.640}
    assert minor - 0.001 < drill_for(named).size < minor + tolerance[round(named.threads_per_inch)]
    share = percent_of_thread(named.diameter, named.pitch, drill_for(named).diameter, WHITWORTH)
    assert 70 < share.magnitude < 100


def test_clearance_grows_with_the_fit_and_the_size() -> None:
    metric = [f"M{size:g}" for size in CLEARANCE_METRIC if size <= 68]
    inch = [f"{size} {'UNF' if size == '#0' else 'UNC'}" for size in CLEARANCE_INCH]
    for names in (metric, inch):
        answers = [run("thread", {"thread": name}).results for name in names]
        holes = [[found[f"clearance_{fit}"].value for fit in ("close", "medium", "free")] for found in answers]
        assert all(close < medium < free for close, medium, free in holes)
        assert holes == sorted(holes)
