"""What to buy, against `checks/supply.json`: values from outside the project, each entry with its own source."""

import json
import math
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import poisson

from calc.supply.demand import whole_part_changes
from calc.supply.paths import Streams, changes_in_months
from calc.supply.quantity import (
    discounted_quantity,
    economic_order_quantity,
    eoq_with_backorders,
    incremental_quantity,
    price_at,
    units_to_order,
    yearly_cost,
)
from calc.supply.renewal import CountDistribution, renewal_count
from calc.supply.reorder import (
    expected_short,
    fill_rate,
    newsvendor_cost_normal,
    newsvendor_normal,
    newsvendor_poisson,
    normal_quantile,
    poisson_cumulative,
    poisson_quantile,
    reorder_point,
)

Entry = dict[str, Any]
ENTRIES: dict[str, Entry] = {
    entry["id"]: entry for entry in json.loads((Path(__file__).parent / "checks" / "supply.json").read_text())
}
NOT_OURS = {
    "S-I14": "the exact optimum of an (r,Q) policy with a price on waiting; we order by service, not by a waiting cost",
    "S-I16": "lot sizes over several months; the plan covers one month at a time",
}
ELSEWHERE = {"S-F01", "S-F03", "S-F05", "S-F06", "S-C01", "S-C03"}  # test_scoring.py and test_labels.py


def renewal_table(i: Entry) -> Entry:
    found = {}
    for shape in i["shapes"]:
        scale = i["mean"] / math.gamma(1 + 1 / shape)
        for time in i["times"]:
            found[f"M_k{shape}_t{time}"] = renewal_count(shape, scale, time).mean
    return found


def part_used_first_edge(i: Entry) -> Entry:
    shape, scale, period, age = i["shape"], i["scale_min"], i["period_min"], i["age_of_first_min"]
    count = renewal_count(shape, scale, period, used=age)
    return {
        "expected_with_age": count.mean,
        "expected_if_new": renewal_count(shape, scale, period).mean,
        "P_no_replacement_with_age": count.chances[0],
    }


def enough_spares(i: Entry) -> Entry:
    count = renewal_count(i["shape"], i["scale_min"], i["period_min"], used=i["age_of_first_min"])
    found = {f"P_enough_s{s}": count.chance_enough(s) for s in i["s"]}
    by_poisson = poisson_cumulative(float(count.mean), 40)
    return (
        found
        | {
            "expected_replacements": count.mean,
            "variance_of_count": count.variance,
            "smallest_stock_95": count.quantile(0.95),
            "smallest_stock_95_poisson": poisson_quantile(float(count.mean), 0.95),
        }
        | {f"P_enough_poisson_s{s}": by_poisson[s] for s in i["s"]}
    )


def pooled_machines(i: Entry) -> Entry:
    rows = i["machines"]
    shape, scale, period, age = (
        np.array([row[name] for row in rows]) for name in ("shape", "scale_min", "period_min", "age_min")
    )
    each = renewal_count(shape, scale, period, used=age).chances
    pooled = each[0]
    for other in each[1:]:
        pooled = np.convolve(pooled, other)
    total = CountDistribution(pooled)
    stock = float(total.quantile(i["target_probability"]))
    return {
        "expected_total": total.mean,
        "stock_needed": stock,
        "P_enough_at_stock": total.chance_enough(stock),
        "P_enough_at_stock_minus_1": total.chance_enough(stock - 1),
        "variance_total": total.variance,
    }


def whole_parts(i: Entry) -> Entry:
    found: Entry = {}
    for case in i["cases"]:
        got = whole_part_changes(
            life=case["life_min"], minutes_per_part=case["minutes_per_part"], parts=case["parts"],
            parts_on_edge=case["parts_already_on_edge"], edges_per_tip=case["edges_per_insert"],
        )  # fmt: skip
        name = f"case{case['case']}_"
        found |= {
            name + "parts_per_edge": got.parts_per_edge,
            name + "changes_during_batch": got.changes,
            name + "parts_left_on_last_edge": got.parts_left_on_last_edge,
            name + "inserts_consumed_new": got.tips,
        }
    return found


def order_quantity(i: Entry) -> Entry:
    rates = i["demand_rate"], i["fixed_cost"], i["holding_cost"]
    best = economic_order_quantity(*rates)
    return {
        "Q": best,
        "cost_per_year": yearly_cost(best, *rates),
        "order_interval": best / i["demand_rate"],
        "cost_at_Q_250": yearly_cost(250, *rates),
    }


