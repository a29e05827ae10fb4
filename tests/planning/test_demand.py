"""What a plan takes, and how the stock will go."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calc.supply.renewal import renewal_count
from crib.core import clock
from crib.floor import services as floor
from crib.floor.models import Operation
from crib.life import services as life
from crib.life.models import LifeModel
from crib.planning import services as planning
from crib.planning.laws import laws_of
from crib.planning.models import DesignDemand, Flag, ProductionPlan
from tests.planning.conftest import MONTH, PlanningShop


def demand(shop: PlanningShop) -> DesignDemand:
    return DesignDemand.objects.get(plan__month=MONTH, design=shop.chamfer_tip)


def test_a_months_tips_follow_from_parts_minutes_and_life(shop: PlanningShop) -> None:
    shop.planned(parts=300, on_hand=400)
    found = demand(shop)
    assert found.quantile_10 <= found.quantile_50 <= found.quantile_90 <= found.quantile_95
    assert sum(found.daily_mean) == pytest.approx(found.mean, abs=0.01)
    assert len(found.daily_mean) == 31
    (work,) = found.evidence["operations"]
    assert (work["parts"], work["minutes"], work["minutes_per_part"]) == (300, 600, 2.0)
    assert "Starting value" in work["life"]
    # Against the exact count for the law as known; the plan also carries that the law is unsure.
    law = laws_of([shop.operation])[shop.operation.pk]
    assert law.change_at
    exact = renewal_count(law.shape, law.scale, 600, change_at=law.change_at, breakage=law.breakage).mean
    assert found.evidence["edges"] == pytest.approx(float(exact), rel=0.1)
    # Two edges on a tip, some of them spoilt: between half and all of the edges.
    assert found.evidence["edges"] / 2 <= found.mean <= found.evidence["edges"]


def test_nothing_fitted_yet_takes_one_more(shop: PlanningShop) -> None:
    shop.planned(parts=300, on_hand=50)
    before = demand(shop).evidence["edges"]
    shop.log_run(parts=1)
    planning.refresh_designs(designs=[shop.chamfer_tip.pk])
    after = demand(shop)
    assert after.evidence["operations"][0]["used"] == pytest.approx(2.0)
    assert after.evidence["edges"] < before


def test_stock_runs_forward_with_what_is_coming(shop: PlanningShop) -> None:
    shop.planned(parts=300, on_hand=20)
    found = demand(shop)
    assert found.projection["on_hand"] == 20
    assert found.projection["first_day"] == "2026-11-25"
    assert len(found.projection["mean"]) == 37
    assert found.projection["likely"][-1] == 20 - found.quantile_50
    assert found.shortage_day_95 is not None
    assert found.shortage_day_50 is not None
    assert found.shortage_day_95 <= found.shortage_day_50
    line = shop.order()
    planning.refresh_due_flags()
    arrivals = demand(shop).projection["arrivals"]
    assert arrivals[(date(2026, 12, 2) - date(2026, 11, 25)).days] == line.quantity


def test_what_cannot_be_worked_out_is_said(shop: PlanningShop) -> None:
    Operation.objects.filter(pk=shop.operation.pk).update(minutes_per_part=None, minutes_source="missing")
    plan = shop.planned()
    assert plan.trouble == ["J-1001/20 has no minutes in cut per part yet. Enter its duty or its minutes."]
    assert not DesignDemand.objects.exists()
    assert not Flag.objects.exists()


def test_a_design_that_the_plan_no_longer_needs_is_dropped(shop: PlanningShop) -> None:
    shop.planned()
    shop.plan(0)
    planning.refresh_due_plans()
    assert not DesignDemand.objects.exists()
    flags = Flag.objects.filter(kind=Flag.Kind.WILL_RUN_SHORT)
    assert [flag.cleared_at is not None for flag in flags] == [True]


def test_only_what_is_due_is_worked_out(shop: PlanningShop) -> None:
    shop.planned()
    assert planning.refresh_due_plans().designs == 0
    assert planning.refresh_due_flags().designs == 0
    shop.stock(shop.chamfer_tip, 1)
    assert planning.refresh_due_flags().designs == 1
    shop.plan(700)
    assert planning.refresh_due_plans().designs == 1


def test_a_new_day_is_due(shop: PlanningShop, monkeypatch: pytest.MonkeyPatch) -> None:
    from datetime import UTC, datetime

    from crib.core import clock

    shop.planned()
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 11, 26, 3, 0, tzinfo=UTC))
    assert planning.refresh_due_plans().designs == 1


def test_lives_learnt_anew_make_the_plan_due(shop: PlanningShop) -> None:
    shop.planned()
    shop.log_run(parts=1)
    life.refresh_all_due()
    model = LifeModel.objects.get()
    model.fitted_at = clock.now() + timedelta(hours=1)
    model.save()
    assert planning.refresh_due_plans().designs == 0, "a starting value is nothing new"
    model.standing = LifeModel.Standing.FITTED
    model.save()
    assert planning.refresh_due_plans().designs == 1


def test_a_plan_changed_while_it_is_worked_out_stays_behind(
    shop: PlanningShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from crib.planning.services import refresh

    shop.planned()
    worked = refresh._refresh_bundle

    def with_a_change(*args: object) -> None:
        worked(*args)  # type: ignore[arg-type]
        shop.plan(999)

    monkeypatch.setattr(refresh, "_refresh_bundle", with_a_change)
    planning.compute_plan(month=MONTH)
    plan = ProductionPlan.objects.get()
    assert plan.computed_revision < plan.revision


def test_two_plans_share_the_stock(shop: PlanningShop) -> None:
    shop.planned(parts=300, on_hand=20)
    line = shop.line(50, starts_on=date(2026, 11, 25), ends_on=date(2026, 11, 30))
    planning.enter_plan(month="2026-11", lines=[line], who=shop.planner)
    alone = demand(shop).projection["likely"][-1]
    planning.refresh_due_plans()
    assert demand(shop).projection["likely"][-1] < alone, "what this month takes is not there next month"


def test_queries_do_not_grow_with_the_designs(shop: PlanningShop) -> None:
    shop.planned(on_hand=500)

    def count() -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            planning.compute_plan(month=MONTH)
        return sum(
            query["sql"].startswith("SELECT") and "flagcheck" not in query["sql"] for query in asked.captured_queries
        )

    few = count()
    for number in range(6):
        tip = shop.design(f"CT-X-{number}", machine_side_system="screw-on", machine_side_size="M8")
        floor.create_operation(
            job=shop.job, number=100 + number, name="Chamfer", machine=shop.machine, tip=tip, body=shop.body,
            material=shop.material, kind_of_cut="chamfering", surface_speed=60.0, feed=0.05, depth=1.0,
            minutes_per_part=2.0, who=shop.engineer,
        )  # fmt: skip
        shop.stock(tip, 500)
    shop.plan(200, operation="J-1001")
    assert count() == few
    assert DesignDemand.objects.count() == 7
