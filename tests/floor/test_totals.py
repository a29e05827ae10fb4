"""Totals equal the sums of the runs, whatever comes in which order and at the same moment."""

from __future__ import annotations

import random
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from crib.floor import selectors, services
from crib.floor.models import Edge, EdgeMinutes, Run
from tests.shop import Shop, assert_ledger_balances, at_once, type_name


def assert_totals_are_sums() -> None:
    """Every edge, and every edge at each operation and band, has what its runs add up to."""
    for edge in Edge.objects.all():
        sums = Run.objects.filter(edge=edge).aggregate(minutes=Sum("minutes"), parts=Sum("parts"))
        assert edge.parts == (sums["parts"] or 0)
        assert edge.minutes == pytest.approx(sums["minutes"] or 0.0, abs=1e-9)
        in_force = Run.objects.filter(edge=edge, reverses=None, reversed_by=None)
        assert edge.last_run_ended_at == max((run.ended_at for run in in_force), default=None)
    for total in EdgeMinutes.objects.all():
        runs = Run.objects.filter(
            edge=total.edge,
            operation=total.operation,
            contact_low=total.contact_low,
            contact_high=total.contact_high,
        )
        assert total.parts == sum(run.parts for run in runs)
        assert total.minutes == pytest.approx(sum(run.minutes for run in runs), abs=1e-9)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_after_any_sequence_the_totals_are_the_sums(shop: Shop, seed: int) -> None:
    draw = random.Random(seed)
    shop.load_tool()
    other = services.create_operation(
        job=shop.job, number=30, name="Chamfer the bore", machine=shop.machine, tip=shop.chamfer_tip,
        material=shop.material, kind_of_cut="chamfering", minutes_per_part=1.5, who=shop.engineer,
    )  # fmt: skip
    for _ in range(25):
        what = draw.random()
        hour = draw.randrange(0, 200) / 2
        if what < 0.45:
            drafts = [
                shop.run_draft(
                    hour=hour + step, parts=draw.randrange(1, 10), operation=draw.choice(["J-1001/20", other])
                )
                for step in range(draw.randrange(1, 4))
            ]
            services.log_runs(drafts=drafts, who=shop.setter)
        elif what < 0.75:
            standing = Run.objects.filter(reverses=None, reversed_by=None).order_by("?").first()
            if standing is not None:
                services.reverse_run(run=standing, who=shop.setter, source_key=shop.key())
        elif what < 0.85 and shop.edge.number == 1:
            last = shop.edge.last_run_ended_at or shop.long_ago
            services.end_and_turn(edge=shop.edge, outcome="worn", who=shop.setter, at=last + timedelta(minutes=1))
    assert_totals_are_sums()
    shop.job.refresh_from_db()
    made = EdgeMinutes.objects.filter(operation=other).aggregate(parts=Sum("parts"))["parts"] or 0
    assert shop.job.made == made
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_the_same_run_sent_twice_at_once_counts_once(shop: Shop) -> None:
    draft, setter = shop.run_draft(parts=5), shop.setter
    outcomes = at_once(*[lambda: services.log_run(draft=draft, who=setter)] * 4)
    assert [type_name(one) for one in outcomes] == ["Run"] * 4, outcomes
    assert len({run.pk for run in outcomes}) == 1
    assert (Run.objects.count(), shop.edge.parts) == (1, 5)
    assert_totals_are_sums()


@pytest.mark.django_db(transaction=True)
def test_runs_of_one_edge_logged_at_once_all_count(shop: Shop) -> None:
    drafts, setter = [shop.run_draft(hour=hour, parts=hour + 1) for hour in range(6)], shop.setter
    outcomes = at_once(*[lambda draft=draft: services.log_run(draft=draft, who=setter) for draft in drafts])
    assert [type_name(one) for one in outcomes] == ["Run"] * 6, outcomes
    assert shop.edge.parts == 21
    assert_totals_are_sums()


@pytest.mark.django_db(transaction=True)
def test_two_overlapping_runs_at_once_leave_one(shop: Shop) -> None:
    one, other, setter = shop.run_draft(hour=1), shop.run_draft(hour=1.2), shop.setter
    outcomes = at_once(
        lambda: services.log_run(draft=one, who=setter), lambda: services.log_run(draft=other, who=setter)
    )
    assert sorted(map(type_name, outcomes)) == ["Run", "RunOverlaps"]
    assert_totals_are_sums()


@pytest.mark.django_db(transaction=True)
def test_a_run_and_the_end_of_its_edge_at_once_agree(shop: Shop) -> None:
    shop.load_tool()
    edge, setter = shop.edge, shop.setter
    draft = shop.run_draft(hour=2)
    outcomes: Any = at_once(
        lambda: services.log_run(draft=draft, who=setter),
        lambda: services.end_edge(edge=edge, outcome="worn", who=setter, at=shop.long_ago + timedelta(hours=1)),
    )
    # Whichever comes first, the other is refused: a run never stands on an edge that had come off.
    assert sorted(map(type_name, outcomes)) in (["Edge", "EdgeEnded"], ["Run", "WrongOrder"]), outcomes
    assert_totals_are_sums()


def test_no_page_reads_the_runs(shop: Shop) -> None:
    services.log_runs(drafts=[shop.run_draft(hour=hour) for hour in range(10)], who=shop.setter)
    with CaptureQueriesContext(connection) as asked:
        selectors.machine_boards()
        selectors.pocket_now(machine=shop.machine, pocket=3)
        selectors.assemblies_now()
        list(selectors.jobs_with_work())
        selectors.edges_at(shop.operation)
        selectors.edges_working_at(shop.operation)
        selectors.loads_for(shop.operation)
    assert not [query["sql"] for query in asked if '"crib_run"' in query["sql"]]