def discounts(i: Entry) -> Entry:
    terms = i["demand_rate"], i["fixed_cost"], i["holding_cost_rate"], i["breakpoints"], i["unit_costs"]
    every, beyond = discounted_quantity(*terms), incremental_quantity(*terms)

    def region(quantity: float) -> int:
        return int(np.searchsorted(i["breakpoints"], quantity, side="right")) - 1

    return {
        "all_units_Q": every.quantity, "all_units_cost": every.yearly_cost,
        "all_units_price_region": region(every.quantity),
        "incremental_Q": beyond.quantity, "incremental_cost": beyond.yearly_cost,
        "incremental_price_region": region(beyond.quantity),
    }  # fmt: skip


def backorders(i: Entry) -> Entry:
    quantity, late = eoq_with_backorders(i["demand_rate"], i["fixed_cost"], i["holding_cost"], i["stockout_cost"])
    return {"Q": quantity, "stockout_fraction": late}


def newsvendor(i: Entry) -> Entry:
    costs = i["holding_cost"], i["stockout_cost"]
    mean, sd, lead = i["demand_mean"], i["demand_sd"], i["lead_time_second_case"]
    one, longer = newsvendor_normal(mean, sd, *costs), newsvendor_normal(mean, sd, *costs, lead_time=lead)
    cover = lead + 1
    return {
        "S": one,
        "cost": newsvendor_cost_normal(one, mean, sd, *costs),
        "S_with_lead_time": longer,
        "cost_with_lead_time": newsvendor_cost_normal(longer, mean * cover, sd * math.sqrt(cover), *costs),
        "safety_stock_with_lead_time": longer - mean * cover,
    }


def newsvendor_of_slow_mover(i: Entry) -> Entry:
    stock = newsvendor_poisson(i["demand_mean"], i["holding_cost"], i["stockout_cost"])
    return {"S": stock, "P_no_stockout": poisson_cumulative(i["demand_mean"], stock)[-1]}


def reorder_and_quantity(i: Entry) -> Entry:
    lead, daily = i["lead_time"] * 365, i["demand_mean"] / 365
    # Here the service follows from the costs: the newsvendor's critical ratio of a year.
    service = i["stockout_cost"] / (i["stockout_cost"] + i["holding_cost"])
    point = reorder_point(daily, i["demand_sd"] / math.sqrt(365), lead, 0, service)
    return {
        "EOQ_plus_safety_stock_r": point.point,
        "EOQ_plus_safety_stock_Q": economic_order_quantity(i["demand_mean"], i["fixed_cost"], i["holding_cost"]),
    }


def safety_stock(i: Entry) -> Entry:
    point = reorder_point(
        i["demand_mean_per_week"], i["demand_sd_per_week"], i["lead_time_mean_weeks"], i["lead_time_sd_weeks"],
        i["cycle_service_level"],
    )  # fmt: skip
    z = normal_quantile(i["cycle_service_level"])
    return {
        "lead_time_demand_mean": point.demand_mean,
        "lead_time_demand_sd": point.demand_sd,
        "z_cycle_service": z,
        "safety_stock_cycle_service": point.safety_stock,
        "reorder_point_cycle_service": point.point,
        "expected_short_per_cycle": expected_short(z, point.demand_sd),
        "fill_rate_achieved": fill_rate(z, point.demand_sd, i["order_quantity"]),
        "reorder_point_whole_units_cycle_service": point.whole,
    }


def poisson_reorder(i: Entry) -> Entry:
    mean = i["demand_per_week"] * i["lead_time_weeks"]
    point = poisson_quantile(mean, i["service_level"])
    cumulative = poisson_cumulative(mean, point)
    normal = reorder_point(
        i["demand_per_week"], math.sqrt(i["demand_per_week"]), i["lead_time_weeks"], 0, i["service_level"]
    )
    return {
        "mean": mean, "reorder_point": point, "service_at_r": cumulative[point],
        "service_at_r_minus_1": cumulative[point - 1], "normal_approximation_unrounded": normal.point,
    }  # fmt: skip


