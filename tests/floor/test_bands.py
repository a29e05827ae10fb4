"""The band of the flute that cuts: said with the operation, kept with each run, and tallied by itself."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.core.errors import BadInput
from crib.floor import selectors, services
from crib.floor.duty import cutting_diameter, spindle_speed_of
from crib.floor.models import Edge, EdgeMinutes, Operation, Run
from tests.floor.test_totals import assert_totals_are_sums
from tests.shop import Shop


def tallied() -> list[tuple[int, float, float, int]]:
    rows = EdgeMinutes.objects.order_by("edge__number", "contact_low", "contact_high")
    return [(row.edge.number, row.contact_low, row.contact_high, row.parts) for row in rows.select_related("edge")]


# --- runs and totals ------------------------------------------------------------------------------------


def test_a_run_takes_the_band_that_its_operation_has_when_it_is_logged(shop: Shop) -> None:
    before = shop.log_run(hour=0, parts=3)
    shop.use_band(0.5, 1.5)
    first = shop.log_run(hour=1, parts=5)
    services.log_runs(drafts=[shop.run_draft(hour=hour, parts=1) for hour in range(2, 6)], who=shop.setter)
    shop.use_band(2.0, 3.0)
    last = shop.log_run(hour=7, parts=2)
    assert [(run.contact_low, run.contact_high) for run in (before, first, last)] == [(0, 0), (0.5, 1.5), (2, 3)]
    assert tallied() == [(1, 0, 0, 3), (1, 0.5, 1.5, 9), (1, 2, 3, 2)]
    assert shop.edge.parts == 14
    assert_totals_are_sums()


def test_many_runs_of_several_bands_come_in_as_one_list(shop: Shop) -> None:
    other = services.create_operation(
        job=shop.job, number=30, name="Chamfer the bore", machine=shop.machine, tip=shop.chamfer_tip,
        material=shop.material, kind_of_cut="chamfering", minutes_per_part=1.5, contact_low=0.0, contact_high=0.8,
        who=shop.engineer,
    )  # fmt: skip
    drafts = [
        shop.run_draft(hour=hour, parts=2, operation=other if hour % 3 else f"{shop.job.code}/20") for hour in range(60)
    ]
    with CaptureQueriesContext(connection) as asked:
        services.log_runs(drafts=drafts, who=shop.setter)
    few = len([query for query in asked.captured_queries if "crib_edge" in query["sql"]])
    assert tallied() == [(1, 0, 0, 40), (1, 0, 0.8, 80)]
    assert set(Run.objects.values_list("operation__number", "contact_high")) == {(20, 0.0), (30, 0.8)}
    assert_totals_are_sums()
    with CaptureQueriesContext(connection) as again:
        services.log_runs(
            drafts=[shop.run_draft(hour=60 + hour, operation=other) for hour in range(5)], who=shop.setter
        )
    assert few == len([query for query in again.captured_queries if "crib_edge" in query["sql"]])


def test_a_reversal_takes_from_the_band_of_the_run(shop: Shop) -> None:
    shop.use_band(0.0, 1.0)
    wrong = shop.log_run(hour=0, parts=4)
    kept = shop.log_run(hour=1, parts=6)
    shop.use_band(1.0, 2.0)
    shop.log_run(hour=2, parts=5)
    undo = services.reverse_run(run=wrong, who=shop.setter, source_key="undo")
    assert (undo.contact_low, undo.contact_high) == (0.0, 1.0)
    assert tallied() == [(1, 0, 1, 6), (1, 1, 2, 5)]
    assert EdgeMinutes.objects.get(contact_high=1.0).last_ended_at == kept.ended_at
    assert_totals_are_sums()


def test_the_edges_of_an_operation_are_listed_once_whatever_their_bands(shop: Shop) -> None:
    for hour, (low, high) in enumerate([(0.0, 1.0), (1.0, 2.0), (2.0, 3.0)]):
        shop.use_band(low, high)
        shop.log_run(hour=hour, parts=2)
    [there] = selectors.edges_at(shop.operation)
    assert (there.edge, there.parts) == (shop.edge, 6)
    assert there.minutes == pytest.approx(12.0)
    assert selectors.edges_at(shop.operation, limit=0) == []
    assert Operation.objects.get(pk=shop.operation.pk).job.made == 6


def test_a_late_run_of_an_earlier_edge_is_news_for_the_edge_in_use(shop: Shop) -> None:
    shop.use_band(0.0, 1.0)
    first = shop.log_run(hour=0)
    edge = shop.edge
    services.end_and_turn(edge=edge, outcome="worn", who=shop.setter, at=first.ended_at + timedelta(hours=5))
    in_use = shop.edge
    assert in_use.number == 2
    late = shop.log_run(hour=2)
    assert late.edge == edge
    assert shop.edge.revision == in_use.revision + 1
    services.reverse_run(run=late, who=shop.setter, source_key="undo")
    assert shop.edge.revision == in_use.revision + 2
    # Its own runs count once.
    shop.log_run(hour=9)
    assert shop.edge.revision == in_use.revision + 3


def test_without_a_band_other_edges_are_left_alone(shop: Shop) -> None:
    first = shop.log_run(hour=0)
    services.end_and_turn(edge=shop.edge, outcome="worn", who=shop.setter, at=first.ended_at + timedelta(hours=5))
    in_use = shop.edge
    late = shop.log_run(hour=2)
    services.reverse_run(run=late, who=shop.setter, source_key="undo")
    assert shop.edge.revision == in_use.revision


# --- the duty ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"contact_low": 1.0}, "contact_high", "Say also where the band of the flute ends"),
        ({"contact_high": 1.0}, "contact_low", "Say also where the band of the flute begins"),
        ({"contact_low": -0.1, "contact_high": 1.0}, "contact_low", "begins at 0 to 500 mm"),
        ({"contact_low": float("nan"), "contact_high": 1.0}, "contact_low", "begins at 0 to 500 mm"),
        ({"contact_low": 0.0, "contact_high": float("inf")}, "contact_high", "ends at 0 to 500 mm"),
        ({"contact_low": 1.0, "contact_high": 1.0}, "contact_high", "must end above where it begins"),
        ({"contact_low": 2.0, "contact_high": 1.0}, "contact_high", "more than 2 mm"),
        ({"contact_low": 4.0, "contact_high": 5.01}, "contact_high", "CT-45-12 ends 5 mm above its tip flat"),
        ({"contact_low": 0.0, "contact_high": 1.0, "kind_of_cut": "milling"}, "contact_low", "Only chamfering"),
        ({"contact_low": 0.0, "contact_high": 0.2, "width": 3.0}, "width", "which is 2.4 mm across where it cuts"),
    ],
)
def test_a_band_that_no_flute_has_is_refused(shop: Shop, changes: dict[str, Any], field: str, words: str) -> None:
    before = shop.operation
    with pytest.raises(BadInput) as refused:
        services.change_operation(operation=before, who=shop.engineer, **changes)
    assert refused.value.field == field
    assert words in refused.value.sentence
    assert Operation.objects.get(pk=before.pk).contact_high is None


def test_a_band_on_the_flute_is_kept_and_may_be_taken_away(shop: Shop) -> None:
    made = services.create_operation(
        job=shop.job, number=40, name="Chamfer high up", machine=shop.machine, tip=shop.chamfer_tip,
        material=shop.material, kind_of_cut="chamfering", minutes_per_part=1.5, contact_low=4.0, contact_high=5.0,
        who=shop.engineer,
    )  # fmt: skip
    assert (made.contact_low, made.contact_high) == (4.0, 5.0)
    inches = services.change_operation(operation=made, who=shop.engineer, contact_low=0.02 * 25.4, contact_high=1.0)
    assert inches.contact_low == 0.508
    bare = services.change_operation(operation=made, who=shop.engineer, contact_low=None, contact_high=None)
    assert (bare.contact_low, bare.contact_high) == (None, None)


def test_a_tip_whose_cone_is_not_known_may_have_a_band(shop: Shop) -> None:
    bare = shop.design("CT-BARE", diameter_mm=12.0, teeth=4)
    insert = shop.design("IN-45", "insert", edges=4, diameter_mm=9.0, tip_flat_mm=1.0, included_angle_deg=90.0)
    slip = shop.design("CT-SLIP", diameter_mm=12.0, teeth=4, tip_flat_mm=2.0, included_angle_deg=90.0)
    slip.tip_flat_mm = 12.0  # as only another program could have written it
    slip.save()
    for number, tip in ((50, bare), (60, insert), (70, slip)):
        made = services.create_operation(
            job=shop.job, number=number, name="Chamfer", machine=shop.machine, tip=tip, material=shop.material,
            kind_of_cut="chamfering", minutes_per_part=1.5, contact_low=20.0, contact_high=30.0, who=shop.engineer,
        )  # fmt: skip
        assert cutting_diameter(made) == tip.diameter_mm


def test_a_changed_band_is_news_for_the_edges_at_work(shop: Shop) -> None:
    shop.load_tool()
    before = shop.edge.revision
    shop.use_band(1.0, 2.0)
    assert shop.edge.revision == before + 1


def test_a_chamfer_mill_turns_on_the_largest_diameter_in_contact(shop: Shop) -> None:
    # 90 degrees and a flat of 2 mm: 1.5 mm up the flute it is 2 + 2 * 1.5 = 5 mm across.
    assert cutting_diameter(shop.operation) == 12.0
    operation = shop.use_band(0.5, 1.5)
    assert cutting_diameter(operation) == pytest.approx(5.0)
    assert spindle_speed_of(operation) == pytest.approx(60_000 / (3.14159265 * 5.0), rel=1e-6)


def test_its_minutes_follow_from_that_diameter(shop: Shop) -> None:
    operation = services.create_operation(
        job=shop.job, number=70, name="Chamfer all round", machine=shop.machine, tip=shop.chamfer_tip,
        material=shop.material, kind_of_cut="chamfering", surface_speed=60.0, feed=0.05, depth=1.0, width=1.0,
        length_of_cut=500.0, contact_low=1.0, contact_high=3.0, who=shop.engineer,
    )  # fmt: skip
    each = 500 / (0.05 * 4 * 60_000 / (3.14159265 * 8.0))
    assert operation.minutes_per_part == pytest.approx(each, rel=1e-6)
    higher = services.change_operation(operation=operation, who=shop.engineer, contact_low=3.0, contact_high=5.0)
    assert higher.minutes_per_part == pytest.approx(each * 12 / 8, rel=1e-6)
    assert Edge.objects.count() == 0
