"""Logging a run: it goes to the edge that cut, counts once, and each wrong thing has its own sentence and field."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db.models import Sum

from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed, ShopError
from crib.floor import errors, services
from crib.floor.models import Edge, EdgeMinutes, Run
from tests.shop import Shop


def test_a_run_goes_to_the_edge_in_the_pocket_and_adds_up(shop: Shop) -> None:
    before = shop.edge
    run = shop.log_run(parts=5)
    edge = shop.edge
    assert run.edge == edge == before
    assert (run.minutes, run.minutes_computed, run.parts) == (10.0, True, 5)
    assert (edge.minutes, edge.parts, edge.last_run_ended_at) == (10.0, 5, run.ended_at)
    assert edge.revision == before.revision + 1
    assert edge.operation == shop.operation
    total = EdgeMinutes.objects.get(edge=edge, operation=shop.operation)
    assert (total.minutes, total.parts, total.clock_minutes) == (10.0, 5, 30.0)
    assert (total.first_started_at, total.last_ended_at) == (run.started_at, run.ended_at)


def test_measured_minutes_stand_as_they_were_given(shop: Shop) -> None:
    run = shop.log_run(parts=5, minutes_in_cut=11.5)
    assert (run.minutes, run.minutes_computed) == (11.5, False)


def test_the_jobs_finished_parts_are_those_of_its_last_operation(shop: Shop) -> None:
    shop.log_run(parts=5)
    shop.job.refresh_from_db()
    assert (shop.job.made, shop.job.state) == (5, "running")
    services.create_operation(
        job=shop.job, number=30, name="Deburr", machine=shop.machine, tip=shop.chamfer_tip, material=shop.material,
        kind_of_cut="chamfering", who=shop.engineer,
    )  # fmt: skip
    shop.log_run(parts=4, hour=1)
    shop.job.refresh_from_db()
    assert shop.job.made == 0, "operation 30 finishes the part now, and has made none"


def test_the_same_key_again_answers_the_first_run(shop: Shop) -> None:
    draft = shop.run_draft(parts=5)
    first = services.log_run(draft=draft, who=shop.setter)
    assert services.log_run(draft=draft, who=shop.other_setter) == first
    assert (Run.objects.count(), shop.edge.minutes) == (1, 10.0)


@pytest.mark.parametrize("change", [{"parts": 6}, {"long": 31.0}, {"minutes_in_cut": 9.0}, {"hour": 2}])
def test_the_same_key_with_other_content_is_refused(shop: Shop, change: dict[str, Any]) -> None:
    first = shop.run_draft(parts=5)
    services.log_run(draft=first, who=shop.setter)
    with pytest.raises(KeyAlreadyUsed) as refused:
        shop.log_run(**({"parts": 5, "source_key": first.source_key} | change))
    assert refused.value.field == "source_key"
    assert Run.objects.count() == 1


def test_the_same_key_from_another_source_is_another_run(shop: Shop) -> None:
    first = shop.log_run()
    shop.log_run(hour=1, source="feed", source_key=first.source_key)
    assert Run.objects.count() == 2


def test_a_run_named_by_its_edge_finds_machine_and_pocket(shop: Shop) -> None:
    shop.load_tool()
    edge = shop.edge
    for number, name in enumerate((f"{edge.item.label}/{edge.number}", str(edge.pk), edge)):
        run = shop.log_run(hour=number, machine=None, pocket=None, edge=name)
        assert (run.edge, run.machine, run.pocket) == (edge, shop.machine, 3)


def test_a_run_of_the_past_goes_to_the_edge_of_that_time(shop: Shop) -> None:
    shop.load_tool()
    first = shop.edge
    turned = shop.long_ago + timedelta(days=2)
    services.end_edge(edge=first, outcome="worn", who=shop.setter, wear_land_mm=0.3, at=turned)
    second = services.turn_edge(edge=first, who=shop.setter, at=turned)
    assert shop.log_run(hour=1).edge == first
    assert shop.log_run(hour=49).edge == second


def test_a_run_of_the_past_goes_to_the_assembly_of_that_time(shop: Shop) -> None:
    shop.load_tool()
    old = shop.edge
    swap = shop.long_ago + timedelta(days=1)
    services.unload_pocket(machine=shop.machine, pocket=3, who=shop.setter, at=swap)
    newer = shop.assembly_with(shop.chamfer_tip, at=swap)
    services.load_pocket(machine=shop.machine, pocket=3, assembly=newer, who=shop.setter, at=swap)
    assert shop.log_run(hour=1).edge == old
    assert shop.log_run(hour=25).edge.item.fittings.get().assembly == newer


# --- sad paths: (what is changed, the field at fault, the error, words of the sentence) ---------------


def _times(start: datetime, minutes: float) -> dict[str, datetime]:
    return {"started_at": start, "ended_at": start + timedelta(minutes=minutes)}


SAD: list[tuple[str, dict[str, Any], str, type[ShopError], str]] = [
    ("ended before started", {"long": -10.0}, "ended_at", BadInput, "before it starts"),
    ("negative parts", {"parts": -1}, "parts", BadInput, "cannot be made"),
    ("negative minutes", {"minutes_in_cut": -2.0}, "minutes_in_cut", BadInput, "below zero"),
    ("no number", {"minutes_in_cut": float("nan")}, "minutes_in_cut", BadInput, "must be a number"),
    ("endless minutes", {"minutes_in_cut": float("inf")}, "minutes_in_cut", BadInput, "must be a number"),
    ("more than the clock", {"minutes_in_cut": 31.0}, "minutes_in_cut", BadInput, "more than the 30 clock minutes"),
    ("computed more than the clock", {"parts": 20}, "minutes_in_cut", BadInput, "20 parts at 2 min each"),
    ("nothing made", {"parts": 0}, "parts", BadInput, "nothing to log"),
    ("nothing made in no time", {"parts": 0, "minutes_in_cut": 0.0}, "parts", BadInput, "nothing to log"),
    ("too many parts", {"parts": 10**9}, "parts", BadInput, "more than one run can make"),
    ("too long", {"long": 25 * 60.0}, "ended_at", BadInput, "shift by shift"),
    ("unknown machine", {"machine": "VM-9"}, "machine", BadInput, "no machine “VM-9”"),
    ("no machine", {"machine": None}, "machine", BadInput, "which machine and pocket"),
    ("no pocket", {"pocket": None}, "pocket", BadInput, "which pocket"),
    ("unknown pocket", {"pocket": 25}, "pocket", BadInput, "pockets 1 to 24"),
    ("pocket nought", {"pocket": 0}, "pocket", BadInput, "pockets 1 to 24"),
    ("unknown operation", {"operation": "J-1001/99"}, "operation", BadInput, "no operation “J-1001/99”"),
    ("unknown job", {"operation": "J-9/20"}, "operation", BadInput, "no operation “J-9/20”"),
    ("operation without number", {"operation": "J-1001"}, "operation", BadInput, "a job and a number"),
    ("unknown edge", {"edge": "ET1:I99999X/1"}, "edge", BadInput, "no edge"),
    ("unknown edge by number", {"edge": "999999"}, "edge", BadInput, "no edge"),
    ("no edge at all", {"edge": "the blue one"}, "edge", BadInput, "no edge"),
    ("empty pocket", {"pocket": 4}, "pocket", errors.NothingLoaded, "Nothing was loaded in pocket 4"),
    ("before it was loaded", {"hour": -2}, "pocket", errors.NothingLoaded, "Nothing was loaded"),
    ("no key", {"source_key": ""}, "source_key", BadInput, "source key of its own"),
    ("blank key", {"source_key": "  "}, "source_key", BadInput, "source key of its own"),
    ("long key", {"source_key": "x" * 121}, "source_key", BadInput, "at most 120"),
    ("key with a NUL", {"source_key": "a\x00b"}, "source_key", BadInput, "cannot be printed"),
    ("unknown source", {"source": "guess"}, "source", BadInput, "typed, file, feed"),
]


@pytest.mark.parametrize(
    ("changes", "field", "error", "words"), [case[1:] for case in SAD], ids=[case[0] for case in SAD]
)
def test_what_is_wrong_is_told(
    shop: Shop, changes: dict[str, Any], field: str, error: type[ShopError], words: str
) -> None:
    draft = shop.run_draft(**changes)
    with pytest.raises(error) as refused:
        services.log_run(draft=draft, who=shop.setter)
    assert refused.value.field == field
    assert words in refused.value.sentence
    assert type(refused.value) is error
    assert not Run.objects.exists()
    assert not EdgeMinutes.objects.exists()


def test_a_run_in_the_future_is_refused(shop: Shop) -> None:
    soon = clock.now() + timedelta(minutes=10)
    for start, field in ((soon, "started_at"), (soon - timedelta(minutes=30), "ended_at")):
        with pytest.raises(BadInput, match="lies in the future") as refused:
            shop.log_run(**_times(start, 40))
        assert refused.value.field == field


def test_times_without_an_offset_are_refused(shop: Shop) -> None:
    with pytest.raises(BadInput, match="needs its offset"):
        shop.log_run(started_at=datetime(2026, 11, 20, 10, 0), ended_at=datetime(2026, 11, 20, 10, 30))  # noqa: DTZ001


def test_a_run_on_an_edge_after_it_came_off_is_refused(shop: Shop) -> None:
    shop.load_tool()
    edge = shop.edge
    services.end_edge(edge=edge, outcome="worn", who=shop.setter, at=shop.long_ago + timedelta(hours=2))
    with pytest.raises(errors.EdgeEnded, match="before this run started"):
        shop.log_run(hour=3)
    with pytest.raises(errors.EdgeEnded, match="before this run ended") as refused:
        shop.log_run(hour=1.75)
    assert refused.value.field == "ended_at"
    with pytest.raises(errors.EdgeEnded) as refused:
        shop.log_run(hour=3, edge=str(edge.pk))
    assert refused.value.field == "edge"
    assert shop.log_run(hour=1.5).edge == edge, "a run that ends as the edge comes off is sound"


def test_an_overlap_in_one_pocket_is_refused_and_touching_is_none(shop: Shop) -> None:
    shop.log_run(hour=1)
    for hour in (0.75, 1.0, 1.25):
        with pytest.raises(errors.RunOverlaps, match="has a run from") as refused:
            shop.log_run(hour=hour)
        assert refused.value.field == "started_at"
    with pytest.raises(errors.RunOverlaps):
        shop.log_run(hour=0.5, long=120)
    shop.log_run(hour=0.5)
    shop.log_run(hour=1.5)
    assert Run.objects.count() == 3


def test_a_long_run_is_seen_by_a_short_one_inside_it(shop: Shop) -> None:
    shop.log_run(hour=0, long=24 * 60.0)
    with pytest.raises(errors.RunOverlaps):
        shop.log_run(hour=23)


def test_a_reversed_run_leaves_its_time_free(shop: Shop) -> None:
    run = shop.log_run(hour=1)
    services.reverse_run(run=run, who=shop.setter, source_key=shop.key())
    assert shop.log_run(hour=1).pk != run.pk


def test_another_design_than_the_operations_is_refused_by_name(shop: Shop) -> None:
    other = shop.design("CT-60-12", machine_side_system="screw-on", machine_side_size="M8")
    operation = services.create_operation(
        job=shop.job, number=40, name="Other chamfer", machine=shop.machine, tip=other, material=shop.material,
        kind_of_cut="chamfering", minutes_per_part=1.0, who=shop.engineer,
    )  # fmt: skip
    with pytest.raises(errors.AnotherDesign, match="is cut by CT-60-12, but CT-45-12 was fitted"):
        shop.log_run(operation=operation)


def test_an_operation_without_minutes_asks_for_them(shop: Shop) -> None:
    bare = services.create_operation(
        job=shop.job, number=50, name="Chamfer by feel", machine=shop.machine, tip=shop.chamfer_tip,
        material=shop.material, kind_of_cut="chamfering", who=shop.engineer,
    )  # fmt: skip
    with pytest.raises(errors.MinutesNotKnown, match="give the minutes in cut"):
        shop.log_run(operation=bare)
    assert shop.log_run(operation=bare, minutes_in_cut=8.0).minutes == 8.0


def test_a_run_across_the_unloading_is_refused(shop: Shop) -> None:
    shop.load_tool()
    services.unload_pocket(machine=shop.machine, pocket=3, who=shop.setter, at=shop.long_ago + timedelta(hours=1))
    with pytest.raises(errors.NothingLoaded, match="was unloaded at") as refused:
        shop.log_run(hour=0.75)
    assert refused.value.field == "ended_at"
    with pytest.raises(errors.NothingLoaded):
        shop.log_run(hour=1)
    with pytest.raises(errors.NothingLoaded, match="in no machine"):
        shop.log_run(hour=1, edge=str(Edge.objects.get(number=1).pk))


def test_a_run_across_taking_the_tip_out_is_refused(shop: Shop) -> None:
    shop.load_tool()
    services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key(), at=shop.long_ago + timedelta(hours=1))
    with pytest.raises(errors.NothingLoaded, match="taken out at"):
        shop.log_run(hour=0.75)
    with pytest.raises(errors.NothingLoaded, match="had no tip in it"):
        shop.log_run(hour=2)


def test_the_edges_machine_must_be_the_one_named(shop: Shop) -> None:
    from crib.catalogue.services import create_machine

    create_machine(code="VM-2", name="Vertical mill 2", pockets=10, who=shop.lead)
    shop.load_tool()
    with pytest.raises(errors.NothingLoaded, match="was in VM-1"):
        shop.log_run(machine="VM-2", pocket=None, edge=str(shop.edge.pk))


# --- taking back --------------------------------------------------------------------------------------


def test_a_reversal_takes_everything_back_and_both_stay_to_be_seen(shop: Shop) -> None:
    kept = shop.log_run(hour=0, parts=3)
    wrong = shop.log_run(hour=1, parts=7)
    undo = services.reverse_run(run=wrong, who=shop.setter, source_key="undo-1")
    assert (undo.minutes, undo.parts, undo.reverses) == (-14.0, -7, wrong)
    edge, total = shop.edge, EdgeMinutes.objects.get()
    assert (edge.minutes, edge.parts, edge.last_run_ended_at) == (6.0, 3, kept.ended_at)
    assert (total.minutes, total.parts, total.clock_minutes, total.last_ended_at) == (6.0, 3, 30.0, kept.ended_at)
    shop.job.refresh_from_db()
    assert shop.job.made == 3
    assert Run.objects.count() == 3


def test_a_run_is_taken_back_once(shop: Shop) -> None:
    run = shop.log_run()
    undo = services.reverse_run(run=run, who=shop.setter, source_key="undo-1")
    assert services.reverse_run(run=run, who=shop.setter, source_key="undo-1") == undo
    with pytest.raises(errors.AlreadyReversed, match="before"):
        services.reverse_run(run=run, who=shop.setter, source_key="undo-2")
    with pytest.raises(errors.AlreadyReversed, match="itself"):
        services.reverse_run(run=undo, who=shop.setter, source_key="undo-3")
    other = shop.log_run(hour=5)
    with pytest.raises(KeyAlreadyUsed):
        services.reverse_run(run=other, who=shop.setter, source_key="undo-1")
    with pytest.raises(BadInput):
        services.reverse_run(run=other, who=shop.setter, source_key="")


def test_a_logged_run_cannot_be_changed(shop: Shop) -> None:
    run = shop.log_run()
    run.parts = 50
    with pytest.raises(TypeError, match="reverses"):
        run.save()


# --- many at once -------------------------------------------------------------------------------------


def test_each_of_a_list_has_its_own_fate(shop: Shop) -> None:
    standing = shop.run_draft(hour=0)
    services.log_run(draft=standing, who=shop.setter)
    drafts = [
        shop.run_draft(hour=1),
        standing,
        shop.run_draft(hour=2, machine="VM-9"),
        shop.run_draft(hour=1.25),
        shop.run_draft(hour=3),
    ]
    drafts.append(drafts[4])
    logged = services.log_runs(drafts=drafts, who=shop.setter)
    assert (logged.accepted, logged.already_there) == ([0, 4], [1, 5])
    assert [(index, field) for index, field, _ in logged.refused] == [(2, "machine"), (3, "started_at")]
    assert (shop.edge.minutes, Run.objects.count()) == (30.0, 3)


def test_an_empty_list_logs_nothing(shop: Shop) -> None:
    assert services.log_runs(drafts=[], who=shop.setter).accepted == []


def test_a_list_costs_the_same_queries_whatever_its_length(shop: Shop, django_assert_max_num_queries: Any) -> None:
    few = [shop.run_draft(hour=hour) for hour in range(5)]
    many = [shop.run_draft(hour=hour) for hour in range(10, 50)]
    services.log_runs(drafts=few[:1], who=shop.setter)
    with django_assert_max_num_queries(20) as seen:
        services.log_runs(drafts=few[1:], who=shop.setter)
    with django_assert_max_num_queries(len(seen.captured_queries)):
        services.log_runs(drafts=many, who=shop.setter)


def test_a_long_list_adds_up_like_single_runs(shop: Shop) -> None:
    drafts = [shop.run_draft(hour=hour, parts=hour % 7 + 1) for hour in range(120)]
    services.log_runs(drafts=drafts, who=shop.setter)
    sums = Run.objects.aggregate(minutes=Sum("minutes"), parts=Sum("parts"))
    edge = shop.edge
    assert sums["parts"] == edge.parts == sum(draft.parts for draft in drafts)
    assert edge.minutes == pytest.approx(sums["minutes"])
    assert edge.last_run_ended_at == max(draft.ended_at for draft in drafts)
