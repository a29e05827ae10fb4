"""Wear lands seen on an edge take over its forecast."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calc.life.wear_forecast import ASSUMED, wear_forecast
from crib.catalogue.models import Job
from crib.floor import services as floor
from crib.floor.models import Edge, Inspection, Operation
from crib.life import services
from crib.life.laws import beliefs, duty_of, law_of
from crib.life.models import Forecast, LifeModel
from crib.life.wear import habits_of, readings_that_count
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def forecast_of(edge: Edge) -> Any:
    return Forecast.objects.get(edge=edge)


def seen(shop: Shop, edge: Edge, *readings: tuple[float, float], looked_twice: bool = False) -> None:
    Inspection.objects.bulk_create(
        Inspection(edge=edge, at_minutes=at, wear_land_mm=land, seen_by=shop.setter, looked_twice=looked_twice)
        for at, land in readings
    )
    Edge.objects.filter(pk=edge.pk).update(revision=edge.revision + 1)


@pytest.fixture
def twins(shop: Shop) -> tuple[Edge, Edge]:
    """Two edges of the same minutes among a group that is well known."""
    first, second = add_edges(shop, [*WORN, Past(24), Past(24)])[-2:]
    services.refit_all()
    return first, second


def test_an_edge_that_wears_fast_has_less_left_and_comes_off_sooner(shop: Shop, twins: tuple[Edge, Edge]) -> None:
    fast, slow = twins
    seen(shop, fast, (12.0, 0.13), (24.0, 0.24))
    seen(shop, slow, (12.0, 0.07), (24.0, 0.09))
    services.refresh_all_due()
    one, other = forecast_of(fast), forecast_of(slow)
    assert one.minutes_left_90 < other.minutes_left_10 + 20
    assert one.minutes_left_50 < other.minutes_left_50
    assert one.parts_left_50 < other.parts_left_50
    assert one.change_by_parts <= other.change_by_parts
    assert one.life_used > other.life_used
    assert (one.wear_readings, other.wear_readings) == (2, 2)
    assert one.evidence.endswith("2 wear readings taken in")


def test_the_forecast_is_the_array_call_of_calc_at_the_minutes_of_the_present_duty(
    shop: Shop, twins: tuple[Edge, Edge]
) -> None:
    Job.objects.filter(pk=shop.job.pk).update(quantity=260)
    edge = twins[0]
    seen(shop, edge, (24.0, 0.16))
    services.refresh_all_due()
    forecast, model = forecast_of(edge), LifeModel.objects.get()
    believed = beliefs([law_of(model)], [duty_of(shop.operation)])
    found = wear_forecast([[24.0]], [[0.16]], 0.3, 24.0, believed, 24.0)
    left = [forecast.minutes_left_10, forecast.minutes_left_50, forecast.minutes_left_90]
    assert left == pytest.approx(found.percentiles()[0], rel=1e-6)
    assert forecast.parts_left_50 == math.floor(forecast.minutes_left_50 / 2.0)
    batch = forecast.batch_parts_left * 2.0
    assert forecast.chance_of_batch == pytest.approx(float(found.chance([[batch]])[0, 0]), abs=1e-9)
    risk = 1 - float(found.chance([[forecast.change_by_parts * 2.0]])[0, 0])
    assert risk <= shop.operation.accepted_risk
    assert forecast.evidence.endswith("1 wear reading taken in")


def test_a_reading_at_the_criterion_of_the_operation_means_change_now(shop: Shop, twins: tuple[Edge, Edge]) -> None:
    worn, sound = twins
    Operation.objects.update(wear_limit_mm=0.2)
    seen(shop, worn, (24.0, 0.2))
    seen(shop, sound, (24.0, 0.1))
    services.refresh_all_due()
    forecast = forecast_of(worn)
    assert (forecast.minutes_left_90, forecast.change_by_parts, forecast.life_used) == (0.0, 0, 1.0)
    assert forecast.advice == "Change now: the wear land has reached the criterion."
    assert forecast.chance_of_batch in (0.0, None, 1.0)
    assert forecast_of(sound).minutes_left_50 > 0


def test_where_a_failure_costs_nothing_more_the_edge_is_run_to_its_end(shop: Shop, twins: tuple[Edge, Edge]) -> None:
    Operation.objects.update(cost_of_lost_part=0)
    seen(shop, twins[0], (24.0, 0.15))
    services.refresh_all_due()
    forecast = forecast_of(twins[0])
    assert (forecast.change_by_parts, forecast.change_by_at) == (None, None)
    assert forecast.advice.startswith("Run to the end")
    assert 0 < forecast.life_used < 1


def test_without_minutes_per_part_the_change_is_said_in_minutes(shop: Shop, twins: tuple[Edge, Edge]) -> None:
    Operation.objects.update(minutes_per_part=None)
    seen(shop, twins[0], (24.0, 0.12))
    services.refresh_all_due()
    forecast = forecast_of(twins[0])
    assert forecast.change_by_parts is forecast.chance_of_batch is None
    assert forecast.change_by_minutes > 0


def test_what_was_looked_at_twice_stands_against_higher_readings_before_it() -> None:
    looks = [Inspection(at_minutes=at, wear_land_mm=land) for at, land in ((5.0, 0.08), (10.0, 0.31), (15.0, 0.12))]
    assert len(readings_that_count(looks)) == 3
    looks[2].looked_twice = True
    assert [look.at_minutes for look in readings_that_count(looks)] == [5.0, 15.0]


def test_a_group_without_habits_takes_the_assumed_ones() -> None:
    assert habits_of({}) == ASSUMED
    assert habits_of({"gauge_sd": 0.01}).gauge_sd == 0.01
    assert habits_of({"gauge_sd": 0.01}).start == ASSUMED.start


def test_one_run_logged_in_two_tells_the_same(shop: Shop) -> None:
    """Splitting a run in two changes no forecast, with wear readings and without."""
    shop.log_run(parts=10)
    floor.record_inspection(edge=shop.edge, wear_land_mm=0.1, who=shop.setter, at_minutes=10.0)
    services.refresh_all_due()
    whole = forecast_of(shop.edge)
    Edge.objects.filter(pk=shop.edge.pk).update(minutes=0.0, parts=0)
    shop.edge.totals.update(minutes=0.0, parts=0)
    shop.log_run(hour=1, parts=4)
    shop.log_run(hour=2, parts=6)
    services.refresh_all_due()
    split = forecast_of(shop.edge)
    for field in ("minutes_left_10", "minutes_left_50", "minutes_left_90", "life_used", "chance_of_batch"):
        assert getattr(split, field) == pytest.approx(getattr(whole, field), rel=1e-6), field
    assert (split.parts_left_50, split.change_by_parts) == (whole.parts_left_50, whole.change_by_parts)


def test_many_readings_cost_no_more_queries_than_one(shop: Shop) -> None:
    edges = add_edges(shop, [Past(20 + number) for number in range(12)])
    seen(shop, edges[0], (10.0, 0.1))
    services.refresh_all_due()
    services.mark_stale()
    with CaptureQueriesContext(connection) as one:
        services.refresh(edge_ids=services.claim_due())
    for edge in edges[1:]:
        seen(shop, edge, (5.0, 0.06), (15.0, 0.12))
    services.refresh_all_due()
    services.mark_stale()
    with CaptureQueriesContext(connection) as many:
        services.refresh(edge_ids=services.claim_due())
    assert len(many) == len(one)
    assert np.all([forecast_of(edge).wear_readings == 2 for edge in edges[1:]])
