"""What must hold of the cutting formulas whatever the numbers, and what they refuse."""

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import calc.cutting
from calc.cutting import chamfer, chip, drilling, force, limits, milling, tapping, turning
from calc.cutting.speed import feed_rate, spindle_speed, surface_speed, time_in_cut
from calc.errors import WorkingError
from calc.units import Quantity, in_unit, revolutions_per_minute, ureg

Q = ureg.Quantity
sizes = st.floats(min_value=0.05, max_value=300)
shares = st.floats(min_value=0.001, max_value=1)
angles = st.floats(min_value=20, max_value=170)
relaxed = settings(deadline=None, max_examples=60)


def mm(value: float) -> Quantity:
    return Q(value, "mm")


def refused(argument: str) -> "pytest.RaisesExc[WorkingError]":
    return pytest.raises(WorkingError, check=lambda problem: problem.argument == argument)


@relaxed
@given(sizes, st.floats(min_value=1, max_value=500))
def test_speed_there_and_back(diameter: float, speed: float) -> None:
    n = spindle_speed(Q(speed, "m/min"), mm(diameter))
    assert surface_speed(n, mm(diameter)).m_as("m/min") == pytest.approx(speed, rel=1e-12)


@relaxed
@given(sizes, st.floats(min_value=1, max_value=500))
def test_inch_and_metric_say_the_same(diameter: float, speed: float) -> None:
    metric = spindle_speed(Q(speed, "m/min"), mm(diameter))
    inch = spindle_speed(Q(speed, "m/min").to("ft/min"), mm(diameter).to("in"))
    assert inch.magnitude == pytest.approx(metric.magnitude, rel=1e-12)


@relaxed
@given(sizes, shares, st.floats(min_value=0.001, max_value=1), angles)
def test_chip_thickness_inverts_and_is_ordered(diameter: float, share: float, feed: float, lead: float) -> None:
    radial, angle = mm(diameter * share), Q(lead, "deg")
    thickest = chip.max_chip_thickness(mm(feed), radial, mm(diameter), angle)
    mean = chip.mean_chip_thickness(mm(feed), radial, mm(diameter), angle)
    assert 0 < mean.magnitude < thickest.magnitude <= feed * (1 + 1e-12)
    back = chip.feed_for_max_chip(thickest, radial, mm(diameter), angle)
    assert back.m_as("mm") == pytest.approx(feed, rel=1e-9)
    back = chip.feed_for_mean_chip(mean, radial, mm(diameter), angle)
    assert back.m_as("mm") == pytest.approx(feed, rel=1e-9)


@relaxed
@given(sizes, shares, shares)
def test_a_wider_cut_engages_more(diameter: float, one: float, other: float) -> None:
    low, high = sorted((one, other))
    narrow = chip.engagement_angle(mm(diameter * low), mm(diameter)).magnitude
    wide = chip.engagement_angle(mm(diameter * high), mm(diameter)).magnitude
    assert 0 < narrow <= wide <= 180 + 1e-9


@relaxed
@given(sizes, shares, shares)
def test_contact_diameter_grows_with_depth_up_to_the_tool(diameter: float, one: float, other: float) -> None:
    low, high = sorted((one, other))
    shapes: list[Callable[[float], Quantity]] = [
        lambda depth: chip.ball_contact_diameter(mm(diameter), mm(depth)),
        lambda depth: chip.bull_contact_diameter(mm(diameter), mm(diameter / 5), mm(depth)),
        lambda depth: chip.cone_contact_diameter(mm(diameter), mm(0), Q(90, "deg"), mm(depth)),
    ]
    for reach in shapes:
        shallow, deep = reach(diameter * low), reach(diameter * high)
        assert 0 < shallow.magnitude <= deep.magnitude * (1 + 1e-12)
        assert deep.magnitude <= diameter * (1 + 1e-12)
        assert reach(diameter * 5).magnitude == pytest.approx(diameter)


