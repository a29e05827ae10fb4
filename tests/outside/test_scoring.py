"""Scores of forecasts, against `checks/supply.json` (S-F01, S-F03, S-F05, S-F06; sources there)."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm, weibull_min

from calc.errors import WorkingError
from calc.life.law_scores import crps_weibull, log_score_weibull, pit_weibull
from calc.life.scoring import (
    brier_score,
    coverage,
    crps_point,
    crps_quantiles,
    interval_score,
    pinball_loss,
    skill,
)

ENTRIES = {e["id"]: e for e in json.loads((Path(__file__).parent / "checks" / "supply.json").read_text())}


def wanted(key: str, name: str) -> object:
    expected = ENTRIES[key]["expected"][name]
    return pytest.approx(expected["value"], rel=expected["rel_tol"])


def test_quantile_and_interval_scores_S_F01() -> None:
    # The entry's normal and ensemble scores do not apply: our forecasts are Weibull laws, scored in closed form.
    i = ENTRIES["S-F01"]["inputs"]
    came, low, mid, high = (i[name] for name in ("observed_min", "q10", "q50", "q90"))
    for level, quantile in ((0.1, low), (0.5, mid), (0.9, high)):
        assert pinball_loss(came, quantile, level).mean() == wanted("S-F01", f"pinball_{level}")
    assert coverage(came, low, high) == wanted("S-F01", "coverage_80")
    assert interval_score(came, low, high, 0.8).mean() == wanted("S-F01", "interval_score_80_mean")


def test_brier_score_S_F03() -> None:
    # The entry's log loss and calibration error do not apply: no page shows them.
    i = ENTRIES["S-F03"]["inputs"]
    assert brier_score(i["p"], i["outcome"]) == wanted("S-F03", "brier")


def test_crps_of_new_edges_S_F05() -> None:
    for number, case in enumerate(ENTRIES["S-F05"]["inputs"]["cases"], start=1):
        assert float(crps_weibull(case["y"], case["shape"], case["scale"])) == wanted("S-F05", f"crps_{number}")


def test_scores_of_what_is_left_S_F06() -> None:
    i = ENTRIES["S-F06"]["inputs"]
    law = i["observed_remaining_min"], i["shape"], i["scale_min"], i["age_min"]
    assert float(crps_weibull(*law)) == wanted("S-F06", "crps")
    assert float(pit_weibull(*law)) == wanted("S-F06", "pit")
    assert float(log_score_weibull(*law)) == wanted("S-F06", "log_score_negative_log_density")


@pytest.mark.parametrize(("came", "age"), [(5.0, 0.0), (25.0, 20.0), (60.0, 40.0)])
def test_an_edge_taken_off_early_is_scored_as_far_as_it_was_seen(came: float, age: float) -> None:
    # Source: direct integration by scipy of the squared distance up to the moment of taking off.
    def fallen(x: float) -> float:
        return float(pit_weibull(x, 2.5, 45, age)) ** 2

    direct, _ = quad(fallen, 0, came)
    assert float(crps_weibull(came, 2.5, 45, age, ended=False)) == pytest.approx(direct, rel=1e-9)
    assert crps_weibull(came, 2.5, 45, age) > direct


KEPT = np.arange(0.05, 0.96, 0.05)
FINE = np.linspace(0.0005, 0.9995, 2000)


def left_of(levels: np.ndarray, shape: float, scale: float, age: float) -> np.ndarray:
    """Quantiles of the minutes left, by scipy's Weibull law of a new edge."""
    law = weibull_min(shape, scale=scale)
    return np.asarray(law.isf((1 - levels) * law.sf(age)) - age)


def test_quantiles_of_the_normal_law_score_as_its_closed_form_S_F01() -> None:
    i = ENTRIES["S-F01"]["inputs"]
    said = np.maximum(norm.ppf(FINE[:, None], i["normal_mean"], i["normal_sd"]).T, 0.0)  # no minutes below nothing
    assert crps_quantiles(i["observed_min"], said, FINE).mean() == pytest.approx(3.50125208846, rel=1e-4)


