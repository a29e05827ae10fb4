"""The workings about lives and money, asked as a program asks them."""

import json
from typing import Any

import pytest

from calc.errors import WorkingError
from calc.workings import InputErrors, get, run

MODULAR = {"body_cost": 240, "body_life_tips": 80, "tip_cost": 21, "edges": 4, "carbide_mass": 6}
SOLID = {"cost": 90, "regrinds": 3, "regrind_cost": 14, "carbide_mass": "0.05 kg"}


def ask(name: str, /, **inputs: Any) -> dict[str, Any]:
    """The bare values of the results, after a passage through JSON as over the API."""
    answer = json.loads(json.dumps(run(name, inputs).as_dict()))
    assert answer["working"]
    assert answer["cautions"]
    return {key: result["value"] for key, result in answer["results"].items()}


def refusal(name: str, /, **inputs: Any) -> tuple[str, str]:
    with pytest.raises(WorkingError) as refused:
        run(name, inputs)
    return refused.value.argument, refused.value.sentence


def test_tool_life_from_points_and_from_n_and_c_agree() -> None:
    # GATE ME 2024, as in tests/outside/checks/lifetime.json, L-T01.
    by_points = ask("tool-life", points=[[60, 60], [100, 10]], surface_speed=80)
    assert by_points["tool_life"] == pytest.approx(21.8735, rel=1e-5)
    by_numbers = ask("tool-life", n=by_points["n"], c=by_points["c"], surface_speed=80)
    assert by_numbers["tool_life"] == pytest.approx(by_points["tool_life"])
    assert "interval" not in by_points


def test_tool_life_takes_points_as_rows_too_and_gives_an_interval_for_three() -> None:
    rows = [
        {"surface_speed": 60, "life": 70},
        {"surface_speed": "80 m/min", "life": 28},
        {"surface_speed": 100, "life": 11},
    ]
    answer = ask("tool-life", points=rows)
    assert answer["interval"]["n"][0] < answer["n"] < answer["interval"]["n"][1]
    assert "tool_life" not in answer


def test_tool_life_without_a_speed_or_with_both_ways_is_refused() -> None:
    assert refusal("tool-life", n=0.25, c=180)[0] == "surface_speed"
    with pytest.raises(InputErrors):
        run("tool-life", {"n": 0.25, "c": 180, "points": [[60, 60], [100, 10]], "surface_speed": 80})
    assert refusal("tool-life", points=[[60, 60]], surface_speed=80)[0] == "points"


def test_life_fit_is_plain_maximum_likelihood_without_a_prior() -> None:
    # NIST/SEMATECH e-Handbook 8.4.1.2 (from memory, refitted): shape 1.7208, scale 606.53.
    failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    answer = ask("life-fit", lives=[{"minutes": t} for t in failed] + [{"minutes": 500, "ended": False}] * 10)
    assert answer["shape"] == pytest.approx(1.7208, rel=1e-4)
    assert answer["scale"] == pytest.approx(606.53, rel=1e-4)
    assert answer["log_likelihood"] == pytest.approx(-75.1346, rel=1e-5)
    assert answer["shape_interval"][0] < answer["shape"] < answer["shape_interval"][1]
    assert (answer["ended"], answer["censored"]) == (10, 10)


def test_life_fit_learns_the_exponent_of_what_differs_between_duties() -> None:
    lives = [
        {"minutes": minutes, "ended": True, "duty": {"surface_speed": speed, "feed": 0.1}}
        for speed, all_minutes in ((60, (60, 75, 66)), (90, (22, 30, 25)))
        for minutes in all_minutes
    ]
    answer = ask("life-fit", lives=lives)
    assert list(answer["exponents"]) == ["surface_speed"]
    assert answer["exponents"]["surface_speed"] < -1
    del lives[0]["duty"]["feed"]  # type: ignore[attr-defined]
    assert refusal("life-fit", lives=lives)[0] == "lives"


def test_life_fit_says_why_it_cannot_and_a_prior_is_the_way_out() -> None:
    censored = [{"minutes": 31, "ended": False}]
    argument, sentence = refusal("life-fit", lives=censored)
    assert argument == "lives"
    assert "ended" in sentence
    believed = ask("life-fit", lives=censored, prior={"scale": 60, "shape": 2})
    assert believed["scale"] > 60
    assert refusal("life-fit", lives=[])[0] == "lives"


def test_a_prior_on_one_figure_alone_is_taken() -> None:
    lives = [{"minutes": 31}, {"minutes": 44}, {"minutes": 52}]
    plain, held = ask("life-fit", lives=lives), ask("life-fit", lives=lives, prior={"shape": 1.5, "shape_spread": 0.01})
    assert held["shape"] == pytest.approx(1.5, rel=0.02)
    assert plain["shape"] > held["shape"]
    slow = ask("life-fit", lives=lives, prior={"scale": 200, "scale_spread": 0.05})
    assert slow["scale"] > plain["scale"]


