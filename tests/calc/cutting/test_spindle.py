"""The spindle's curve: what it gives, how fast it carries a torque, and how a cut is held inside it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from calc.cutting.limits import Limits, hold
from calc.cutting.spindle import available_power, fastest_within, spindle_curve
from calc.errors import WorkingError
from calc.units import Quantity, in_unit, revolutions_per_minute, ureg

Q = ureg.Quantity
POINTS = [(6000, 9), (1500, 15), (3000, 15), (12000, 5)]  # in any order
CURVE = spindle_curve([(revolutions_per_minute(speed), Q(power, "kW")) for speed, power in POINTS])


def torque_at(speed: float) -> float:
    """N·m that the curve gives at a speed, from its own power: T = P / (2π · n)."""
    return float((available_power(CURVE, revolutions_per_minute(speed)) / (2 * np.pi * Q(speed, "1/min"))).m_as("N*m"))


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([], "at least one point"),
        ([(1000, 5), (1000, 6)], "each speed once"),
        ([(1000, 0)], "above zero"),
        ([(0, 5)], "above zero"),
    ],
)
def test_points_that_make_no_curve_are_refused(points: list[tuple[float, float]], says: str) -> None:
    with pytest.raises(WorkingError, match=says) as caught:
        spindle_curve([(revolutions_per_minute(speed), Q(power, "kW")) for speed, power in points])
    assert caught.value.argument == "power_curve"


def test_torque_stays_below_the_first_point_and_power_above_the_last() -> None:
    assert torque_at(10) == pytest.approx(torque_at(1500)) == pytest.approx(CURVE.largest_torque.magnitude)
    assert available_power(CURVE, revolutions_per_minute(30000)).magnitude == 5
    with pytest.raises(WorkingError, match="must be above zero"):
        available_power(CURVE, revolutions_per_minute(0))


@pytest.mark.parametrize("wanted", [800, 2500, 6000, 9000, 20000])
@pytest.mark.parametrize("torque", [1, 3, 10, 20, 47, 60, 95])
def test_the_fastest_speed_is_the_last_of_a_grid_that_carries_the_torque(wanted: float, torque: float) -> None:
    step = 0.5
    carried = [speed for speed in np.arange(step, wanted + step, step) if torque_at_grid(speed) >= torque - 1e-9]
    found = fastest_within(CURVE, Q(torque, "N*m"), revolutions_per_minute(wanted)).magnitude
    assert found == pytest.approx(carried[-1], abs=step)


def torque_at_grid(speed: float) -> float:
    power = np.interp(speed, CURVE.speeds, CURVE.powers) * min(speed / 1500, 1)
    return float(power * 1e3 / (2 * np.pi * speed / 60))


def test_more_torque_than_the_spindle_has_is_carried_at_no_speed() -> None:
    many = fastest_within(CURVE, Q(np.array([96.0, 10.0]), "N*m"), revolutions_per_minute(2000))
    assert many.magnitude.tolist() == [0, 2000]
    for torque, speed, argument in ((0, 100, "torque"), (1, 0, "spindle_speed")):
        with pytest.raises(WorkingError) as caught:
            fastest_within(CURVE, Q(torque, "N*m"), revolutions_per_minute(speed))
        assert caught.value.argument == argument


def cut_of(torque: float) -> Callable[[Quantity, Quantity], Quantity]:
    """Power of a cut that asks for the same torque at every speed."""

    def power(speed: Quantity, feed: Quantity) -> Quantity:
        return in_unit(2 * np.pi * speed * Q(torque, "N*m"), "kW")

    return power


def test_a_cut_is_slowed_until_the_curve_carries_it_and_no_further() -> None:
    limits = Limits(power_curve=CURVE)
    held = hold(revolutions_per_minute(6000), Q(0.5, "mm"), limits, cut_of(20))
    assert held.capped_by == ("power_curve",)
    assert held.feed.magnitude == 0.5
    assert torque_at(held.spindle_speed.magnitude) == pytest.approx(20)
    free = hold(revolutions_per_minute(3000), Q(0.5, "mm"), limits, cut_of(20))
    assert (free.capped_by, free.spindle_speed.magnitude, free.overloaded) == ((), 3000, False)
    beyond = hold(revolutions_per_minute(3000), Q(0.5, "mm"), limits, cut_of(120))
    assert (beyond.capped_by, beyond.spindle_speed.magnitude, beyond.overloaded) == ((), 3000, True)
    unknown = hold(revolutions_per_minute(6000), Q(0.5, "mm"), limits)
    assert (unknown.capped_by, unknown.overloaded) == ((), False)