@pytest.mark.parametrize(("levels", "close"), [(FINE, 2e-4), (KEPT, 0.02)])
@pytest.mark.parametrize("ended", [True, False])
@pytest.mark.parametrize(("shape", "age"), [(3.0, 0.0), (3.0, 30.0), (1.0, 0.0), (1.4, 10.0), (6.0, 45.0)])
def test_quantiles_score_as_the_law_that_they_come_from(
    shape: float, age: float, ended: bool, levels: np.ndarray, close: float
) -> None:
    # Source: the closed form for the Weibull law, itself checked above; the nineteen levels kept cost 2 % at most.
    said, came = left_of(levels, shape, 50.0, age), np.linspace(0.0, 120.0, 25)
    wanted = crps_weibull(came, shape, 50.0, age, ended=ended)
    found = crps_quantiles(came, np.tile(said, (came.size, 1)), levels, [ended] * came.size)
    assert found == pytest.approx(wanted, rel=close, abs=close)


def test_the_score_by_quantiles_is_the_area_between_the_lines_it_draws() -> None:
    # Source: direct integration by scipy of the broken line and its exponential tail.
    said, levels, came = np.array([10.0, 10.0, 22.0, 40.0]), np.array([0.1, 0.4, 0.5, 0.9]), 55.0
    decay = 18 / np.log(0.5 / 0.1)

    def chance(x: float) -> float:
        below = np.interp(x, [0.0, 10.0, 10.0000001, 22.0, 40.0], [0.0, 0.1, 0.4, 0.5, 0.9])
        return float(below if x <= 40 else 1 - 0.1 * np.exp(-(x - 40) / decay))

    before, _ = quad(lambda x: chance(x) ** 2, 0, came, points=[10.0, 22.0, 40.0], epsabs=1e-9)
    after, _ = quad(lambda x: (1 - chance(x)) ** 2, came, 400)
    assert float(crps_quantiles(came, said[None], levels)[0]) == pytest.approx(before + after, rel=1e-6)
    assert float(crps_quantiles(came, said[None], levels, False)[0]) == pytest.approx(before, rel=1e-6)


def test_a_forecast_sure_of_one_value_scores_as_that_value() -> None:
    came, ended = [12.0, 30.0, 30.0, 12.0], [True, True, False, False]
    sure = np.tile([20.0, 20.0], (4, 1))
    assert crps_point(came, 20.0, ended).tolist() == [8.0, 10.0, 10.0, 0.0]
    near = crps_quantiles(came, sure, [1e-9, 1 - 1e-9], ended)
    assert near == pytest.approx([8.0, 10.0, 10.0, 0.0], abs=1e-6)


def test_the_honest_forecast_scores_best_also_where_edges_are_taken_off() -> None:
    # A score is proper when nobody gains by saying something else than what they believe; by simulation, with lives
    # from numpy's Weibull law and edges taken off at random.
    draw = np.random.default_rng(5)
    lives, off = 50 * draw.weibull(2.5, 20_000), draw.uniform(20, 90, 20_000)
    came, ended = np.minimum(lives, off), lives < off

    def mean(scale: float, shape: float) -> float:
        said = left_of(KEPT, shape, scale, 0.0)
        return float(crps_quantiles(came, np.tile(said, (came.size, 1)), KEPT, ended).mean())

    honest = mean(50, 2.5)
    assert all(honest < mean(*other) for other in ((40, 2.5), (62, 2.5), (50, 1.5), (50, 5.0)))


def test_a_shop_that_changes_at_a_count_does_not_make_the_count_look_like_a_forecast() -> None:
    # By simulation: every edge comes off at 40 min unless it ended before. Scored beyond what would have been watched,
    # whoever says that all edges end at 40 min looks better than the law they are drawn from.
    draw = np.random.default_rng(6)
    lives = 60 * draw.weibull(3.0, 20_000)
    came, ended = np.minimum(lives, 40.0), lives < 40.0
    said = np.tile(left_of(KEPT, 3.0, 60.0, 0.0), (came.size, 1))

    def mean(watched: float) -> tuple[float, float]:
        honest = crps_quantiles(came, said, KEPT, ended, [[watched]]).mean()
        return float(honest), float(crps_point(came, 40.0, ended, [[watched]]).mean())

    honest, count = mean(np.inf)
    assert honest > count
    honest, count = mean(40.0)
    assert honest < 0.9 * count


