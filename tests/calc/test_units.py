"""The boundary: what people type, what they mean, and what they are told when it cannot be."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.units import (
    Quantity,
    check_dimension,
    read_number,
    read_quantity,
    require_positive,
    revolutions_per_minute,
    show,
    show_number,
    takes,
    unit_named,
    ureg,
)


def refusal(call: object, *args: object) -> WorkingError:
    with pytest.raises(WorkingError) as caught:
        call(*args)  # type: ignore[operator]
    return caught.value


def test_spindle_speed_carries_no_two_pi() -> None:
    # The registry's own rpm would give 197 m/min here.
    speed = (math.pi * ureg.Quantity(10, "mm") * revolutions_per_minute(1000)).to("m/min")
    assert speed.magnitude == pytest.approx(31.415926535897931)


def test_rpm_typed_by_a_person_is_revolutions_per_minute() -> None:
    assert read_quantity("spindle_speed", "1200 rpm", "1/min").magnitude == 1200


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("12.5", "mm", 12.5),
        (12.5, "mm", 12.5),
        ("0.0022 in", "mm", 0.05588),
        ("5/16 in", "mm", 7.9375),
        ('1 1/2"', "mm", 38.1),
        ("1-1/2 in", "mm", 38.1),
        ("0,5 mm", "mm", 0.5),
        (".5", "mm", 0.5),
        ("-3 mm", "mm", -3),
        ("+3 mm", "mm", 3),
        ("1e3", "mm", 1000),
        ("120 sfm", "m/min", 36.576),
        ("120 ft/min", "m/min", 36.576),
        ("2.3 m/s", "m/min", 138),
        ("10 ipm", "mm/min", 254),
        ("0.1 mm/tooth", "mm", 0.1),
        ("0.004 ipt", "mm", 0.1016),
        ("0.2 mm/rev", "mm", 0.2),
        ("7 /min", "1/min", 7),
        ("100 min-1", "1/min", 100),
        ("20 Hz", "1/min", 1200),
        ("90°", "deg", 90),
        ("90 degrees", "deg", 90),
        (f"{math.pi} rad", "deg", 180),
        ("12 Nm", "N·m", 12),
        ("12 N m", "N·m", 12),
        ("12 N·m", "N·m", 12),
        ("2000 MPa", "N/mm²", 2000),
        ("2 kN/mm^2", "N/mm²", 2000),
        ("5 cm3/min", "cm³/min", 5),
        ("5 cc/min", "cm³/min", 5),
        ("80 %", "", 0.8),
        ("0.8", "", 0.8),
        ("20 tpi", "1/min", None),
        ("1 h", "min", 60),
        ("10 MM", "mm", 10),
        ("3 in.", "mm", 76.2),
        ("63 uin", "µm", 1.6002),
    ],
)
def test_reads_what_the_shop_writes(typed: object, unit: str, value: float | None) -> None:
    if value is None:
        refusal(read_quantity, "speed", typed, unit)
    else:
        assert read_quantity("length", typed, unit).m_as(unit_named(unit)) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "unit", "says"),
    [
        ("", "mm", "Diameter is empty"),
        ("wide", "mm", '"wide" is not a number'),
        ("nan", "mm", "not a number"),
        ("1e999", "mm", "finite"),
        (float("nan"), "mm", "finite"),
        (float("inf"), "mm", "finite"),
        (10**400, "mm", "finite"),
        ("1" * 80, "mm", "is not a number"),
        (True, "mm", "not yes or no"),
        ([1], "mm", "must be a number"),
        (None, "mm", "must be a number"),
        ("1,200", "mm", "two things"),
        ("1,2,3", "mm", "two things"),
        ("5/0 in", "mm", "over zero"),
        ("5 furlong", "mm", '"furlong" is not a unit known here'),
        ("5 mm/", "mm", "not a unit known here"),
        ("2**9999 mm", "mm", "not a unit known here"),
        ("5 mm$", "mm", "not a unit known here"),
        ("10 kW", "mm", 'given in "kW", but it must be a length such as 10 mm'),
        ("10 s", "g", 'given in "s", but it must be in g or the like'),
        ("5 %", "deg", "must be an angle"),
        ("3 rad/s", "1/min", "must be a spindle speed"),
        ("3 deg", "", "plain number"),
        (1e12, "mm", "beyond anything a shop can mean"),
        (1e-12, "mm", "beyond anything a shop can mean"),
        (ureg.Quantity(3, "kW"), "mm", "must be a length"),
        (ureg.Quantity(float("inf"), "mm"), "mm", "finite"),
    ],
)
def test_says_what_is_wrong_and_names_the_field(typed: object, unit: str, says: str) -> None:
    problem = refusal(read_quantity, "diameter", typed, unit)
    assert problem.argument == "diameter"
    assert problem.sentence.startswith("Diameter")
    assert says in problem.sentence


def test_a_quantity_is_taken_as_it_is() -> None:
    assert read_quantity("diameter", ureg.Quantity(1, "in"), "mm").magnitude == pytest.approx(25.4)


def test_a_plain_number_takes_no_unit() -> None:
    assert read_number("teeth", " 6 ") == 6
    assert "leave" in refusal(read_number, "teeth", "6 mm").sentence
    assert "finite" in refusal(read_number, "teeth", float("inf")).sentence


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=70))
def test_any_text_is_read_or_refused_with_a_sentence(text: str) -> None:
    sentence = "Diameter read."
    try:
        read_quantity("diameter", text, "mm")
    except WorkingError as problem:
        sentence = problem.sentence
    assert sentence.startswith("Diameter")
    assert sentence.endswith(".")


@settings(deadline=None)
@given(st.floats(min_value=1e-6, max_value=1e6))
def test_what_is_written_reads_back(value: float) -> None:
    assert read_quantity("length", f"{value!r} mm", "mm").magnitude == pytest.approx(value, rel=1e-14)
    inches = read_quantity("length", f"{value / 25.4!r} in", "mm").magnitude
    assert inches == pytest.approx(value, rel=1e-13)


@pytest.mark.parametrize(
    ("value", "unit", "metric", "inch"),
    [
        (12.3456, "mm", "12.346 mm", "0.486 in"),
        (0.05588, "mm", "0.0559 mm", "0.0022 in"),
        (0.00001, "mm", "1e-05 mm", "3.94e-07 in"),
        (0.0, "mm", "0 mm", "0 in"),
        (36.576, "m/min", "36.6 m/min", "120 ft/min"),
        (254.0, "mm/min", "254 mm/min", "10 in/min"),
        (50.04, "mm/min", "50 mm/min", "1.97 in/min"),
        (733.386, "1/min", "733 rev/min", "733 rev/min"),
        (45.84, "1/min", "45.8 rev/min", "45.8 rev/min"),
        (12.7, "min", "13 min", "13 min"),
        (9.96, "min", "9.96 min", "9.96 min"),
        (0.2639, "min", "0.264 min", "0.264 min"),
        (90.0, "deg", "90°", "90°"),
        (7.457, "kW", "7.46 kW", "10 hp"),
    ],
)
def test_rounds_for_reading(value: float, unit: str, metric: str, inch: str) -> None:
    quantity = ureg.Quantity(value, unit)
    assert show(quantity) == metric
    assert show(quantity, "inch") == inch
    assert show(quantity, "inch", unit) == inch


def test_shows_what_has_no_rule_of_its_own() -> None:
    assert show(ureg.Quantity(12.3456, "g")) == "12.35 g"
    assert show(ureg.Quantity(2, "hour"), unit="day") == "0.08333 day"
    assert show(ureg.Quantity(3, "")) == "3"
    assert show(ureg.Quantity(3, ""), unit="") == "3"
    assert [show_number(value) for value in (0, 1e-7, 2.5e13, 1234567)] == ["0", "1e-07", "2.5e+13", "1234567"]


def test_checks_name_the_argument() -> None:
    @takes(feed="mm", depth="mm")
    def doubled(feed: Quantity, depth: Quantity | None = None) -> object:
        return feed * 2

    assert doubled(ureg.Quantity(1, "mm"), depth=None) == ureg.Quantity(2, "mm")
    assert refusal(doubled, ureg.Quantity(1, "s")).argument == "feed"
    assert "in g or the like" in refusal(check_dimension, "mass", 3, "g").sentence
    assert 'given in "a plain number"' in refusal(check_dimension, "feed", ureg.Quantity(1, ""), "mm").sentence
    for bad in (0, -1, float("nan"), float("inf"), ureg.Quantity(0, "mm")):
        assert refusal(require_positive, "feed", bad).sentence == "Feed must be above zero."
    require_positive("feed", 0.1)
