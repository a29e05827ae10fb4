"""A group's law beside its starting value: life over speed, and what edges have told."""

from __future__ import annotations

import math

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.floor.models import Edge, Operation
from crib.life import services
from crib.life.models import LifeModel, LifePrior
from crib.life.selectors import curve_of, curves_and_record, life_over_speed, said_and_seen
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def prior(**more: float) -> LifePrior:
    kept = {
        "life_minutes": 40, "surface_speed": 60, "feed": 0.05, "depth": 1.0, "speed_exponent": 4.0,
        "feed_exponent": 1.0, "life_spread": 0.5, "shape": 2.5,
    }  # fmt: skip
    return LifePrior.objects.create(kind_of_cut="chamfering", **kept | more)


def model() -> LifeModel:
    return LifeModel.objects.select_related("design", "material", "prior").get()


def another(shop: Shop, **more: float) -> Operation:
    """The same work at another duty."""
    work = Operation.objects.get(pk=shop.operation.pk)
    work.pk, work.number = None, work.number + 10
    for name, value in more.items():
        setattr(work, name, value)
    work.save()
    return work


def test_before_any_end_the_line_is_the_starting_value_itself(shop: Shop) -> None:
    prior()
    add_edges(shop, [Past(0)])
    services.refresh_all_due()
    found = life_over_speed(model=model(), curve=curve_of(model=model()))
    assert found is not None
    assert found.half == pytest.approx(found.start, rel=1e-6)
    assert (found.cut_from, found.cut_to, found.feed, found.depth) == (None, None, 0.05, 1.0)
    # vc^4 T is constant: on logarithms the line falls by four.
    run, fall = math.log(found.speeds[-1] / found.speeds[0]), math.log(found.half[0] / found.half[-1])
    assert fall / run == pytest.approx(4.0, rel=0.15)
    assert all(low < half < high for low, half, high in zip(found.low, found.half, found.high, strict=True))
    life, shape = said_and_seen(model=model(), duty=curve_of(model=model()).duty)
    assert (life.told, shape.told) == (0, 0)
    assert (life.start.middle, shape.start.middle) == pytest.approx((40, 2.5))


def test_edges_stand_at_their_own_speed_with_feed_and_depth_made_good(shop: Shop) -> None:
    prior(feed_exponent=1.0, exponent_spread=1e-6)
    fine = another(shop, feed=0.025, surface_speed=75.0)
    add_edges(shop, [Past(40, "worn"), Past(30, "worn", operation=fine), Past(12, "taken_off_early")])
    services.refit_all()
    curve = curve_of(model=model())
    seen = {edge.minutes: edge for edge in curve.seen}
    assert seen[40].at_its_speed == pytest.approx(40)
    # At half the feed an edge lasts twice as long (T f = constant), so its 30 min count as 15 at the full one.
    assert seen[30].at_its_speed == pytest.approx(15, rel=1e-3)
    assert seen[30].duty.surface_speed == 75
    found = life_over_speed(model=model(), curve=curve)
    assert found is not None
    assert (found.cut_from, found.cut_to) == (60, 75)
    assert found.speeds[0] == pytest.approx(40)
    assert found.speeds[-1] == pytest.approx(112.5)


def test_without_a_speed_there_is_no_life_over_speed(shop: Shop) -> None:
    Operation.objects.filter(pk=shop.operation.pk).update(surface_speed=None)
    shop.operation.refresh_from_db()
    add_edges(shop, WORN)
    services.refit_all()
    curve = curve_of(model=model())
    assert life_over_speed(model=model(), curve=curve) is None
    assert {edge.at_its_speed for edge in curve.seen} == {None}


def test_what_edges_have_told_grows_with_them(shop: Shop) -> None:
    prior(life_minutes=90)
    add_edges(shop, WORN[:2])
    services.refit_all()
    few = said_and_seen(model=model(), duty=curve_of(model=model()).duty)
    add_edges(shop, WORN[2:])
    services.refit_all()
    many = said_and_seen(model=model(), duty=curve_of(model=model()).duty)
    assert few[0].start == many[0].start
    assert 0 < few[0].told < many[0].told < 1
    assert few[0].now.middle < 90
    assert many[0].now.high / many[0].now.low < few[0].now.high / few[0].now.low


