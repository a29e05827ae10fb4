"""Wear by band of the flute: what another edge cut there counts for the one at work, the fit and the plan."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.core import clock
from crib.floor import services as floor
from crib.floor.models import Edge, EdgeMinutes, Operation
from crib.life import selectors, services
from crib.life.changing import change_points
from crib.life.laws import law_of
from crib.life.models import Forecast, LifeModel, LifePrior
from crib.life.selectors.groups import lives_by_group
from crib.planning.selectors.gather import edges_in_place
from crib.stock.models import Item
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def forecast_of(edge: Edge) -> Forecast:
    services.refresh_all_due()
    return Forecast.objects.get(edge=edge)


def tally(
    edge: Edge, operation: Operation, minutes: float, low: float = 0.0, high: float = 0.0, *, days: float = 3
) -> None:
    """Minutes of an edge in a band, begun so many days ago."""
    began = clock.now() - timedelta(days=days)
    EdgeMinutes.objects.create(
        edge=edge, operation=operation, contact_low=low, contact_high=high, minutes=minutes, parts=int(minutes // 2),
        clock_minutes=2 * minutes, first_started_at=began, last_ended_at=began + timedelta(hours=20),
    )  # fmt: skip


def two_edges(shop: Shop, *, operation: Operation | None = None) -> tuple[Edge, Edge]:
    """One item whose first edge came off worn, and whose second is in use."""
    (first,) = add_edges(shop, [Past(0, "worn")], operation=operation)
    second = Edge.objects.create(
        item=first.item, number=2, state="in_use", operation=operation or shop.operation,
        put_in_at=clock.now() - timedelta(days=1),
    )  # fmt: skip
    return first, second


def prior(**changes: Any) -> LifePrior:
    given = {"kind_of_cut": "chamfering", "life_minutes": 50, "surface_speed": 60, "feed": 0.05, "depth": 1.0}
    return LifePrior.objects.create(**(given | changes))


def used_minutes(edge: Edge) -> float:
    """Equivalent minutes behind an edge's forecast, from the life used and the change-by of a fresh one."""
    forecast = forecast_of(edge)
    assert forecast.model is not None
    assert edge.operation is not None
    point = change_points([(Operation.objects.get(pk=edge.operation.pk), law_of(forecast.model))])
    return (forecast.life_used or 0.0) * float(point.minutes[0])


# --- the forecast -----------------------------------------------------------------------------------------


def test_what_another_edge_cut_in_the_band_counts_for_the_one_at_work(shop: Shop) -> None:
    prior()
    operation = shop.use_band(1.0, 2.0)
    first, second = two_edges(shop)
    tally(first, operation, 12.0, 0.5, 1.5)
    tally(first, operation, 30.0, 2.0, 3.0)  # touches the band, and shares no height with it
    tally(first, operation, 40.0)  # nobody knows where, and another edge
    tally(second, operation, 5.0, 1.0, 2.0, days=1)
    assert used_minutes(second) == pytest.approx(17.0)
    fresh = add_edges(shop, [Past(0)])[0]
    assert forecast_of(second).minutes_left_50 < forecast_of(fresh).minutes_left_50  # type: ignore[operator]  # both known


def test_the_most_worn_height_counts_and_bands_side_by_side_are_not_added_up(shop: Shop) -> None:
    prior()
    operation = shop.use_band(1.0, 3.0)
    first, second = two_edges(shop)
    tally(first, operation, 10.0, 0.0, 2.0)
    tally(first, operation, 14.0, 2.0, 4.0)
    tally(second, operation, 3.0, 2.5, 3.0, days=1)
    assert used_minutes(second) == pytest.approx(17.0)


def test_minutes_of_the_edge_itself_whose_band_is_not_known_count_everywhere(shop: Shop) -> None:
    prior()
    operation = shop.use_band(1.0, 2.0)
    first, second = two_edges(shop)
    tally(first, operation, 12.0, 1.0, 2.0)
    tally(second, operation, 6.0, days=1)
    tally(second, operation, 9.0, 3.0, 4.0, days=1)
    assert used_minutes(second) == pytest.approx(18.0)
    # Unknown alone, with no known band beside it.
    other = add_edges(shop, [Past(7)])[0]
    assert used_minutes(other) == pytest.approx(7.0)


def test_without_a_band_all_its_own_minutes_count_and_nobody_elses(shop: Shop) -> None:
    prior()
    first, second = two_edges(shop)
    tally(first, shop.operation, 12.0, 1.0, 2.0)
    tally(second, shop.operation, 6.0, 0.0, 1.0, days=1)
    tally(second, shop.operation, 9.0, days=1)
    assert used_minutes(second) == pytest.approx(15.0)


