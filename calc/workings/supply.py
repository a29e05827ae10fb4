"""Workings about what to buy: how many changes to expect, and when and how much to order."""

import math
from typing import Any

import numpy as np

from calc.supply.quantity import economic_order_quantity
from calc.supply.renewal import renewal_count
from calc.supply.reorder import DAYS_PER_YEAR, ReorderPoint, reorder_point
from calc.units import plain, show_number
from calc.workings.declaration import Found, Given, Group, Input, Kind, Mark, Result, Step, Working
from calc.workings.life import minutes

FORECAST_CAUTION = (
    "A forecast is a probability, never a promise. Keep enough edges at the machine for the batch, and watch the first "
    "ones of a new duty."
)
PERCENT = (10, 50, 90, 95)


def _renewal_demand(given: Given) -> Found:
    shape, scale, horizon = given.number("shape"), minutes(given, "scale"), minutes(given, "horizon")
    used = minutes(given, "used") if "used" in given else 0.0
    change_at = minutes(given, "change_at") if "change_at" in given else math.inf
    count = renewal_count(shape, scale, horizon, used, change_at)
    mean, none = plain(count.mean), plain(count.chances[..., 0])
    quantiles = {str(percent): plain(count.quantile(percent / 100).astype(int)) for percent in PERCENT}
    found = Found(results={"mean": mean, "quantiles": quantiles, "chance_of_none": none})
    if given.many:
        return found
    found.texts["mean"] = show_number(mean)
    found.texts["quantiles"] = ", ".join(f"{percent} %: {number}" for percent, number in quantiles.items())
    law = f"β = {show_number(shape)}, η = {show_number(scale)} min"
    found.working += [
        Step(
            "Chance of at least n changes in the horizon",
            "P(N ≥ n) = F₁ * F * … * F (H), n lives in a row",
            f"{law}, H = {show_number(horizon)} min, first edge {show_number(used)} min used",
            f"P(N ≥ 1) = {1 - none:.4f}",
            "smith-leadbetter-1963 (m)",
        ),
        Step(
            "Mean number of changes",
            "M(H) = sum over n ≥ 1 of P(N ≥ n)",
            f"{law}" + (f", off at {show_number(change_at)} min" if math.isfinite(change_at) else ""),
            show_number(mean),
            "xie-1989 (m)",
        ),
    ]
    found.assumed.append("Shape and scale are taken as known; the shop's own plan adds their uncertainty.")
    if math.isinf(change_at):
        found.assumed.append("No age to change at is given: every edge runs until it fails.")
    return found


def _reorder(given: Given) -> Found:
    daily, daily_sd = _mean_and_sd(given, "daily_demand")
    lead, lead_sd = _mean_and_sd(given, "lead_time")
    service = given.number("service")
    point = reorder_point(daily, daily_sd, lead, lead_sd, service)
    found = Found(results={"reorder_point": plain(point.point), "safety_stock": plain(point.safety_stock)})
    if not given.many:
        _reorder_in_words(found, (daily, daily_sd, lead, lead_sd, service), point)
    if "on_hand" in given:
        _order_now(given, found, plain(point.whole))
    _quantity(given, daily, found)
    found.assumed.append("Daily demands are independent and the demand over the lead time is taken as normal.")
    return found


def _reorder_in_words(found: Found, asked: tuple[float, ...], point: ReorderPoint) -> None:
    daily, daily_sd, lead, lead_sd, service = asked
    found.texts |= {
        "reorder_point": f"{show_number(float(point.point))}, in whole units {float(point.whole):.0f}",
        "safety_stock": show_number(float(point.safety_stock)),
    }
    found.working += [
        Step(
            "Demand over the lead time",
            "μ = m · L; σ = sqrt(L · s² + m² · sL²)",
            f"m = {show_number(daily)}, s = {show_number(daily_sd)} per day; L = {show_number(lead)}, "
            f"sL = {show_number(lead_sd)} days",
            f"μ = {show_number(float(point.demand_mean))}, σ = {show_number(float(point.demand_sd))}",
            "random-lead-time (m)",
        ),
        Step(
            "Reorder point",
            "R = μ + z · σ",
            f"z = {show_number(float(point.safety_stock / point.demand_sd) if point.demand_sd > 0 else 0.0)} for "
            f"{service:.1%}",
            f"R = {show_number(float(point.point))}",
            "random-lead-time (m)",
        ),
    ]


def _order_now(given: Given, found: Found, whole: Any) -> None:
    position: Any = given.count("on_hand") + (given.count("on_order") if "on_order" in given else 0)
    due = (position <= whole) & (whole > 0)  # nothing is ordered for nothing
    found.results["order_now"] = plain(due)
    found.marks.append(Mark("order_now", "order now", plain(due)))
    if not given.many:
        found.assumed.append(
            f"Position {position}: on hand and on order. The order goes out when it has come down to {whole:.0f}."
        )


def _quantity(given: Given, daily: float, found: Found) -> None:
    if not all(name in given for name in ("price", "order_cost", "holding_rate")):
        return
    price, order_cost, rate = (given.number(name) for name in ("price", "order_cost", "holding_rate"))
    best = plain(economic_order_quantity(daily * DAYS_PER_YEAR, order_cost, rate * price))
    pack, minimum = given.count("pack"), given.count("minimum")
    order = plain(np.ceil(np.maximum(best, minimum) / pack - 1e-9) * pack)
    if given.many:
        found.results |= {"eoq": best, "order_quantity": order}
        return
    order = int(order)
    found.results |= {"eoq": best, "order_quantity": order}
    found.working.append(
        Step(
            "Economic order quantity",
            "Q = sqrt(2 · D · K / (i · p)), D = 365 · m",
            f"D = {show_number(daily * DAYS_PER_YEAR)}, K = {show_number(order_cost)}, i = {show_number(rate)}, "
            f"p = {show_number(price)}",
            f"{show_number(best)}; in packs of {pack} and at least {minimum}: {order}",
            "harris-1913 (m)",
        )
    )


