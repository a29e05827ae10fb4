"""Forecasts beside naive rivals: kept alike, scored alike, and compared only where both had an answer."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.core import clock
from crib.floor import services as floor
from crib.floor.models import Edge, Operation
from crib.life import services
from crib.life.laws import Key
from crib.life.models import ForecastScore, LifeModel
from crib.life.selectors import Against, Held, accuracy, held_of, worth_by_model
from crib.life.selectors.rivals import NaiveLife, naive_lives, rivals_of
from crib.life.selectors.watched import change_ages
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def key_of(shop: Shop) -> Key:
    return Key(shop.chamfer_tip.pk, shop.material.pk, "chamfering")


# --- what the rivals say ------------------------------------------------------------------------------


def test_naive_lives_go_by_ends_alone(shop: Shop) -> None:
    now = clock.now()
    add_edges(shop, [Past(30, "worn"), Past(50, "broken")], ended_at=now - timedelta(days=5))
    add_edges(shop, [Past(10, "chipped")], ended_at=now - timedelta(days=2))
    add_edges(shop, [Past(80, "taken_off_early"), Past(90, "end_of_job"), Past(70), Past(0, "worn")])
    add_edges(shop, [Past(1, "broken")], excuse="crash")
    assert naive_lives(keys=[key_of(shop)]) == {key_of(shop): NaiveLife(mean=30.0, last=10.0)}
    before = naive_lives(keys=[key_of(shop)], until=now - timedelta(days=3))
    assert before[key_of(shop)].mean == 40.0
    other = Key(shop.chamfer_tip.pk, shop.material.pk, "milling")
    assert naive_lives(keys=[other]) == naive_lives(keys=[]) == {}


def test_rivals_never_say_less_than_nothing_and_nothing_where_they_know_nothing(shop: Shop) -> None:
    work = shop.operation
    work.fixed_count, work.minutes_per_part = 20, 2.0
    said = rivals_of(work, 15.0, NaiveLife(mean=42.0, last=12.0))
    assert (said.fixed_count, said.mean_life, said.last_life) == (25.0, 27.0, 0.0)
    work.fixed_count = None
    nothing = rivals_of(work, 15.0, None)
    assert nothing.fixed_count is nothing.mean_life is nothing.last_life is None
    work.fixed_count, work.minutes_per_part = 20, None
    assert rivals_of(work, 15.0, None).fixed_count is None


def test_a_kept_forecast_stands_with_its_law_and_its_rivals(shop: Shop) -> None:
    Operation.objects.filter(pk=shop.operation.pk).update(fixed_count=12)
    add_edges(shop, WORN)
    services.refit_all()
    shop.log_run(parts=2)
    services.refresh_all_due()
    (kept,) = ForecastScore.objects.filter(edge=shop.edge)
    assert len(kept.quantiles) == 19
    assert kept.quantiles == sorted(kept.quantiles)
    percents = list(range(5, 100, 5))
    for percent, said in ((10, kept.minutes_left_10), (50, kept.minutes_left_50), (90, kept.minutes_left_90)):
        assert kept.quantiles[percents.index(percent)] == pytest.approx(said, abs=0.006)
    used = shop.edge.minutes
    assert kept.fixed_count_left == 12 * 2.0 - used
    assert kept.mean_life_left == pytest.approx(np.mean([past.minutes for past in WORN]) - used)
    assert kept.last_life_left == pytest.approx(WORN[-1].minutes - used)


def test_before_any_edge_ended_the_rivals_are_silent(shop: Shop) -> None:
    shop.log_run(parts=1)
    services.refresh_all_due()
    kept = ForecastScore.objects.get()
    assert kept.fixed_count_left is kept.mean_life_left is kept.last_life_left is None
    floor.end_edge(edge=shop.edge, outcome="worn", who=shop.setter)
    services.score_ended()
    kept.refresh_from_db()
    assert kept.crps is not None
    assert kept.mean_life_crps is None


def test_more_edges_cost_no_more_queries(shop: Shop) -> None:
    add_edges(shop, WORN)
    services.refit_all()

    def queries(count: int) -> int:
        edges = add_edges(shop, [Past(number + 1.0) for number in range(count)])
        with CaptureQueriesContext(connection) as counted:
            services.refresh(edge_ids=[edge.pk for edge in edges])
        assert ForecastScore.objects.filter(edge__in=edges).count() == count
        return len(counted)

    assert queries(2) == queries(25)


def test_recalled_rivals_know_no_more_than_the_law_did(shop: Shop) -> None:
    now = clock.now()
    add_edges(shop, WORN, put_in_at=now - timedelta(days=90), ended_at=now - timedelta(days=60))
    (late,) = add_edges(shop, [Past(20, "worn")], put_in_at=now - timedelta(days=20), ended_at=now)
    services.refit_all()
    services.recall_forecasts(since=now - timedelta(days=30))
    fresh = ForecastScore.objects.get(edge=late, point=0)
    assert fresh.mean_life_left == pytest.approx(np.mean([past.minutes for past in WORN]))
    assert fresh.mean_life_crps == pytest.approx(np.mean([past.minutes for past in WORN]) - 20)
    assert len(fresh.quantiles) == 19
    assert fresh.crps is not None


# --- scored once, and again only when the end counts otherwise ----------------------------------------


def kept_for(edge: Edge, **more: object) -> ForecastScore:
    said: dict[str, object] = {
        "minutes_left_10": 10, "minutes_left_50": 30, "minutes_left_90": 55, "minutes_then": 0, "point": 0,
        "quantiles": [3.0 * number for number in range(1, 20)], "mean_life_left": 40.0, "last_life_left": 25.0,
    }  # fmt: skip
    return ForecastScore.objects.create(edge=edge, **said | more)


def test_an_end_is_scored_by_all_three_rivals_alike(shop: Shop) -> None:
    worn, off = add_edges(shop, [Past(30, "worn"), Past(30, "taken_off_early")])
    first, second = kept_for(worn, fixed_count_left=60.0), kept_for(off, fixed_count_left=20.0)
    assert services.score_ended() == 2
    assert services.score_ended() == 0
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.mean_life_crps, first.last_life_crps, first.censored) == (10.0, 5.0, False)
    # Taken off at 30: of what was said to last longer nothing is known to be wrong.
    assert (second.mean_life_crps, second.last_life_crps, second.fixed_count_crps) == (0.0, 5.0, 10.0)
    assert second.pinball_50 is second.covered is None
    assert first.crps is not None
    assert second.crps is not None
    assert second.crps < first.crps


def test_an_edge_is_scored_no_further_than_it_would_have_been_watched(shop: Shop) -> None:
    # All others of the operation came off at 35 min, so nobody would have seen that it lasts 60.
    early, *_ = add_edges(shop, [Past(30, "worn"), *[Past(35, "taken_off_early")] * 5])
    assert change_ages(edges=[early]).tolist() == [[35.0] * 12]
    score = kept_for(early, fixed_count_left=60.0)
    services.score_ended()
    score.refresh_from_db()
    assert score.fixed_count_crps == 5.0


def test_where_nobody_was_ever_taken_off_edges_are_watched_to_their_end(shop: Shop) -> None:
    worn, lost = add_edges(shop, [Past(30, "worn"), Past(20, "worn")])
    Edge.objects.filter(pk=lost.pk).update(operation=None)
    lost.refresh_from_db()
    assert np.isinf(change_ages(edges=[worn, lost])).all()
    assert change_ages(edges=[]).shape == (0, 12)


def test_forecasts_kept_before_their_quantiles_were_are_scored_as_far_as_they_go(shop: Shop) -> None:
    (edge,) = add_edges(shop, [Past(30, "worn")])
    score = kept_for(edge, quantiles=[], mean_life_left=None, last_life_left=None)
    services.score_ended()
    score.refresh_from_db()
    assert (score.crps, score.mean_life_crps) == (None, None)
    assert score.pinball_50 == 0
    assert accuracy().overall.worth.crps is None


def test_an_excused_end_is_taken_for_one_taken_off_and_scored_anew_once(shop: Shop) -> None:
    (edge,) = add_edges(shop, [Past(12, "broken")])
    score = kept_for(edge)
    services.score_ended()
    score.refresh_from_db()
    assert (score.censored, score.mean_life_crps) == (False, 28.0)
    Edge.objects.filter(pk=edge.pk).update(excuse="crash")
    assert services.score_ended() == 1
    assert services.score_ended() == 0
    score.refresh_from_db()
    assert (score.censored, score.mean_life_crps, score.pinball_10, score.covered) == (True, 0.0, None, None)
    Edge.objects.filter(pk=edge.pk).update(excuse="")
    assert services.score_ended() == 1
    score.refresh_from_db()
    assert (score.censored, score.mean_life_crps) == (False, 28.0)


# --- the record ---------------------------------------------------------------------------------------


def scored(shop: Shop, losses: list[tuple[float, float]], *, point: int = 0, **more: object) -> LifeModel:
    """One scored forecast for each pair of our loss and the last life's."""
    edges = add_edges(shop, [Past(30, "worn") for _ in losses])
    if not LifeModel.objects.exists():
        services.refit_all()
    model = LifeModel.objects.get()
    ForecastScore.objects.bulk_create(
        ForecastScore(
            edge=edge, model=model, point=point, minutes_then=0, minutes_left_10=20, minutes_left_50=40,
            minutes_left_90=60, scored_at=clock.now(), censored=False, position=0.3, minutes_really_left=30,
            crps=ours, last_life_crps=theirs, pinball_10=1.0, pinball_50=2.0, pinball_90=3.0, **more,
        )
        for edge, (ours, theirs) in zip(edges, losses, strict=True)
    )  # fmt: skip
    return model


