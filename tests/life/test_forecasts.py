"""Forecasts of the edges in use: from a logged run to what is left, and every way in which little is known."""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calc.life.batch import believed_parts_left
from calc.life.predictive import lasting, remaining
from crib.catalogue.models import Job, MachineShift
from crib.core import clock
from crib.floor import services as floor
from crib.floor.models import Edge, Operation
from crib.life import services
from crib.life.calendar import moment_after
from crib.life.changing import change_points, costs_of
from crib.life.exposure import LONGEST_MINUTES
from crib.life.laws import beliefs, duty_of, law_of
from crib.life.models import Forecast, ForecastScore, LifeModel, LifePrior
from crib.life.services import forecasting
from crib.life.tasks import refit_life_models, refresh_stale_forecasts
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def forecast_of(edge: Edge) -> Any:
    return Forecast.objects.get(edge=edge)


def test_a_logged_run_makes_the_edge_due_and_the_task_forecasts_it(shop: Shop) -> None:
    shop.log_run(parts=5)
    edge = shop.edge
    assert services.claim_due() == [edge.pk]
    refresh_stale_forecasts()
    first = forecast_of(edge)
    assert services.claim_due() == []
    assert (first.minutes_used, first.edge_revision) == (10.0, edge.revision)
    shop.log_run(hour=1, parts=5)
    assert services.claim_due() == [edge.pk]
    refresh_stale_forecasts()
    second = forecast_of(edge)
    assert second.minutes_used == 20.0
    assert second.minutes_left_50 < first.minutes_left_50
    assert second.parts_left_10 <= first.parts_left_10
    assert second.life_used > first.life_used


def test_a_forecast_is_the_array_call_of_calc_for_this_edge(shop: Shop) -> None:
    Job.objects.filter(pk=shop.job.pk).update(quantity=260)
    edge = add_edges(shop, [*WORN, Past(21)])[-1]
    services.refit_all()
    services.refresh_all_due()
    forecast, law = forecast_of(edge), law_of(LifeModel.objects.get())
    believed = beliefs([law], [duty_of(shop.operation)])
    assert [forecast.minutes_left_10, forecast.minutes_left_50, forecast.minutes_left_90] == pytest.approx(
        remaining(21, believed, 21)[0], rel=1e-6
    )
    assert [forecast.parts_left_10, forecast.parts_left_50, forecast.parts_left_90] == pytest.approx(
        believed_parts_left(21, 2.0, believed, 21)[0]
    )
    made = sum(e.parts for e in Edge.objects.all())
    assert forecast.batch_parts_left == 260 - made > 0
    left = 260 - made
    assert forecast.chance_of_batch == pytest.approx(float(lasting(left * 2.0, 21, believed, 21)[0]), abs=1e-9)
    assert forecast.evidence.startswith("Fitted from 10 worn")


def test_the_change_by_keeps_the_accepted_risk_and_counts_whole_parts(shop: Shop) -> None:
    edge = add_edges(shop, [*WORN, Past(5)])[-1]
    services.refit_all()
    services.refresh_all_due()
    forecast = forecast_of(edge)
    point = change_points([(shop.operation, law_of(LifeModel.objects.get()))])
    assert point.chance_of_failure[0] <= shop.operation.accepted_risk
    assert forecast.change_by_parts == math.floor((point.minutes[0] - 5) / 2.0 + 1e-9) > 0
    assert forecast.change_by_minutes == pytest.approx(point.minutes[0] - 5)
    assert forecast.life_used == pytest.approx(5 / point.minutes[0])
    assert forecast.advice.startswith(f"Change after {forecast.change_by_parts} more parts")


def test_costs_are_edge_change_time_and_the_lost_part(shop: Shop) -> None:
    operation = shop.operation
    costs = costs_of(operation)
    # A tip of 24.50 has two edges; three minutes at 95 an hour; a lost part is 900.
    assert costs.planned == pytest.approx(24.50 / 2 + 3 * 95 / 60)
    assert costs.failure == pytest.approx(costs.planned + 900)
    operation.tip.regrinds_allowed, operation.tip.regrind_cost = 3, Decimal("9.50")
    assert costs_of(operation).planned == pytest.approx((24.50 + 3 * 9.50) / 8 + 3 * 95 / 60)


def test_a_set_of_tips_costs_an_edge_of_each(shop: Shop) -> None:
    operation = shop.operation
    assert operation.body is not None
    operation.body.seats = 5
    assert costs_of(operation).planned == pytest.approx(5 * 24.50 / 2 + 3 * 95 / 60)