def test_change_interval_on_minutes_and_on_whole_parts() -> None:
    given = {"shape": 3.5, "scale": 45, "cost_planned": 5, "cost_failure": 25}
    minutes, parts = ask("change-interval", **given), ask("change-interval", **given, minutes_per_part=6.2)
    assert minutes["minutes"] == pytest.approx(23.3816, rel=1e-5)
    assert "parts" not in minutes
    assert (parts["parts"], parts["minutes"]) == (4, pytest.approx(24.8))
    assert parts["cost_rate"] == pytest.approx(0.303956058, rel=1e-8)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"shape": 0.9}, "does not age"),
        ({"cost_failure": 5}, "costs no more than a planned change"),
        ({"shape": 1.05, "cost_failure": 5.5}, "would not pay"),
        ({"accepted_risk": 0.02}, "accepted risk asks"),
        ({"accepted_risk": 0.02, "minutes_per_part": 30}, "Even one part"),
        ({"minutes_per_part": 20}, "1 part ("),
        ({"shape": 0.9, "accepted_risk": 0.02}, "accepted risk asks"),
        ({"minutes_per_part": 400}, "Hardly an edge lasts a whole part"),
    ],
)
def test_change_advice_is_said_in_words(changed: dict[str, float], words: str) -> None:
    given = {"shape": 3.5, "scale": 45, "cost_planned": 5, "cost_failure": 25} | changed
    assert words in ask("change-interval", **given)["advice"]


def test_running_to_the_end_has_no_minutes_to_name() -> None:
    answer = ask("change-interval", shape=0.9, scale=45, cost_planned=5, cost_failure=25, minutes_per_part=5)
    assert (answer["minutes"], answer["parts"]) == (None, None)
    assert answer["cost_rate"] == answer["cost_rate_run_to_failure"]


def test_remaining_life_in_minutes_parts_and_edges() -> None:
    answer = ask("remaining-life", shape=3, scale=60, used=45, minutes_per_part=6, batch=40)
    assert answer["minutes_left"] == pytest.approx({"10": 3.47146, "50": 17.2175, "90": 38.8001}, rel=1e-5)
    assert answer["parts_left"] == {"10": 0, "50": 2, "90": 6}
    assert answer["edges_to_stage"] == 6
    assert list(ask("remaining-life", shape=3, scale=60, used=45)) == ["minutes_left"]
    assert list(ask("remaining-life", shape=3, scale=60, used=45, minutes_per_part=6)) == ["minutes_left", "parts_left"]


def test_remaining_life_listens_to_wear_readings() -> None:
    given = {"shape": 3, "scale": 60, "used": 30, "minutes_per_part": 6, "batch": 4, "vb_limit_mm": 0.3}
    plain = ask("remaining-life", **given)
    fast = ask("remaining-life", **given, wear=[{"minutes": 15, "vb_mm": 0.16}, {"minutes": 30, "vb_mm": 0.27}])
    slow = ask("remaining-life", **given, wear=[[15, 0.06], [30, "0.004 in"]])
    assert fast["minutes_left"]["50"] < plain["minutes_left"]["50"] < slow["minutes_left"]["50"]
    assert fast["chance_of_batch"] < plain["chance_of_batch"] < slow["chance_of_batch"]
    assert fast["edges_to_stage"] >= slow["edges_to_stage"]


@pytest.mark.parametrize(
    ("changed", "at_fault"),
    [
        ({"batch": 4}, "minutes_per_part"),
        ({"wear": [[15, 0.1]]}, "vb_limit_mm"),
        ({"wear": [[45, 0.1]], "vb_limit_mm": 0.3}, "wear"),
        ({"used": -1}, "used"),
        ({"shape": "steep"}, "shape"),
        ({"wear": [[1, 2, 3]], "vb_limit_mm": 0.3}, "wear"),
    ],
)
def test_remaining_life_names_what_is_missing_or_wrong(changed: dict[str, Any], at_fault: str) -> None:
    assert refusal("remaining-life", **({"shape": 3, "scale": 60, "used": 30} | changed))[0].startswith(at_fault)