def test_an_empty_record_says_nothing(shop: Shop) -> None:
    found = accuracy()
    assert (found.groups, found.points, found.months, found.overall.warnings) == ([], [], [], [])
    assert found.overall.worth.forecasts == 0
    assert worth_by_model() == {}
    assert [one.words for one in found.overall.worth.against] == ["", "", ""]


def test_rivals_are_compared_on_the_same_forecasts_only(shop: Shop) -> None:
    model = scored(shop, [(3.0, 4.0), (5.0, 12.0)])
    ForecastScore.objects.filter(crps=5.0).update(mean_life_crps=10.0)
    worth = worth_by_model(model=model)[model.pk]
    fixed, mean, last = worth.against
    assert worth.crps == 4.0
    assert (worth.pinball_10, worth.pinball_50, worth.pinball_90) == (1.0, 2.0, 3.0)
    assert (fixed.forecasts, fixed.skill) == (0, None)
    assert (mean.forecasts, mean.ours, mean.theirs, mean.skill) == (1, 5.0, 10.0, 0.5)
    assert (last.forecasts, last.ours, last.theirs, last.skill) == (2, 4.0, 8.0, 0.5)
    # Two edges tell nothing of chance.
    assert (last.low, last.high, last.enough, last.words) == (None, None, False, "")


