"""Curves of life, money and stock are drawn from what the calculator computes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calc.life.replacement import change_age
from calc.workings import Value, get, run
from crib.web.drawings import drawing_of, life
from crib.web.drawings.reading import Known, TooLittle
from tests.web.drawn import (
    asked,
    coordinates,
    drawn,
    has_class,
    parsed,
    says,
    size,
    words_of,
)

pytestmark = pytest.mark.once


def test_taylors_line_goes_through_the_life_asked_and_shows_how_sure_it_is() -> None:
    points = [{"surface_speed": speed, "life": minutes} for speed, minutes in ((60, 60), (80, 25), (100, 10), (75, 33))]
    fitted = drawn("tool-life", n=None, c=None, points=points)
    assert has_class(fitted, "band-1")
    assert "95 % confidence" in words_of(fitted)
    two = drawn("tool-life", n=None, c=None, points=points[:2], surface_speed=None)
    assert not has_class(two, "band-1")
    exact = [{"surface_speed": 60, "life": 60}, {"surface_speed": 60, "life": 50}, {"surface_speed": 90, "life": 9}]
    parsed(run("tool-life", {"points": exact}))


def test_the_cost_of_changing_has_its_least_where_the_working_says() -> None:
    answer = run("change-interval", {"shape": 2.5, "scale": 60, "cost_planned": 6, "cost_failure": 30})
    root = parsed(answer)
    curve = next(element for element in root.iter("path") if element.get("class") == "line line-1")
    lowest = max(coordinates(curve), key=lambda point: point[1])
    point = next(element for element in root.iter("circle") if element.get("data-name") is None)
    assert float(point.attrib["cy"]) == pytest.approx(lowest[1], abs=1)
    best = change_age(2.5, 60, 6, 30)
    assert answer.results["minutes"].value == pytest.approx(float(best.minutes))
    to_the_end = run("change-interval", asked("change-interval", shape=0.8, accepted_risk=None, minutes_per_part=None))
    assert "Run to the end" in says(parsed(to_the_end))


def test_what_is_left_is_weighed_by_wear_readings() -> None:
    plain = drawn("remaining-life")
    wear = [{"minutes": 20, "vb_mm": 0.1}, {"minutes": 40, "vb_mm": 0.2}]
    assert says(drawn("remaining-life", wear=wear)) != says(plain)
    assert "batch of 3 done" in words_of(drawn("remaining-life", batch=3))
    worn_out = [{"minutes": 40, "vb_mm": 0.31}]
    assert drawing_of(run("remaining-life", asked("remaining-life", wear=worn_out, batch=None))) == ""


def test_lives_of_differing_duty_are_drawn_for_the_typical_one() -> None:
    rows = [
        {"minutes": minutes, "duty": {"surface_speed": speed}}
        for minutes, speed in ((41, 60), (58, 55), (30, 70), (25, 75), (62, 50))
    ]
    assert "for the typical duty" in words_of(drawn("life-fit", lives=rows))
    assert "still good when last seen: 1" in words_of(drawn("life-fit"))


def test_costs_are_drawn_per_part_of_the_work_or_per_length_of_cut() -> None:
    assert "cost per 1000 m of cut" in words_of(drawn("economics"))
    work = {"diameter": 60, "length": 400, "feed": 0.2}
    answer = run("economics", asked("economics", work=work))
    told = says(parsed(answer))
    assert f"lowest, {answer.results['cost_per_part'].text}" in told
    assert "Output" not in says(drawn("economics", change_time=0))


def test_the_two_tools_bars_are_as_long_as_they_cost() -> None:
    answer = run("cost-compare", get("cost-compare").example)
    root = parsed(answer)

    def bar(way: str) -> float:
        parts = [element for element in root.iter() if (element.get("data-name") or "").startswith(f"{way}-")]
        return sum(size(part)[0] for part in parts)

    costs = answer.results["cost_per_part"].value
    assert bar("modular") / bar("solid") == pytest.approx(costs["modular"] / costs["solid"], abs=0.01)
    never = asked("cost-compare", solid={"cost": 1})
    assert "does not pay for itself" in says(parsed(run("cost-compare", never)))


def test_the_chances_of_changes_are_bars_and_many_are_drawn_together() -> None:
    root = drawn("renewal-demand", horizon=20000)
    bars = [element for element in root.iter() if (element.get("data-name") or "").startswith("bar-")]
    assert 10 < len(bars) <= 60
    parsed(run("renewal-demand", asked("renewal-demand", horizon=0, used=None)))


def test_the_stock_falls_to_the_reorder_point_and_runs_out_when_it_is_too_late() -> None:
    late = drawn("reorder", on_hand=12, on_order=0)
    assert "runs out after 3 days" in says(late)
    assert "The order is due now." in says(late)
    fine = drawn("reorder", on_hand=100, on_order=20)
    assert "No order is due yet." in says(fine)
    assert "with what is on order" in words_of(fine)
    assert "is an example" in says(drawn("reorder", price=None, on_hand=None, on_order=None))
    both = drawn("reorder", daily_demand_mean=None, daily_demand_sd=None, daily_demand={"mean": 4, "sd": 2})
    assert words_of(both) == words_of(drawn("reorder"))
    nothing = run("reorder", asked("reorder", daily_demand_mean=0, daily_demand_sd=0))
    assert drawing_of(nothing) == ""


def test_lasting_needs_a_limit_that_is_not_reached() -> None:
    answer = run("remaining-life", get("remaining-life").example)
    swapped = {**answer.inputs, "wear": Value([{"minutes": 40, "vb_mm": 0.5}], "", "")}
    with pytest.raises(TooLittle):
        life.remaining(Known(replace(answer, inputs=swapped)))
