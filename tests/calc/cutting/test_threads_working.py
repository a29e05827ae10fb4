"""The thread working: what it says in its steps, what it leaves out, and what it warns of."""

from typing import Any

import pytest

from calc.errors import WorkingError
from calc.workings import Answer, InputErrors, Step, run
from calc.workings.sweep import sweep


def ask(name: str, system: Any = "metric", **asked: Any) -> Answer:
    return run("thread", {"thread": name, **asked}, system)


def step(answer: Answer, says: str) -> Step:
    return next(step for step in answer.steps if step.says.startswith(says))


def test_every_step_has_its_source_in_the_list() -> None:
    for name in ("M10", "1/4-20", "G 1/2", "Rp 1/2", "Rc 1/2", "R 1/2", "1/2 NPT"):
        answer = ask(name)
        assert {line.source for line in answer.steps} <= set(answer.sources), name


def test_both_neighbours_are_told_with_what_they_leave() -> None:
    answer = ask("M10")
    assert step(answer, "Next smaller drill").result == "8.4 mm: 82.1 %"
    assert step(answer, "Next larger drill").result == "8.6 mm: 71.8 %"
    assert step(ask("M10", form="form"), "Next larger drill").formula == "(D − drill) / (0.68 · P)"
    inch = ask("1/4-20", "inch")
    assert step(inch, "Next smaller drill").result == "#8 (0.199 in): 78.5 %"


def test_the_stock_decides_the_drill_and_its_neighbours() -> None:
    answer = ask("M10", stock="8, 8.6, 9.2, 12")
    assert answer.results["drill"].value == {"name": "8.6", "mm": 8.6}
    assert step(answer, "Nearest drill in stock").formula == "the nearest of 4 in stock"
    assert step(answer, "Next smaller drill").result.startswith("8 mm")
    assert step(answer, "Next larger drill").result.startswith("9.2 mm")
    # What is as large as the thread is no neighbour worth a line.
    few = ask("M10", stock="8.6, 12")
    assert not [line for line in few.steps if line.says.startswith("Next")]


def test_a_drill_at_hand_goes_before_the_stock() -> None:
    answer = ask("M10", drill="8.6", stock="8.5")
    assert answer.results["drill"].value["name"] == "8.6"
    assert "The drill at hand was taken; the stock was not looked through." in answer.assumed


@pytest.mark.parametrize(
    ("asked", "warns"),
    [
        ({"percent": 90}, "over 85 %: hard work for the tap"),
        ({"percent": 40}, "under 55 %: the thread may strip"),
        ({"percent": 70}, ""),
        ({"form": "form", "percent": 90}, ""),
    ],
)
def test_too_much_and_too_little_thread_are_warned_of(asked: dict[str, Any], warns: str) -> None:
    said = [sentence for sentence in ask("M10", **asked).warnings if " of thread, " in sentence]
    assert len(said) == bool(warns)
    assert all(warns in sentence for sentence in said)


def test_a_parallel_pipe_thread_has_a_percent_of_its_own_profile() -> None:
    answer = ask("G 1/2")
    assert answer.results["percent_of_profile"].value == pytest.approx(84.14, abs=0.01)
    assert "percent_of_handbook" not in answer.results
    assert "stress_area" not in answer.results
    assert "gauge_length" not in answer.results
    assert "clearance_medium" not in answer.results
    assert answer.results["thread_angle"].value == 55
    asked = ask("G 1/2", percent=75)
    assert asked.results["drill_diameter"].value == pytest.approx(20.955 - 1.280654 * 25.4 / 14 * 0.75)
    assert step(asked, "Hole before the tap").formula == "D − 1.2807 · P · percent"


def test_a_taper_thread_is_told_at_its_gauge_plane_without_a_percent() -> None:
    answer = ask("1/2 NPT", "inch")
    assert not [name for name in answer.results if name.startswith("percent")]
    assert any("a percent of thread does not apply" in sentence for sentence in answer.assumed)
    assert step(answer, "Taper").result == "1:16, 1.79° a side"
    assert step(answer, "Effective thread").result == "0.5337 in"
    assert step(answer, "Pitch diameter at the gauge plane").result == "0.7784 in"
    assert step(answer, "Next larger drill").result.endswith("too large, past the minor diameter at the gauge plane")
    assert not step(answer, "Next smaller drill").result.endswith("plane")
    assert any("drilled straight" in sentence for sentence in answer.cautions)
    assert step(ask("Rc 1/2"), "Useful thread").says.endswith("(from memory)")


def test_too_large_a_hole_for_a_taper_thread_is_warned_of() -> None:
    assert any("may leak" in sentence for sentence in ask("1/2 NPT", drill="3/4").warnings)
    assert not any("may leak" in sentence for sentence in ask("1/2 NPT", drill="45/64").warnings)


