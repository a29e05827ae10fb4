"""Tool life, its economics and the comparison of tools against textbooks, examinations and SciPy.

"Printed" and "worked" mean what they do in `test_speeds_and_feeds`.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import minimize_scalar

from calc.units import read_quantity
from tests.outside.published import Published, agrees, results

GHOSH = (
    "Ghosh and Mallik, Manufacturing Science, as worked in the Scilab textbook companion "
    "(FOSSEE/Scilab-TBC-Uploads, book 3250, CH4, script and its printed output read): "
)
GATE = "Graduate examination in engineering (GATE), "

TOOL_LIFE = [
    Published(
        "exponent from 180 and 110 m/min",
        "grupopedia.com/encuentra/13535447; printed n = 0.233 (cut off, not rounded)",
        "tool-life",
        {"points": [[180, 4.25], [110, 35]]},
        {"n": 0.2336},
        0.0003,
    ),
    Published(
        "exponent from 60 and 90 m/min",
        "interviewmania.com/discussion/90080: 60 m/min lasts 81 min, 90 m/min 36; printed n = 0.5",
        "tool-life",
        {"points": [["60 m/min", "81 min"], ["90 m/min", "36 min"]], "surface_speed": "30 m/min"},
        # The speed halved from 60: printed +300 %, which is 4 · 81.
        {"n": 0.5, "c": "540 m/min", "tool_life": "324 min"},
        1e-9,
    ),
    Published(
        "bar 50 mm at 284 and 232 rpm",
        "ISRO 2011, stated at numerical.minaprem.com/tag/isro; worked, ln(284/232) / ln 6",
        "tool-life",
        {"points": [[math.pi * 0.05 * 284, 10], [math.pi * 0.05 * 232, 60]]},
        {"n": 0.1129},
        0.0005,
    ),
    Published(
        "bar 20 mm at 400 and 200 rpm",
        GATE + "ME 2017, stated at pyqlabs.in; worked, ln 2 / ln 3",
        "tool-life",
        {"points": [[math.pi * 0.02 * 400, 20], [math.pi * 0.02 * 200, 60]]},
        {"n": 0.6309},
        0.0001,
    ),
    Published(
        "twice the speed leaves an eighth of the life",
        "byjusexamprep.com, quiz on Taylor's equation, question 7; worked, n = 1/3",
        "tool-life",
        {"points": [["50 m/min", "80 min"], ["100 m/min", "10 min"]]},
        {"n": 1 / 3, "c": f"{50 * 80 ** (1 / 3)} m/min"},
        1e-9,
    ),
    Published(
        "half the speed, n = 0.25: sixteen times",
        "ISRO 2013, solved at numerical.minaprem.com; printed 16 times; 20 min at 100 m/min taken for T1",
        "tool-life",
        {"n": 0.25, "c": 100 * 20**0.25, "surface_speed": 50},
        {"tool_life": "320 min"},
        1e-9,
    ),
    Published(
        "half the speed, n = 0.2: thirty-two times",
        "cdquestions.com, increase of tool life in turning; printed 32 times; 10 min at 80 m/min taken for T1",
        "tool-life",
        {"n": 0.2, "c": 80 * 10**0.2, "surface_speed": "40 m/min"},
        {"tool_life": "320 min"},
        1e-9,
    ),
    Published(
        "half the speed, n = 0.5: printed three times more",
        "problem set WS CH4 (scribd 506502765), question 4: n = 0.5, C = 400; worked, +300 %",
        "tool-life",
        {"n": 0.5, "c": "400 m/min", "surface_speed": "100 m/min"},
        {"tool_life": f"{4 * (400 / 200) ** 2} min"},
        1e-9,
    ),
    Published(
        "a quarter of the speed, n = 0.5, in ft/min",
        "the same, question 5: n = 0.5, C = 300 ft/min; worked, +1500 %",
        "tool-life",
        {"n": 0.5, "c": "300 ft/min", "surface_speed": "25 sfm"},
        {"tool_life": f"{16 * (300 / 100) ** 2} min"},
        1e-9,
    ),
    Published(
        "a fifth slower, n = 0.4",
        "the same, question 1: n = 0.4, C = 450; worked, +74.7 %",
        "tool-life",
        {"n": 0.4, "c": 450, "surface_speed": 0.8 * 200},
        {"tool_life": f"{1.74693 * (450 / 200) ** 2.5} min"},
        1e-5,
    ),
    Published(
        "three tenths faster, n = 0.4",
        "the same, question 1; worked, −48.1 %",
        "tool-life",
        {"n": 0.4, "c": 450, "surface_speed": 1.3 * 200},
        {"tool_life": f"{(1 - 0.48103) * (450 / 200) ** 2.5} min"},
        1e-4,
    ),
]


@pytest.mark.parametrize("check", TOOL_LIFE, ids=str)
def test_tool_life_agrees_with_what_is_published(check: Published) -> None:
    agrees(check)


@pytest.mark.parametrize("seed", [3, 14])
def test_a_fitted_line_is_that_of_scipy(seed: int) -> None:
    # ln T on ln v by scipy.stats.linregress; the slope is −1/n, its interval from Student's t with N − 2 degrees.
    draw = np.random.default_rng(seed)
    speeds = np.array([60, 75, 90, 110, 140, 180.0])
    lives = (250 / speeds) ** (1 / 0.22) * np.exp(draw.normal(0, 0.15, speeds.size))
    line = stats.linregress(np.log(speeds), np.log(lives))
    found = results("tool-life", points=[[float(v), float(t)] for v, t in zip(speeds, lives, strict=True)])
    assert found["n"] == pytest.approx(-1 / line.slope, rel=1e-9)
    assert found["c"] == pytest.approx(math.exp(-line.intercept / line.slope), rel=1e-9)
    half = stats.t.ppf(0.975, speeds.size - 2) * line.stderr
    ends = sorted(-1 / (line.slope + side * half) for side in (-1, 1))
    assert found["interval"]["n"] == pytest.approx(ends, rel=1e-6)


ECONOMICS = [
    Published(
        "cheapest speed of a tool of 2.50",
        GHOSH + "problem 4.26; printed 27.416642 m/min for n 0.25, C 75, 0.15 a minute, change 2 min",
        "economics",
        {"n": 0.25, "c": "75 m/min", "change_time": "2 min", "machine_rate": 9, "edge_cost": 2.5},
        {"speed_min_cost": "27.416642 m/min", "life_min_cost": "56 min"},
        1e-7,
    ),
    Published(
        "speed of the highest output",
        GHOSH + "problem 4.28; printed 47.920733 m/min",
        "economics",
        {"n": 0.25, "c": 75, "change_time": 2, "machine_rate": 9, "edge_cost": 2.5},
        {"speed_max_output": "47.920733 m/min", "life_max_output": "6 min"},
        1e-7,
    ),
    Published(
        "cost of turning a bar with material Y",
        GHOSH + "problem 4.27; printed 4.070737, of which 3 is the piece and 0.25 its handling",
        "economics",
        {
            "n": 0.16, "c": 76, "change_time": 1, "machine_rate": 15, "edge_cost": 2,
            "work": {"diameter": "30 mm", "length": "300 mm", "feed": "0.25 mm"},
        },
        {"cost_per_part": 4.070737 - 3 - 0.25, "speed_min_cost": "41.01184 m/min"},
        1e-6,
    ),
    Published(
        "cost of turning a bar with material X",
        GHOSH + "problem 4.27; printed 4.357033, where the script takes Y's exponent in the change cost of X; worked "
        "with X's own: 4.375089, 0.4 % more",
        "economics",
        {
            "n": 0.1, "c": 30, "change_time": 1, "machine_rate": 15, "edge_cost": 2,
            "work": {"diameter": 30, "length": 300, "feed": 0.25},
        },
        {"cost_per_part": 4.375089 - 2.5 - 0.25, "speed_min_cost": "19.33182 m/min"},
        1e-6,
    ),
    Published(
        "most output from two lives seen",
        GATE + "PI 2001, stated at questions.examside.com: 50 m/min 45 min, 100 m/min 10 min, change 2 min; worked",
        "economics",
        {"n": 0.4608454, "c": 288.9651, "change_time": 2, "machine_rate": 60, "edge_cost": 0},
        {"speed_max_output": "195.3 m/min", "life_max_output": "2.34 min"},
        0.0002,
    ),
    Published(
        "the same in feet a minute",
        GATE + "PI 2001, with C as 948.05 ft/min; worked",
        "economics",
        {"n": 0.4608454, "c": "948.048 ft/min", "change_time": "120 s", "machine_rate": 60, "edge_cost": 0},
        {"speed_max_output": "640.75 ft/min", "life_max_output": "2.34 min"},
        0.0002,
    ),
]  # fmt: skip


@pytest.mark.parametrize("check", ECONOMICS, ids=str)
def test_economics_agree_with_what_is_published(check: Published) -> None:
    agrees(check)


def test_the_two_lives_of_that_examination_give_its_law() -> None:
    found = results("tool-life", points=[["50 m/min", "45 min"], ["100 m/min", "10 min"]])
    assert found["n"] == pytest.approx(0.4608454, rel=1e-6)
    assert found["c"] == pytest.approx(288.9651, rel=1e-6)


LAWS = [(0.13, 80.0, 3.0, 40.0, 3.33), (0.25, 180.0, 3.0, 60.0, 6.0), (0.4, 600.0, 1.0, 90.0, 2.5)]


@pytest.mark.parametrize(("n", "c", "change", "rate", "edge"), LAWS)
def test_the_best_speeds_are_those_scipy_finds(n: float, c: float, change: float, rate: float, edge: float) -> None:
    # Cost and time of one part as functions of the speed, minimised by scipy.optimize; no formula for the optimum.
    def minutes(speed: float) -> float:
        return 10 * 100 / speed

    def cost(log_speed: float) -> float:
        speed = math.exp(log_speed)
        life = float((c / speed) ** (1 / n))
        return minutes(speed) * rate / 60 + minutes(speed) / life * (change * rate / 60 + edge)

    def taken(log_speed: float) -> float:
        speed = math.exp(log_speed)
        return minutes(speed) * (1 + change / float((c / speed) ** (1 / n)))

    found = results("economics", n=n, c=c, change_time=change, machine_rate=rate, edge_cost=edge)
    around = (math.log(c) - 6, math.log(c) + 1)
    for name, target in (("speed_min_cost", cost), ("speed_max_output", taken)):
        best = minimize_scalar(target, bounds=around, method="bounded", options={"xatol": 1e-10})
        assert found[name] == pytest.approx(math.exp(best.x), rel=1e-5)


def test_the_curve_of_cost_has_its_lowest_point_at_the_cheapest_speed() -> None:
    work = {"diameter": 60, "length": 200, "feed": 0.2}
    found = results("economics", n=0.25, c=180, change_time=3, machine_rate=60, edge_cost=6, work=work)
    speeds, costs = zip(*found["cost_against_speed"], strict=True)
    assert min(costs) == pytest.approx(found["cost_per_part"], rel=1e-6)
    assert speeds[costs.index(min(costs))] == pytest.approx(found["speed_min_cost"], rel=1e-6)
    fitted = minimize_scalar(
        lambda v: float(np.interp(v, speeds, costs)), bounds=(speeds[0], speeds[-1]), method="bounded"
    )
    assert fitted.x == pytest.approx(found["speed_min_cost"], rel=0.05)


COMPARISONS: list[dict[str, Any]] = [
    {
        "modular": {"body_cost": 240, "body_life_tips": 80, "tip_cost": 21, "edges": 4},
        "solid": {"cost": 90, "regrinds": 3, "regrind_cost": 14},
        "life": "45 min", "minutes_per_part": "6 min", "machine_rate": 60,
    },
    {
        "modular": {"body_cost": 500, "body_life_tips": 200, "tip_cost": 12, "edges": 2, "carbide_mass": "5 g"},
        "solid": {"cost": 150, "regrinds": 5, "regrind_cost": 20, "carbide_mass": "0.1 lb"},
        "life": "2 h", "minutes_per_part": "450 s", "change_time_modular": "1 min", "change_time_solid": "6 min",
        "machine_rate": 75,
    },
    {
        "modular": {"body_cost": 0, "body_life_tips": 1, "tip_cost": 8, "edges": 1},
        "solid": {"cost": 8, "regrinds": 0, "regrind_cost": 0},
        "life": 30, "minutes_per_part": 30, "machine_rate": 30,
    },
]  # fmt: skip


@pytest.mark.parametrize("asked", COMPARISONS, ids=["tips against regrinds", "with changes and carbide", "alike"])
def test_a_comparison_of_tools_by_exact_fractions(asked: dict[str, Any]) -> None:
    # Worked with exact fractions: the edge's share of body and tip, or of tool and regrinds, over its whole parts.
    def exact(name: str) -> Fraction:
        return Fraction(read_quantity(name, asked.get(name, 0), "min").magnitude).limit_denominator(10**6)

    modular, solid, rate = asked["modular"], asked["solid"], Fraction(asked["machine_rate"], 60)
    parts = exact("life") // exact("minutes_per_part")
    edges = {
        "modular": (Fraction(modular["body_cost"], modular["body_life_tips"]) + modular["tip_cost"]) / modular["edges"],
        "solid": Fraction(solid["cost"] + solid["regrinds"] * solid["regrind_cost"], 1 + solid["regrinds"]),
    }
    found = results("cost-compare", **asked)
    assert found["parts_per_edge"] == parts
    for way, edge in edges.items():
        wanted = exact("minutes_per_part") * rate + (exact(f"change_time_{way}") * rate + edge) / parts
        assert found["cost_per_part"][way] == pytest.approx(float(wanted), rel=1e-12)
    tip_alone = Fraction(modular["tip_cost"], modular["edges"])
    without_body = exact("minutes_per_part") * rate + (exact("change_time_modular") * rate + tip_alone) / parts
    saved = Fraction(found["cost_per_part"]["solid"]).limit_denominator(10**9) - without_body
    if modular["body_cost"]:
        assert found["break_even_parts"] == math.ceil(modular["body_cost"] / saved)
    if "carbide_mass" in modular:
        assert found["carbide_per_part"]["modular"] == pytest.approx(5 / (2 * parts), rel=1e-12)
        assert found["carbide_per_part"]["solid"] == pytest.approx(45.359237 / (6 * parts), rel=1e-12)
