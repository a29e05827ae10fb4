"""Learning lives: groups together, priors, and what cannot be learnt."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life import fitting, likelihood
from calc.life.fitting import breakage_belief, fit, flat_prior, lives, normal_prior, scale_at
from calc.life.predictive import belief, remaining

ONES = np.ones((4, 1))


def test_groups_fitted_together_are_those_fitted_alone() -> None:
    draw = np.random.default_rng(5)
    group = draw.integers(0, 6, 120)
    minutes, ended = 50 * draw.weibull(2.0, 120), draw.random(120) < 0.7
    together = fit(lives(group, ended, minutes, np.ones((120, 1))), flat_prior(6, 1))
    for row in range(6):
        mine = group == row
        alone = fit(lives(np.zeros(mine.sum()), ended[mine], minutes[mine], np.ones((mine.sum(), 1))), flat_prior(1, 1))
        assert together.coefficients[row] == pytest.approx(alone.coefficients[0], abs=1e-8)
        assert together.covariance[row] == pytest.approx(alone.covariance[0], abs=1e-8)


def test_an_edge_split_over_two_stretches_of_one_duty_counts_as_one() -> None:
    whole = fit(lives([0] * 4, [1, 1, 1, 0], [31, 44, 52, 60], ONES), flat_prior(1, 1))
    split = fit(
        lives([0] * 4, [1, 1, 1, 0], [31, 20, 24, 52, 60], np.ones((5, 1)), edge=[0, 1, 1, 2, 3]), flat_prior(1, 1)
    )
    assert split.coefficients == pytest.approx(whole.coefficients, abs=1e-9)
    assert split.covariance == pytest.approx(whole.covariance, rel=1e-6)


def test_the_slope_and_curvature_are_those_of_the_level() -> None:
    draw = np.random.default_rng(8)
    data = lives(
        [0] * 5, [1, 0, 1, 1, 0], draw.uniform(5, 40, 9), np.column_stack([np.ones(9), draw.normal(0, 0.4, 9)]),
        edge=[0, 0, 1, 2, 2, 2, 3, 4, 4],
    )  # fmt: skip
    posterior = likelihood._Likelihood(data, normal_prior([[3.0, -1.0, 0.7]], [[1.0, 0.5, 0.3]]), np.array([0]))
    at, step = np.array([[3.2, -1.4, 0.6]]), 1e-5
    _, slope, curve = posterior.derivatives(at)
    for place in range(3):
        move = np.eye(3)[place] * step
        above, below = posterior.derivatives(at + move), posterior.derivatives(at - move)
        assert slope[0, place] == pytest.approx(float(above[0][0] - below[0][0]) / (2 * step), rel=1e-5)
        assert curve[0, place] == pytest.approx((above[1][0] - below[1][0]) / (2 * step), rel=1e-4, abs=1e-6)


def test_two_duties_on_each_edge_teach_the_effect_of_speed() -> None:
    draw = np.random.default_rng(12)
    edges = 4000
    speeds = np.exp(draw.normal(0, 0.4, (edges, 2)))
    scale = 50 * speeds**-2.0
    first = draw.uniform(5, 25, edges)
    exposure = draw.weibull(2.5, edges)
    second = np.maximum((exposure - first / scale[:, 0]) * scale[:, 1], 0.0)
    short = second <= 0
    minutes = np.where(short, exposure * scale[:, 0], first)
    table = [(e, minutes[e], np.log(speeds[e, 0])) for e in range(edges)]
    table += [(e, second[e], np.log(speeds[e, 1])) for e in range(edges) if not short[e]]
    edge, cut, log_speed = map(np.array, zip(*table, strict=True))
    data = lives(np.zeros(edges), np.ones(edges), cut, np.column_stack([np.ones(cut.size), log_speed]), edge)
    answer = fit(data, flat_prior(1, 2))
    assert answer.coefficients[0] == pytest.approx([np.log(50), -2.0], abs=0.05)
    assert np.exp(answer.log_shape[0]) == pytest.approx(2.5, rel=0.05)


def test_with_no_edges_the_answer_is_the_prior() -> None:
    prior = normal_prior([[4.0, 0.9], [3.0, 0.5]], [[0.4, 0.2], [0.3, 0.1]])
    answer = fit(lives([1], [True], [22], [[1.0]]), prior)
    assert answer.coefficients[0, 0] == 4.0
    assert np.sqrt(np.diag(answer.covariance[0])) == pytest.approx([0.4, 0.2])
    assert answer.converged[0]


def test_all_censored_moves_a_prior_up_and_never_narrows_below_what_was_seen() -> None:
    prior = normal_prior([[4.0, 0.9]], [[0.5, 0.3]])
    answer = fit(lives([0, 0, 0], [0, 0, 0], [60, 80, 75], np.ones((3, 1))), prior)
    assert answer.converged[0]
    assert answer.coefficients[0, 0] > 4.0


def test_few_ends_leave_a_wide_range_and_many_a_narrow_one() -> None:
    draw = np.random.default_rng(4)
    prior = normal_prior([[4.0, 0.9]], [[0.8, 0.4]])
    widths = []
    for count in (0, 3, 30, 300):
        minutes = 55 * draw.weibull(2.4, max(count, 1))
        data = lives(
            [0] * minutes.size, [count > 0] * minutes.size, minutes if count else [0.001], np.ones((minutes.size, 1))
        )
        numbers = scale_at(fit(data, prior), [0], [[1.0]])
        low, _, high = remaining(0, belief(*numbers))[0]
        widths.append(high / low)
    assert widths[0] > widths[1] > widths[3]
    assert widths[1] > 1.2 * widths[3]


@pytest.mark.parametrize(
    ("ended", "minutes", "duty", "reason"),
    [
        ([0, 0, 0, 0], [31, 44, 52, 60], ONES, fitting.NO_ENDS),
        ([1, 1, 1, 1], [40, 40, 40, 40], ONES, fitting.TOO_FEW),
        ([1, 0, 0, 0], [60, 31, 44, 52], ONES, fitting.TOO_FEW),
        ([1, 1, 1, 0], [31, 44, 52, 60], np.ones((4, 2)), fitting.NOT_TOLD_APART),
    ],
)
def test_a_group_that_cannot_be_fitted_says_why(ended: list[int], minutes: list[float], duty: Any, reason: str) -> None:
    answer = fit(lives([0] * 4, ended, minutes, duty), flat_prior(1, duty.shape[1]))
    assert not answer.converged[0]
    assert answer.reason[0] == reason
    assert np.isnan(answer.coefficients).all()
    assert np.isnan(answer.covariance).all()


def test_one_bad_group_does_not_spoil_its_neighbour() -> None:
    data = lives([0] * 4 + [1] * 4, [1, 1, 1, 0] + [0] * 4, [31, 44, 52, 60] * 2, np.ones((8, 1)))
    answer = fit(data, flat_prior(2, 1))
    assert answer.converged.tolist() == [True, False]
    assert np.exp(answer.coefficients[0, 0]) == pytest.approx(53.702, rel=1e-4)


def test_separated_duties_run_away_under_a_flat_prior_and_settle_under_a_proper_one() -> None:
    # No edge ended at the slow speed: the effect of speed has no finite most likely value.
    duty = np.array([[1.0, -1.0]] * 4 + [[1.0, 1.0]] * 4)
    data = lives([0] * 8, [0, 0, 0, 0, 1, 1, 1, 1], [30, 40, 50, 60, 10, 14, 9, 12], duty)
    flat = fit(data, flat_prior(1, 2))
    proper = fit(data, normal_prior([[3.0, -1.0, 0.9]], [[1.0, 0.5, 0.3]]))
    assert not flat.converged[0]
    assert flat.reason[0] == fitting.NOT_SETTLED
    assert proper.converged[0]


def test_absurd_lives_end_in_an_answer_or_a_reason_never_in_a_crash() -> None:
    minutes = [1e-9, 1e9, 3.0, 2e5, 1e-3, 7.0]
    data = lives([0] * 6, [1, 1, 0, 1, 1, 1], minutes, np.ones((6, 1)))
    flat, proper = fit(data, flat_prior(1, 1)), fit(data, normal_prior([[4.0, 0.9]], [[0.5, 0.3]]))
    assert flat.converged[0] or flat.reason[0]
    assert proper.converged[0] or proper.reason[0]
    assert np.isfinite(proper.coefficients).all()


def test_a_proper_prior_is_answered_where_the_fit_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(likelihood, "MOST_STEPS", 1)
    prior = normal_prior([[4.0, 0.9]], [[0.5, 0.3]])
    answer = fit(lives([0] * 4, [1, 1, 1, 0], [3, 4, 5, 6], ONES), prior)
    assert answer.reason[0] == fitting.NOT_SETTLED
    assert answer.coefficients[0, 0] == 4.0
    assert np.sqrt(np.diag(answer.covariance[0])) == pytest.approx([0.5, 0.3])


@settings(max_examples=30, deadline=None)
@given(st.floats(1, 300))
def test_at_a_fixed_shape_a_further_censored_edge_never_lowers_the_scale(minutes: float) -> None:
    # A prior spread of a millionth holds the shape where it is.
    prior = normal_prior([[0.0, np.log(2.5)]], [[np.inf, 1e-6]])
    before = fit(lives([0] * 4, [1, 1, 1, 0], [31, 44, 52, 60], ONES), prior)
    after = fit(lives([0] * 5, [1, 1, 1, 0, 0], [31, 44, 52, 60, minutes], np.ones((5, 1))), prior)
    assert after.coefficients[0, 0] >= before.coefficients[0, 0] - 1e-7


@pytest.mark.parametrize(
    ("arguments", "at_fault"),
    [
        (([0], [True], [10], [1.0]), "duty"),
        (([0, 0], [True], [10, 20], [[1.0], [1.0]]), "ended"),
        (([], [], [], np.ones((0, 1))), "ended"),
        (([-1], [True], [10], [[1.0]]), "ended"),
        (([0, 0], [True, True], [10, 20], [[1.0], [1.0]], [0, 0]), "minutes"),
        (([0], [True], [-5], [[1.0]]), "minutes"),
    ],
)
def test_lives_that_do_not_fit_together_are_refused(arguments: tuple[Any, ...], at_fault: str) -> None:
    with pytest.raises(WorkingError) as refused:
        lives(*arguments)
    assert refused.value.argument == at_fault


def test_a_prior_must_match_the_lives() -> None:
    data = lives([0] * 4, [1, 1, 1, 0], [31, 44, 52, 60], ONES)
    with pytest.raises(WorkingError):
        fit(data, flat_prior(1, 2))
    with pytest.raises(WorkingError):
        fit(lives([3] * 4, [1, 1, 1, 0], [31, 44, 52, 60], ONES), flat_prior(1, 1))
    with pytest.raises(WorkingError) as refused:
        normal_prior([[4.0, 1.0]], [[0.5, 0.0]])
    assert refused.value.argument == "standard_deviation"


def test_nothing_known_of_breakage_is_refused() -> None:
    with pytest.raises(WorkingError):
        breakage_belief(0, 0)
    with pytest.raises(WorkingError):
        breakage_belief(-1, 100)
    shape, rate = breakage_belief([0, 4], [500, 500], 0.5, 400)
    assert (shape / rate).tolist() == pytest.approx([0.5 / 900, 4.5 / 900])
