"""When to order and how much: bad input, and the corners of price lists, packs and minimums."""

import math
from collections.abc import Callable
from decimal import Decimal

import pytest

from calc.errors import WorkingError
from calc.supply.quantity import (
    discounted_quantity,
    economic_order_quantity,
    eoq_with_backorders,
    incremental_quantity,
    price_at,
    units_to_order,
    yearly_cost,
)
from calc.supply.reorder import (
    fill_rate,
    newsvendor_cost_normal,
    newsvendor_normal,
    newsvendor_poisson,
    poisson_cumulative,
    poisson_quantile,
    reorder_point,
)
from calc.workings import InputErrors, run


def test_the_time_between_looks_is_protected_too() -> None:
    assert float(reorder_point(4, 0, 10, 0, 0.5, review=5).point) == pytest.approx(60)


def test_no_lead_time_and_no_review_need_no_stock() -> None:
    point = reorder_point(4, 2, 0, 0, 0.95)
    assert (float(point.point), float(point.whole)) == (0.0, 0.0)


def test_nothing_needed_is_a_poisson_of_nothing() -> None:
    assert poisson_cumulative(0.0, 2).tolist() == [1.0, 1.0, 1.0]
    assert poisson_quantile(0.0, 0.95) == 0


def test_packs_minimum_and_what_is_missing_bound_the_order() -> None:
    assert discounted_quantity(12, 1, 0.2, [1], [10.0], pack=10, minimum=0).quantity == 10
    assert discounted_quantity(12, 1, 0.2, [1], [10.0], pack=10, minimum=25).quantity == 30
    assert discounted_quantity(12, 1, 0.2, [1], [10.0], pack=10, least=41).quantity == 50
    assert discounted_quantity(0, 0, 0.2, [1], [10.0], pack=10).quantity == 10


def test_a_discount_beyond_reach_is_left_alone() -> None:
    assert discounted_quantity(12, 10, 0.3, [1, 1000], [10.0, 9.9]).price == 10.0


def test_orders_take_whole_packs_and_only_when_something_is_missing() -> None:
    assert units_to_order(10, 4, 0, pack=5) == 10
    assert units_to_order(10, 4, 6, pack=5, minimum=50) == 0
    assert units_to_order(10, 4, 5, pack=5, minimum=50) == 50


def test_the_price_is_that_of_the_largest_quantity_reached() -> None:
    prices = {10: Decimal("9"), 50: Decimal("8")}
    assert [price_at(q, prices) for q in (1, 10, 49, 50)] == [9, 9, 9, 8]
    with pytest.raises(WorkingError, match="no price"):
        price_at(5, {})


BAD: list[tuple[Callable[[], object], str]] = [
    (lambda: reorder_point(-1, 0, 1, 0, 0.9), "daily_mean"),
    (lambda: reorder_point(1, 0, 1, math.nan, 0.9), "lead_sd"),
    (lambda: reorder_point(1, 0, 1, 0, 1.0), "service"),
    (lambda: fill_rate(1, 1, 0), "order_quantity"),
    (lambda: poisson_quantile(-1, 0.5), "mean"),
    (lambda: poisson_quantile(1, 0), "chance"),
    (lambda: poisson_cumulative(-1, 3), "mean"),
    (lambda: economic_order_quantity(1, 1, 0), "holding_cost"),
    (lambda: yearly_cost(0, 1, 1, 1), "quantity"),
    (lambda: discounted_quantity(1, 1, 0, [0], [1]), "holding_rate"),
    (lambda: discounted_quantity(1, 1, 0.1, [0, 5], [1]), "breaks"),
    (lambda: discounted_quantity(1, 1, 0.1, [5, 0], [1, 1]), "breaks"),
    (lambda: discounted_quantity(1, 1, 0.1, [-1], [1]), "breaks"),
    (lambda: discounted_quantity(1, 1, 0.1, [0], [0]), "prices"),
    (lambda: discounted_quantity(0, 0, 0.1, [0], [1]), "demand_rate"),
    (lambda: incremental_quantity(0, 1, 0.1, [0], [1]), "demand_rate"),
    (lambda: eoq_with_backorders(1, 1, 1, 0), "waiting_cost"),
    (lambda: newsvendor_normal(-1, 1, 1, 1), "mean"),
    (lambda: newsvendor_poisson(1, 0, 1), "under_cost"),
    (lambda: newsvendor_cost_normal(1, 1, 0, 1, 1), "sd"),
    (lambda: units_to_order(-1, 0, 0), "needed"),
    (lambda: units_to_order(1, 0, 0, pack=0), "pack"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "field"), BAD)
def test_bad_input_is_named(call: Callable[[], object], field: str) -> None:
    with pytest.raises(WorkingError) as refused:
        call()
    assert refused.value.argument == field


def test_the_working_of_demand_answers_as_the_interface_says() -> None:
    answer = run("renewal-demand", {"shape": 3, "scale": 45, "horizon": "4 h", "used": 30}).as_dict()["results"]
    assert answer["mean"]["value"] == pytest.approx(6.12923727553, rel=1e-6)
    assert answer["quantiles"]["value"] == {"10": 5, "50": 6, "90": 7, "95": 8}
    assert run("renewal-demand", {"shape": 3, "scale": 45, "horizon": 240, "change_at": 20}).results["mean"].value > 12


def test_the_working_of_demand_refuses_what_cannot_be() -> None:
    with pytest.raises(WorkingError, match="check the horizon"):
        run("renewal-demand", {"shape": 3, "scale": 1, "horizon": 1e6})
    with pytest.raises(InputErrors, match="Scale"):
        run("renewal-demand", {"shape": 3, "horizon": 1})


REORDER = {"daily_demand_mean": 24, "daily_demand_sd": 7, "lead_time_mean": 2.5, "lead_time_sd": 0.6}


def test_the_working_of_reordering_answers_as_the_interface_says() -> None:
    # Reorder point and safety stock: S-I18 of checks/supply.json, by the standard formulas.
    money = {"price": 10, "order_cost": 25, "holding_rate": 0.2, "pack": 10, "minimum": 20}
    answer = run("reorder", {**REORDER, **money, "service": 0.95, "on_hand": 50, "on_order": 40}).as_dict()["results"]
    assert answer["safety_stock"]["value"] == pytest.approx(29.8739110892)
    assert answer["reorder_point"]["value"] == pytest.approx(89.8739110892)
    assert answer["eoq"]["value"] == pytest.approx(math.sqrt(2 * 24 * 365 * 25 / 2))
    assert answer["order_quantity"]["value"] == 470
    assert answer["order_now"]["value"] is True
    assert run("reorder", {**REORDER, "on_hand": 91}).results["order_now"].value is False


def test_the_working_of_reordering_takes_both_spellings_and_leaves_out_what_it_cannot_know() -> None:
    nested = {"daily_demand": {"mean": 24, "sd": 7}, "lead_time": {"mean": 2.5, "sd": 0.6}}
    answer = run("reorder", nested)
    assert answer.results["reorder_point"].value == run("reorder", REORDER).results["reorder_point"].value
    assert set(answer.results) == {"reorder_point", "safety_stock"}
    steady = run("reorder", {"daily_demand_mean": 4, "lead_time_mean": 10})
    assert steady.results["safety_stock"].value == 0