def test_economics_of_a_shaft() -> None:
    # Book id 3250 of the Scilab Textbook Companion, as in tests/outside/checks/lifetime.json, L-T07 (0.15 a minute).
    answer = ask("economics", n=0.25, c=75, change_time=2, machine_rate=9, edge_cost=2.5,
                 work={"diameter": 60, "length": 400, "feed": 0.2})  # fmt: skip
    assert (answer["life_min_cost"], answer["life_max_output"]) == (pytest.approx(56), pytest.approx(6))
    assert answer["speed_min_cost"] == pytest.approx(27.41664, rel=1e-6)
    curve = answer["cost_against_speed"]
    assert min(total for _, total in curve) == pytest.approx(answer["cost_per_part"])


def test_economics_without_standing_time_has_no_fastest_life_and_without_cost_none_at_all() -> None:
    answer = ask("economics", n=0.25, c=75, change_time=0, machine_rate=60, edge_cost=2.5)
    assert "life_max_output" not in answer
    assert answer["life_min_cost"] == pytest.approx(7.5)
    assert refusal("economics", n=0.25, c=75, change_time=0, machine_rate=60, edge_cost=0)[0] == "change_time"


def test_modular_against_solid() -> None:
    given = {"modular": MODULAR, "solid": SOLID, "life": 45, "minutes_per_part": 6, "machine_rate": 60}
    answer = ask("cost-compare", **given)
    # Worked by hand: 7 whole parts an edge; edge (21 + 240/80)/4 = 6 and (90 + 3 x 14)/4 = 33; 6 min at 1 a minute.
    assert answer["cost_per_part"] == {"modular": pytest.approx(6 + 6 / 7), "solid": pytest.approx(6 + 33 / 7)}
    assert answer["cheaper"] == "modular"
    # Without the body a part saves (33 - 21/4)/7 = 3.964; 240 / 3.964 = 60.5.
    assert answer["break_even_parts"] == 61
    assert answer["carbide_per_part"] == {"modular": pytest.approx(6 / 28), "solid": pytest.approx(50 / 28)}


def test_a_body_that_never_pays_says_so() -> None:
    dear = MODULAR | {"tip_cost": 400}
    answer = run(
        "cost-compare", {"modular": dear, "solid": SOLID, "life": 45, "minutes_per_part": 6, "machine_rate": 60}
    )
    assert answer.results["break_even_parts"].value is None
    assert "does not pay" in answer.results["break_even_parts"].text
    without = {key: value for key, value in SOLID.items() if key != "carbide_mass"}
    bare = {key: value for key, value in MODULAR.items() if key != "carbide_mass"}
    answer = run(
        "cost-compare", {"modular": bare, "solid": without, "life": 45, "minutes_per_part": 6, "machine_rate": 60}
    )
    assert "carbide_per_part" not in answer.results
    assert (
        refusal("cost-compare", modular=MODULAR, solid=SOLID, life=4, minutes_per_part=6, machine_rate=60)[0] == "life"
    )


@pytest.mark.parametrize(
    "name", ["tool-life", "life-fit", "change-interval", "remaining-life", "economics", "cost-compare"]
)
def test_each_working_runs_on_its_own_examples(name: str) -> None:
    examples = {entry.name: entry.example for entry in get(name).inputs if entry.example is not None}
    for spare in ("points",) if name == "tool-life" else ():
        del examples[spare]
    assert run(name, examples).results


def test_an_edge_that_hardly_lasts_one_part_is_said_to() -> None:
    asked = {"shape": 3, "scale": 10, "cost_planned": 10, "cost_failure": 500}
    advice = run("change-interval", {**asked, "minutes_per_part": 30}).results["advice"].value
    assert advice == "Hardly an edge lasts a whole part: lower the speed, or split the cut between two edges."
    other = {"shape": 2.5, "scale": 40, "cost_planned": 10, "cost_failure": 11, "minutes_per_part": 10}
    assert run("change-interval", other).results["advice"].value.startswith("Run to the end: changing earlier")


def test_nothing_is_ordered_for_nothing() -> None:
    asked = {
        "daily_demand_mean": 0, "daily_demand_sd": 0, "lead_time_mean": 10, "lead_time_sd": 2, "service": 0.95,
        "on_hand": 0,
    }  # fmt: skip
    assert run("reorder", asked).results["order_now"].value is False
    assert run("reorder", {**asked, "daily_demand_mean": 1}).results["order_now"].value is True


@pytest.mark.parametrize("name", ["economics", "tool-life"])
def test_an_inch_reader_reads_no_metres(name: str) -> None:
    asked = {**get(name).example, "surface_speed": 60}
    if name == "economics":
        asked |= {"work": {"diameter": 80, "length": 150, "feed": 0.2}}
    answer = run(name, asked, "inch")
    read = [text for step in answer.steps for text in (step.with_numbers, step.result)]
    assert any("ft/min" in text for text in read)
    assert not any(" m/min" in text for text in [*read, *(value.text for value in answer.results.values())])