def test_a_faster_duty_wears_the_band_more(shop: Shop) -> None:
    prior(speed_exponent=4.0)
    faster = floor.create_operation(
        job=shop.job, number=40, name="Faster", machine=shop.machine, tip=shop.chamfer_tip, material=shop.material,
        kind_of_cut="chamfering", surface_speed=90.0, feed=0.05, depth=1.0, minutes_per_part=2.0, contact_low=1.0,
        contact_high=2.0, who=shop.engineer,
    )  # fmt: skip
    operation = shop.use_band(1.0, 2.0)
    first, second = two_edges(shop)
    tally(first, faster, 4.0, 1.0, 2.0)
    tally(second, operation, 5.0, 1.0, 2.0, days=1)
    assert used_minutes(second) == pytest.approx(5.0 + 4.0 * 1.5**4)


def test_turning_to_the_next_edge_in_a_worn_band_changes_nothing_and_a_new_band_does(shop: Shop) -> None:
    prior(life_minutes=30)
    shop.use_band(0.0, 1.0)
    shop.log_run(hour=0, parts=9)
    worn = forecast_of(shop.edge)
    floor.end_and_turn(edge=shop.edge, outcome="worn", who=shop.setter)
    turned = forecast_of(shop.edge)
    assert turned.edge_id != worn.edge_id
    assert turned.minutes_used == 0.0
    assert turned.life_used == pytest.approx(worn.life_used)
    shop.use_band(1.0, 2.0)
    assert forecast_of(shop.edge).life_used == 0.0


def test_a_late_run_of_the_edge_before_makes_the_forecast_due(shop: Shop) -> None:
    shop.use_band(0.0, 1.0)
    first = shop.log_run(hour=0)
    floor.end_and_turn(edge=shop.edge, outcome="worn", who=shop.setter, at=first.ended_at + timedelta(hours=9))
    before = forecast_of(shop.edge).life_used
    assert services.claim_due() == []
    shop.log_run(hour=3)
    assert services.claim_due() == [shop.edge.pk]
    assert before is not None
    assert (forecast_of(shop.edge).life_used or 0.0) == pytest.approx(2 * before)


def test_what_the_fit_saw_in_another_band_is_not_taken_for_wear_of_this_one(shop: Shop) -> None:
    operation = shop.use_band(0.0, 1.0)
    add_edges(shop, WORN)
    (edge,) = add_edges(shop, [Past(0)])
    tally(edge, operation, 20.0, 0.0, 1.0)
    services.refit_all()
    model = LifeModel.objects.get()
    assert model.parameters["seen"][str(edge.pk)] > 0
    shop.use_band(1.0, 2.0)
    moved, fresh = forecast_of(edge), forecast_of(add_edges(shop, [Past(0)])[0])
    assert moved.life_used == 0.0
    assert moved.minutes_left_50 == pytest.approx(fresh.minutes_left_50)


def test_many_banded_edges_cost_no_more_queries_than_one(shop: Shop) -> None:
    operation = shop.use_band(1.0, 2.0)

    def queries() -> int:
        services.mark_stale()
        with CaptureQueriesContext(connection) as asked:
            services.refresh(edge_ids=services.claim_due())
        return len(asked)

    counts = []
    for count in (1, 6):
        for _ in range(count):
            first, second = two_edges(shop)
            tally(first, operation, 8.0, 0.5, 1.5)
            tally(second, operation, 4.0, 1.0, 2.0, days=1)
        services.refresh_all_due()
        counts.append(queries())
    assert counts[0] == counts[1]


# --- the fit ------------------------------------------------------------------------------------------------


def test_an_edge_on_flute_that_was_worn_before_is_left_out_of_the_fit(shop: Shop) -> None:
    operation = shop.use_band(1.0, 2.0)
    first, second = two_edges(shop)
    tally(first, operation, 40.0, 1.0, 2.0)
    tally(second, operation, 10.0, 1.5, 2.5, days=1)
    other, clean = two_edges(shop)
    tally(other, operation, 45.0, 1.0, 2.0)
    tally(clean, operation, 10.0, 2.0, 3.0, days=1)
    (lives,) = lives_by_group().values()
    assert {life.edge for life in lives} == {first.pk, other.pk, clean.pk}
    report = services.refit_all()
    assert (report.edges, report.troubles) == (3, [])
    assert set(LifeModel.objects.get().parameters["seen"]) == {str(clean.pk)}


def test_a_life_is_what_wore_its_last_band_and_the_rest_was_elsewhere(shop: Shop) -> None:
    operation = shop.use_band(1.0, 2.0)
    (edge,) = add_edges(shop, [Past(0, "worn")])
    tally(edge, operation, 7.0, days=9)
    tally(edge, operation, 20.0, 0.0, 1.0, days=8)
    tally(edge, operation, 30.0, 1.0, 1.2, days=6)
    tally(edge, operation, 5.0, 1.0, 2.0, days=3)
    (lives,) = lives_by_group().values()
    assert [stretch.minutes for stretch in lives[0].stretches] == [7.0, 30.0, 5.0]
    assert (lives[0].elsewhere, lives[0].minutes) == (20.0, 62.0)