def test_minutes_weigh_as_the_chance_that_they_are_watched() -> None:
    # Source: direct integration by scipy of the squared distance, weighed by the share of three guesses beyond.
    said, came, guesses = left_of(FINE, 2.5, 45.0, 0.0), 20.0, np.array([25.0, 50.0, 70.0])

    def weighed(x: float) -> float:
        return float((1 - pit_weibull(x, 2.5, 45)) ** 2 * (guesses > x).mean())

    before = float(crps_weibull(came, 2.5, 45, ended=False))
    after = sum(quad(weighed, start, stop)[0] for start, stop in ((20, 25), (25, 50), (50, 70)))
    assert crps_quantiles(came, said[None], FINE, True, guesses[None])[0] == pytest.approx(before + after, rel=1e-4)


def test_skill_is_the_share_saved_and_its_range_holds_the_truth_as_often_as_it_says() -> None:
    # Two rivals whose mean losses are 3 and 4: a skill of a quarter. The 80 % range of 300 shops of 60 edges holds it.
    draw, held = np.random.default_rng(11), 0
    for shop in range(300):
        hard = draw.gamma(2.0, 1.0, (60, 1))
        _, span = skill(3 * hard * draw.gamma(4, 0.25, (60, 1)), 4 * hard * draw.gamma(4, 0.25, (60, 1)), seed=shop)
        held += bool(span[0, 0] <= 0.25 <= span[0, 1])
    assert 0.73 < held / 300 < 0.87
    again = skill([[1.0], [3.0]], [[2.0], [2.0]])
    assert again[0].tolist() == [0.0]
    assert np.array_equal(again[1], skill([[1.0], [3.0]], [[2.0], [2.0]])[1])


def test_against_a_rival_without_loss_there_is_no_skill() -> None:
    share, span = skill([[1.0, 1.0]], [[0.0, 2.0]])
    assert np.isnan(share[0])
    assert np.isnan(span[0]).all()
    assert share[1] == 0.5


def test_bad_input_is_named() -> None:
    for call, field in (
        (lambda: crps_quantiles([1.0], [[3, 2]], [0.2, 0.8]), "quantiles"),
        (lambda: crps_quantiles([1.0, 2.0], [[1, 2]], [0.2, 0.8]), "quantiles"),
        (lambda: crps_quantiles([1.0], [[1, 2]], [0.8, 0.2]), "levels"),
        (lambda: crps_quantiles([1.0], [[1, 2]], [0.2, 1.0]), "levels"),
        (lambda: crps_quantiles([1.0], [[1]], [0.2]), "levels"),
        (lambda: crps_quantiles([-1.0], [[1, 2]], [0.2, 0.8]), "observed"),
        (lambda: crps_point([1.0], [-2.0]), "said"), (lambda: skill([[1.0]], [[1.0], [2.0]]), "theirs"),
        (lambda: skill([1.0], [1.0]), "theirs"), (lambda: skill(np.empty((0, 1)), np.empty((0, 1))), "theirs"),
        (lambda: pinball_loss([1.0], [1.0], 1.0), "level"), (lambda: coverage([], [], []), "observed"),
        (lambda: crps_weibull(-1, 2, 40), "observed"), (lambda: crps_weibull(1, 0, 40), "shape"),
        (lambda: pit_weibull(1, 2, np.nan), "scale"), (lambda: pit_weibull(1, 2, 40, -1), "used"),
        (lambda: brier_score([1.2], [True]), "chance"), (lambda: brier_score([], []), "chance"),
    ):  # fmt: skip
        with pytest.raises(WorkingError) as refused:
            call()
        assert refused.value.argument == field
