"""The life law with its two ends, its change and its scores, against lifelines (MIT) and SciPy (BSD)."""

from typing import Any

import numpy as np
import pandas as pd  # type: ignore[import-untyped] # comes with lifelines, without its stubs
import pytest
from lifelines import AalenJohansenFitter, KaplanMeierFitter, WeibullAFTFitter, WeibullFitter
from scipy import integrate, optimize, special, stats

from calc.life.fitting import breakage_belief, fit, flat_prior, lives
from calc.life.kaplan_meier import lives_seen, median_seen
from calc.life.law_scores import crps_weibull
from calc.life.predictive import belief, lasting, remaining
from calc.life.replacement import believed_change, change_age, change_parts
from calc.life.survival import life_law, survival, time_outlasted

TRUE_LOGS = np.array([-2.5, -0.8, -0.3, -0.4])


def cut(seed: int, edges: int, off: tuple[float, float]) -> tuple[Any, Any, Any]:
    """Minutes, ended marks and ln vc, feed, depth and width of edges, of which those taken off early are censored."""
    draw = np.random.default_rng(seed)
    logs = draw.normal(0, [0.25, 0.3, 0.4, 0.4], (edges, 4))
    scale = np.exp(4 + logs @ TRUE_LOGS)
    worn = scale * draw.weibull(2.6, edges)
    taken = scale * draw.uniform(*off, edges)
    return np.minimum(worn, taken), worn <= taken, logs


@pytest.mark.parametrize(("seed", "off"), [(1, (0.5, 2.0)), (2, (0.2, 1.0)), (3, (0.1, 0.7))])
def test_four_figures_and_heavy_censoring_fit_as_in_lifelines(seed: int, off: tuple[float, float]) -> None:
    minutes, ended, logs = cut(seed, 80, off)
    ours = fit(lives([0] * 80, ended, minutes, np.column_stack([np.ones(80), logs])), flat_prior(1, 5))
    names = ["ln_vc", "ln_feed", "ln_depth", "ln_width"]
    frame = pd.DataFrame(logs, columns=names).assign(minutes=minutes, ended=ended)
    theirs = WeibullAFTFitter().fit(frame, duration_col="minutes", event_col="ended")
    wanted = [theirs.params_["lambda_", name] for name in ["Intercept", *names]]
    assert ours.coefficients[0] == pytest.approx(wanted, rel=1e-4, abs=1e-4)
    assert ours.log_shape[0] == pytest.approx(theirs.params_["rho_", "Intercept"], rel=1e-4, abs=1e-4)
    assert ours.log_likelihood[0] == pytest.approx(theirs.log_likelihood_, rel=1e-7)
    order = [("lambda_", name) for name in ["Intercept", *names]] + [("rho_", "Intercept")]
    errors = theirs.standard_errors_.loc[order].to_numpy()
    assert np.sqrt(np.diag(ours.covariance[0])) == pytest.approx(errors, rel=2e-3)


def test_an_edge_of_several_stretches_at_one_duty_is_the_edge_of_lifelines() -> None:
    minutes, ended, logs = cut(4, 60, (0.4, 1.6))
    parts = np.random.default_rng(5).dirichlet([1, 1, 1], 60) * minutes[:, None]
    duty = np.column_stack([np.ones(60), logs[:, :1]])
    data = lives([0] * 60, ended, parts.ravel(), np.repeat(duty, 3, axis=0), np.repeat(np.arange(60), 3))
    ours = fit(data, flat_prior(1, 2))
    frame = pd.DataFrame({"minutes": minutes, "ended": ended, "ln_vc": logs[:, 0]})
    theirs = WeibullAFTFitter().fit(frame, duration_col="minutes", event_col="ended")
    wanted = [theirs.params_["lambda_", name] for name in ("Intercept", "ln_vc")]
    assert ours.coefficients[0] == pytest.approx(wanted, rel=1e-4, abs=1e-4)
    assert ours.log_shape[0] == pytest.approx(theirs.params_["rho_", "Intercept"], rel=1e-4)