def test_a_rival_that_would_have_served_better_is_named(shop: Shop) -> None:
    draw = np.random.default_rng(3)
    model = scored(shop, [(float(loss), float(loss) / 2) for loss in draw.uniform(4, 8, 25)])
    found = accuracy()
    (group,) = found.groups
    last = group.worth.against[2]
    assert group.of == model
    assert last.beats_us
    assert last.skill == pytest.approx(-1)
    assert last.low == pytest.approx(-1)
    assert "Here the last life would have served better" in group.warnings[-1]
    assert "Chance alone" not in group.warnings[-1]
    assert "over 25 edges" in found.overall.warnings[-1]
    assert [point.of for point in found.points] == [0]
    assert [month.of.day for month in found.months] == [1]


def test_where_chance_may_explain_it_that_is_said(shop: Shop) -> None:
    draw = np.random.default_rng(4)
    losses = [(float(ours), float(theirs)) for ours, theirs in draw.exponential(5, (30, 2))]
    gap = np.mean([ours for ours, _ in losses]) - np.mean([theirs for _, theirs in losses])
    ahead, behind = float(np.maximum(0.1 - gap, 0.0)), float(np.maximum(gap - 0.1, 0.0))
    scored(shop, [(ours + ahead, theirs + behind) for ours, theirs in losses])
    last = accuracy().overall.worth.against[2]
    assert last.beats_us
    assert "Chance alone may explain it." in last.words
    assert Against("last_life", edges=30, skill=0.2).words == ""


def test_dishonest_ranges_are_warned_of_in_words(shop: Shop) -> None:
    model = scored(shop, [(1.0, 2.0)] * 25)
    assert held_of(model=model).verdict == "wide"
    assert accuracy().groups[0].warnings == ["Too unsure: nearly every edge ends inside the range."]


def test_the_histogram_counts_edges_taken_off_for_as_long_as_they_were_watched() -> None:
    even = Held(tuple([5] * 20), (0,) * 20, edges=100)
    assert even.tenths == pytest.approx([0.1] * 10)
    assert "Near even" in even.tenths_words
    # All that outlast 30 % of the forecast are taken off there: what comes after is not known, what was before is even.
    cut = Held((50,) * 6 + (0,) * 14, (0,) * 6 + (700,) + (0,) * 13, edges=300)
    assert cut.tenths[:3] == pytest.approx([0.1] * 3)
    assert cut.tenths[-1] is None
    assert Held().tenths == [None] * 10
    assert "Too few" in Held().tenths_words
    early = Held((20, 20, 10, 10) + (2,) * 16, (0,) * 20, edges=92)
    assert "ends" in early.tenths_words
    late = Held((1, 1, 1, 1) + (6,) * 15 + (10,), (0,) * 20, edges=104)
    assert "too short" in late.tenths_words
    sooner = Held((8, 8, 10, 10) + (4,) * 15 + (1,), (0,) * 20, edges=97)
    assert "too long" in sooner.tenths_words


def test_a_hundred_thousand_scores_cost_no_more_queries_than_ten(shop: Shop) -> None:
    scored(shop, [(3.0, 4.0)] * 5)

    def queries() -> list[str]:
        with CaptureQueriesContext(connection) as counted:
            accuracy()
        return [query["sql"] for query in counted]

    few = queries()
    scored(shop, [(3.0, 4.0)] * 40, point=25, mean_life_crps=3.0)
    many = queries()
    assert len(many) == len(few)
    # No single score is fetched: every query of scores counts or sums.
    assert all("COUNT(" in sql for sql in many if 'FROM "crib_forecastscore"' in sql)