def test_an_outside_thread_and_one_without_a_drill_leave_the_hole_out() -> None:
    for name, says in (("R 1/2", "is an outside thread"), ("Rc 3", "No table at hand has a drill")):
        answer = ask(name)
        assert "drill" not in answer.results
        assert "drill_diameter" not in answer.results
        assert any(says in sentence for sentence in answer.assumed)
    assert ask("Rp 3", percent=80).results["drill"].value["name"] == "86"
    assert ask("Rc 3", drill="84.5").results["drill"].value["mm"] == 84.5


@pytest.mark.parametrize(
    ("name", "asked", "field"),
    [
        ("R 1/2", {"drill": "18"}, "thread"),
        ("R 1/2", {"form": "form"}, "thread"),
        ("G 1/2", {"form": "form"}, "form"),
        ("Rc 1/2", {"percent": 60}, "percent"),
        ("M10", {"stock": "frog"}, "stock"),
        ("M10", {"stock": "3"}, "stock"),
        ("1/4-20 UNF", {}, "thread"),
    ],
)
def test_what_does_not_go_together_is_refused_by_its_field(name: str, asked: dict[str, Any], field: str) -> None:
    with pytest.raises(WorkingError) as caught:
        ask(name, **asked)
    assert caught.value.argument == field
    assert caught.value.sentence.endswith(".")


def test_a_list_for_the_stock_is_one_line_of_text() -> None:
    with pytest.raises(InputErrors, match="line of text"):
        ask("M10", stock=[8.5])


def test_specials_and_left_hand_threads_say_what_they_are() -> None:
    assert any("is in no table: a special" in sentence for sentence in ask("M13x1").assumed)
    assert any("is left-handed" in sentence for sentence in ask("M10 LH").assumed)
    tapped = run("tapping", {"thread": "M10 LH", "surface_speed": 10})
    assert any("turns backward" in sentence for sentence in tapped.cautions)


@pytest.mark.parametrize(
    ("name", "asked"),
    [
        ("M10", {}),
        ("1/4-20", {"form": "form"}),
        ("M10", {"stock": "8 to 9.5 by 0.2, Q"}),
        ("M64x1.5", {}),
        ("6-8 UN", {}),
        ("G 1/2", {}),
    ],
)
def test_a_sweep_of_the_percent_is_what_each_percent_gives(name: str, asked: dict[str, Any]) -> None:
    swept = sweep("thread", {"thread": name, **asked}, "percent", 45, 95, points=11)
    curves = {curve.name: curve.values for curve in swept.curves}
    for number, percent in enumerate(swept.at):
        one = ask(name, percent=percent, **asked).results
        drill = one["drill"].value
        assert curves["drill.mm"][number] == pytest.approx(drill["mm"])
        for result in ("drill_diameter", "percent_of_handbook", "percent_of_profile"):
            assert (result in curves) == (result in one)
            assert result not in one or curves[result][number] == pytest.approx(one[result].value)


def test_a_sweep_shades_where_there_is_too_much_thread_and_too_little() -> None:
    swept = sweep("thread", {"thread": "M10"}, "percent", 40, 100, points=121)
    assert [stretch.says for stretch in swept.stretches] == ["over 85 % of thread", "under 55 % of thread"]
    assert swept.stretches[0].start == pytest.approx(85, abs=3)
    assert swept.stretches[1].stop == pytest.approx(55, abs=3)
    with pytest.raises(WorkingError, match="does not apply"):
        sweep("thread", {"thread": "1/2 NPT"}, "percent", 40, 90)
    with pytest.raises(WorkingError, match="No drill in stock suits"):
        sweep("thread", {"thread": "M10", "stock": "3"}, "percent", 40, 90)


def test_a_bored_hole_has_no_neighbours() -> None:
    answer = ask("M64x1.5")
    assert answer.results["drill"].text == "bored (62.5 mm)"
    assert step(answer, "No standard drill is near").formula == "bored to size"
    assert not [line for line in answer.steps if line.says.startswith("Next")]


def test_clearance_holes_in_inches_go_by_the_names_of_drills() -> None:
    answer = ask("1/4-20", "inch")
    assert answer.results["clearance_free"].text == "19/64 (0.2969 in)"
    assert step(answer, "Clearance holes").result == "17/64 (0.2656 in), 9/32 (0.2813 in), 19/64 (0.2969 in)"
    assert step(ask("M12"), "Clearance holes").result == "13 mm, 13.5 mm, 14.5 mm"


def test_tapping_a_taper_thread_warns_and_an_outside_thread_is_not_tapped() -> None:
    answer = run("tapping", {"thread": "1/2 NPT", "surface_speed": 6})
    assert any("tapers by 1:16" in sentence for sentence in answer.cautions)
    assert answer.steps[0].source == "asme-b1.20.1"
    with pytest.raises(WorkingError, match="is not tapped") as caught:
        run("tapping", {"thread": "R 1/2", "surface_speed": 6})
    assert caught.value.argument == "thread"