@relaxed
@given(st.floats(min_value=0.005, max_value=2), st.floats(min_value=0, max_value=0.6))
def test_thin_chips_cost_more_force(thickness: float, mc: float) -> None:
    kc = force.specific_cutting_force(mm(thickness), Q(2000, "N/mm^2"), mc).magnitude
    assert kc == pytest.approx(2000 * thickness**-mc)
    assert kc >= 2000 if thickness <= 1 else kc <= 2000


def test_rake_lowers_the_force_by_one_percent_a_degree() -> None:
    at_reference = force.specific_cutting_force(mm(0.1), Q(2000, "N/mm^2"), 0.25, Q(6, "deg"))
    sharper = force.specific_cutting_force(mm(0.1), Q(2000, "N/mm^2"), 0.25, Q(16, "deg"))
    other = force.specific_cutting_force(mm(0.1), Q(2000, "N/mm^2"), 0.25, Q(16, "deg"), Q(16, "deg"))
    assert (sharper / at_reference).m_as("") == pytest.approx(0.9)
    assert other.magnitude == pytest.approx(at_reference.magnitude)


@relaxed
@given(
    st.floats(min_value=100, max_value=30_000),
    st.floats(min_value=0.01, max_value=2),
    st.floats(min_value=100, max_value=20_000),
    st.floats(min_value=10, max_value=20_000),
    st.floats(min_value=0.05, max_value=50),
)
def test_nothing_passes_a_limit(speed: float, feed: float, top: float, rate: float, power: float) -> None:
    def power_at(n: Quantity, f: Quantity) -> Quantity:
        return in_unit(n * f * Q(0.01, "kW*min/mm"), "kW")

    caps = limits.Limits(revolutions_per_minute(top), Q(rate, "mm/min"), Q(power, "kW"))
    held = limits.hold(revolutions_per_minute(speed), mm(feed), caps, power_at)
    assert held.spindle_speed.magnitude <= min(speed, top) * (1 + 1e-12)
    assert (held.spindle_speed * held.feed).m_as("mm/min") <= rate * (1 + 1e-12)
    assert power_at(held.spindle_speed, held.feed).magnitude <= power * (1 + 1e-12)
    assert held.feed.magnitude <= feed * (1 + 1e-12)
    free = (
        speed <= top and speed * feed <= rate and power_at(revolutions_per_minute(speed), mm(feed)).m_as("kW") <= power
    )
    assert (held.capped_by == ()) == free


def test_a_limit_of_nothing_is_refused() -> None:
    with refused("max_power"):
        limits.hold(revolutions_per_minute(1000), mm(0.1), limits.Limits(max_power=Q(0, "kW")))


@relaxed
@given(st.floats(min_value=0.01, max_value=0.99), sizes)
def test_corner_feed_is_slower_inside_and_faster_outside(share: float, radius: float) -> None:
    inside = milling.corner_feed_ratio(mm(2 * radius * share), mm(radius), inside=True)
    outside = milling.corner_feed_ratio(mm(2 * radius * share), mm(radius), inside=False)
    assert inside + outside == pytest.approx(2)
    assert 0 < inside < 1 < outside


def test_pecks_and_their_time() -> None:
    assert drilling.pecks(mm(0.3), mm(0.1)) == 3
    assert drilling.pecks(mm(0.05), mm(10)) == 1
    # Three pecks of 4 mm in 10 mm, rapid 1 m/min, clearance 1 mm: 10 + 2 mm of feed, 9 + 17 + 11 mm of rapid.
    time = drilling.peck_cycle_time(mm(10), mm(4), Q(100, "mm/min"), Q(1, "m/min"), mm(1))
    assert time.m_as("min") == pytest.approx(12 / 100 + (9 + 17 + 11) / 1000)
    fast = drilling.peck_cycle_time(mm(10), mm(20), Q(100, "mm/min"), Q(1e9, "mm/min"), mm(1))
    assert fast.m_as("min") == pytest.approx(0.1)


def test_drilling_load_without_an_angle_is_at_118_degrees() -> None:
    args = (mm(12), mm(0.2), revolutions_per_minute(1000), Q(2000, "N/mm^2"), 0.25)
    assert drilling.drilling_load(*args) == drilling.drilling_load(*args, Q(118, "deg"))