def test_forecasts_of_the_past_judge_no_edge_on_worn_flute(shop: Shop) -> None:
    operation = shop.use_band(1.0, 2.0)
    add_edges(shop, WORN, put_in_at=clock.now() - timedelta(days=60), ended_at=clock.now() - timedelta(days=50))
    first, second = two_edges(shop)
    tally(first, operation, 40.0, 1.0, 2.0)
    tally(second, operation, 10.0, 1.0, 2.0, days=1)
    Edge.objects.filter(pk=second.pk).update(state="ended", outcome="worn", ended_at=clock.now(), minutes=10)
    Edge.objects.filter(pk=first.pk).update(minutes=40)
    services.recall_forecasts(since=clock.now() - timedelta(days=30))
    assert first.scores.exists()
    assert not second.scores.exists()


# --- the bands of an item -----------------------------------------------------------------------------------


def test_the_bands_of_an_item_are_told_with_what_they_have_left(shop: Shop) -> None:
    prior()
    operation = shop.use_band(1.0, 2.0)
    first, second = two_edges(shop)
    tally(first, operation, 12.0, 0.0, 1.0)
    tally(first, operation, 10.0, 1.0, 2.0)
    tally(second, operation, 6.0, 1.0, 2.0, days=1)
    tally(first, operation, 4.0)
    low, high = selectors.worn_bands(first.item)
    assert [(one.low, one.high, one.minutes, one.parts, one.in_use) for one in (low, high)] == [
        (0.0, 1.0, 12.0, 6, False),
        (1.0, 2.0, 16.0, 8, True),
    ]
    assert high.share == pytest.approx(forecast_of(second).life_used)
    assert low.share == pytest.approx((high.share or 0.0) * 12 / 16)


def test_run_to_the_end_a_bands_share_is_that_of_the_forecast(shop: Shop) -> None:
    operation = shop.use_band(1.0, 2.0)
    Operation.objects.update(cost_of_lost_part=0)
    add_edges(shop, WORN)
    (edge,) = add_edges(shop, [Past(0)])
    tally(edge, operation, 20.0, 1.0, 2.0)
    services.refit_all()
    services.refresh_all_due()
    (band,) = selectors.worn_bands(edge.item)
    forecast = Forecast.objects.select_related("model").get(edge=edge)
    assert forecast.change_by_minutes is None
    assert band.share == pytest.approx(forecast.life_used, rel=0.05)
    outlook = selectors.outlook_of(edge=Edge.objects.select_related("operation", "forecast__model").get(pk=edge.pk))
    assert outlook is not None
    assert outlook.used == pytest.approx(20.0)


def test_where_the_life_cannot_be_worked_out_the_share_is_not_said(shop: Shop) -> None:
    operation = shop.use_band(1.0, 2.0)
    first, _ = two_edges(shop)
    tally(first, operation, 12.0, 1.0, 2.0)
    Operation.objects.update(chance_part_lost=float("inf"))
    (band,) = selectors.worn_bands(first.item)
    assert (band.minutes, band.share) == (12.0, None)


def test_an_item_without_bands_has_none(shop: Shop) -> None:
    (edge,) = add_edges(shop, [Past(20)])
    assert selectors.worn_bands(edge.item) == []


def test_many_bands_cost_no_more_queries_than_one(shop: Shop) -> None:
    operation = shop.use_band(1.0, 2.0)
    counts = []
    for bands in (1, 12):
        first, _ = two_edges(shop)
        for band in range(bands):
            tally(first, operation, 5.0, band / 10, band / 10 + 0.5)
        with CaptureQueriesContext(connection) as asked:
            assert len(selectors.worn_bands(Item.objects.select_related("design").get(pk=first.item_id))) == bands
        counts.append(len(asked))
    assert counts[0] == counts[1]


# --- the plan -----------------------------------------------------------------------------------------------


def test_the_plan_counts_the_band_in_place_as_the_forecast_does(shop: Shop) -> None:
    operation = shop.use_band(1.0, 2.0)
    shop.load_tool()
    edge = shop.edge
    other = Edge.objects.create(
        item=edge.item, number=9, state="ended", outcome="worn", ended_at=clock.now(), operation=operation
    )
    tally(other, operation, 12.0, 0.5, 1.5)
    tally(other, operation, 30.0, 2.0, 3.0)
    tally(other, operation, 9.0)
    tally(edge, operation, 5.0, 1.0, 2.0)
    tally(edge, operation, 3.0)
    assert edges_in_place(operations=[operation])[operation.pk].minutes == {operation.pk: 20.0}
    bare = shop.use_band(None, None)
    assert edges_in_place(operations=[bare])[bare.pk].minutes == {bare.pk: 8.0}
