"""What of a calculator's answer is kept as an operation's duty."""

import pytest

from calc.workings import run
from crib.floor.as_working import duty_of_answer


def test_a_tap_keeps_its_whole_travel_as_its_length_of_cut() -> None:
    asked = {"thread": "M10", "surface_speed": 10, "depth": 20}
    assert duty_of_answer(run("tapping", asked))["length_of_cut"] == 20
    # Four threads of 1.5 mm go in below the full thread; opened again, the same travel takes the same time.
    kept = duty_of_answer(answer := run("tapping", asked | {"chamfer_threads": 4}))
    assert kept["length_of_cut"] == pytest.approx(26)
    again = run("tapping", asked | {"depth": kept["length_of_cut"]})
    assert again.results["time_in_cut"].value == pytest.approx(answer.results["time_in_cut"].value)
    assert "length_of_cut" not in duty_of_answer(run("tapping", {"thread": "M10", "surface_speed": 10}))
