"""Lives, replacement and wear land against values from outside the project.

Each entry of checks/lifetime.json names its source, how the value was come by, and its tolerance.
"""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calc.life import economics, survival, taylor, wear
from calc.life.fitting import breakage_belief, fit, flat_prior, lives
from calc.life.kaplan_meier import lives_seen, median_seen
from calc.life.likelihood import Lives
from calc.life.predictive import belief, lasting
from calc.life.replacement import change_age, change_parts

ENTRIES = {entry["id"]: entry for entry in json.loads((Path(__file__).parent / "checks" / "lifetime.json").read_text())}
LOGNORMAL = "the shop's lives follow the Weibull law alone; no lognormal is fitted"
NOT_OURS = {
    "L-W01": dict.fromkeys(["mu_lognormal", "sigma_lognormal", "loglik_lognormal", "B10_lognormal"], LOGNORMAL),
    "L-W04": dict.fromkeys(["mu_lognormal", "sigma_lognormal", "loglik_lognormal", "B10_lognormal"], LOGNORMAL),
    "L-W05": dict.fromkeys(
        ["lognormal_b0", "lognormal_b1", "lognormal_sigma", "lognormal_loglik", "lognormal_median_at_130C"], LOGNORMAL
    ),
    "L-K01": {
        "plateau_median_midpoint": "the median is the smallest age with half or less outlasting, not the midpoint"
    },
    "L-R11": dict.fromkeys(
        ["T_block_opt", "cost_rate_block", "expected_failures_per_block"],
        "edges are changed by their own age, never all together by the clock",
    ),
    "L-R13": dict.fromkeys(
        ["T_opt", "cost_rate_opt"], "an edge is not mended in place, so replacement with minimal repair does not arise"
    ),
}
Answer = dict[str, Any]


def weibull(times: list[float], ended: list[bool], *columns: Any) -> tuple[Any, Lives]:
    data = lives([0] * len(times), ended, times, np.column_stack([np.ones(len(times)), *columns]))
    return fit(data, flat_prior(1, data.duty.shape[1])), data


def taylor_points(given: Answer) -> Answer:
    points = given["points"]
    law = taylor.fit_taylor([p["v_m_min"] for p in points], [p["T_min"] for p in points])
    return {"n": law.n, "C_m_min": law.c, "T_at_80": float(taylor.tool_life(given["v_m_min"], law.n, law.c))}


def parts_per_edge(given: Answer) -> Answer:
    life = float(taylor.tool_life(given["v_m_min"], given["n"], given["C"]))
    each = float(
        economics.minutes_per_part(given["v_m_min"], given["diameter_mm"], given["length_mm"], given["feed_mm_rev"])
    )
    broken, whole = (
        float(economics.cost_per_part(each, life, given["change_time_min"], given["rate_per_min"], 0, whole=w).changing)
        for w in (False, True)
    )
    return {
        "T": life, "t_machining": each, "parts_per_edge_fractional": life / each, "whole_parts_per_edge": life // each,
        "change_cost_per_part_fractional": broken, "change_cost_per_part_whole": whole,
    }  # fmt: skip


def extended_exact(given: Answer) -> Answer:
    rows = given["rows"]
    law = taylor.fit_extended([r["T_min"] for r in rows], [r["v_m_min"] for r in rows], [r["f_mm"] for r in rows])
    p, q = -law.coefficients[1:]
    return {
        "p": p, "q": q, "K": math.exp(law.coefficients[0]), "n_equivalent": 1 / p, "feed_exponent_in_vT^n_f^a": q / p
    }  # fmt: skip


def gilbert(given: Answer) -> Answer:
    edge = given["cost_per_edge" if "cost_per_edge" in given else "edge_cost"]
    rate = given["operating_cost_per_min"]
    best = economics.economic_lives(given["n"], given["C_m_min"], given["change_time_min"], rate, edge)
    return {
        "T_min_cost": best.life_min_cost, "v_min_cost": best.speed_min_cost, "T_max_production": best.life_max_output,
        "v_max_production": best.speed_max_output,
        "ratio_v_maxprod_over_v_mincost": best.speed_max_output / best.speed_min_cost,
    }  # fmt: skip


