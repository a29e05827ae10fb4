"""How forecasts held: edges taken off early counted rightly, and forecasts of the past recalled without peeking."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from crib.core import clock
from crib.floor.models import Edge
from crib.life import services
from crib.life.laws import Key
from crib.life.models import ForecastScore, LifeModel, LifePrior
from crib.life.selectors import Held, held_by_model, held_by_point, held_overall, law_facts
from crib.life.services.refitting import laws_by
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def at(places: dict[int, int]) -> tuple[int, ...]:
    return tuple(places.get(place, 0) for place in range(20))


def test_nothing_scored_is_said_as_such() -> None:
    nothing = Held()
    assert (nothing.verdict, nothing.share, nothing.early, nothing.tone) == ("none", None, None, "plain")
    assert nothing.words == "No forecast has been scored yet"


def test_without_any_taken_off_the_share_inside_is_a_plain_count() -> None:
    held = Held(at({0: 1, 1: 2, 5: 10, 12: 12, 18: 3, 19: 2}), at({}), edges=30)
    assert held.share == pytest.approx(22 / 30)
    assert held.early == pytest.approx(3 / 30)
    assert held.verdict == "fair"
    assert held.share_words == "73% inside"


def test_edges_taken_off_early_do_not_make_the_range_look_too_sure() -> None:
    # Of 1,000 edges with honest forecasts, those that would outlast 30 % of the forecast are taken off there.
    ended = at(dict.fromkeys(range(6), 50))
    held = Held(ended, at({6: 700}), edges=300)
    assert held.early == pytest.approx(0.1)
    # Inside by a plain count of ends: two thirds. Rightly counted: 80 %.
    assert held.share == pytest.approx(0.8, abs=0.01)
    assert held.verdict == "fair"


def test_where_hardly_any_was_watched_to_the_range_nothing_is_judged() -> None:
    held = Held(at({0: 25}), at({1: 5}), edges=25)
    assert held.share is None
    assert held.verdict == "few"
    assert Held(at({0: 5}), at({1: 5}), edges=5).early is None
    assert Held(at({0: 5}), at({}), edges=5).early == 1


def test_few_ends_are_not_judged() -> None:
    assert Held(at({5: 10}), at({}), edges=10).verdict == "few"
    assert Held(at({5: 40}), at({}), edges=10).verdict == "few"


def test_scores_are_gathered_overall_by_group_and_by_point(shop: Shop) -> None:
    edges = add_edges(shop, [Past(30, "worn"), Past(25, "broken"), Past(10, "taken_off_early"), Past(5)])
    services.refit_all()
    model = LifeModel.objects.get()
    for edge in edges:
        for point in (0, 50):
            ForecastScore.objects.create(
                edge=edge, model=model, point=point, minutes_then=0, minutes_left_10=15, minutes_left_50=28,
                minutes_left_90=45,
            )  # fmt: skip
    assert held_overall() == Held()
    assert services.score_ended() == 6
    overall = held_overall()
    assert (overall.scored, overall.taken_off, overall.edges) == (4, 2, 2)
    assert held_by_model() == {model.pk: overall}
    assert [(point, held.scored, held.edges) for point, held in held_by_point(model=model)] == [(0, 2, 2), (50, 2, 2)]


def test_forecasts_of_the_past_are_recalled_by_what_was_known_then(shop: Shop) -> None:
    now = clock.now()
    add_edges(shop, WORN, put_in_at=now - timedelta(days=90), ended_at=now - timedelta(days=60))
    later = add_edges(
        shop, [Past(41, "worn"), Past(9, "taken_off_early")], put_in_at=now - timedelta(days=20), ended_at=now
    )
    in_use = add_edges(shop, [Past(7)], put_in_at=now - timedelta(days=20), ended_at=None)
    since = now - timedelta(days=30)
    before = laws_by(until=since)
    key = Key(shop.chamfer_tip.pk, shop.material.pk, "chamfering")
    services.refit_all()
    assert services.recall_forecasts(since=since) > 0
    kept = ForecastScore.objects.filter(point=0)
    assert {score.edge_id for score in kept} == {edge.pk for edge in later}
    assert all(score.model == LifeModel.objects.get() for score in kept)
    from calc.life.predictive import remaining
    from crib.life.laws import beliefs, duty_of

    wanted = remaining(0, beliefs([before[key]], [duty_of(shop.operation)]))[0]
    assert kept[0].minutes_left_50 == pytest.approx(wanted[1])
    worn = kept.get(edge=later[0])
    assert (worn.minutes_really_left, worn.censored) == (41, False)
    assert worn.scored_at is not None
    assert not ForecastScore.objects.filter(edge=in_use[0]).exists()
    # Once recalled, an edge is not recalled again.
    assert services.recall_forecasts(since=since) == 0


def test_with_nothing_ended_before_nothing_is_recalled(shop: Shop) -> None:
    assert services.recall_forecasts(since=clock.now()) == 0
    add_edges(shop, WORN)
    Edge.objects.update(operation=None)
    assert services.recall_forecasts(since=clock.now() - timedelta(days=30)) == 0


def test_recalled_forecasts_of_a_simulated_shop_hold_as_promised(shop: Shop) -> None:
    # Lives drawn from a law that the models do not know; most edges are taken off at a fixed count before their end.
    LifePrior.objects.create(kind_of_cut="chamfering", life_minutes=30, surface_speed=60, feed=0.05, depth=1.0)
    draw, now = np.random.default_rng(17), clock.now()

    def drawn(count: int) -> list[Past]:
        worn, off = 60 * draw.weibull(3.0, count), draw.uniform(25, 75, count)
        return [Past(float(min(w, o)), "worn" if w < o else "taken_off_early") for w, o in zip(worn, off, strict=True)]

    add_edges(shop, drawn(40), put_in_at=now - timedelta(days=90), ended_at=now - timedelta(days=60))
    add_edges(shop, drawn(160), put_in_at=now - timedelta(days=20), ended_at=now)
    services.refit_all()
    services.recall_forecasts(since=now - timedelta(days=30))
    held = held_overall()
    assert held.edges > 60
    assert held.share == pytest.approx(0.8, abs=0.08)
    assert held.early == pytest.approx(0.1, abs=0.06)


def test_a_law_is_told_in_words(shop: Shop) -> None:
    LifePrior.objects.create(
        kind_of_cut="chamfering", life_minutes=40, surface_speed=60, feed=0.05, depth=1.0, depth_exponent=0.0,
        speed_exponent=4.0, breakage_per_minute=0.001, breakage_weight_minutes=5000,
    )  # fmt: skip
    add_edges(shop, [Past(0)])
    services.refresh_all_due()
    facts = {fact.name: fact.value for fact in law_facts(model=LifeModel.objects.get())}
    assert facts["Typical life at the reference"] == "40 min"
    # 1.1^-4 is 0.683.
    assert facts["10 % more speed makes the life"] == "32 % shorter"
    assert facts["10 % more depth makes the life"] == "no different"
    assert facts["Chips or breaks"] == "once in 1,000 minutes"