def both_ends(seed: int, edges: int) -> tuple[Any, Any]:
    """Minutes, and 1 for worn, 2 for broken, 0 for taken off, of edges that either may end."""
    draw = np.random.default_rng(seed)
    each = np.column_stack([draw.uniform(30, 140, edges), 60 * draw.weibull(3.0, edges), draw.exponential(150, edges)])
    return each.min(axis=1), each.argmin(axis=1)


def test_each_end_is_fitted_with_the_other_as_taken_off() -> None:
    minutes, end = both_ends(11, 400)
    ours = fit(lives([0] * 400, end == 1, minutes, np.ones((400, 1))), flat_prior(1, 1))
    theirs = WeibullFitter().fit(minutes, end == 1)
    assert np.exp(ours.coefficients[0, 0]) == pytest.approx(theirs.lambda_, rel=1e-4)
    assert np.exp(ours.log_shape[0]) == pytest.approx(theirs.rho_, rel=1e-4)
    broken, watched = breakage_belief((end == 2).sum(), minutes.sum())
    # A constant chance per minute: SciPy's exponential law with right censoring.
    _, mean = stats.expon.fit(stats.CensoredData(uncensored=minutes[end == 2], right=minutes[end != 2]), floc=0)
    assert float(broken / watched) == pytest.approx(1 / mean, rel=1e-4)


def test_the_share_of_each_end_is_that_seen_without_any_law() -> None:
    # Aalen and Johansen's estimate of lifelines, which knows neither Weibull nor a constant rate.
    minutes, end = both_ends(12, 4000)
    ours = fit(lives([0] * 4000, end == 1, minutes, np.ones((4000, 1))), flat_prior(1, 1))
    broken, watched = breakage_belief((end == 2).sum(), minutes.sum())
    law = life_law(np.exp(ours.log_shape[0]), np.exp(ours.coefficients[0, 0]), broken / watched)
    ages = np.array([20.0, 40.0, 60.0, 80.0])
    by_breakage = law.breakage * np.array([float(time_outlasted(age, law)) for age in ages])
    by_wear = 1 - survival(ages, *law) - by_breakage
    for event, share in ((1, by_wear), (2, by_breakage)):
        seen = AalenJohansenFitter(calculate_variance=False).fit(minutes, end, event_of_interest=event)
        curve = seen.cumulative_density_.iloc[:, 0]
        assert share == pytest.approx([curve[curve.index <= age].iloc[-1] for age in ages], abs=0.02)


@pytest.mark.parametrize("ratio", [2.0, 5.0, 20.0, 100.0])
@pytest.mark.parametrize("shape", [1.2, 1.5, 2.0, 3.0, 4.5, 6.0])
def test_the_change_age_over_shapes_and_costs_is_that_of_the_direct_minimum(shape: float, ratio: float) -> None:
    law = stats.weibull_min(shape, scale=50.0)

    def rate(age: float) -> float:
        lasted = law.mean() * special.gammainc(1 / shape, (age / 50.0) ** shape)  # the integral of sf in closed form
        return float((law.sf(age) + ratio * law.cdf(age)) / lasted)

    for age in (5.0, 40.0):
        lasted, _ = integrate.quad(law.sf, 0, age, epsabs=1e-12, epsrel=1e-12)
        assert rate(age) == pytest.approx((law.sf(age) + ratio * law.cdf(age)) / lasted, rel=1e-10)
    direct = optimize.minimize_scalar(rate, bounds=(0.1, law.isf(1e-4)), method="bounded", options={"xatol": 1e-9})
    to_end = ratio / law.mean()
    ours = change_age(shape, 50.0, 1.0, ratio)
    assert float(ours.cost_rate) == pytest.approx(min(direct.fun, to_end), rel=1e-6)
    assert float(ours.cost_rate_to_end) == pytest.approx(to_end, rel=1e-6)
    if direct.fun < to_end * (1 - 1e-4):
        assert float(ours.minutes) == pytest.approx(direct.x, rel=1e-3)
        each = float(ours.minutes) / 7.3
        costs = [rate(parts * each) for parts in range(1, 41)]
        whole = 1 + int(np.argmin(costs))
        assert int(change_parts(shape, 50.0, 1.0, ratio, each).parts) == whole
        believed = believed_change(belief(np.log(50.0), np.log(shape)), 1.0, ratio, each)
        # It looks at every second part or fewer where many go into a life, and sums between them.
        assert costs[int(believed.parts[0]) - 1] == pytest.approx(min(costs), rel=5e-3)
        assert float(believed.cost_rate[0]) == pytest.approx(costs[int(believed.parts[0]) - 1], rel=5e-4)