def wear_curves(given: Answer) -> Answer:
    first, second = (
        wear.minutes_between_readings(
            [at for at, _ in given[name]], [land for _, land in given[name]], given["VB_limit_mm"]
        )
        for name in ("curve_100", "curve_155")
    )
    law = taylor.fit_taylor(given["v_m_min"], [first, second])
    return {"T_100": first, "T_155": second, "n": law.n, "C_m_min": law.c}


def equal_lives(given: Answer) -> Answer:
    one, other = given["tool1"], given["tool2"]
    speed, life = taylor.equal_life(one["n"], one["C"], other["n"], other["C"])
    return {"v_equal": speed, "T_equal": life}


def extended_squares(given: Answer) -> Answer:
    rows = given["rows"]
    law = taylor.fit_extended(
        [r["T_min"] for r in rows], [r["v_ft_min"] for r in rows], [r["feed_thou_rev"] for r in rows]
    )
    return {
        "b0": law.coefficients[0], "b1": law.coefficients[1], "b2": law.coefficients[2], "residual_sd": law.residual_sd,
        "n_equivalent": -1 / law.coefficients[1],
    }  # fmt: skip


def one_group(given: Answer) -> Answer:
    if "failures_h" in given:
        times = given["failures_h"] + given["right_censored_h"]
        ended = [True] * len(given["failures_h"]) + [False] * len(given["right_censored_h"])
        age, more = given["age_h"], given["x_h"]
    else:
        times, ended = given["time_min"], [bool(mark) for mark in given["worn_out"]]
        age, more = given["age_min"], given["x_min"]
    answer, _ = weibull(times, ended)
    shape, scale = math.exp(answer.log_shape[0]), math.exp(answer.coefficients[0, 0])
    left = survival.remaining_minutes(age, shape, scale)
    known = belief(answer.coefficients[:, 0], answer.log_shape)
    chance = survival.chance_of_lasting(more, age, shape, scale)
    assert lasting(more, age, known)[0] == pytest.approx(float(chance), rel=1e-12)
    return {
        "shape": shape, "scale": scale, "loglik_weibull": answer.log_likelihood[0],
        "B10_weibull": survival.life_percentile(10, shape, scale),
        "median_weibull": survival.life_percentile(50, shape, scale),
        f"P_survive_{more}_more_given_age_{age}": chance, f"remaining_p10_given_age_{age}": left[0],
        f"remaining_p50_given_age_{age}": left[1],
        f"mean_remaining_given_age_{age}": survival.mean_remaining(age, shape, scale),
    }  # fmt: skip


def motors(given: Answer) -> Answer:
    inverse = [1000 / (273.2 + temperature) for temperature in given["temp_C"]]
    answer, _ = weibull(given["time_h"], [bool(mark) for mark in given["failed"]], inverse)
    b0, b1 = answer.coefficients[0]
    shape = math.exp(answer.log_shape[0])
    at_130 = math.exp(b0 + b1 * 1000 / (273.2 + 130))
    return {
        "weibull_b0": b0, "weibull_b1": b1, "weibull_scale": 1 / shape, "weibull_shape": shape,
        "weibull_loglik": answer.log_likelihood[0], "weibull_B10_at_130C": survival.life_percentile(10, shape, at_130),
    }  # fmt: skip


def taylor_lives(given: Answer) -> Answer:
    answer, _ = weibull(given["time_min"], [bool(mark) for mark in given["worn_out"]], np.log(given["v_m_min"]))
    b0, b1 = answer.coefficients[0]
    shape = math.exp(answer.log_shape[0])
    scale = math.exp(b0 + b1 * math.log(given["predict_at_v"]))
    return {
        "b0": b0, "b1": b1, "shape": shape, "loglik": answer.log_likelihood[0], "n_taylor": -1 / b1,
        "C_scale_eta_basis": math.exp(-b0 / b1), "eta_at_180": scale,
        "B10_at_180": survival.life_percentile(10, shape, scale),
        "median_at_180": survival.life_percentile(50, shape, scale),
        "P_survive_5_more_given_age_10_at_180": survival.chance_of_lasting(
            given["x_min"], given["age_min"], shape, scale
        ),
    }  # fmt: skip