def test_relatives_stand_between_the_starting_value_and_now(shop: Shop) -> None:
    prior(life_minutes=90)
    add_edges(shop, WORN[:2])
    services.refit_all()
    assert {one.relatives for one in said_and_seen(model=model(), duty=curve_of(model=model()).duty)} == {None}
    group = model()
    before = group.parameters["pooled"]["before"]
    before["covariance"] = [[value / 4 for value in row] for row in before["covariance"]]
    group.parameters["pooled"] |= {"before": before, "family": {"groups": 2, "worn": 7}}
    LifeModel.objects.update(parameters=group.parameters)
    life, _ = said_and_seen(model=model(), duty=curve_of(model=model()).duty)
    assert life.relatives is not None
    # A quarter of the variance halves the range on logarithms.
    assert math.log(life.relatives.high / life.relatives.low) == pytest.approx(
        math.log(life.start.high / life.start.low) / 2, rel=1e-6
    )


def test_edges_fall_away_as_kaplan_and_meier_say(shop: Shop) -> None:
    # Worked by hand: 4 of 6 outlast 20, of the 4 left one is taken off, one of three ends at 40.
    add_edges(
        shop,
        [Past(10, "worn"), Past(20, "broken"), Past(30, "taken_off_early"), Past(40, "worn"), Past(50), Past(60)],
    )
    services.refit_all()
    curve = curve_of(model=model())
    ages, shares = curve.without_a_law
    assert ages == pytest.approx([0, 10, 10, 20, 20, 40, 40, 40])
    assert shares == pytest.approx([1, 1, 5 / 6, 5 / 6, 4 / 6, 4 / 6, 4 / 9, 4 / 9])
    assert {edge.look for edge in curve.seen} == {"", "broken"}


def test_where_none_has_ended_or_all_are_excused_there_are_no_stairs(shop: Shop) -> None:
    add_edges(shop, [Past(10, "taken_off_early"), Past(20), Past(20), Past(20)])
    edges = add_edges(shop, [Past(15, "broken")], excuse="crash")
    services.refit_all()
    curve = curve_of(model=model())
    assert curve.without_a_law == ([], [])
    assert {edge.edge: edge.look for edge in curve.seen}[edges[0].pk] == "excused"
    Edge.objects.filter(pk=edges[0].pk).update(excuse="")
    assert curve_of(model=model()).without_a_law[1][-1] < 1


def test_one_edge_alone_gives_a_curve_and_a_line(shop: Shop) -> None:
    add_edges(shop, [Past(33, "worn")])
    services.refit_all()
    curve = curve_of(model=model())
    assert curve.without_a_law == ([0, 33, 33, 33], [1, 1, 0, 0])
    found = life_over_speed(model=model(), curve=curve)
    assert found is not None
    assert np.isfinite(found.half).all()
    assert (found.cut_from, found.cut_to) == (60, 60)


def test_more_edges_cost_a_curve_no_more_queries(shop: Shop) -> None:
    add_edges(shop, WORN[:3])
    services.refit_all()

    def queries() -> int:
        with CaptureQueriesContext(connection) as counted:
            life_over_speed(model=model(), curve=curve_of(model=model()))
        return len(counted)

    few = queries()
    add_edges(shop, WORN)
    assert queries() == few


def test_the_list_knows_what_wants_a_look(shop: Shop) -> None:
    add_edges(shop, WORN)
    services.refit_all()
    (row,), _ = curves_and_record()
    assert row.attention == []
    LifeModel.objects.update(standing="fallback", drift={"direction": "fall"})
    (row,), _ = curves_and_record()
    assert row.attention == ["Lives are falling.", "The lives could not be fitted."]
