"""Lives, changes, what is left, what is needed and when to order, against SciPy, lifelines and textbooks.

"Printed" and "worked" mean what they do in `test_speeds_and_feeds`.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd  # type: ignore[import-untyped]
import pytest
from lifelines import KaplanMeierFitter, WeibullAFTFitter, WeibullFitter
from scipy import stats
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from tests.outside.published import Published, agrees, results

MANUAL = (
    "documented example of a numerical library's Weibull fit (support.nag.com, g07be): beta −2.1073, gamma 2.7870 with "
    "standard error 0.4273, for S(t) = exp(−e^beta · t^gamma)"
)
MANUAL_LIVES = [1.1, 1.4, 1.3, 1.7, 1.9, 1.8, 1.6, 2.2, 1.7, 2.7, 4.1, 1.8, 1.5, 1.2, 1.4, 3.0, 1.7, 2.3, 1.6, 2.0]


def lives(minutes: Any, ended: Any) -> list[dict[str, Any]]:
    return [{"minutes": float(t), "ended": bool(e)} for t, e in zip(minutes, ended, strict=True)]


def drawn(seed: int, shape: float, scale: float, count: int, off: float) -> tuple[np.ndarray, np.ndarray]:
    """Lives drawn from a Weibull law, taken off at `off`."""
    found = scale * np.random.default_rng(seed).weibull(shape, count)
    return np.minimum(found, off).round(2), found < off


def test_the_fit_of_a_library_s_manual() -> None:
    found = results("life-fit", lives=lives(MANUAL_LIVES, [True] * 20))
    assert found["shape"] == pytest.approx(2.7870, abs=5e-5), MANUAL
    assert found["scale"] == pytest.approx(math.exp(2.1073 / 2.7870), rel=5e-5)
    # Its standard error, on the logarithm of the shape on which the interval here is laid.
    half = math.log(found["shape_interval"][1] / found["shape"]) / 1.959964
    assert half * found["shape"] == pytest.approx(0.4273, abs=5e-5)


@pytest.mark.parametrize(("seed", "off"), [(1, 1e9), (2, 60.0), (3, 45.0)])
def test_a_fit_is_that_of_scipy_with_censoring(seed: int, off: float) -> None:
    times, ended = drawn(seed, 2.2, 55, 30, off)
    data = stats.CensoredData(uncensored=times[ended], right=times[~ended])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    found = results("life-fit", lives=lives(times, ended))
    assert found["shape"] == pytest.approx(shape, rel=1e-3)
    assert found["scale"] == pytest.approx(scale, rel=1e-3)
    law = stats.weibull_min(found["shape"], scale=found["scale"])
    assert found["log_likelihood"] == pytest.approx(law.logpdf(times[ended]).sum() + law.logsf(times[~ended]).sum())
    assert [found[name] for name in ("b10", "median", "mean")] == pytest.approx(
        [law.ppf(0.1), law.median(), law.mean()], rel=1e-9
    )


@pytest.mark.parametrize(("seed", "shape"), [(5, 0.8), (6, 1.7), (7, 4.0)])
def test_a_fit_is_that_of_lifelines(seed: int, shape: float) -> None:
    times, ended = drawn(seed, shape, 40, 40, 50)
    fitted = WeibullFitter().fit(times, ended)
    found = results("life-fit", lives=lives(times, ended))
    assert found["shape"] == pytest.approx(fitted.rho_, rel=1e-4)
    assert found["scale"] == pytest.approx(fitted.lambda_, rel=1e-4)
    assert found["median"] == pytest.approx(fitted.median_survival_time_, rel=1e-4)
    assert found["log_likelihood"] == pytest.approx(fitted.log_likelihood_, rel=1e-6)
    assert (found["ended"], found["censored"]) == (int(ended.sum()), int((~ended).sum()))


def test_a_fit_at_several_speeds_is_the_accelerated_one_of_lifelines() -> None:
    draw = np.random.default_rng(21)
    speeds = np.repeat([60.0, 80.0, 110.0, 150.0], 12)
    found = 900 * (60 / speeds) ** 3 / 15 * draw.weibull(2.5, speeds.size)
    ended = found < 50
    times = np.minimum(found, 50).round(3)
    frame = pd.DataFrame({"t": times, "e": ended, "x": np.log(speeds) - np.log(speeds).mean()})
    model = WeibullAFTFitter().fit(frame, "t", "e")
    rows = [
        {**life, "duty": {"surface_speed": f"{speed} m/min"}}
        for life, speed in zip(lives(times, ended), speeds, strict=True)
    ]
    fit = results("life-fit", lives=rows)
    assert fit["exponents"]["surface_speed"] == pytest.approx(model.params_["lambda_"]["x"], rel=1e-3)
    assert fit["scale"] == pytest.approx(math.exp(model.params_["lambda_"]["Intercept"]), rel=1e-3)
    assert fit["shape"] == pytest.approx(math.exp(model.params_["rho_"]["Intercept"]), rel=1e-3)


def test_the_median_seen_lies_where_the_fitted_one_does() -> None:
    times, ended = drawn(9, 3.0, 60, 200, 80)
    seen = KaplanMeierFitter().fit(times, ended).median_survival_time_
    assert results("life-fit", lives=lives(times, ended))["median"] == pytest.approx(seen, rel=0.05)


def per_minute(shape: float, scale: float, planned: float, failure: float, at: float) -> float:
    law = stats.weibull_min(shape, scale=scale)
    lasting, _ = quad(law.sf, 0, at, epsabs=1e-12, epsrel=1e-11)
    return float((planned * law.sf(at) + failure * law.cdf(at)) / lasting)


CHANGES = [(2.5, 60.0, 6.0, 30.0), (1.4, 45.0, 5.0, 100.0), (4.0, 90.0, 10.0, 35.0), (2.0, 30.0, 1.0, 8.0)]


@pytest.mark.parametrize(("shape", "scale", "planned", "failure"), CHANGES)
def test_the_age_to_change_is_the_one_scipy_finds(shape: float, scale: float, planned: float, failure: float) -> None:
    best = minimize_scalar(
        lambda at: per_minute(shape, scale, planned, failure, at), bounds=(scale / 50, 3 * scale), method="bounded",
        options={"xatol": 1e-8},
    )  # fmt: skip
    found = results("change-interval", shape=shape, scale=scale, cost_planned=planned, cost_failure=failure)
    assert found["minutes"] == pytest.approx(best.x, rel=1e-4)
    assert found["cost_rate"] == pytest.approx(best.fun, rel=1e-8)
    law = stats.weibull_min(shape, scale=scale)
    assert found["cost_rate_run_to_failure"] == pytest.approx(failure / law.mean(), rel=1e-8)
    assert found["chance_of_failure"] == pytest.approx(law.cdf(best.x), rel=1e-4)


@pytest.mark.parametrize("each", [4.0, 7.5, 22.0])
def test_the_parts_to_change_after_are_the_cheapest_whole_number(each: float) -> None:
    found = results(
        "change-interval", shape=2.5, scale=60, cost_planned=6, cost_failure=30, minutes_per_part=f"{each} min"
    )
    costs = {parts: per_minute(2.5, 60, 6, 30, parts * each) for parts in range(1, 40)}
    assert found["parts"] == min(costs, key=lambda parts: costs[parts])
    assert found["cost_rate"] == pytest.approx(min(costs.values()), rel=1e-7)


def test_the_age_to_change_of_a_reliability_handbook() -> None:
    # reliawiki.com, Optimum Replacement Time Example: shape 2.5, scale 1000 h, corrective 5, preventive 1; its answer
    # of 493.0470 h is from memory (m).
    found = results("change-interval", shape=2.5, scale="1000 h", cost_planned=1, cost_failure=5)
    assert found["minutes"] / 60 == pytest.approx(493.047, rel=1e-4)


@pytest.mark.parametrize(("shape", "scale", "used"), [(2.5, 60, 45), (1.0, 30, 80), (4.0, 90, 0), (0.7, 50, 20)])
def test_what_is_left_is_the_conditional_law_of_scipy(shape: float, scale: float, used: float) -> None:
    law = stats.weibull_min(shape, scale=scale)
    found = results(
        "remaining-life", shape=shape, scale=f"{scale} min", used=f"{used / 60} h", minutes_per_part=3, batch=6
    )
    for percent, left in found["minutes_left"].items():
        outlast = 1 - int(percent) / 100
        assert left == pytest.approx(law.isf(outlast * law.sf(used)) - used, rel=1e-9, abs=1e-9)
        assert found["parts_left"][percent] == math.floor(left / 3 + 1e-9)
    assert found["chance_of_batch"] == pytest.approx(law.sf(used + 18) / law.sf(used), rel=1e-9)


BEARINGS = [
    # Montgomery and Runger, Applied Statistics and Probability for Engineers, example 4-25, printed 0.334 for shape 1/2
    # and scale 5000 h. A later edition prints 4431 h and 0.237, which belong to shape 2; the definition stands.
    ("3rd edition, shape 1/2", 0.5, 5000, 6000, 0.334, 0.002),
    ("6th edition's numbers, shape 2", 2.0, 5000, 6000, 0.237, 0.002),
    # The same book, problem 4-156 (studyquestionhub.com), printed 0.5273 for shape 2 and scale 10 000 h.
    ("problem 4-156", 2.0, 10000, 8000, 0.5273, 0.0001),
]


@pytest.mark.parametrize(("source", "shape", "scale", "lasts", "printed", "within"), BEARINGS)
def test_the_chance_to_last_of_a_textbook(
    source: str, shape: float, scale: float, lasts: float, printed: float, within: float
) -> None:
    found = results("remaining-life", shape=shape, scale=f"{scale} h", used=0, minutes_per_part=f"{lasts} h", batch=1)
    assert found["chance_of_batch"] == pytest.approx(printed, rel=within), source


@pytest.mark.parametrize(("shape", "printed"), [(0.5, 10000), (2.0, 4431)])
def test_the_mean_life_of_that_textbook(shape: float, printed: float) -> None:
    # The same example: mean 10 000 h for shape 1/2, and 4431 h, printed later, for shape 2. A change that never pays is
    # run to the end, at the failure's cost over the mean life.
    found = results("change-interval", shape=shape, scale="5000 h", cost_planned=1, cost_failure=1)
    assert 1 / found["cost_rate_run_to_failure"] / 60 == pytest.approx(printed, rel=1e-4)


@pytest.mark.parametrize(("scale", "horizon"), [(45, 240), (30, 30), (20, 480)])
def test_edges_that_do_not_age_are_counted_by_poisson(scale: float, horizon: float) -> None:
    law = stats.poisson(horizon / scale)
    found = results("renewal-demand", shape=1, scale=f"{scale} min", horizon=f"{horizon / 60} h", used=17)
    assert found["mean"] == pytest.approx(horizon / scale, rel=1e-3)
    assert found["chance_of_none"] == pytest.approx(law.pmf(0), rel=1e-3)
    assert found["quantiles"] == {str(percent): law.ppf(percent / 100) for percent in (10, 50, 90, 95)}


@pytest.mark.parametrize(("shape", "used", "change_at"), [(3.0, 0, None), (3.0, 30, None), (2.0, 10, 35)])
def test_edges_of_a_stretch_are_those_that_are_drawn(shape: float, used: float, change_at: float | None) -> None:
    # 200 000 stretches of 240 min drawn by NumPy, one life after another, the first known to have lasted `used`.
    draw, scale, horizon = np.random.default_rng(77), 45.0, 240.0
    off = math.inf if change_at is None else change_at
    chance = draw.random(200_000)
    first = scale * ((used / scale) ** shape - np.log(chance)) ** (1 / shape)
    clock, count = np.minimum(first, off) - used, np.zeros(chance.size)
    while (clock <= horizon).any():
        count += clock <= horizon
        clock = clock + np.minimum(scale * draw.weibull(shape, chance.size), off)
    asked = {} if change_at is None else {"change_at": change_at}
    found = results("renewal-demand", shape=shape, scale=scale, horizon=horizon, used=used, **asked)
    error = count.std() / math.sqrt(count.size)
    assert found["mean"] == pytest.approx(count.mean(), abs=5 * error + 0.002 * count.mean())
    for percent, enough in found["quantiles"].items():
        assert (count <= enough).mean() >= int(percent) / 100 - 0.005
        assert (count <= enough - 1).mean() <= int(percent) / 100 + 0.005


REORDERS = [
    Published(
        "sand at a construction supply house",
        "Stevenson, Operations Management (14th ed.), example 8 (fliphtml5.com/cviyu/vkrs): lead-time demand 50 ± 5, "
        "risk 3 %; printed 9.40 and 59.40 with z 1.88",
        "reorder",
        {"daily_demand_mean": 50, "daily_demand_sd": 5, "lead_time_mean": 1, "service": 0.97},
        {"safety_stock": 9.40, "reorder_point": 59.40},
        0.001,
    ),
    Published(
        "carpet, ten days",
        "Taylor, Introduction to Management Science, example of section 16 (flylib.com/books/en/3.287.1.225): 30 ± 5 a "
        "day, 10 days, 95 % with z 1.65; worked, 26.1 and 326.1",
        "reorder",
        {"daily_demand_mean": 30, "daily_demand_sd": 5, "lead_time_mean": 10, "service": 0.95},
        {"safety_stock": 26.1, "reorder_point": 326.1},
        0.005,
    ),
    Published(
        "steady demand, lead time uncertain",
        "brainmass.com/…/468949: 5 a day, 3 ± 2 days, 95 %; worked, deviation 10, so 16.45 and 31.45",
        "reorder",
        {"daily_demand": {"mean": 5}, "lead_time": {"mean": 3, "sd": 2}, "service": 0.95},
        {"safety_stock": 16.45, "reorder_point": 31.45},
        0.0005,
    ),
    Published(
        "12 500 a day, four days give or take one",
        "brainmass.com/…/210800: 97 %, z 1.88 printed; worked, 50 000 + 1.88 · 12 500",
        "reorder",
        {"daily_demand_mean": 12500, "lead_time_mean": 4, "lead_time_sd": 1, "service": 0.97},
        {"reorder_point": 73500},
        0.0005,
    ),
    Published(
        "twelve a day, six days",
        "math.bot, bookstore with 12 ± 5 a day, 6 days, 5 % stockouts, z 1.645 printed; worked, 20.15 and 92.15",
        "reorder",
        {"daily_demand_mean": 12, "daily_demand_sd": 5, "lead_time_mean": 6, "service": 0.95},
        {"safety_stock": 20.15, "reorder_point": 92.15},
        0.0005,
    ),
    Published(
        "umbrellas",
        "questionai.com, umbrella store: 20 ± 4 a day, 10 days, 95 %; printed 20.74 with z 1.64",
        "reorder",
        {"daily_demand_mean": 20, "daily_demand_sd": 4, "lead_time_mean": 10, "service": 0.95},
        {"safety_stock": 20.74},
        0.005,
    ),
    Published(
        "a hundred a day, a reliable supplier",
        "answersarena.com (pa343) a): 100 ± 50 a day, 4 days, 90 %; worked, 400 + 1.28155 · 100",
        "reorder",
        {"daily_demand_mean": 100, "daily_demand_sd": 50, "lead_time_mean": 4, "service": 0.9},
        {"reorder_point": 528.155, "safety_stock": 128.155},
        1e-5,
    ),
    Published(
        "the same with two to six days",
        "answersarena.com (pa343) c): lead time 2, 3, 4, 5 or 6 days alike, deviation √2; worked, 1.28155 · 173.205",
        "reorder",
        {
            "daily_demand_mean": 100, "daily_demand_sd": 50, "lead_time_mean": 4, "lead_time_sd": math.sqrt(2),
            "service": 0.9,
        },
        {"reorder_point": 621.97, "safety_stock": 221.97},
        1e-5,
    ),
    Published(
        "the deviation over nine days",
        "perfectprofs.com/solution-6706: 5 a day over 9 days, 15 among the answers; one deviation is 0.84134",
        "reorder",
        {"daily_demand_mean": 10, "daily_demand_sd": 5, "lead_time_mean": 9, "service": 0.8413447},
        {"safety_stock": 15},
        1e-6,
    ),
    Published(
        "order quantity for 1000 a year",
        "csr.engine.ac.nz/encuentra/14280353: 1000 a year, 150 an order, 25 % of 10; printed 346",
        "reorder",
        {
            "daily_demand_mean": 1000 / 365, "lead_time_mean": 5, "price": 10, "holding_rate": 0.25, "order_cost": 150,
        },
        {"eoq": 346.41, "order_quantity": 347},
        1e-5,
    ),
    Published(
        "order quantity for 5000 a year",
        "questionai.com, EOQ of 5000 a year at 10 an order and 1 a year to hold; worked, √100 000",
        "reorder",
        {"daily_demand_mean": 5000 / 365, "lead_time_mean": 5, "price": 10, "holding_rate": 0.1, "order_cost": 10},
        {"eoq": 316.228},
        1e-5,
    ),
]  # fmt: skip


@pytest.mark.parametrize("check", REORDERS, ids=str)
def test_reorder_agrees_with_what_is_published(check: Published) -> None:
    agrees(check)


@pytest.mark.parametrize("service", [0.5, 0.9, 0.99])
def test_the_reorder_point_is_a_quantile_of_the_demand_drawn(service: float) -> None:
    # Lead times in days from a gamma law, each day's demand normal; the working's normal law holds within 5 %.
    draw = np.random.default_rng(5)
    days = draw.gamma((20 / 4) ** 2, 4**2 / 20, 100_000)
    demand = 40 * days + 12 * np.sqrt(days) * draw.standard_normal(days.size)
    found = results("reorder", daily_demand={"mean": 40, "sd": 12}, lead_time={"mean": 20, "sd": 4}, service=service)
    assert found["reorder_point"] == pytest.approx(np.quantile(demand, service), rel=0.05)
    assert found["reorder_point"] == pytest.approx(stats.norm(800, math.hypot(12 * math.sqrt(20), 160)).ppf(service))