def part_used(given: Answer) -> Answer:
    law, age = (given["shape"], given["scale_min"]), given["age_min"]
    low, middle, high = survival.remaining_minutes(age, *law, percent=(5, 50, 95))
    return {
        "P_survive": survival.chance_of_lasting(given["x_min"], age, *law), "remaining_p05": low,
        "remaining_p50": middle, "remaining_p95": high, "mean_remaining": survival.mean_remaining(age, *law),
        "hazard_at_age": survival.hazard(age, *law), "B10_new": survival.life_percentile(10, *law),
        "mean_new": survival.mean_remaining(0, *law),
    }  # fmt: skip


def two_ends(given: Answer) -> Answer:
    worn = [end == "wear" for end in given["end"]]
    answer, _ = weibull(given["time_min"], worn)
    broken, watched = breakage_belief(len(worn) - sum(worn), sum(given["time_min"]))
    rate = float(broken / watched)
    shape, scale = math.exp(answer.log_shape[0]), math.exp(answer.coefficients[0, 0])
    mean = float(survival.mean_remaining(0, shape, scale, rate))
    return {
        "shape_wear": shape, "scale_wear": scale, "breakage_rate": rate,
        "loglik_total": answer.log_likelihood[0] + float(broken) * math.log(rate) - rate * float(watched),
        "B10_both_modes": survival.life_percentile(10, shape, scale, rate),
        "median_both_modes": survival.life_percentile(50, shape, scale, rate),
        "probability_ends_by_breakage_if_run_to_failure": rate * mean,
    }  # fmt: skip


def product_limit(given: Answer) -> Answer:
    curve = lives_seen(given["time"], [bool(mark) for mark in given["event"]])
    at = {int(age): place for place, age in enumerate(curve.minutes)}
    plateau = lives_seen(given["plateau_example_all_events"], [True] * 4)
    return {
        "S_at_13": curve.outlasted[at[13]], "S_at_23": curve.outlasted[at[23]], "S_at_31": curve.outlasted[at[31]],
        "greenwood_se_at_23": curve.standard_error[at[23]], "median": median_seen(curve),
        "plateau_median_smallest_t_with_S_le_half": median_seen(plateau),
    }  # fmt: skip


def age_replacement(given: Answer) -> Answer:
    scale = given["scale_h" if "scale_h" in given else "scale_min"]
    best = change_age(given["shape"], scale, given["cost_preventive"], given["cost_failure"])
    law = survival.life_law(given["shape"], scale)
    return {
        "T_opt": best.minutes, "cost_rate_opt": best.cost_rate, "cost_rate_run_to_failure": best.cost_rate_to_end,
        "P_failure_before_T_opt": best.chance_of_failure,
        "mean_cycle_length": survival.time_outlasted(best.minutes, law),
        "T_age_opt": best.minutes, "cost_rate_age": best.cost_rate,
    }  # fmt: skip


def normalised_table(given: Answer) -> Answer:
    found = {}
    for shape, ratio in given["cases_shape_ratio"]:
        best = change_age(shape, given["scale"], given["cost_preventive"], ratio)
        name = f"k{shape}_r{ratio}"
        found[f"{name}_T"], found[f"{name}_rate"] = best.minutes, best.cost_rate
        found[f"{name}_saving_vs_run_to_failure"] = 1 - best.cost_rate / best.cost_rate_to_end
    return found


def replacement_with_breakage(given: Answer) -> Answer:
    law = (given["wear_shape"], given["wear_scale_min"])
    costs = (given["cost_preventive"], given["cost_wear_failure"])
    rate = given["breakage_rate_per_min"]
    best = change_age(*law, *costs, rate, given["cost_breakage"])
    cycle = float(survival.time_outlasted(best.minutes, survival.life_law(*law, rate)))
    return {
        "T_opt": best.minutes, "cost_rate_opt": best.cost_rate, "cost_rate_run_to_failure": best.cost_rate_to_end,
        "P_failure_before_T_opt": best.chance_of_failure, "mean_cycle_length": cycle,
        "P_wear_before_T_opt": float(best.chance_of_failure) - rate * cycle, "P_breakage_before_T_opt": rate * cycle,
        "T_opt_if_breakage_ignored": change_age(*law, *costs).minutes,
    }  # fmt: skip


