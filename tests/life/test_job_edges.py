"""All edges that cut a part of a job."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calc.life.predictive import lasting
from crib.catalogue.models import Job
from crib.floor import services as floor
from crib.floor.models import Edge, Operation
from crib.life import services
from crib.life.laws import beliefs, duty_of, law_of
from crib.life.models import Forecast, LifeModel
from crib.life.selectors.job_edges import COMING, NO_EDGE, job_edges
from crib.life.words import NO_MINUTES_PER_PART
from tests.life.lives import WORN, add_edges
from tests.shop import Shop


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    """Ten edges have worn, one is in use in pocket 3 after ten minutes, and 20 parts are left of the batch."""
    add_edges(shop, WORN)
    services.refit_all()
    shop.log_run(parts=5)
    made = sum(edge.parts for edge in Edge.objects.all())
    Job.objects.filter(pk=shop.job.pk).update(quantity=made + 20)
    services.refresh_all_due()
    return shop


def another(shop: Shop, number: int, pocket: int, **changes: Any) -> Operation:
    """A further operation of the job with a tool of its own in another pocket."""
    fields: dict[str, Any] = {
        "job": shop.job, "number": number, "name": f"Chamfer {number}", "machine": shop.machine,
        "tip": shop.chamfer_tip, "body": shop.body, "material": shop.material, "kind_of_cut": "chamfering",
        "surface_speed": 60.0, "feed": 0.05, "depth": 1.0, "width": 1.0, "minutes_per_part": 2.0,
    }  # fmt: skip
    operation = floor.create_operation(**(fields | changes), who=shop.engineer)
    loaded = shop.assembly_with(operation.tip)
    floor.load_pocket(
        machine=shop.machine, pocket=pocket, assembly=loaded, operation=operation, who=shop.setter, at=shop.long_ago
    )
    return operation


def test_one_edge_says_what_its_own_forecast_does(learnt: Shop) -> None:
    found = job_edges(job=Job.objects.get())
    (step,) = found.steps
    forecast = Forecast.objects.get(edge=learnt.edge)
    assert step.parts_to_make == forecast.batch_parts_left == 20
    assert found.untouched == pytest.approx(forecast.chance_of_batch)
    assert step.row is not None
    assert (step.row.pocket, step.why_not) == (3, "")
    assert found.first_change == forecast.change_by_parts
    assert found.changed_first == step == found.first_to_end
    believed = beliefs([law_of(LifeModel.objects.get())], [duty_of(learnt.operation)])
    until = min(forecast.change_by_parts or 0, 20) * 2.0
    assert step.early == pytest.approx(1 - float(lasting(until, 10, believed, 0)[0]))
    assert step.first is not None
    assert found.planned_only == pytest.approx(1 - step.first)


def test_an_edge_whose_wear_was_read_changes_and_promises_as_its_forecast_does(learnt: Shop) -> None:
    floor.record_inspection(edge=learnt.edge, wear_land_mm=0.24, note="", who=learnt.setter)
    services.refresh_all_due()
    forecast = Forecast.objects.get(edge=learnt.edge)
    found = job_edges(job=Job.objects.get())
    assert forecast.wear_readings == 1
    assert found.wear_seen
    assert found.untouched == forecast.chance_of_batch
    assert found.first_change == forecast.change_by_parts


def test_operations_that_share_a_life_curve_share_its_luck(learnt: Shop) -> None:
    another(learnt, 30, 5)
    services.refresh_all_due()
    found = job_edges(job=Job.objects.get())
    assert [step.why_not for step in found.steps] == ["", ""]
    chances = [Forecast.objects.get(edge=step.row.edge).chance_of_batch for step in found.steps if step.row]
    assert found.untouched is not None
    assert found.planned_only is not None
    # The second has no part made yet, and 20 more than the batch to make: it lasts less.
    assert (chances[0] or 0) * (chances[1] or 0) < found.untouched <= min(one or 0 for one in chances)
    assert sum(step.first or 0 for step in found.steps) + found.planned_only == pytest.approx(1)


def test_an_operation_without_an_edge_says_so(learnt: Shop) -> None:
    fields: dict[str, Any] = {"surface_speed": 60.0, "feed": 0.05, "depth": 1.0, "kind_of_cut": "chamfering"}
    floor.create_operation(
        job=learnt.job, number=40, name="Later", machine=learnt.machine, tip=learnt.chamfer_tip, body=learnt.body,
        material=learnt.material, who=learnt.engineer, **fields,
    )  # fmt: skip
    found = job_edges(job=Job.objects.get())
    assert [step.why_not for step in found.steps] == ["", NO_EDGE]
    assert found.left_out == 1
    assert found.untouched is not None


def test_a_job_without_any_edge_has_no_chances(shop: Shop) -> None:
    found = job_edges(job=shop.operation.job)
    assert [step.why_not for step in found.steps] == [NO_EDGE]
    assert (found.planned_only, found.until_stop, found.first_to_end) == (None, None, None)


def test_without_minutes_or_forecast_an_edge_is_left_out_and_says_why(learnt: Shop) -> None:
    Operation.objects.filter(pk=learnt.operation.pk).update(minutes_per_part=None)
    assert job_edges(job=Job.objects.get()).steps[0].why_not == NO_MINUTES_PER_PART
    Forecast.objects.update(life_used=None, trouble="Its costs are missing.")
    assert job_edges(job=Job.objects.get()).steps[0].why_not == "Its costs are missing."
    Forecast.objects.all().delete()
    assert job_edges(job=Job.objects.get()).steps[0].why_not == COMING


def test_figures_that_cannot_be_worked_with_spoil_no_page(learnt: Shop) -> None:
    Operation.objects.filter(pk=learnt.operation.pk).update(accepted_risk=0.5, change_minutes=float("inf"))
    (step,) = job_edges(job=Job.objects.get()).steps
    assert "cannot be worked with" in step.why_not


def test_of_two_edges_at_one_operation_the_one_that_ran_last_cuts(learnt: Shop) -> None:
    loaded = learnt.assembly_with(learnt.chamfer_tip)
    floor.load_pocket(machine=learnt.machine, pocket=6, assembly=loaded, who=learnt.setter, at=learnt.long_ago)
    services.refresh_all_due()
    (step,) = job_edges(job=Job.objects.get()).steps
    assert step.row is not None
    assert (step.row.pocket, step.waiting) == (3, 1)


def test_the_queries_are_the_same_for_one_edge_and_for_six(learnt: Shop) -> None:
    with CaptureQueriesContext(connection) as one:
        job_edges(job=Job.objects.get())
    for number in range(5):
        another(learnt, 50 + number, 10 + number)
    services.refresh_all_due()
    with CaptureQueriesContext(connection) as six:
        found = job_edges(job=Job.objects.get())
    assert sum(step.row is not None for step in found.steps) == 6
    assert len(six) == len(one)