def test_where_a_failure_costs_nothing_more_the_edge_is_run_to_the_end(shop: Shop) -> None:
    operation = shop.operation
    Operation.objects.filter(pk=operation.pk).update(cost_of_lost_part=0)
    edge = add_edges(shop, [*WORN, Past(21)])[-1]
    services.refit_all()
    services.refresh_all_due()
    forecast = forecast_of(edge)
    assert forecast.change_by_parts is None
    assert forecast.change_by_at is None
    assert forecast.advice.startswith("Run to the end")
    assert 0 < forecast.life_used < 1


def test_an_edge_past_its_point_is_changed_now(shop: Shop) -> None:
    edge = add_edges(shop, [*WORN, Past(70)])[-1]
    services.refit_all()
    services.refresh_all_due()
    forecast = forecast_of(edge)
    assert forecast.change_by_parts == 0
    assert forecast.advice.startswith("Change now")
    assert forecast.life_used > 1


def test_minutes_at_a_faster_duty_wear_the_edge_more(shop: Shop) -> None:
    faster = floor.create_operation(
        job=shop.job, number=40, name="Faster", machine=shop.machine, tip=shop.chamfer_tip, material=shop.material,
        kind_of_cut="chamfering", surface_speed=90.0, feed=0.05, depth=1.0, minutes_per_part=2.0, who=shop.engineer,
    )  # fmt: skip
    LifePrior.objects.create(kind_of_cut="chamfering", life_minutes=50, surface_speed=60, feed=0.05, depth=1.0)
    slow, fast = add_edges(shop, [Past(20), Past(20, operation=faster)])
    Edge.objects.filter(pk=fast.pk).update(operation=shop.operation)
    services.refresh_all_due()
    # At the same duty ahead, twenty minutes at 90 m/min count as 20 * (90/60)^4 at 60 m/min.
    assert forecast_of(fast).life_used == pytest.approx(forecast_of(slow).life_used * 1.5**4, rel=1e-6)
    assert forecast_of(fast).minutes_left_50 < forecast_of(slow).minutes_left_50


def test_an_edge_in_use_with_no_data_behind_it_shows_the_starting_value(shop: Shop) -> None:
    LifePrior.objects.create(
        kind_of_cut="chamfering", iso_group="M", life_minutes=55, surface_speed=60, feed=0.05, depth=1.0,
        source="handbook of the shop, page 12",
    )  # fmt: skip
    (edge,) = add_edges(shop, [Past(0)])
    services.refresh_all_due()
    forecast = forecast_of(edge)
    assert forecast.evidence == "Starting value (handbook of the shop, page 12); no edge has ended here yet"
    assert forecast.minutes_left_50 == pytest.approx(55 * math.log(2) ** (1 / 2.5), rel=0.05)
    assert forecast.minutes_left_90 / forecast.minutes_left_10 > 4
    assert LifeModel.objects.get().standing == "prior"


def test_three_ends_leave_a_wider_range_than_thirty(shop: Shop) -> None:
    draw = np.random.default_rng(3)
    edge = add_edges(shop, [Past(0)])[0]
    widths = []
    for count in (3, 27):
        add_edges(shop, [Past(float(minutes), "worn") for minutes in 48 * draw.weibull(3.5, count)])
        services.refit_all()
        services.refresh_all_due()
        forecast = forecast_of(edge)
        widths.append(forecast.minutes_left_90 / forecast.minutes_left_10)
    assert widths[0] > 1.15 * widths[1]


def test_without_an_operation_the_edge_says_what_to_do(shop: Shop) -> None:
    (edge,) = add_edges(shop, [Past(0)])
    Edge.objects.filter(pk=edge.pk).update(operation=None)
    assert services.refresh_all_due() == 1
    forecast = forecast_of(edge)
    assert "Load its tool" in forecast.trouble
    assert forecast.minutes_left_50 is None
    assert services.claim_due() == []


def test_without_minutes_per_part_only_minutes_are_said(shop: Shop) -> None:
    edge = add_edges(shop, [Past(12)])[0]
    Operation.objects.update(minutes_per_part=None)
    services.refresh_all_due()
    forecast = forecast_of(edge)
    assert forecast.minutes_left_50 > 0
    assert forecast.parts_left_50 is forecast.chance_of_batch is forecast.change_by_parts is None
    assert "Add the minutes in cut per part" in forecast.advice


def test_one_edge_with_figures_beyond_sense_does_not_keep_the_others_waiting(
    shop: Shop, caplog: pytest.LogCaptureFixture
) -> None:
    wrong = floor.create_operation(
        job=shop.job, number=40, name="Wrong", machine=shop.machine, tip=shop.chamfer_tip, material=shop.material,
        kind_of_cut="chamfering", surface_speed=90.0, feed=0.05, depth=1.0, minutes_per_part=2.0, who=shop.engineer,
    )  # fmt: skip
    Operation.objects.filter(pk=wrong.pk).update(cost_of_lost_part=-1_000_000)
    sound, odd = add_edges(shop, [Past(5), Past(5, operation=Operation.objects.get(pk=wrong.pk))])
    assert services.refresh_all_due() == 2
    assert forecast_of(sound).minutes_left_50 > 0
    assert "check its costs" in forecast_of(odd).trouble
    assert "has no forecast" in caplog.text
    assert services.claim_due() == []


