"""The ways of changing at an operation, in money: selector, page and interface."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calc.life.policies import policy_costs
from calc.life.staging import batch_edges_to_stage
from crib.catalogue.models import Design, Machine
from crib.core import clock
from crib.floor.models import Operation
from crib.life import services
from crib.life.changing import change_points, costs_of
from crib.life.laws import beliefs, duty_of, law_of
from crib.life.models import Forecast, LifeModel, LifePrior
from crib.life.selectors import ChangeAdvice, Staging, change_advice, outlook_of, staging_at
from crib.life.selectors.predicted import fresh_edge_at
from crib.life.selectors.what_if import what_if
from crib.planning.models import PlanLine, ProductionPlan
from crib.planning.selectors import parts_of_month
from tests.api.calls import get
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop
from tests.web.pages import signed_in, text


def advice(shop: Shop, **changes: Any) -> ChangeAdvice:
    Operation.objects.filter(pk=shop.operation.pk).update(**changes)
    related = ("job", "machine", "tip", "body", "material")
    return change_advice(operation=Operation.objects.select_related(*related).get(pk=shop.operation.pk))


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    add_edges(shop, [*WORN, Past(20, "taken_off_early")])
    services.refit_all()
    return shop


def test_every_page_names_the_same_count_for_a_fresh_edge(learnt: Shop) -> None:
    """A count taken from minutes must not lose a part to rounding: of these paces several would lose one."""
    for each in np.linspace(0.37, 3.11, 40):
        found = advice(learnt, minutes_per_part=float(each))
        ours, fresh = found.policy("ours"), fresh_edge_at(operation=found.operation)
        assert ours is not None
        assert fresh.change_parts == ours.parts, each
        assert what_if(operation=found.operation, asked={}, system="metric").now.change_parts == ours.parts, each


def test_ours_todays_count_and_the_end_are_those_of_calc(learnt: Shop) -> None:
    found = advice(learnt, fixed_count=9)
    law, costs = law_of(LifeModel.objects.get()), costs_of(learnt.operation)
    believed = beliefs([law], [duty_of(learnt.operation)])
    ours, today, to_end = (found.policy(name) for name in ("ours", "today", "to_end"))
    assert ours
    assert ours.parts
    assert today
    assert to_end
    direct = policy_costs(believed, 2.0, [ours.parts, 9, np.inf], costs.edge, costs.change, costs.lost)
    assert [ours.cost, today.cost, to_end.cost] == pytest.approx(direct.total[0])
    assert (today.parts, to_end.parts) == (9, None)
    assert ours.chance_of_failure <= learnt.operation.accepted_risk
    assert ours.rest_of_batch == pytest.approx(found.batch_left * ours.cost)
    assert found.curve is not None
    assert {ours.parts, 9} <= set(found.curve.counts)


def test_the_words_name_todays_count_and_what_it_costs(learnt: Shop) -> None:
    said = " ".join(advice(learnt, fixed_count=5).says)
    assert "Change after" in said
    assert "Today's count of 5 parts costs" in said
    assert "more a part" in said
    ours = advice(learnt).policy("ours")
    assert ours
    assert advice(learnt, fixed_count=ours.parts).says[-1] == f"Today's count of {ours.parts} parts is the same."
    one = advice(learnt, fixed_count=1).says[-1]
    assert one.startswith("Today's count of 1 part costs")


def test_where_changing_early_does_not_pay_the_reason_is_said(learnt: Shop) -> None:
    free = advice(learnt, cost_of_lost_part=0)
    assert free.says[0].startswith("Run to the end: a failure costs no more than a change here.")
    assert free.policies[0].parts is None


def test_edges_that_do_not_age_are_run_to_the_end(shop: Shop) -> None:
    LifePrior.objects.create(
        kind_of_cut="chamfering", life_minutes=50, surface_speed=60, feed=0.05, depth=1.0, shape=0.9, shape_spread=0.01
    )
    assert "do not fail more often as they age" in advice(shop).says[0]


def test_the_accepted_risk_is_named_where_it_asks_for_an_earlier_change(learnt: Shop) -> None:
    held = advice(learnt, accepted_risk=0.01, cost_of_lost_part=30)
    assert held.by_risk
    assert "since the accepted risk of 1\u00a0% asks for it" in held.says[0]
    assert held.cheapest is not None
    assert f"changing after {held.cheapest} parts would be cheapest" in held.says[1]
    dear = advice(learnt, accepted_risk=0.01, cost_of_lost_part=Decimal("0.02"))
    assert dear.cheapest is None
    assert "By cost alone changing early does not pay" in dear.says[1]


def test_what_keeps_the_ways_from_being_compared_is_said(learnt: Shop) -> None:
    assert "minutes in cut per part" in advice(learnt, minutes_per_part=None).trouble
    assert "hardly ever finishes a part" in advice(learnt, minutes_per_part=5000.0).trouble
    Design.objects.filter(pk=learnt.chamfer_tip.pk).update(unit_cost=0)
    Machine.objects.filter(pk=learnt.machine.pk).update(hourly_rate=0)
    assert not advice(learnt, minutes_per_part=2.0).trouble
    assert "No cost is known" in advice(learnt, cost_of_lost_part=0).trouble
    page = text(signed_in(learnt.setter).get(f"/jobs/operations/{learnt.operation.pk}/"))
    assert "No cost is known here" in page


def test_the_page_shows_the_ways_with_a_chart_and_the_caution(learnt: Shop) -> None:
    advice(learnt, fixed_count=9)
    page = text(signed_in(learnt.setter).get(f"/jobs/operations/{learnt.operation.pk}/"))
    for words in ("As advised", "Today&#x27;s fixed count", "Run to the end", "never a promise", "EUR a part", "<svg"):
        assert words in page, words
    assert "style=" not in page


def test_the_month_is_the_plans_or_else_what_was_made_lately(learnt: Shop) -> None:
    operation, today = learnt.operation, clock.today()
    assert parts_of_month(operation=operation) is None
    learnt.log_run(parts=7)
    made = parts_of_month(operation=operation)
    assert made
    assert (made.parts, made.says) == (7, "as made in the last 30 days")
    plan = ProductionPlan.objects.create(month=f"{today:%Y-%m}", entered_by=learnt.planner)
    PlanLine.objects.create(plan=plan, operation=operation, parts=250, starts_on=today, ends_on=today + timedelta(1))
    planned = parts_of_month(operation=operation)
    assert planned
    assert (planned.parts, planned.says) == (250, f"as planned for {today:%Y-%m}")
    answer = get(learnt.setter, f"operations/{operation.pk}/change-advice/").data
    ours = answer["policies"][0]
    assert ours["cost_of_month"] == pytest.approx(250 * ours["cost_per_part"])


def test_the_interface_tells_the_same(learnt: Shop) -> None:
    found = advice(learnt, fixed_count=9)
    answer = get(learnt.setter, f"operations/{learnt.operation.pk}/change-advice/")
    assert answer.status_code == 200
    told = answer.data
    assert [one["name"] for one in told["policies"]] == ["ours", "to_end", "today"]
    assert told["policies"][0]["cost_per_part"] == pytest.approx(found.policies[0].cost)
    assert told["says"] == list(found.says)
    assert get(learnt.setter, "operations/999999/change-advice/").status_code == 404
    Operation.objects.filter(pk=learnt.operation.pk).update(minutes_per_part=None)
    told = get(learnt.setter, f"operations/{learnt.operation.pk}/change-advice/").data
    assert told["policies"] == []
    assert "minutes in cut per part" in told["trouble"]


def test_the_comparison_costs_the_same_queries_with_many_edges(learnt: Shop) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as counted:
            advice(learnt)
        return len(counted)

    few = queries()
    add_edges(learnt, [Past(number % 30) for number in range(45)])
    assert queries() == few


# --- edges to lay ready -------------------------------------------------------------------------------


def staged(shop: Shop) -> Staging:
    related = ("job", "machine", "tip", "body", "material")
    return staging_at(operation=Operation.objects.select_related(*related).get(pk=shop.operation.pk))


def make(shop: Shop, quantity: int) -> None:
    shop.job.quantity = quantity
    shop.job.save()


def test_the_edges_to_lay_ready_are_those_of_calc_for_all_in_use(learnt: Shop) -> None:
    make(learnt, 900)
    add_edges(learnt, [Past(10), Past(4)])
    services.refresh_all_due()
    found = staged(learnt)
    law = law_of(LifeModel.objects.get())
    count = int(change_points([(learnt.operation, law)]).parts[0])
    ahead = [forecast.change_by_parts for forecast in Forecast.objects.order_by("edge")]
    used = [2.0 * max(count - parts, 0) for parts in ahead if parts is not None]
    believed = beliefs([law], [duty_of(learnt.operation)])
    direct = batch_edges_to_stage(used, [parts or 0 for parts in ahead], found.parts, 2.0, believed, count)
    assert (found.edges_in_use, found.ready) == (2, direct[1])
    assert found.expected == pytest.approx(direct[0])
    # Tips of two edges each.
    assert found.tips == -(-direct[1] // 2)


def test_fresh_edges_on_the_tips_in_use_need_not_be_fetched(learnt: Shop) -> None:
    make(learnt, 900)
    learnt.log_run(parts=2)
    services.refresh_all_due()
    found = staged(learnt)
    assert found.waiting == 1
    assert found.ready
    assert found.tips == -(-(found.ready - 1) // 2)
    assert "beside 1 edge in use; 1 fresh on the same tips. A tip gives 2 edges." in found.says
    together = replace(found, together=5)
    assert together.says.endswith("5 tips, fitted together, give 2 edges.")
    assert replace(found, edges_each=1).says.endswith("on the same tips.")


def test_batches_of_any_size_are_staged_for_also_on_the_page_of_an_edge(learnt: Shop) -> None:
    make(learnt, 50_000)
    learnt.log_run(parts=2)
    services.refresh_all_due()
    large = staged(learnt)
    assert large.ready
    assert large.ready > 1000
    page = text(signed_in(learnt.setter).get(f"/jobs/operations/{learnt.operation.pk}/"))
    assert "Edges, enough 95 times in 100" in page
    outlook = outlook_of(edge=learnt.edge)
    assert outlook
    assert outlook.edges_to_stage == pytest.approx(large.ready, rel=0.01)


def test_edges_without_a_forecast_count_by_the_parts_they_have_made(learnt: Shop) -> None:
    make(learnt, 900)
    add_edges(learnt, [Past(10)])
    without = staged(learnt)
    services.refresh_all_due()
    assert staged(learnt).ready == without.ready
    Operation.objects.filter(pk=learnt.operation.pk).update(cost_of_lost_part=0)
    to_the_end = staged(learnt)
    assert to_the_end.expected
    assert without.expected
    assert to_the_end.expected < without.expected


def test_where_no_edge_can_be_counted_the_reason_is_said(learnt: Shop) -> None:
    make(learnt, 1)
    assert staged(learnt).trouble == "Every part of the batch is made."
    assert staged(learnt).expected_words == "–"
    make(learnt, 900)
    for changes, words in (
        ({"minutes_per_part": None}, "minutes in cut per part"),
        ({"minutes_per_part": 5000.0}, "hardly ever finishes a part"),
    ):
        Operation.objects.filter(pk=learnt.operation.pk).update(**changes)
        assert words in staged(learnt).trouble
        told = get(learnt.setter, f"operations/{learnt.operation.pk}/change-advice/").data["staging"]
        assert words in told["trouble"]
        assert told["ready"] is None


@pytest.mark.parametrize("share", [0.5, 1.5, 1.99, 2.5, 40.0])
def test_every_page_opens_where_a_part_takes_as_long_as_an_edge_lasts(learnt: Shop, share: float) -> None:
    learnt.log_run(parts=2)
    law = law_of(LifeModel.objects.get())
    shortest = float(beliefs([law], [duty_of(learnt.operation)]).scale.min())
    Operation.objects.filter(pk=learnt.operation.pk).update(minutes_per_part=share * shortest)
    make(learnt, 900)
    services.mark_stale()
    services.refresh_all_due()
    client, operation = signed_in(learnt.setter), f"/jobs/operations/{learnt.operation.pk}/"
    pages = [f"/edges/{learnt.edge.pk}/", operation, f"{operation}what-if/", f"/jobs/{learnt.operation.job_id}/", "/"]
    assert [client.get(page).status_code for page in pages] == [200] * len(pages)
    outlook, staging = outlook_of(edge=learnt.edge), staged(learnt)
    assert outlook
    assert outlook.edges_to_stage == staging.ready
