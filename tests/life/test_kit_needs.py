"""What a job's start needs: tips by the forecast, bodies and holders that are not there yet, each with its why."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.catalogue.models import Job
from crib.core.errors import Refused
from crib.floor import services as floor
from crib.floor.errors import EdgeStillInUse
from crib.floor.models import Edge, Operation
from crib.life import services
from crib.life.selectors.kit_needs import KitNeeds, kit_needs
from crib.life.selectors.kit_sheets import back_rows, kit_proposal
from crib.life.selectors.staging import staging_at
from crib.life.services.kits import bring_back_kit, hand_out_kit, stage_job_kit
from crib.stock.kits import BackLine, KitWant
from crib.stock.models import Item
from crib.stock.records import Kit
from tests.life.lives import WORN, add_edges
from tests.shop import Shop, assert_ledger_balances


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    """Ten edges have worn, none is in use, and 120 parts are to make."""
    add_edges(shop, WORN)
    services.refit_all()
    made = sum(edge.parts for edge in Edge.objects.all())
    Job.objects.filter(pk=shop.job.pk).update(quantity=made + 120)
    shop.job.refresh_from_db()
    shop.__dict__.pop("operation")
    shop.__dict__["operation"] = Operation.objects.select_related("job", "tip", "body", "machine").get()
    return shop


def wanted(needs: KitNeeds) -> dict[tuple[str, str], int]:
    return {(one.design.code, one.role): one.wanted for one in needs.wants}


def test_tips_are_those_that_do_95_times_in_100_and_two_corners_serve_two_edges(learnt: Shop) -> None:
    staging = staging_at(operation=learnt.operation)
    needs = kit_needs(job=learnt.job)
    counts = wanted(needs)
    assert staging.expected is not None
    assert staging.ready is not None
    # Two edges to a tip: half as many tips, rounded up; mean and spares are together the staged number.
    assert counts["CT-45-12", "edge"] == min(-(-staging.expected // 2), staging.tips or 0)
    assert counts["CT-45-12", "edge"] + counts.get(("CT-45-12", "spare"), 0) == staging.tips == -(-staging.ready // 2)
    assert (counts["BD-12-100", "body"], needs.parts) == (1, 120)
    why = next(one.why for one in needs.wants if one.role == "edge")
    assert why == f"20: {staging.expected_words} edges, 2 to a tip for 120 parts."


def test_a_body_of_three_seats_takes_three_tips_for_each_edge(learnt: Shop) -> None:
    type(learnt.body).objects.filter(pk=learnt.body.pk).update(seats=3)
    staging = staging_at(operation=Operation.objects.get())
    counts = wanted(kit_needs(job=learnt.job))
    assert staging.together == 3
    assert staging.ready is not None
    assert counts["CT-45-12", "edge"] % 3 == 0
    assert counts["CT-45-12", "edge"] + counts.get(("CT-45-12", "spare"), 0) == 3 * -(-staging.ready // 2)


def test_fewer_parts_need_fewer_tips_and_none_more_than_are_left(learnt: Shop) -> None:
    few, many, most = (kit_needs(job=learnt.job, parts=parts) for parts in (20, 90, 5000))
    assert wanted(few)["CT-45-12", "edge"] < wanted(many)["CT-45-12", "edge"]
    assert most.parts == 120
    assert most == kit_needs(job=learnt.job)


def test_a_tool_in_the_machine_is_named_and_its_edge_counted_in(learnt: Shop) -> None:
    before = wanted(kit_needs(job=learnt.job))
    learnt.load_tool()
    services.refresh_all_due()
    needs = kit_needs(job=learnt.job)
    after = wanted(needs)
    assert ("BD-12-100", "body") not in after
    assert after["CT-45-12", "edge"] < before["CT-45-12", "edge"]
    assert [one for one in needs.remarks if "is ready in VM-1 pocket 3" in one]
    assert "beside 1 in use and 1 fresh there" in needs.wants[0].why


def test_a_tool_built_and_not_loaded_is_named_and_what_it_is_made_of_is_not_free(learnt: Shop) -> None:
    assert learnt.assembly.pk
    proposal = kit_proposal(job=learnt.job)
    assert [one for one in proposal.needs.remarks if "is ready at A-01" in one]
    assert {line.want.role for line in proposal.lines} <= {"edge", "spare"}
    kit = stage_job_kit(
        job=learnt.job, who=learnt.attendant, parts=1, lines=[KitWant(design=learnt.body, role="body", wanted=1)]
    )
    with pytest.raises(Refused, match="1 BD-12-100 short: 0 of 1 free"):
        hand_out_kit(kit=kit, person=learnt.setter, who=learnt.attendant, key="k")
    assert learnt.assembly.body is not None
    with pytest.raises(Refused, match="part of a built tool"):
        hand_out_kit(
            kit=kit, person=learnt.setter, who=learnt.attendant, key="k", pieces=[learnt.assembly.body]
        )  # fmt: skip


def test_the_holder_is_one_that_carried_the_body_before(learnt: Shop) -> None:
    fits: dict[str, Any] = {"machine_side_system": "7/24", "machine_side_size": "40"}
    learnt.design("AA-40", "holder", **fits, work_side_system="cylindrical", work_side_size="12")
    first = kit_needs(job=learnt.job)
    assert wanted(first)["AA-40", "holder"] == 1
    floor.take_out(assembly=learnt.assembly, who=learnt.setter, key=learnt.key())
    floor.take_apart(assembly=learnt.assembly, who=learnt.setter)
    after = kit_needs(job=learnt.job)
    assert wanted(after)["HD-40-C16", "holder"] == 1
    assert [one.why for one in after.wants if one.role == "holder"] == ["1 for 20, as it last carried BD-12-100."]


def test_without_minutes_one_set_is_laid_ready_and_it_is_said(learnt: Shop) -> None:
    Operation.objects.update(minutes_per_part=None)
    needs = kit_needs(job=learnt.job)
    assert wanted(needs)["CT-45-12", "edge"] == 1
    assert [one for one in needs.remarks if "Give the minutes in cut per part" in one]


def test_a_job_that_is_made_needs_nothing(learnt: Shop) -> None:
    Job.objects.update(quantity=1)
    needs = kit_needs(job=Job.objects.get())
    assert (needs.parts, needs.wants) == (0, ())
    with pytest.raises(Refused, match="asks for nothing"):
        stage_job_kit(job=Job.objects.get(), who=learnt.attendant)


def test_more_lines_cost_no_more_queries_but_those_of_each_operation(learnt: Shop) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as asked:
            kit_proposal(job=learnt.job)
        return len(asked)

    one = cost()
    floor.create_operation(
        job=learnt.job, number=30, name="Again", machine=learnt.machine, tip=learnt.chamfer_tip, body=learnt.body,
        material=learnt.material, kind_of_cut="chamfering", surface_speed=60.0, feed=0.05, depth=1.0, width=1.0,
        minutes_per_part=2.0, cost_of_lost_part=Decimal(9), who=learnt.engineer,
    )  # fmt: skip
    assert cost() - one <= 5


def test_part_used_tips_come_back_with_their_minutes(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    _ = shop.operation
    kit = stage_job_kit(
        job=shop.job, who=shop.attendant, parts=5, lines=[KitWant(design=shop.chamfer_tip, role="edge", wanted=2)]
    )
    hand_out_kit(kit=kit, person=shop.setter, who=shop.attendant, key="out")
    built = floor.build_assembly(
        holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter, at=shop.long_ago
    )
    place = shop.setter.place
    fitting = floor.fit_tip(
        assembly=built, design=shop.chamfer_tip, from_place=place, who=shop.setter, key="f", at=shop.long_ago
    )
    floor.load_pocket(machine=shop.machine, pocket=3, assembly=built, who=shop.setter, at=shop.long_ago)
    shop.__dict__["loaded"] = None
    shop.log_run(parts=6)
    kit.refresh_from_db()
    # What is in the machine is not with the person.
    assert [row.left.quantity for row in back_rows(kit=kit)] == [1]
    floor.unload_pocket(machine=shop.machine, pocket=3, who=shop.setter)
    floor.take_out(assembly=built, who=shop.setter, key="t")
    item, loose = back_rows(kit=kit)
    assert (item.left.item, item.minutes, item.becomes) == (fitting.item, 12.0, "part_used")
    assert item.edges_words == "edge 1: 12.0 min; 1 fresh"
    assert (loose.left.quantity, loose.minutes) == (1, None)
    row: dict[str, Any] = {"design": shop.chamfer_tip, "quantity": 1, "condition": "part_used", "item": fitting.item}
    with pytest.raises(EdgeStillInUse):
        bring_back_kit(kit=kit, who=shop.setter, key="b", lines=[BackLine(**row, becomes="spent")])
    done = bring_back_kit(kit=kit, who=shop.setter, key="b")
    assert bring_back_kit(kit=kit, who=shop.setter, key="b").moves == done.moves
    assert {(move.becomes, move.to_place) for move in done.moves} == {("part_used", shop.bin), ("new", shop.bin)}
    assert Item.objects.get(pk=fitting.item.pk).condition == "part_used"
    assert Edge.objects.get(item=fitting.item, number=1).minutes == 12.0
    assert Kit.objects.get().state == Kit.State.BACK
    assert_ledger_balances()
