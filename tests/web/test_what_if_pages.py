"""The what-if page of an operation, and all edges of a part on the job's page."""

from __future__ import annotations

import re
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.catalogue.models import Job, Machine
from crib.core import clock
from crib.floor import services as floor
from crib.floor.models import Edge, Operation
from crib.life import services
from crib.planning import services as planning
from crib.planning.calendar import month_of
from crib.planning.drafts import LineDraft
from tests.life.lives import WORN, add_edges
from tests.shop import Shop
from tests.web.pages import signed_in, text


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    """Ten edges have worn at an operation whose minutes follow from its conditions, and one is at work."""
    assert shop.operation.pk
    floor.change_operation(operation=shop.operation, who=shop.engineer, length_of_cut=400.0, minutes_per_part=None)
    add_edges(shop, WORN)
    services.refit_all()
    shop.log_run(parts=5)
    made = sum(edge.parts for edge in Edge.objects.all())
    Job.objects.filter(pk=shop.job.pk).update(quantity=made + 20)
    services.refresh_all_due()
    return shop


def address(shop: Shop, query: str = "") -> str:
    return f"/jobs/operations/{shop.operation.pk}/what-if/{query}"


def links(page: str) -> dict[str, str]:
    return {
        words: href.replace("&amp;", "&")
        for href, words in re.findall(r'<a class="button[^"]*" href="([^"]*)"[^>]*>([^<]*)</a>', page)
    }


def test_as_it_runs_now_comes_first_with_steps_to_try(learnt: Shop) -> None:
    page = text(signed_in(learnt.setter).get(address(learnt)))
    assert "As it runs now" in page
    assert "As asked" not in page
    assert "Cost per part" in page
    assert "never cut here: extrapolated" in page
    assert "Least cost at" in page
    assert "A forecast is a probability, never a promise" in page
    assert links(page)["Speed +10 %"].startswith("?surface_speed=66+m%2Fmin")


def test_a_step_leads_to_now_and_asked_side_by_side(learnt: Shop) -> None:
    client = signed_in(learnt.setter)
    first = text(client.get(address(learnt)))
    page = text(client.get(address(learnt, links(first)["Speed +10 %"])))
    assert "As it runs now, and as asked" in page
    assert "66 m/min" in page
    assert "+10 %" in page
    assert "10 % faster than anything cut here: extrapolated." in page
    # A second step goes out from the first.
    assert links(page)["Speed +10 %"].startswith("?surface_speed=72.6+m%2Fmin")
    assert links(page)["Back to as it runs now"] == address(learnt)


def test_units_are_read_and_written_as_the_person_does(learnt: Shop) -> None:
    learnt.setter.units = "inch"
    learnt.setter.save()
    client = signed_in(learnt.setter)
    page = text(client.get(address(learnt, "?surface_speed=220&feed=0.05 mm")))
    assert "220 ft/min" in page
    assert 'value="196.85"' in text(client.get(address(learnt)))  # 60 m/min
    metric = text(client.get(address(learnt, "?surface_speed=220 sfm&units=metric")))
    assert "67.1 m/min" in metric


def test_what_is_typed_wrong_is_said_at_its_field_and_now_is_shown(learnt: Shop) -> None:
    client = signed_in(learnt.setter)
    for query, says in (
        ("?surface_speed=fast", "fast"), ("?surface_speed=-3", "must be above zero"), ("?feed=1 kg", "feed"),
        ("?feed=900", "beyond anything"),
    ):  # fmt: skip
        answer = client.get(address(learnt, query))
        page = text(answer)
        assert answer.status_code == 400
        assert 'aria-invalid="true"' in page
        assert says in page
        assert "As it runs now" in page
        assert "As asked" not in page


def test_the_cap_is_named(learnt: Shop) -> None:
    Machine.objects.update(max_spindle_speed=1700.0)
    page = text(signed_in(learnt.setter).get(address(learnt, "?surface_speed=90")))
    assert "Held back by the highest spindle speed of VM-1." in page
    assert "held back by the highest spindle speed of VM-1." in page


