"""Every working has its drawing, its words clear of each other, and dropped when too little is known."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest

from calc.errors import WorkingError
from calc.workings import Value, Working, all_workings, get, run
from crib.web.charts.svg import CannotDraw
from crib.web.drawings import drawing_of
from crib.web.drawings.geometry import Window, area, clip, clip_line, round_factor, spread
from crib.web.drawings.paper import Sheet
from crib.web.drawings.plot import Plot
from crib.web.drawings.reading import TooLittle
from tests.web.drawn import (
    asked,
    drawn,
    parsed,
    says,
    words_of,
)

pytestmark = pytest.mark.once

WORKINGS = pytest.mark.parametrize("working", all_workings(), ids=lambda working: working.name)
SYSTEMS = pytest.mark.parametrize("system", ["metric", "inch"])

# What the words for those who do not see it must name, beside the title.
TOLD = {
    "milling": ("engagement_angle", "max_chip_thickness", "mean_chip_thickness"),
    "drilling": ("travel", "point_length"),
    "turning": ("roughness_rz",),
    "facing": ("speed_cap_diameter", "time_in_cut"),
    "tapping": ("travel",),
    "thread": ("pitch", "minor_diameter", "pitch_diameter", "percent_of_handbook"),
    "chamfer-edge": ("axis_offset", "depth_below_face", "program_diameter", "contact_low", "contact_high"),
    "chamfer-hole": ("chamfer_diameter", "depth_below_face", "contact_low", "contact_high"),
    "effective-diameter": ("effective_diameter",),
    "chip-thinning": ("feed_per_tooth", "factor"),
    "corner-feed": ("feed_rate", "ratio"),
    "tool-life": ("tool_life", "n"),
    "life-fit": ("shape", "scale", "b10", "median"),
    "change-interval": ("advice", "cost_rate", "cost_rate_run_to_failure"),
    "remaining-life": ("minutes_left", "chance_of_batch"),
    "economics": ("speed_min_cost", "life_min_cost", "speed_max_output", "life_max_output"),
    "cost-compare": ("break_even_parts",),
    "renewal-demand": ("mean", "quantiles"),
    "reorder": ("reorder_point", "safety_stock", "order_quantity"),
}


@WORKINGS
@SYSTEMS
def test_every_example_has_a_drawing_that_says_what_it_shows(working: Working, system: Any) -> None:
    answer = run(working.name, working.example, system)
    root = parsed(answer)
    told = says(root)
    assert root.get("aria-label") == f"{root.findtext('title')}. {told}"
    for result in TOLD[working.name]:
        assert answer.results[result].text in told, result


@WORKINGS
def test_every_number_may_be_left_out_or_be_extreme_without_breaking_the_answer(working: Working) -> None:
    for entry in working.inputs:
        if isinstance(entry.example, int | float) and not isinstance(entry.example, bool):
            for value in (None, entry.example * 1e-4, entry.example * 1e4):
                try:
                    answer = run(working.name, asked(working.name, **{entry.name: value}))
                except WorkingError:
                    continue
                if drawing_of(answer):
                    parsed(answer)


@WORKINGS
def test_a_drawing_changes_with_the_numbers(working: Working) -> None:
    before = str(drawing_of(run(working.name, working.example)))
    changed = 0
    for entry in working.inputs:
        if (
            isinstance(entry.example, int | float)
            and not isinstance(entry.example, bool)
            and entry.name in asked(working.name)
        ):
            try:
                answer = run(working.name, asked(working.name, **{entry.name: entry.example * 0.9}))
            except WorkingError:
                continue
            changed += str(drawing_of(answer)) != before
    assert changed or working.name in ("thread", "life-fit")


def test_names_of_threads_and_lives_change_the_drawing_too() -> None:
    assert words_of(drawn("thread", thread="M12")) != words_of(drawn("thread"))
    more = [{"minutes": 41}, {"minutes": 58}, {"minutes": 90}]
    assert says(drawn("life-fit", lives=more)) != says(drawn("life-fit"))


def test_inches_are_written_in_inches() -> None:
    for name in ("milling", "chamfer-edge", "drilling", "thread", "corner-feed"):
        assert " mm" not in words_of(drawn(name, "inch"))
        assert " in" in words_of(drawn(name, "inch"))
    assert "ft/min" in words_of(drawn("economics", "inch"))
    assert "ft/min" in words_of(drawn("tool-life", "inch"))
    assert "m/min" in words_of(drawn("tool-life"))


def test_a_working_without_a_drawing_draws_nothing() -> None:
    answer = run("milling", get("milling").example)
    unknown = replace(answer, working=replace(answer.working, name="something-new"))
    assert drawing_of(unknown) == ""


def test_what_is_not_known_is_not_drawn() -> None:
    answer = run("facing", get("facing").example)
    assert drawing_of(replace(answer, results={})) == ""
    swept = {**answer.inputs, "outer_diameter": Value([1.0, 2.0], "mm", "")}
    assert drawing_of(replace(answer, inputs=swept)) == ""


def test_typed_markup_stays_text() -> None:
    answer = run("milling", get("milling").example)
    hostile = {**answer.inputs, "radial_depth": Value(1.6, "mm", "<script>alert(1)</script>")}
    text = str(drawing_of(replace(answer, inputs=hostile)))
    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_words_move_off_each_other_and_stay_on_the_paper() -> None:
    sheet = Sheet()
    for _ in range(12):
        sheet.words("the same place", 530, 5)
    sheet.words("rising", 100, 90)
    sheet.words("rising", 100, 90, rise=True)
    assert not any(one.meets(other) for one, other in combinations(sheet.boxes, 2))
    assert all(box.left >= 0 and box.right <= sheet.width and box.top >= 0 for box in sheet.boxes)
    assert sheet.boxes[-1].top < sheet.boxes[-2].top


def test_dimensions_on_the_right_edge_have_their_words_on_the_left() -> None:
    sheet = Sheet()
    view = sheet.view(Window(0, 100, 0, 40), left=8, top=10, width=524, height=200)
    view.across(98, 100, 30, "a rather long dimension", name="a", start=(40, 20))
    view.across(100, 98, 60, "another", name="b", start=(20, 40))
    view.down(40, 40, 30, "nothing", name="c")
    assert 'data-dim="a"' in "".join(sheet.lines)
    assert 'data-dim="c"' not in "".join(sheet.lines)


def test_legends_break_long_words_into_rows() -> None:
    sheet = Sheet()
    sheet.legend([("metal", "short"), ("band", "so many words that they do not fit on one row " * 3), ("zone", "last")])
    assert len(sheet.texts) >= 5
    assert len(sheet.lines) == 3


@pytest.mark.parametrize("window", [Window(0, 0, 0, 1), Window(0, 1e12, 0, 1), Window(0, math.nan, 0, 1)])
def test_a_window_without_a_size_is_not_drawn(window: Window) -> None:
    with pytest.raises(TooLittle):
        Sheet().view(window, left=0, top=0, width=100, height=100)
    with pytest.raises(TooLittle):
        Sheet().view(Window(0, 1, 0, 1), left=0, top=0, width=0, height=100)
    with pytest.raises(TooLittle):
        Sheet().bars([(0.0, "none", "bar", "none")], room=10)


def test_clipping_keeps_what_lies_in_the_window() -> None:
    window = Window(0, 10, 0, 10)
    assert area(clip([(-5, -5), (5, -5), (5, 5), (-5, 5)], window)) == pytest.approx(25)
    assert clip([(20, 20), (30, 20), (30, 30)], window) == []
    assert clip_line([(-5, 5), (15, 5), (15, 20), (5, 5)], window)[0] == [(0, 5), (10, 5)]
    assert clip_line([(1, 1), (2, 2), (3, 1)], window) == [[(1, 1), (2, 2), (3, 1)]]


def test_levels_are_spread_and_factors_are_round() -> None:
    assert spread([10, 11, 12], 0, 100, 18) == [10, 28, 46]
    assert spread([98, 99], 0, 100, 18) == [82, 100]
    assert [round_factor(value) for value in (0.2, 1, 3, 19.9, 20, 740)] == [1, 1, 2, 10, 20, 500]


def test_a_plot_refuses_what_no_axis_can_show() -> None:
    with pytest.raises(CannotDraw):
        Plot(Sheet(), [0, math.nan], [0, 1], x_label="x", y_label="y")
    with pytest.raises(CannotDraw):
        Plot(Sheet(), [0, 1], [0, 1e40], x_label="x", y_label="y")
    sheet = Sheet()
    plot = Plot(sheet, [3, 3], [0, 0], x_label="x", y_label="y")
    plot.line([0, 1], [9, 9], "line")
    plot.level(0.5, "half", "threshold")
    assert "half" in "".join(sheet.texts)
    Plot(Sheet(), [-3, -3], [0, 1], x_label="x", y_label="y")