def test_a_belief_changes_where_the_averaged_law_costs_least() -> None:
    # Ten thousand laws drawn from the belief by NumPy, their survival averaged and integrated by the trapezoid.
    draw = np.random.default_rng(3)
    laws = draw.multivariate_normal([np.log(60), np.log(2.5)], [[0.09, 0.01], [0.01, 0.06]], 10_000)
    ages = np.linspace(0, 240, 1201)
    alive = np.mean([np.exp(-((ages / np.exp(scale)) ** np.exp(shape))) for scale, shape in laws], axis=0)
    lasted = integrate.cumulative_trapezoid(alive, ages, initial=0)
    parts = np.arange(1, 41)
    at = parts * 30  # six minutes a part, five steps a minute
    costs = (5 * alive[at] + 40 * (1 - alive[at])) / lasted[at]
    ours = believed_change(belief(np.log(60), np.log(2.5), 0.09, 0.06, 0.01), 5.0, 40.0, 6.0)
    assert abs(int(ours.parts[0]) - int(parts[np.argmin(costs)])) <= 1
    assert float(ours.cost_rate[0]) == pytest.approx(costs.min(), rel=0.01)
    assert lasting(at[4] / 5, 0.0, belief(np.log(60), np.log(2.5), 0.09, 0.06, 0.01))[0] == pytest.approx(
        alive[at[4]], abs=0.01
    )


def test_what_is_left_under_a_belief_is_what_drawn_edges_have_left() -> None:
    # 400,000 edges drawn by NumPy, each with a law of its own from the belief; those that outlast 35 min are kept.
    draw = np.random.default_rng(17)
    laws = draw.multivariate_normal([np.log(60), np.log(2.5)], [[0.09, -0.02], [-0.02, 0.06]], 400_000)
    found = np.exp(laws[:, 0]) * draw.weibull(np.exp(laws[:, 1]))
    found = np.minimum(found, draw.exponential(1 / draw.gamma(2.0, 1 / 600.0, found.size)))
    left = found[found > 35] - 35
    ours = remaining(35.0, belief(np.log(60), np.log(2.5), 0.09, 0.06, -0.02, 2.0, 600.0))[0]
    # The belief about breakage is not moved by the minutes already cut; that is small beside the wear.
    assert ours == pytest.approx(np.percentile(left, (10, 50, 90)), rel=0.03)


@pytest.mark.parametrize("seed", [21, 22, 23])
def test_the_lives_as_they_were_are_those_of_lifelines(seed: int) -> None:
    draw = np.random.default_rng(seed)
    minutes, ended = draw.integers(5, 60, 50).astype(float), draw.random(50) < 0.6
    curve = lives_seen(minutes, ended)
    theirs = KaplanMeierFitter().fit(minutes, ended)
    seen = theirs.survival_function_.iloc[:, 0]
    assert curve.outlasted == pytest.approx(seen.loc[curve.minutes].to_numpy(), abs=1e-12)
    assert median_seen(curve) == theirs.median_survival_time_


@pytest.mark.parametrize(("shape", "scale", "used", "came"), [(2.5, 50, 0, 40), (1.2, 80, 30, 5), (5, 40, 35, 12)])
def test_the_score_of_a_forecast_is_its_mean_distance_less_half_its_spread(
    shape: float, scale: float, used: float, came: float
) -> None:
    # The other form of the score, E|X - y| - E|X - X'| / 2, on 200,000 draws of the minutes left.
    draw = np.random.default_rng(31)
    spent = (used / scale) ** shape
    first, second = scale * (spent + draw.exponential(1.0, (2, 200_000))) ** (1 / shape) - used
    direct = np.abs(first - came).mean() - np.abs(first - second).mean() / 2
    assert float(crps_weibull(came, shape, scale, used)) == pytest.approx(direct, rel=0.01, abs=0.03)