def test_an_engineer_keeps_the_conditions_and_a_machinist_only_looks(learnt: Shop) -> None:
    query = "?surface_speed=66"
    assert "Keep these conditions" not in text(signed_in(learnt.setter).get(address(learnt, query)))
    engineer = signed_in(learnt.engineer)
    assert "Keep these conditions" not in text(engineer.get(address(learnt)))
    keep = links(text(engineer.get(address(learnt, query))))["Keep these conditions"]
    assert parse_qs(urlsplit(keep).query)["operation"] == [str(learnt.operation.pk)]
    shown = text(engineer.get(keep))
    assert "Surface speed" in shown
    assert engineer.post(keep).status_code == 302
    assert Operation.objects.get(pk=learnt.operation.pk).surface_speed == pytest.approx(66)
    assert signed_in(learnt.setter).post(keep).status_code == 403


def test_an_operation_without_conditions_says_what_to_do_first(shop: Shop) -> None:
    operation = floor.create_operation(
        job=shop.job, number=90, name="Bare", machine=shop.machine, tip=shop.chamfer_tip, material=shop.material,
        kind_of_cut="chamfering", who=shop.engineer,
    )  # fmt: skip
    page = text(signed_in(shop.engineer).get(f"/jobs/operations/{operation.pk}/what-if/"))
    assert "No conditions yet" in page
    assert "Give the conditions" in page
    assert signed_in(shop.engineer).get("/jobs/operations/99999/what-if/").status_code == 404


def test_operation_and_edge_lead_there(learnt: Shop) -> None:
    client = signed_in(learnt.setter)
    for page in (f"/jobs/operations/{learnt.operation.pk}/", f"/edges/{learnt.edge.pk}/"):
        assert f'href="{address(learnt)}"' in text(client.get(page))


def test_edges_a_month_go_by_the_plan_else_by_what_was_made(learnt: Shop) -> None:
    client = signed_in(learnt.setter)
    assert "5 parts as made in the last 30 days" in text(client.get(address(learnt)))
    first = (clock.today().replace(day=1) + timedelta(days=32)).replace(day=1)
    line = LineDraft(operation=learnt.operation, parts=240, starts_on=first, ends_on=first + timedelta(days=20))
    planning.enter_plan(month=month_of(first), lines=[line], who=learnt.planner)
    assert f"240 parts as planned for {month_of(first)}" in text(client.get(address(learnt)))


def test_nothing_planned_or_made_has_no_pace(shop: Shop) -> None:
    assert "once parts are planned or made" in text(signed_in(shop.setter).get(address(shop)))


def test_the_job_shows_all_edges_of_a_part(learnt: Shop) -> None:
    floor.create_operation(
        job=learnt.job, number=40, name="Later", machine=learnt.machine, tip=learnt.chamfer_tip, body=learnt.body,
        material=learnt.material, kind_of_cut="chamfering", who=learnt.engineer,
    )  # fmt: skip
    page = text(signed_in(learnt.setter).get(f"/jobs/{learnt.job.pk}/"))
    assert "All edges of a part" in page
    assert "VM-1 pocket 3" in page
    assert "lasts 20:" in page
    assert "1 of 2 operations is not in these chances" in page
    assert "No edge is in use here" in page
    Job.objects.update(state=Job.State.DONE)
    assert "All edges of a part" not in text(signed_in(learnt.setter).get(f"/jobs/{learnt.job.pk}/"))


def test_both_pages_cost_a_fixed_number_of_queries(learnt: Shop) -> None:
    client = signed_in(learnt.setter)
    pages = (address(learnt, "?surface_speed=66"), f"/jobs/{learnt.job.pk}/")
    counts = []
    for _ in range(2):
        for page in pages:
            client.get(page)
            with CaptureQueriesContext(connection) as made:
                client.get(page)
            counts.append(len(made))
        add_edges(learnt, WORN * 2)
    assert counts[:2] == counts[2:]
