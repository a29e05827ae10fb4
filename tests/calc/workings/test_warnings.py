"""What the cutting workings warn of, with these very numbers, and what they say they could not check."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from calc import workings
from calc.errors import WorkingError
from calc.workings import Answer, Found, Given, Input, InputErrors, Kind, Known, Result, Working, get, run
from calc.workings.sweep import sweep

CUT = {
    "diameter": 16, "teeth": 4, "surface_speed": 60, "feed_per_tooth": 0.08, "axial_depth": 8, "radial_depth": 2,
    "kc11": 2800, "mc": 0.25,
}  # fmt: skip
CURVE = [{"speed": 1000, "power": 2}, {"speed": 6000, "power": 2}]


def milled(**more: Any) -> Answer:
    return run("milling", CUT | more)


def test_a_fine_cut_is_warned_of_nothing() -> None:
    assert milled(hone=0.02, max_chip=0.2, stick_out=48, power_curve=CURVE).warnings == ()


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"hone": 0.06}, "is thinner than the hone of 0.06 mm: the edge rubs"),
        ({"max_chip": 0.05}, "is over the 0.05 mm that the edge may take. Feed less."),
        ({"stick_out": 80}, "sticks out 5 diameters, more than 4: it bends"),
        ({"stick_out": 40, "longest_reach": 2}, "sticks out 2.5 diameters, more than 2"),
    ],
)
def test_chip_and_reach_are_warned_of_with_their_numbers(more: dict[str, Any], says: str) -> None:
    (warning,) = milled(**more).warnings
    assert says in warning


def test_more_torque_than_the_spindle_has_is_warned_of_and_holds_nothing_back() -> None:
    weak = [{"speed": 1000, "power": 0.02}]
    answer = milled(power_curve=weak)
    assert answer.results["capped_by"].value == []
    assert answer.results["power_available"].value == pytest.approx(0.02)
    (warning,) = answer.warnings
    assert "which gives 0.19 N·m at most and none the more by turning slower" in warning


def test_a_spindles_curve_holds_the_speed_back() -> None:
    free = milled()
    # Half the power at the speed of the cut, and as much as it asks for at a third of that speed.
    power, speed = free.results["spindle_power"].value, free.results["spindle_speed"].value
    curve = [{"speed": speed / 3, "power": power}, {"speed": speed, "power": power / 2}]
    answer = milled(power_curve=curve)
    assert answer.results["capped_by"].value == ["power_curve"]
    assert answer.results["spindle_speed"].value < speed
    assert answer.results["spindle_power"].value == pytest.approx(answer.results["power_available"].value)
    step = next(step for step in answer.steps if step.says == "Held back by the spindle's power at its speed")
    assert "limit the curve" in step.with_numbers


@pytest.mark.parametrize("limit", [{"max_power": 1}, {"power_curve": CURVE}])
def test_a_power_that_cannot_be_checked_is_said(limit: dict[str, Any]) -> None:
    bare = {name: value for name, value in CUT.items() if name not in ("kc11", "mc")}
    answer = run("milling", bare | limit)
    assert any(said.startswith("The power limit was not checked.") for said in answer.assumed)
    assert ("power_available" in answer.results) == ("power_curve" in limit)


@pytest.mark.parametrize(
    ("brings", "warned"),
    [
        ({"speed_low": 70.0, "speed_high": 90.0}, True),
        ({"speed_low": 20.0, "speed_high": 50.0, "speed_source": "own trials"}, True),
        ({"speed_low": 50.0, "speed_high": 90.0}, False),
        ({"speed_low": 70.0}, False),
        ({}, False),
    ],
)
def test_a_speed_outside_what_is_kept_for_the_material(brings: dict[str, Any], warned: bool) -> None:
    def shop(what: str, text: str, words: Mapping[str, str]) -> Known:
        return Known("Duplex", {"kc11": 2400, "mc": 0.21, **brings})

    bare = {name: value for name, value in CUT.items() if name not in ("kc11", "mc")}
    warnings = run("milling", bare | {"material": "duplex"}, shop=shop).warnings
    assert len(warnings) == warned
    if warned:
        assert "kept for Duplex" in warnings[0]
        assert f"({brings.get('speed_source', 'assumed')})" in warnings[0]


def test_of_a_limit_the_smaller_counts_whoever_said_it() -> None:
    def shop(what: str, text: str, words: Mapping[str, str]) -> Known:
        return Known(text, {"max_spindle_speed": {"machine": 1000, "tool": 800}[what], "colour": "red"})

    asked = CUT | {"machine": "M-1", "tool": "T-1"}
    assert run("milling", asked, shop=shop).results["spindle_speed"].value == 800
    assert run("milling", asked | {"max_spindle_speed": 700}, shop=shop).results["spindle_speed"].value == 700
    assert run("milling", asked | {"max_spindle_speed": 900}, shop=shop).results["spindle_speed"].value == 800


def test_what_the_shop_brings_is_checked_like_what_is_typed() -> None:
    def shop(what: str, text: str, words: Mapping[str, str]) -> Known:
        return Known("M-1", {"max_spindle_speed": -5})

    with pytest.raises(InputErrors, match=r"M-1: .*must be above zero") as caught:
        run("milling", CUT | {"machine": "M-1"}, shop=shop)
    assert caught.value.argument == "machine"


@pytest.mark.parametrize("curve", [[{"speed": 1000, "power": 2}, {"speed": 1000, "power": 3}]])
def test_a_curve_that_says_a_speed_twice_is_refused(curve: list[dict[str, float]]) -> None:
    with pytest.raises(WorkingError, match="each speed once") as caught:
        milled(power_curve=curve)
    assert caught.value.argument == "power_curve"


def test_a_sweep_point_by_point_keeps_the_numbers_and_ends_at_a_plain_number(monkeypatch: pytest.MonkeyPatch) -> None:
    def compute(given: Given) -> Found:
        x = given.number("x")
        if x > 4:
            raise WorkingError("x", "X is too large.")
        return Found(results={"parts": {"low": x, "high": 2 * x}, "rows": [1.0] * (1 + int(x))})

    probe = Working(
        name="probe", title="Probe", says="A working for tests.", compute=compute, sources=("plane-geometry",),
        inputs=(Input(name="x", label="X", kind=Kind.NUMBER),),
        results=(
            Result(name="parts", label="Parts", kind=Kind.OBJECT), Result(name="rows", label="Rows", kind=Kind.LIST),
        ),
    )  # fmt: skip
    monkeypatch.setattr(workings.sweep, "get", lambda name: probe)
    swept = sweep("probe", {"x": 2}, "x", 1, 9, points=4)
    assert swept.ends == ("From 4 on: X is too large.",)
    assert [curve.name for curve in swept.curves] == ["parts.low", "parts.high"]
    assert swept.curves[1].values == pytest.approx((2, 4, 6, 8), abs=1e-5)


@pytest.mark.parametrize("number", [1e13, 1e-10])
def test_a_number_no_shop_can_mean_is_refused(number: float) -> None:
    with pytest.raises(InputErrors, match="beyond anything a shop can mean") as caught:
        milled(longest_reach=number)
    assert caught.value.argument == "longest_reach"


def test_a_tool_says_nothing_of_the_diameter_of_the_work() -> None:
    def shop(what: str, text: str, words: Mapping[str, str]) -> Known:
        return Known(text, {"diameter": 12})

    asked = {**get("turning").example, "tool": "T-1"}
    without = {name: value for name, value in asked.items() if name != "diameter"}
    with pytest.raises(InputErrors, match="Diameter of the work is missing") as caught:
        run("turning", without, shop=shop)
    assert caught.value.argument == "diameter"