def test_facing_zones() -> None:
    def face(limit: float) -> turning.Facing:
        return turning.facing(mm(100), mm(20), Q(200, "m/min"), mm(0.2), revolutions_per_minute(limit))

    assert face(100).time_at_surface_speed.magnitude == 0
    assert face(100).time_in_cut.m_as("min") == pytest.approx(40 / (0.2 * 100))
    assert face(1e6).time_at_limit.magnitude == 0


def test_refusals_name_the_argument() -> None:
    q = Q
    cases: list[tuple[str, Callable[[], object]]] = [
        ("radial_depth", lambda: chip.engagement_angle(mm(11), mm(10))),
        ("diameter", lambda: chip.engagement_angle(mm(1), mm(0))),
        ("lead_angle", lambda: chip.max_chip_thickness(mm(0.1), mm(1), mm(10), q(0, "deg"))),
        ("corner_radius", lambda: chip.bull_contact_diameter(mm(10), mm(6), mm(1))),
        ("tip_diameter", lambda: chip.cone_contact_diameter(mm(10), mm(10), q(90, "deg"), mm(1))),
        ("included_angle", lambda: chip.half_angle_slope(q(180, "deg"))),
        ("mc", lambda: force.specific_cutting_force(mm(0.1), q(2000, "N/mm^2"), 1.0)),
        ("rake_angle", lambda: force.specific_cutting_force(mm(0.1), q(2000, "N/mm^2"), 0.2, q(60, "deg"))),
        ("efficiency", lambda: force.spindle_power(q(1, "kW"), 1.2)),
        ("radial_depth", lambda: milling.run_in(mm(11), mm(10))),
        ("corner_radius", lambda: milling.corner_feed_ratio(mm(10), mm(5), inside=True)),
        ("point_angle", lambda: drilling.point_length(mm(10), q(181, "deg"))),
        ("feed", lambda: turning.roughness_rz(mm(2), mm(0.4))),
        ("inner_diameter", lambda: turning.facing(mm(10), mm(10), q(9, "m/min"), mm(0.1), revolutions_per_minute(9))),
        ("chamfer_threads", lambda: tapping.drilled_depth(mm(10), mm(1), -1)),
        ("retract_ratio", lambda: tapping.tapping_time(mm(10), q(100, "mm/min"), 0)),
        ("feed", lambda: feed_rate(mm(-1), revolutions_per_minute(1))),
        ("length", lambda: time_in_cut(mm(0), q(1, "mm/min"))),
        ("tip_diameter", lambda: chamfer.conical_mill(q(90, "deg"), mm(-1))),
        ("max_diameter", lambda: chamfer.conical_mill(q(90, "deg"), mm(2), mm(2))),
    ]
    for argument, call in cases:
        with refused(argument):
            call()


def public_functions() -> list[tuple[str, Callable[..., object]]]:
    found: list[tuple[str, Callable[..., object]]] = []
    for module in pkgutil.iter_modules(calc.cutting.__path__):
        loaded = importlib.import_module(f"calc.cutting.{module.name}")
        found += [
            (f"{module.name}.{name}", function)
            for name, function in inspect.getmembers(loaded, inspect.isfunction)
            if not name.startswith("_") and function.__module__ == loaded.__name__
        ]
    return found


@pytest.mark.parametrize(
    ("name", "function"), public_functions(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_docstring_and_signature_agree(name: str, function: Callable[..., object]) -> None:
    text = inspect.getdoc(function) or ""
    for parameter in inspect.signature(function).parameters:
        assert re.search(rf"^{parameter} : ", text, re.MULTILINE), f"{name} does not describe {parameter}"
    assert ">>>" in text
    keys = re.findall(r"\[([a-z0-9.-]+)(?: \(m\))?\]", text.split("Source:")[1])
    known = set(re.findall(r"^- \[([a-z0-9.-]+)", Path("calc/references.md").read_text(), re.MULTILINE))
    assert keys
    assert set(keys) <= known
