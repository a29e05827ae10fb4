"""Entering a month, and what is refused of it."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from crib.core.errors import BadInput
from crib.planning import services as planning
from crib.planning.errors import BadPlan, MonthOver
from crib.planning.models import Budget, DesignDemand, PlanLine, ProductionPlan
from tests.planning.conftest import MONTH, PlanningShop
from tests.shop import at_once


def test_a_month_is_entered_and_entered_anew(shop: PlanningShop) -> None:
    first = shop.plan(120)
    assert (first.revision, [line.parts for line in first.lines.all()]) == (1, [120])
    assert shop.plan(120).revision == 1, "the same again changes nothing"
    again = shop.plan(150)
    assert (again.pk, again.revision, [line.parts for line in again.lines.all()]) == (first.pk, 2, [150])


def test_a_jobs_name_stands_for_all_its_operations(shop: PlanningShop) -> None:
    assert shop.operation.pk
    for said in ("J-1001", "j-1001/20", shop.job):
        plan = shop.plan(10, operation=said)
        assert [line.operation for line in plan.lines.all()] == [shop.operation]


def test_no_parts_leave_the_line_out(shop: PlanningShop) -> None:
    assert not shop.plan(0).lines.exists()


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"parts": -1}, "parts", "cannot be below 0"),
        ({"parts": "twelve"}, "parts", "whole number"),
        ({"parts": True}, "parts", "whole number"),
        ({"parts": 10**7}, "parts", "Check the number"),
        ({"operation": "J-1001/99"}, "operation", "There is no operation or job"),
        ({"operation": "J-7/x"}, "operation", "There is no operation or job"),
        ({"starts_on": date(2026, 11, 30)}, "from", "is not in 2026-12"),
        ({"ends_on": date(2027, 1, 1)}, "to", "is not in 2026-12"),
        ({"starts_on": date(2026, 12, 9), "ends_on": date(2026, 12, 8)}, "to", "Turn them round"),
    ],
)
def test_a_bad_cell_is_named_and_nothing_is_changed(
    shop: PlanningShop, changes: dict[str, Any], field: str, words: str
) -> None:
    shop.plan(120)
    sound, bad = shop.line(50), shop.line(**({"parts": 10} | changes))
    with pytest.raises(BadPlan) as refused:
        planning.enter_plan(month=MONTH, lines=[sound, bad], who=shop.planner)
    (cell,) = refused.value.cells
    assert (cell.line, cell.field) == (1, field)
    assert words in cell.sentence
    assert refused.value.field == f"lines.1.{field}"
    assert [line.parts for line in PlanLine.objects.all()] == [120]


def test_all_bad_cells_are_named_at_once(shop: PlanningShop) -> None:
    with pytest.raises(BadPlan) as refused:
        planning.enter_plan(month=MONTH, lines=[shop.line(-1), shop.line(5), shop.line(-2)], who=shop.planner)
    assert [cell.line for cell in refused.value.cells] == [0, 2]
    assert not ProductionPlan.objects.exists()


def test_a_job_without_operations_and_a_retired_one_cannot_be_planned(shop: PlanningShop) -> None:
    from crib.floor import services as floor

    day = date(2026, 12, 1)
    bare = planning.LineDraft(operation=shop.job, parts=10, starts_on=day, ends_on=day)
    with pytest.raises(BadPlan, match="has no operation yet"):
        planning.enter_plan(month=MONTH, lines=[bare], who=shop.planner)
    floor.retire_operation(operation=shop.operation, who=shop.engineer)
    with pytest.raises(BadPlan, match="retired"):
        shop.plan(10, operation="J-1001/20")


@pytest.mark.parametrize("month", ["2026-13", "december", "", "2026-12\n", "0000-01"])
def test_what_is_no_month_is_refused(shop: PlanningShop, month: str) -> None:
    with pytest.raises(BadInput, match="is no month") as refused:
        planning.enter_plan(month=month, lines=[], who=shop.planner)
    assert refused.value.field == "month"


def test_a_month_that_is_over_or_far_off_is_refused(shop: PlanningShop) -> None:
    with pytest.raises(MonthOver, match="is over"):
        planning.enter_plan(month="2026-10", lines=[], who=shop.planner)
    with pytest.raises(BadInput, match="months ahead"):
        planning.enter_plan(month="2031-01", lines=[], who=shop.planner)


def test_the_present_month_counts_from_today_on(shop: PlanningShop) -> None:
    line = shop.line(100, starts_on=date(2026, 11, 1), ends_on=date(2026, 11, 30))
    plan = planning.enter_plan(month="2026-11", lines=[line], who=shop.planner)
    planning.refresh_due_plans()
    demand = DesignDemand.objects.get(plan=plan)
    assert demand.first_day == date(2026, 11, 25)
    # 21 working days in the month, 4 of them still to come.
    assert demand.evidence["operations"][0]["parts"] == pytest.approx(100 * 4 / 21, abs=0.1)


def test_a_line_on_days_off_alone_is_made_on_them(shop: PlanningShop) -> None:
    shop.plan(30, starts_on=date(2026, 12, 5), ends_on=date(2026, 12, 6))
    planning.refresh_due_plans()
    demand = DesignDemand.objects.get()
    assert [mean > 0 for mean in demand.daily_mean[3:8]] == [False, True, True, False, False]


def test_a_budget_is_an_amount(shop: PlanningShop) -> None:
    for amount in ("2500", "1200.50"):
        planning.set_budget(month=MONTH, amount=Decimal(amount), who=shop.planner)
    assert Budget.objects.get().amount == Decimal("1200.50")
    for bad in ("-1", "NaN", "1e13"):
        with pytest.raises(BadInput):
            planning.set_budget(month=MONTH, amount=Decimal(bad), who=shop.planner)


@pytest.mark.django_db(transaction=True)
def test_two_planners_at_once_leave_one_whole_plan() -> None:
    shop = PlanningShop()
    lines = {parts: shop.line(parts) for parts in (100, 200)}
    planner = shop.planner
    outcomes = at_once(
        *(lambda p=parts: planning.enter_plan(month=MONTH, lines=[lines[p]], who=planner) for parts in lines)
    )
    assert all(isinstance(one, ProductionPlan) for one in outcomes), outcomes
    assert PlanLine.objects.count() == 1