def packs(i: Entry) -> Entry:
    found: Entry = {}
    for case in i["cases"]:
        inserts = -(-case["edges_needed"] // case["edges_per_insert"])
        quantity = units_to_order(
            inserts, case["on_hand_inserts"], case["on_order_inserts"], reserved=case["reserved_inserts"],
            safety=case["safety_stock_inserts"], pack=case["pack_size"], minimum=case["moq"],
        )  # fmt: skip
        listed = Decimal(case["list_price"])
        prices = {1: listed} | {q: listed * (100 - p) / 100 for q, p in case["discount_tiers_qty_pct"]}
        name = f"case{case['case']}_"
        found |= {
            name + "inserts_needed": inserts,
            name + "order_qty": quantity,
            name + "order_value": quantity * price_at(quantity, prices),
        }
    return found


OURS: dict[str, Callable[[Entry], Entry]] = {
    "S-N01": renewal_table, "S-N03": part_used_first_edge, "S-N05": part_used_first_edge, "S-N06": enough_spares,
    "S-N08": pooled_machines, "S-N10": whole_parts, "S-I01": order_quantity, "S-I03": discounts, "S-I05": discounts,
    "S-I06": backorders, "S-I08": newsvendor, "S-I10": newsvendor_of_slow_mover, "S-I12": reorder_and_quantity,
    "S-I18": safety_stock, "S-I20": poisson_reorder, "S-I22": packs,
}  # fmt: skip
# Values of an entry that no function of ours answers, and why.
LEFT_OUT = {
    "naive_period_over_mean": "the estimate that the renewal count replaces",
    "asymptotic_if_new": "tested in tests/calc/supply as the limit of the count",
    "cost": "S-I06, S-I10: a cost that neither page nor working shows",
    "cost_at_S_minus_1": "S-I10: the same",
    "critical_ratio": "an inner step of the newsvendor",
    "EOQB_r": "S-I12: approximations that price waiting", "EOQB_Q": "same", "EIL_r": "same", "EIL_Q": "same",
    "exact_r": "same", "exact_Q": "same", "exact_cost": "same", "exact_cost_of_EOQ_plus_safety_stock": "same",
    "z_for_fill_rate": "S-I18: we order by the chance of no shortage, not by a fill rate",
    "safety_stock_for_fill_rate": "same", "reorder_point_for_fill_rate": "same",
    "expected_short": "S-I20: loss of a Poisson demand, not used",
    "normal_approximation_with_continuity": "S-I20: the working rounds up instead",
    "shortage": "S-I22: an inner step of the order",
}  # fmt: skip


def test_every_entry_is_checked_or_says_why_not() -> None:
    assert set(ENTRIES) == set(OURS) | set(NOT_OURS) | ELSEWHERE


@pytest.mark.parametrize("key", OURS)
def test_outside_value(key: str) -> None:
    entry = ENTRIES[key]
    got = OURS[key](entry["inputs"])
    for name, wanted in entry["expected"].items():
        plain = name.partition("_")[2] if name.startswith("case") else name
        if name not in got and plain in LEFT_OUT:
            continue
        if isinstance(wanted["value"], str):
            assert Decimal(got[name]) == Decimal(wanted["value"]), f"{key} {name}"
        else:
            tolerance = wanted["rel_tol"] * abs(wanted["value"])
            assert abs(float(got[name]) - wanted["value"]) <= tolerance, f"{key} {name}: {got[name]}"


def test_service_of_a_slow_mover_before_the_order_arrives() -> None:
    # S-I14's two chances, which need no optimum: P(D <= r) and P(D <= r - 1) for a Poisson demand.
    entry = ENTRIES["S-I14"]
    mean, r = entry["inputs"]["demand_mean"] * entry["inputs"]["lead_time"], entry["expected"]["r"]["value"]
    chances = poisson_cumulative(mean, r)
    assert chances[r] == pytest.approx(entry["expected"]["P_no_backorder_before_arrival"]["value"], rel=1e-9)
    assert chances[r - 1] == pytest.approx(entry["expected"]["P_shelf_never_empty_before_arrival"]["value"], rel=1e-9)


@pytest.mark.parametrize("mean", [0.3, 4.8, 60.0, 700.0])
def test_poisson_agrees_with_scipy(mean: float) -> None:
    # Source: scipy.stats.poisson, a general-purpose reference library.
    counts = np.arange(int(mean + 60))
    assert np.allclose(poisson_cumulative(mean, counts.size - 1), poisson.cdf(counts, mean), rtol=1e-10, atol=1e-14)
    for chance in (0.05, 0.5, 0.95, 0.999):
        assert poisson_quantile(mean, chance) == poisson.ppf(chance, mean)


@pytest.mark.parametrize("key", ["S-N03", "S-N05"])
def test_possible_months_agree_with_the_renewal_function(key: str) -> None:
    i, expected = ENTRIES[key]["inputs"], ENTRIES[key]["expected"]
    stream = Streams.of(
        design=[0], shape=i["shape"], scale=i["scale_min"], exposure=[[i["period_min"]]], used=i["age_of_first_min"]
    )
    mean = changes_in_months(stream, 1, months=4096).mean()
    assert mean == pytest.approx(expected["expected_with_age"]["value"], rel=0.005)
