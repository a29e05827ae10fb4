"""What is left of an edge: laws that always hold, and what is refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.errors import WorkingError
from calc.life import batch, survival
from calc.life.kaplan_meier import ends_against_due, life_table, lives_seen, median_seen, where_it_fell
from calc.life.predictive import belief, lasting, life_survival, mean_time_outlasted, remaining, survival_band

SHAPES, SCALES = st.floats(0.4, 8), st.floats(1, 500)


@settings(deadline=None)
@given(st.floats(0, 300), SHAPES, SCALES, st.sampled_from([0.0, 0.002, 0.05]))
def test_a_percentile_of_what_is_left_is_outlasted_by_its_share(
    used: float, shape: float, scale: float, breakage: float
) -> None:
    used = min(used, 3 * scale)
    left = survival.remaining_minutes(used, shape, scale, breakage)
    # Next to a life long past, the minutes left drown in the rounding of the age itself.
    if left[0] > 1e-6 * used:
        chance = survival.chance_of_lasting(left, used, shape, scale, breakage)
        assert chance == pytest.approx([0.9, 0.5, 0.1], abs=1e-6)


@settings(deadline=None)
@given(st.floats(0, 200), st.floats(0.01, 50), st.floats(1.01, 8), SCALES, st.floats(0.2, 20))
def test_more_minutes_never_raise_the_parts_left_of_an_edge_that_ages(
    used: float, more: float, shape: float, scale: float, each: float
) -> None:
    before = batch.parts_left(used, each, shape, scale)
    assert np.all(batch.parts_left(used + more, each, shape, scale) <= before)


@settings(deadline=None)
@given(SHAPES, SCALES, st.floats(0.001, 1000))
def test_units_of_time_do_not_matter(shape: float, scale: float, factor: float) -> None:
    plain = survival.remaining_minutes(scale / 2, shape, scale)
    scaled = survival.remaining_minutes(scale / 2 * factor, shape, scale * factor)
    assert scaled / factor == pytest.approx(plain, rel=1e-6)


def test_mean_life_is_that_of_the_gamma_function() -> None:
    for shape in (0.5, 1.0, 2.5, 6.0):
        assert float(survival.mean_remaining(0, shape, 50)) == pytest.approx(50 * math.gamma(1 + 1 / shape), rel=1e-8)


def test_breakage_alone_is_the_exponential_law() -> None:
    # A wear scale of a million minutes is no wear at all.
    assert float(survival.mean_remaining(10, 3, 1e6, 0.02)) == pytest.approx(50, rel=1e-6)
    assert float(survival.life_percentile(50, 3, 1e6, 0.02)) == pytest.approx(50 * math.log(2), rel=1e-6)


def test_a_percentile_of_one_law_with_and_one_without_breakage_stand_side_by_side() -> None:
    both = survival.life_percentile(50, 3, 60, [0.0, 0.01])
    assert both[0] == pytest.approx(float(survival.life_percentile(50, 3, 60)))
    assert both[1] < both[0]
    assert survival.remaining_minutes(0, 3, 60, 0.01)[0] > 0


@pytest.mark.parametrize(
    ("arguments", "at_fault"),
    [
        ((-1, 2, 60), "minutes"),
        ((1, 0, 60), "shape"),
        ((1, 2, -60), "scale"),
        ((1, 2, math.nan), "scale"),
        ((1, "x", 60), "shape"),
    ],
)
def test_a_number_out_of_range_is_named(arguments: tuple[float, float, float], at_fault: str) -> None:
    with pytest.raises(WorkingError) as refused:
        survival.survival(*arguments)
    assert refused.value.argument == at_fault
    assert refused.value.sentence.endswith(".")


@pytest.mark.parametrize("percent", [0, 100, 140])
def test_a_percentile_lies_between_none_and_all(percent: float) -> None:
    with pytest.raises(WorkingError, match="between 0 and 100"):
        survival.life_percentile(percent, 2, 60)


def test_whole_parts_are_not_lost_to_rounding() -> None:
    assert batch.whole_parts([0.3, 0.6, 0.7, 12.6], [0.1, 0.1, 0.1, 2.1]).tolist() == [3, 6, 7, 6]


@pytest.mark.parametrize("parts", [0, 20_001])
def test_a_batch_out_of_range_is_refused(parts: int) -> None:
    with pytest.raises(WorkingError, match="split a larger one") as refused:
        batch.edges_to_stage(0, parts, 5, 3, 60)
    assert refused.value.argument == "batch"


def test_an_edge_that_never_finishes_a_part_cannot_be_staged() -> None:
    with pytest.raises(WorkingError, match="hardly ever"):
        batch.edges_to_stage(0, 5, 400, 3, 60)


def test_a_fresh_edge_that_surely_lasts_needs_no_other() -> None:
    mean, ready = batch.edges_to_stage(0, 2, 1, 3, 600)
    assert ready == 0
    assert mean < 0.01


def test_a_confidence_lies_between_none_and_certain() -> None:
    with pytest.raises(WorkingError) as refused:
        batch.edges_to_stage(0, 5, 4, 3, 60, confidence=1)
    assert refused.value.argument == "confidence"


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 120), st.floats(1.2, 5), st.floats(10, 80))
def test_a_longer_batch_never_needs_fewer_edges(parts: int, shape: float, scale: float) -> None:
    fewer = batch.edges_to_stage(0, parts, 4, shape, scale)
    more = batch.edges_to_stage(0, parts + 10, 4, shape, scale)
    assert more[0] >= fewer[0] - 1e-9
    assert more[1] >= fewer[1]


def test_a_known_law_forecasts_as_the_closed_form() -> None:
    used = np.array([0.0, 20.0, 45.0, 130.0])
    known = belief(np.full(4, np.log(60)), np.log(3))
    assert remaining(used, known) == pytest.approx(survival.remaining_minutes(used, 3, 60), rel=1e-7)
    assert lasting([[5.0, 9.0]] * 4, used, known) == pytest.approx(
        survival.chance_of_lasting([5.0, 9.0], used[:, None], 3, 60), rel=1e-9
    )


def test_a_known_breakage_rate_is_that_of_the_law_with_breakage() -> None:
    # A gamma belief from a million minutes is as good as known.
    known = belief(np.log(60), np.log(3), breaks=5_000, break_minutes=1e6)
    assert remaining(20, known)[0] == pytest.approx(survival.remaining_minutes(20, 3, 60, 0.005), rel=1e-3)


def test_the_averaged_percentiles_are_those_of_simulated_beliefs() -> None:
    draw = np.random.default_rng(3)
    cov = np.array([[0.09, 0.02], [0.02, 0.06]])
    log_scale, log_shape = draw.multivariate_normal([4.0, 0.9], cov, 400_000).T
    lives = np.exp(log_scale) * draw.weibull(np.exp(log_shape))
    still = lives[lives > 30] - 30
    ours = remaining(30, belief(4.0, 0.9, cov[0, 0], cov[1, 1], cov[0, 1]))[0]
    assert ours == pytest.approx(np.quantile(still, [0.1, 0.5, 0.9]), rel=0.02)


def test_edges_of_very_different_standing_are_answered_together_as_alone() -> None:
    log_scale, used = np.linspace(0.5, 7, 40), np.tile([0.0, 3.0, 80.0, 900.0], 10)
    together = remaining(used, belief(log_scale, 0.8, 0.3, 0.1, breaks=2, break_minutes=700))
    for row in range(0, 40, 7):
        alone = remaining(used[row], belief(log_scale[row], 0.8, 0.3, 0.1, breaks=2, break_minutes=700))
        assert together[row] == pytest.approx(alone[0], rel=1e-8)


def test_less_knowledge_makes_a_wider_range() -> None:
    widths = [np.ptp(remaining(10, belief(4.0, 1.0, variance, variance / 4))[0]) for variance in (0.0, 0.02, 0.1, 0.4)]
    assert widths == sorted(widths)


def test_an_edge_that_outlived_the_belief_moves_it_unless_the_fit_already_knew() -> None:
    vague = belief(np.log(30), np.log(3), 0.25, 0.04)
    surprised, told = remaining(90, vague)[0], remaining(90, vague, counted=90)[0]
    assert surprised[1] > told[1]


def test_survival_falls_from_one_and_its_band_holds_it() -> None:
    believed = belief([4.0, 3.0], 1.0, 0.05, 0.02, breaks=2, break_minutes=900)
    ages = np.linspace(0, 200, 30)
    curve, band = life_survival(ages, believed), survival_band(ages, believed)
    assert curve[:, 0] == pytest.approx([1, 1])
    assert np.all(np.diff(curve, axis=1) <= 0)
    assert np.all(band[:, 0] <= band[:, 1])
    assert np.all((band[:, 0] <= curve + 0.02) & (curve <= band[:, 1] + 0.02))


def test_mean_time_outlasted_of_a_known_law_is_its_integral() -> None:
    law = survival.life_law(2.2, 50)
    ours = mean_time_outlasted([[20.0, 70.0]], belief(np.log(50), np.log(2.2)))
    assert ours[0] == pytest.approx(survival.time_outlasted(np.array([20.0, 70.0]), law), rel=1e-8)


@pytest.mark.parametrize("used", [0.0, 90.0, 3e4])
@pytest.mark.parametrize("known", [0.0, 0.5, 1.0])
def test_a_law_of_which_hardly_anything_is_known_still_answers(used: float, known: float) -> None:
    """Some of its nodes hold laws so steep that no number tells how surely the edge should have ended by now."""
    vague = belief(np.log(30), np.log([2.5, 30.0]), 0.64, [2.25, 9.0], 0.0, 2.0, 900.0)
    left = remaining([used, used], vague, known * used)
    assert np.all(np.isfinite(left))
    assert np.all(np.diff(left, axis=1) >= 0)
    chances = lasting([[0.0, 1.0, 30.0, 1e9]] * 2, [used, used], vague, known * used)
    assert chances[:, 0] == pytest.approx([1, 1], abs=1e-3)
    assert np.all(np.diff(chances, axis=1) <= 0)
    assert np.all(np.isfinite(survival_band([0.0, 30.0, 1e9], vague)))


def test_a_forecast_at_no_life_at_all_still_answers() -> None:
    worn_out = remaining(5_000, belief(np.log(30), np.log(4), 0.04, 0.02))
    assert np.all(np.isfinite(worn_out))
    assert np.all(worn_out >= 0)


def test_lives_and_marks_must_pair() -> None:
    with pytest.raises(WorkingError) as refused:
        lives_seen([10, 20], [True])
    assert refused.value.argument == "ended"


def test_when_most_edges_outlast_every_age_seen_there_is_no_median() -> None:
    assert math.isnan(median_seen(lives_seen([10, 20, 30], [True, False, False])))
    assert lives_seen([10, 20], [False, False]).minutes.size == 0


def test_ends_are_held_against_those_due_while_edges_were_watched() -> None:
    # Honest forecasts: of 4,000 edges 200 end in each twentieth; a third of those left is taken off half-way.
    ended, off = np.full(20, 200.0), np.zeros(20)
    off[10], ended[10:] = 800, 200 * (2000 - 800) / 2000
    assert ends_against_due(ended, off, 2, 18) == pytest.approx(1, abs=0.03)
    early = np.where(np.arange(20) < 10, 400.0, 0.0)  # all end in the first half of what was forecast
    assert ends_against_due(early, np.zeros(20), 2, 18) > 1.5
    assert math.isnan(ends_against_due([5, 0, 0], [0, 0, 0], 1, 2))
    with pytest.raises(WorkingError, match="how many ended"):
        ends_against_due([1, 2], [1], 0, 1)
    for first, last in ((1, 1), (-1, 1), (0, 3)):
        with pytest.raises(WorkingError, match="follow each other"):
            ends_against_due([1, 2, 3], [0, 0, 0], first, last)


def test_a_life_table_of_ends_alone_is_a_plain_count_and_knows_no_more_than_was_watched() -> None:
    assert life_table([2, 3, 5, 0], [0, 0, 0, 0]).tolist() == pytest.approx([0.8, 0.5, 0, 0])
    watched = life_table([2, 0, 0], [0, 8, 0])
    assert watched[:2].tolist() == pytest.approx([0.8, 0.8])
    assert math.isnan(watched[2])
    with pytest.raises(WorkingError):
        life_table([1, 2], [1])


def test_what_came_is_placed_within_its_forecast() -> None:
    # A Weibull forecast is a straight line on its axes, so the place is exact between and beyond its percentiles.
    said = survival.remaining_minutes(0, 2.5, 60)
    came = np.array([3.0, 20.0, 55.0, 150.0])
    assert where_it_fell(came, np.tile(said, (4, 1))) == pytest.approx(1 - survival.survival(came, 2.5, 60), rel=1e-9)
    with pytest.raises(WorkingError):
        where_it_fell([1], [[3, 2, 5]])
