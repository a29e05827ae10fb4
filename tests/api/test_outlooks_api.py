"""Edges of a job and what-if over REST."""

from __future__ import annotations

import pytest

from crib.floor.models import Operation
from crib.life import services
from tests.api.calls import get, post
from tests.life.lives import WORN, add_edges
from tests.shop import Shop


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    add_edges(shop, WORN)
    services.refit_all()
    shop.log_run(parts=5)
    services.refresh_all_due()
    return shop


def test_the_edges_of_a_job_are_told_together(learnt: Shop) -> None:
    for name in ("J-1001", str(learnt.job.pk)):
        answer = get(learnt.setter, f"jobs/{name}/edges/").data
        (edge,) = answer["edges"]
        assert (edge["edge"], edge["machine"], edge["pocket"], edge["why_not"]) == (learnt.edge.pk, "VM-1", 3, "")
        assert edge["first_to_fail"] + answer["chance_planned_only"] == pytest.approx(1)
    assert get(learnt.setter, "jobs/NOPE/edges/").status_code == 404
    assert post(learnt.lead, "jobs/J-1001/edges/").status_code == 405


def test_an_operation_without_an_edge_stands_there_with_its_reason(shop: Shop) -> None:
    assert shop.operation.pk
    answer = get(shop.setter, "jobs/J-1001/edges/").data
    assert answer["chance_untouched"] is None
    (edge,) = answer["edges"]
    assert edge["edge"] is edge["machine"] is None
    assert "No edge is in use" in edge["why_not"]


def test_what_if_takes_units_and_tells_now_and_asked(learnt: Shop) -> None:
    path = f"operations/{learnt.operation.pk}/what-if/"
    now = get(learnt.setter, path).data
    assert (now["changed"], now["now"]) == (False, now["asked"])
    faster = get(learnt.setter, f"{path}?surface_speed=220 sfm&feed=0.05").data
    assert faster["changed"]
    assert faster["now"] == now["now"]
    assert faster["asked"]["surface_speed"] == pytest.approx(67.056)
    assert faster["asked"]["life_minutes"]["50"] < faster["now"]["life_minutes"]["50"]
    assert [curve["over"] for curve in faster["curves"]] == ["surface_speed", "feed"]
    assert len(faster["curves"][0]["cost_per_part"]["50"]) == len(faster["curves"][0]["at"])
    assert faster["beyond"] == ["12 % faster than anything cut here: extrapolated."]


@pytest.mark.parametrize(
    ("query", "field"),
    [("surface_speed=soon", "surface_speed"), ("surface_speed=0", "surface_speed"), ("depth=1", "depth"), ("x=1", "x")],
)
def test_what_cannot_be_tried_is_refused_by_field(learnt: Shop, query: str, field: str) -> None:
    answer = get(learnt.setter, f"operations/{learnt.operation.pk}/what-if/?{query}")
    assert answer.status_code == 400
    assert field in answer.data["errors"]


def test_asking_changes_nothing_and_needs_no_right(learnt: Shop) -> None:
    before = Operation.objects.values().get()
    assert get(learnt.planner, f"operations/{learnt.operation.pk}/what-if/?surface_speed=90").status_code == 200
    assert Operation.objects.values().get() == before
    assert post(learnt.lead, f"operations/{learnt.operation.pk}/what-if/").status_code == 405
    assert get(learnt.planner, "operations/99999/what-if/").status_code == 404