def whole_number_of_parts(given: Answer) -> Answer:
    law = (given["shape"], given["scale_min"], given["cost_preventive"], given["cost_failure"])
    each = given["minutes_per_part"]
    best = change_parts(*law, each)
    count = int(best.parts)
    # One part of n times the minutes is the policy "after n parts"; a scale so that nothing later pays pins it there.
    beside = {
        step: _rate_at((count + step) * each, *law)
        for step in (-1, 1)
    }  # fmt: skip
    continuous = change_age(*law)
    return {
        "n_opt": count, "cost_rate_n_opt": best.cost_rate, "cost_rate_n_minus_1": beside[-1],
        "cost_rate_n_plus_1": beside[1], "T_opt_continuous": continuous.minutes,
        "parts_per_edge_if_floored_continuous": int(continuous.minutes // each),
    }  # fmt: skip


def _rate_at(age: float, shape: float, scale: float, planned: float, failure: float) -> float:
    alive = float(survival.survival(age, shape, scale))
    cycle = float(survival.time_outlasted(np.asarray(age), survival.life_law(shape, scale)))
    return (planned * alive + failure * (1 - alive)) / cycle


def wear_line(given: Answer) -> Answer:
    first = slice(given["fit_on_first"])
    line = wear.fit_wear_line(given["time_min"][first], given["VB_mm"][first])
    origin = wear.fit_wear_line(given["time_min"][first], given["VB_mm"][first], through_origin=True)
    limit = given["limit_mm"]
    return {
        "intercept": line.intercept, "slope": line.slope, "residual_sd": line.residual_sd,
        "time_to_0.30_by_regression": wear.minutes_to_limit(line, limit), "slope_through_origin": origin.slope,
        "time_to_0.30_through_origin": wear.minutes_to_limit(origin, limit),
        "time_to_0.30_by_interpolating_readings": wear.minutes_between_readings(
            given["time_min"], given["VB_mm"], limit
        ),
    }  # fmt: skip


OURS: dict[str, Callable[[Answer], Answer]] = {
    "L-T01": taylor_points, "L-T03": parts_per_edge, "L-T05": extended_exact, "L-T07": gilbert, "L-T09": wear_curves,
    "L-T10": gilbert, "L-T11": equal_lives, "L-T13": extended_squares, "L-W01": one_group, "L-W04": one_group,
    "L-W05": motors, "L-W06": taylor_lives, "L-W08": part_used, "L-W11": two_ends, "L-K01": product_limit,
    "L-R01": age_replacement, "L-R02": normalised_table, "L-R05": replacement_with_breakage,
    "L-R06": replacement_with_breakage, "L-R09": whole_number_of_parts, "L-R11": age_replacement, "L-V01": wear_line,
    "L-V02": wear_line,
}  # fmt: skip
CASES = [
    (id_, name) for id_, entry in ENTRIES.items() for name in entry["expected"] if name not in NOT_OURS.get(id_, {})
]


@pytest.mark.parametrize(("entry", "name"), CASES, ids=[f"{entry}-{name}" for entry, name in CASES])
def test_value_from_outside(entry: str, name: str) -> None:
    expected = ENTRIES[entry]["expected"][name]
    got = OURS[entry](ENTRIES[entry]["inputs"])[name]
    assert abs(float(got) - expected["value"]) <= expected["rel_tol"] * abs(expected["value"])


def test_every_entry_is_checked_or_set_aside_with_a_reason() -> None:
    assert set(OURS) | set(NOT_OURS) == set(ENTRIES)
    for entry, left_out in NOT_OURS.items():
        assert set(left_out) <= set(ENTRIES[entry]["expected"])
        assert all(len(reason) > 20 for reason in left_out.values())
    assert len(CASES) > 110