def test_a_model_that_is_gone_is_made_again(shop: Shop) -> None:
    edge = add_edges(shop, [Past(12)])[0]
    services.refresh_all_due()
    LifeModel.objects.all().delete()
    services.mark_stale()
    assert services.refresh_all_due() == 1
    assert forecast_of(edge).model == LifeModel.objects.get()


def test_a_worker_killed_before_saving_leaves_the_edge_due(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    edge = add_edges(shop, [Past(12)])[0]

    def killed(*_: Any) -> None:
        raise SystemExit

    with monkeypatch.context() as patched:
        patched.setattr(forecasting, "_save", killed)
        with pytest.raises(SystemExit):
            services.refresh_all_due()
    assert services.claim_due() == [edge.pk]
    assert services.refresh_all_due() == 1


def test_a_forecast_saved_from_an_older_revision_is_due_again(shop: Shop) -> None:
    edge = add_edges(shop, [Past(12)])[0]
    services.refresh_all_due()
    Forecast.objects.update(edge_revision=edge.revision - 1)
    assert services.claim_due() == [edge.pk]


def test_the_refit_task_forecasts_what_it_changed(shop: Shop) -> None:
    edge = add_edges(shop, [*WORN, Past(12)])[-1]
    refit_life_models()
    assert forecast_of(edge).model_version == 1
    add_edges(shop, [Past(31, "worn")])
    refit_life_models()
    assert forecast_of(edge).model_version == 2


def test_marking_one_model_stale_leaves_the_others(shop: Shop) -> None:
    edge = add_edges(shop, [Past(12)])[0]
    services.refresh_all_due()
    assert services.mark_stale(model=LifeModel.objects.get()) == 1
    assert services.claim_due() == [edge.pk]


def test_a_whole_page_of_edges_costs_no_more_queries_than_one(shop: Shop) -> None:
    add_edges(shop, [Past(10)])
    services.refresh_all_due()
    services.mark_stale()
    with CaptureQueriesContext(
        connection,
    ) as one:
        services.refresh(edge_ids=services.claim_due())
    add_edges(shop, [Past(10 + number) for number in range(40)])
    services.refresh_all_due()
    services.mark_stale()
    with CaptureQueriesContext(connection) as many:
        services.refresh(edge_ids=services.claim_due())
    assert len(many) == len(one)


def test_absurd_minutes_still_fit_the_columns(shop: Shop) -> None:
    edge = add_edges(shop, [Past(3e6)])[0]
    LifePrior.objects.create(
        kind_of_cut="chamfering", life_minutes=1e6, surface_speed=1, feed=5, depth=5, life_spread=5, shape=0.2
    )
    services.refresh_all_due()
    forecast = forecast_of(edge)
    assert 0 <= forecast.minutes_left_10 <= forecast.minutes_left_90 <= LONGEST_MINUTES
    assert forecast.parts_left_90 <= forecasting.MOST_PARTS


# --- by the clock -----------------------------------------------------------------------------------


def test_the_clock_time_follows_the_pace_of_the_runs(shop: Shop) -> None:
    edge = add_edges(shop, [*WORN, Past(5)])[-1]
    services.refit_all()
    services.refresh_all_due()
    forecast = forecast_of(edge)
    assert forecast.change_by_parts > 0
    # The runs took 2.5 clock minutes for each minute in cut, and a part is 2 minutes but for what was cut off.
    made = sum(e.parts for e in Edge.objects.all())
    pace = sum(t.clock_minutes for e in Edge.objects.all() for t in e.totals.all()) / made
    assert edge.last_run_ended_at is not None
    wanted = edge.last_run_ended_at + timedelta(minutes=forecast.change_by_parts * pace)
    assert abs((forecast.change_by_at - wanted).total_seconds()) < 1


def test_an_edge_that_never_ran_has_no_clock_time(shop: Shop) -> None:
    edge = add_edges(shop, [Past(0)])[0]
    services.refresh_all_due()
    assert forecast_of(edge).change_by_at is None


def test_a_machine_that_stands_goes_on_from_now(shop: Shop) -> None:
    edge = add_edges(shop, [*WORN, Past(5)])[-1]
    Edge.objects.filter(pk=edge.pk).update(last_run_ended_at=clock.now() - timedelta(days=2))
    services.refit_all()
    services.refresh_all_due()
    assert forecast_of(edge).change_by_at > clock.now()


def test_shifts_are_counted_and_nights_are_not(shop: Shop) -> None:
    for weekday in range(5):
        MachineShift.objects.create(machine=shop.machine, weekday=weekday, starts=time(6), ends=time(14))
    edge = add_edges(shop, [*WORN, Past(21)])[-1]
    services.refit_all()
    services.refresh_all_due()
    at = forecast_of(edge).change_by_at.astimezone(ZoneInfo("UTC"))
    assert at.weekday() < 5
    assert 6 <= at.hour + at.minute / 60 <= 14.01


def shift(weekday: int, starts: int, ends: int) -> MachineShift:
    return MachineShift(weekday=weekday, starts=time(starts), ends=time(ends))


@pytest.mark.parametrize(
    ("start", "minutes", "shifts", "wanted"),
    [
        # 2 November 2026 is a Monday.
        ("2026-11-02T08:00", 60, [shift(0, 6, 14)], "2026-11-02T09:00"),
        ("2026-11-02T13:30", 60, [shift(0, 6, 14), shift(1, 6, 14)], "2026-11-03T06:30"),
        ("2026-11-02T03:00", 30, [shift(0, 6, 14)], "2026-11-02T06:30"),
        ("2026-11-02T23:00", 180, [shift(0, 22, 6)], "2026-11-03T02:00"),
        ("2026-11-03T02:00", 60, [shift(0, 22, 6)], "2026-11-03T03:00"),
        ("2026-11-02T13:00", 120, [shift(0, 6, 14), shift(0, 12, 16)], "2026-11-02T15:00"),
        ("2026-11-06T13:00", 120, [shift(4, 6, 14), shift(0, 6, 14)], "2026-11-09T07:00"),
        ("2026-11-02T08:00", 90, [], "2026-11-02T09:30"),
    ],
)
def test_minutes_of_work_are_laid_over_the_shifts(start: str, minutes: float, shifts: list[Any], wanted: str) -> None:
    begin = datetime.fromisoformat(start).replace(tzinfo=UTC)
    answer = moment_after(start=begin, minutes=minutes, shifts=shifts, zone=ZoneInfo("UTC"))
    assert answer == datetime.fromisoformat(wanted).replace(tzinfo=UTC)


def test_what_is_too_far_off_is_not_said_by_the_clock() -> None:
    begin = datetime(2026, 11, 2, 8, tzinfo=UTC)
    assert moment_after(start=begin, minutes=1e6, shifts=[], zone=ZoneInfo("UTC")) is None
    assert moment_after(start=begin, minutes=40_000, shifts=[shift(0, 6, 7)], zone=ZoneInfo("UTC")) is None


# --- was it right -----------------------------------------------------------------------------------


def test_a_forecast_is_kept_once_at_each_point_and_scored_at_the_end(shop: Shop) -> None:
    shop.log_run(parts=1)
    services.refresh_all_due()
    services.mark_stale()
    services.refresh_all_due()
    edge = shop.edge
    kept = ForecastScore.objects.get(edge=edge)
    assert (kept.minutes_then, kept.scored_at) == (2.0, None)
    shop.log_run(hour=1, parts=10)
    floor.end_edge(edge=edge, outcome="worn", wear_land_mm=0.3, who=shop.setter)
    refresh_stale_forecasts()
    kept.refresh_from_db()
    assert kept.minutes_really_left == pytest.approx(20)
    assert (kept.censored, kept.covered) == (False, kept.minutes_left_10 <= 20 <= kept.minutes_left_90)
    assert kept.pinball_50 == pytest.approx(abs(20 - kept.minutes_left_50) / 2)
    assert services.score_ended() == 0


def test_an_edge_taken_off_early_is_not_held_against_the_forecast(shop: Shop) -> None:
    shop.log_run(parts=2)
    services.refresh_all_due()
    edge = shop.edge
    floor.end_edge(edge=edge, outcome="taken_off_early", who=shop.setter)
    assert services.score_ended() == 1
    score = ForecastScore.objects.get(edge=edge)
    assert (score.censored, score.covered, score.pinball_50) == (True, None, None)


def test_later_points_are_kept_beside_the_first(shop: Shop) -> None:
    edge = add_edges(shop, [*WORN, Past(1)])[-1]
    services.refit_all()
    services.refresh_all_due()
    point = change_points([(shop.operation, law_of(LifeModel.objects.get()))]).minutes[0]
    Edge.objects.filter(pk=edge.pk).update(minutes=point * 0.6, revision=99)
    edge.totals.update(minutes=point * 0.6)
    services.refresh_all_due()
    assert list(ForecastScore.objects.filter(edge=edge).order_by("point").values_list("point", flat=True)) == [0, 50]