def _mean_and_sd(given: Given, name: str) -> tuple[float, float]:
    """Read a mean with its spread, said as one object or as two numbers."""
    if name in given:
        both = given.mapping(name)
        return float(both["mean"]), float(both["sd"])
    sd = given.number_or_none(f"{name}_sd")
    return given.number(f"{name}_mean"), 0.0 if sd is None else sd


def _pair(name: str, label: str, unit: str, mean: float, sd: float) -> tuple[Input, ...]:
    return (
        Input(
            name=f"{name}_mean", label=f"{label}, mean", unit=unit, kind=Kind.NUMBER, group=name, way="two numbers",
            lowest=0, highest=1e9, example=mean,
        ),
        Input(
            name=f"{name}_sd", label=f"{label}, standard deviation", unit=unit, kind=Kind.NUMBER, group=name,
            way="two numbers", lowest=0, highest=1e9, default=0, example=sd,
        ),
        Input(
            name=name, label=f"{label}, both at once", unit=unit, kind=Kind.OBJECT, group=name,
            fields=(
                Input(name="mean", label="Mean", kind=Kind.NUMBER, required=True, lowest=0, highest=1e9, example=mean),
                Input(name="sd", label="Standard deviation", kind=Kind.NUMBER, default=0, lowest=0, highest=1e9),
            ),
        ),
    )  # fmt: skip


WORKINGS = (
    Working(
        name="renewal-demand",
        title="Edges a stretch of work takes",
        family="What to buy",
        says="How many times an edge is changed in so many minutes in cut, with how sure that is.",
        inputs=(
            Input(
                name="shape", label="Shape", symbol="β", kind=Kind.NUMBER, required=True, lowest=0.2, highest=200,
                example=3,
            ),
            Input(
                name="scale", label="Scale (the life that 63 % of edges do not reach)", symbol="η", unit="min",
                required=True, above=0, example=45,
            ),
            Input(
                name="horizon", label="Minutes in cut to come", symbol="H", unit="min", required=True, lowest=0,
                example=240,
            ),
            Input(
                name="used", label="Minutes the edge in place has cut", symbol="u", unit="min", lowest=0, default=0,
                assumed="The edge in place is taken as new.", example=30,
            ),
            Input(
                name="change_at", label="Age at which edges come off", symbol="T", unit="min", above=0, example=40,
                hint="Left out: edges run until they fail.",
            ),
        ),
        results=(
            Result(name="mean", label="Changes, mean", kind=Kind.NUMBER),
            Result(name="quantiles", label="Changes that are enough with a chance of", kind=Kind.OBJECT),
            Result(name="chance_of_none", label="Chance that no change is needed", kind=Kind.NUMBER),
        ),
        compute=_renewal_demand,
        takes_arrays=True,
        sources=("smith-leadbetter-1963 (m)", "xie-1989 (m)"),
        cautions=(FORECAST_CAUTION,),
    ),
    Working(
        name="reorder",
        title="When to order, and how much",
        family="What to buy",
        says="The stock at which to order so that it lasts over the lead time, and the quantity that costs least.",
        inputs=(
            *_pair("daily_demand", "Demand per day", "units", 4, 2),
            *_pair("lead_time", "Lead time", "days", 10, 3),
            Input(
                name="service", label="Chance of no shortage in a cycle", kind=Kind.NUMBER, above=0, highest=0.999999,
                default=0.95, assumed="A chance of 95 % of no shortage in a cycle is taken.", example=0.95,
            ),
            Input(name="on_hand", label="On hand", kind=Kind.COUNT, lowest=0, highest=1e9, example=30),
            Input(name="on_order", label="On order", kind=Kind.COUNT, lowest=0, highest=1e9, example=0),
            Input(name="pack", label="Units in a pack", kind=Kind.COUNT, lowest=1, highest=1e6, default=1, example=10),
            Input(name="minimum", label="Smallest order", kind=Kind.COUNT, lowest=0, highest=1e9, default=0),
            Input(name="price", label="Price of a unit", kind=Kind.NUMBER, above=0, highest=1e9, example=11.5),
            Input(
                name="order_cost", label="Cost of placing an order", kind=Kind.NUMBER, lowest=0, highest=1e9,
                example=25,
            ),
            Input(
                name="holding_rate", label="Holding cost per year, share of the price", kind=Kind.NUMBER, above=0,
                highest=10, example=0.2,
            ),
        ),
        groups=(
            Group(name="daily_demand", label="the demand per day"),
            Group(name="lead_time", label="the lead time"),
        ),
        results=(
            Result(name="order_now", label="Order now", kind=Kind.BOOL, needs="what is on hand"),
            Result(name="reorder_point", label="Reorder point", kind=Kind.NUMBER),
            Result(name="safety_stock", label="Safety stock", kind=Kind.NUMBER),
            Result(
                name="order_quantity", label="Order quantity", kind=Kind.COUNT,
                needs="the price, the cost of an order and the holding rate",
            ),
            Result(
                name="eoq", label="Economic order quantity", kind=Kind.NUMBER,
                needs="the price, the cost of an order and the holding rate",
            ),
        ),
        compute=_reorder,
        takes_arrays=True,
        sources=("random-lead-time (m)", "harris-1913 (m)"),
        cautions=(
            "An order quantity is a proposal: the buyer checks price, shelf life and what the supplier can deliver.",
        ),
    ),
)  # fmt: skip
