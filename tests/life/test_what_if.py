"""An operation at other conditions, beside as it runs now."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.catalogue.models import Design, Machine
from crib.core.errors import BadInput
from crib.floor import services as floor
from crib.floor.models import Operation
from crib.floor.selectors import operation_in_full
from crib.life import services
from crib.life.changing import costs_of
from crib.life.selectors.predicted import fresh_edge_at
from crib.life.selectors.what_if import NEVER_CUT, WhatIf, what_if
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop


def ask(shop: Shop, *, per_month: float | None = None, **asked: float) -> WhatIf:
    operation = operation_in_full(shop.operation.pk)
    assert operation is not None
    return what_if(operation=operation, asked=asked, system="metric", parts_per_month=per_month)


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    add_edges(shop, WORN)
    services.refit_all()
    return shop


@pytest.fixture
def milled(shop: Shop) -> Operation:
    """A slot milled in three passes whose minutes follow from its conditions."""
    mill = shop.design("SE-10", "solid_mill", diameter_mm=10.0, teeth=4, edges=1, max_depth_mm=20.0)
    operation = floor.create_operation(
        job=shop.job, number=60, name="Mill the slot", machine=shop.machine, tip=mill, material=shop.material,
        kind_of_cut="milling", surface_speed=60.0, feed=0.05, depth=4.0, width=2.0, length_of_cut=300.0, passes=3,
        cost_of_lost_part=Decimal("200"), who=shop.engineer,
    )  # fmt: skip
    add_edges(shop, [Past(minutes, "worn") for minutes in (22, 25, 31, 28)], operation=operation)
    services.refit_all()
    found = operation_in_full(operation.pk)
    assert found is not None
    return found


def of(operation: Operation, **asked: float) -> WhatIf:
    return what_if(operation=operation, asked=asked, system="metric")


def test_nothing_asked_is_the_operations_own_forecast(learnt: Shop) -> None:
    found, fresh = ask(learnt), fresh_edge_at(operation=learnt.operation)
    for way in (found.now, found.asked):
        assert (way.life, way.parts) == (fresh.minutes, fresh.parts)
        assert (way.change_minutes, way.change_parts) == (fresh.change_minutes, fresh.change_parts)
    assert found.now == found.asked
    assert not found.changed
    assert found.evidence == fresh.evidence


def test_what_is_asked_is_the_forecast_once_it_is_kept(milled: Operation, shop: Shop) -> None:
    asked = of(milled, surface_speed=66.0).asked
    changed = floor.change_operation(operation=milled, who=shop.engineer, surface_speed=66.0)
    assert changed.minutes_per_part == pytest.approx(asked.operation.minutes_per_part)
    fresh = fresh_edge_at(operation=changed)
    assert asked.life == pytest.approx(fresh.minutes)
    assert asked.change_parts == fresh.change_parts


def test_faster_is_shorter_lived_and_quicker(milled: Operation) -> None:
    found = of(milled, surface_speed=72.0)
    assert all(found.asked.life[percent] < found.now.life[percent] for percent in (10, 50, 90))
    now, then = found.now.operation.minutes_per_part, found.asked.operation.minutes_per_part
    assert then == pytest.approx((now or 0) * 60 / 72)
    over_speed = found.curves[0]
    assert over_speed.over == "surface_speed"
    assert list(over_speed.life[50]) == sorted(over_speed.life[50], reverse=True)
    assert over_speed.cost is not None
    assert all(
        low < middle < high for low, middle, high in zip(*(over_speed.cost[p] for p in (10, 50, 90)), strict=True)
    )


def test_cost_is_machine_edges_changes_and_failures(milled: Operation) -> None:
    way = of(milled).now
    assert way.cost is not None
    # A part in which an edge fails is made again, and its minutes are spent.
    assert 1 < (way.machine_cost or 0) / ((milled.minutes_per_part or 0) * 95 / 60) < 1.2
    assert way.failure_cost
    parts = [way.machine_cost or 0, way.edge_cost or 0, way.change_cost or 0, way.failure_cost]
    assert sum(parts) == pytest.approx(way.cost.middle)
    # A change is 24.50 for the edge and three minutes at 95 an hour: their shares stand as these do.
    assert costs_of(milled).planned == pytest.approx(24.50 + 4.75)
    assert (way.edge_cost or 0) / (way.change_cost or 1) == pytest.approx(24.50 / 4.75)


def test_the_curve_passes_through_the_operation_as_it_runs(milled: Operation) -> None:
    found = of(milled)
    curve = found.curves[0]
    assert curve.cost is not None
    assert found.now.cost is not None
    near = min(range(len(curve.at)), key=lambda place: abs(curve.at[place] - 60))
    assert curve.cost[50][near] == pytest.approx(found.now.cost.middle, rel=0.03)
    assert curve.life[50][near] == pytest.approx(found.now.life[50] * (60 / curve.at[near]) ** 4, rel=0.05)


def test_where_one_part_is_too_much_the_edge_is_changed_after_each(milled: Operation) -> None:
    found = of(milled, surface_speed=180.0)
    assert found.asked.change_parts == 1
    assert found.asked.chance_of_failure > milled.accepted_risk
    assert any("One part alone" in note for note in found.notes)
    assert not any("One part alone" in note for note in of(milled).notes)


def test_edges_a_month_are_asked_for_by_the_plan(learnt: Shop) -> None:
    assert ask(learnt).now.edges_per_month is None
    one, two = (ask(learnt, per_month=parts).now.edges_per_month for parts in (100.0, 200.0))
    assert one is not None
    assert two is not None
    assert two.middle == pytest.approx(2 * one.middle)
    assert one.low < one.middle < one.high


def test_typed_minutes_are_scaled_by_the_times_worked_out(milled: Operation, shop: Shop) -> None:
    Operation.objects.filter(pk=milled.pk).update(minutes_per_part=10.0, minutes_source="typed")
    milled.refresh_from_db()
    found = of(milled, surface_speed=75.0)
    assert found.asked.operation.minutes_per_part == pytest.approx(10 * 60 / 75)
    assert any("typed are scaled" in note for note in found.notes)


def test_what_cannot_be_worked_out_is_scaled_and_said_to_be_assumed(learnt: Shop) -> None:
    found = ask(learnt, surface_speed=66.0, feed=0.06)  # it has no length of cut
    assert found.asked.operation.minutes_per_part == pytest.approx(2 / (66 / 60 * 0.06 / 0.05))
    assert any("assumed" in note for note in found.notes)


def test_where_the_calculator_refuses_nothing_is_capped_and_the_reason_is_kept(milled: Operation) -> None:
    Design.objects.filter(code="SE-10").update(diameter_mm=None)
    Machine.objects.update(max_spindle_speed=100.0)
    operation = operation_in_full(milled.pk)
    assert operation is not None
    found = of(operation, surface_speed=45.0)
    assert "Diameter" in found.run.wrong
    assert found.run.held_by == ""
    assert found.beyond == ("25 % slower than anything cut here: extrapolated.",)
    now = operation.minutes_per_part or 0
    assert found.asked.operation.minutes_per_part == pytest.approx(now * 60 / 45)
    speeds, feeds = found.curves
    assert (speeds.over, feeds.over) == ("surface_speed", "feed")
    assert list(speeds.life[50]) == sorted(speeds.life[50], reverse=True)
    assert any("assumed" in note for note in found.notes)


def test_a_smaller_depth_takes_more_passes_and_a_larger_one_fewer(milled: Operation) -> None:
    found = of(milled, depth=2.0)
    assert found.asked.operation.passes == 6
    assert found.asked.operation.minutes_per_part == pytest.approx(2 * (milled.minutes_per_part or 0))
    assert any("6 passes instead of 3" in note for note in found.notes)
    assert of(milled, depth=6.0).asked.operation.passes == 2
    assert of(milled, depth=12.0, width=4.0).asked.operation.passes == 1
    assert milled.passes == 3


def test_the_machines_speed_caps_and_is_named(milled: Operation, shop: Shop) -> None:
    # A tool of 10 mm turns 1910 1/min at 60 m/min; the spindle's 2000 are reached at 62.8 m/min.
    Machine.objects.update(max_spindle_speed=2000.0)
    operation = operation_in_full(milled.pk)
    assert operation is not None
    found = of(operation, surface_speed=80.0)
    assert found.run.held_by == "the highest spindle speed of VM-1"
    assert found.asked.operation.surface_speed == pytest.approx(62.83, abs=0.01)
    assert found.asked.life == pytest.approx(of(operation, surface_speed=62.8319).asked.life, rel=1e-4)
    held = [stretch for stretch in found.curves[0].stretches if "held back" in stretch.says]
    assert held[0].start == pytest.approx(62.83, abs=3)
    # Beyond the limit nothing changes any more.
    assert found.curves[0].life[50][-1] == pytest.approx(found.curves[0].life[50][-5])


def test_the_tools_own_speed_caps_too(milled: Operation) -> None:
    Design.objects.filter(code="SE-10").update(max_spindle_speed=2000.0)
    operation = operation_in_full(milled.pk)
    assert operation is not None
    assert of(operation, surface_speed=80.0).run.held_by == "the highest spindle speed of SE-10"


def test_feed_rate_and_power_cap_too(milled: Operation) -> None:
    Machine.objects.update(max_feed_rate=400.0)
    operation = operation_in_full(milled.pk)
    assert operation is not None
    assert of(operation, feed=0.08).run.held_by == "the highest feed rate"
    Machine.objects.update(max_feed_rate=None, max_power_kw=0.05)
    operation = operation_in_full(milled.pk)
    assert operation is not None
    found = of(operation, feed=0.08)
    assert found.run.held_by == "the spindle's power"
    assert found.held_now == "the spindle's power"


def test_beyond_what_was_ever_cut_is_shaded_and_said(milled: Operation) -> None:
    found = of(milled, surface_speed=70.8, depth=3.0)
    assert found.beyond == (
        "18 % faster than anything cut here: extrapolated.",
        "25 % shallower than anything cut here: extrapolated.",
    )
    assert [one.says for one in found.curves[0].stretches].count(NEVER_CUT) == 2
    assert found.untold[0].startswith("All edges here ran at one speed, feed, depth and width: what these do")
    assert of(milled).beyond == ()


def test_speeds_that_differed_tell_and_what_lies_between_is_not_shaded(milled: Operation, shop: Shop) -> None:
    slower = floor.create_operation(
        job=shop.job, number=70, name="Slower", machine=shop.machine, tip=milled.tip, material=shop.material,
        kind_of_cut="milling", surface_speed=40.0, feed=0.05, depth=4.0, width=2.0, length_of_cut=300.0,
        who=shop.engineer,
    )  # fmt: skip
    add_edges(shop, [Past(70, "worn")], operation=slower)
    found = of(milled, surface_speed=50.0)
    assert found.beyond == ()
    assert found.untold[0].startswith("All edges here ran at one feed, depth and width: what these do")
    shaded = [(one.start, one.stop) for one in found.curves[0].stretches if one.says == NEVER_CUT]
    assert shaded[0][1] == 40.0
    assert shaded[1][0] == 60.0


def test_where_nothing_was_cut_all_is_the_starting_values(shop: Shop) -> None:
    found = ask(shop, surface_speed=66.0)
    assert found.untold == (
        "No edge has cut here yet: all of this is the starting value's (general starting value: 30 min at the duty "
        "first seen; common practice, no source).",
    )
    assert [one.says for one in found.curves[0].stretches] == [NEVER_CUT]


def test_without_minutes_per_part_there_are_lives_and_no_costs(shop: Shop) -> None:
    Operation.objects.filter(pk=shop.operation.pk).update(minutes_per_part=None, minutes_source="missing")
    found = ask(shop, surface_speed=66.0)
    assert found.asked.life[50] < found.now.life[50]
    assert (found.now.cost, found.now.parts, found.curves[0].cost, found.curves[0].cheapest) == (None,) * 4
    assert any("type them" in note for note in found.notes)


KINDS: dict[str, tuple[dict[str, Any], dict[str, Any] | None]] = {
    "drilling": (
        {"feed": 0.15, "length_of_cut": 20.0, "passes": 4},
        {"kind": "drill", "diameter_mm": 8.5, "point_angle_deg": 140.0, "edges": 1},
    ),
    "tapping": (
        {"length_of_cut": 15.0, "passes": 4},
        {"kind": "tap", "diameter_mm": 10.0, "pitch_mm": 1.5, "edges": 1},
    ),
    "turning": (
        {"feed": 0.2, "depth": 2.0, "length_of_cut": 80.0, "work_diameter": 50.0, "passes": 2},
        {"kind": "insert"},
    ),
    "facing": ({"feed": 0.2, "depth": 1.0, "work_diameter": 50.0, "inner_diameter": 10.0}, {"kind": "insert"}),
    "chamfering": ({"feed": 0.05, "length_of_cut": 200.0, "contact_low": 1.0, "contact_high": 2.0}, None),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_cut_is_quicker_when_faster(shop: Shop, kind: str) -> None:
    fields, tool = KINDS[kind]
    tip = shop.design("TOOL-1", **tool) if tool else shop.chamfer_tip
    operation = floor.create_operation(
        job=shop.job, number=80, name="Cut", machine=shop.machine, tip=tip, material=shop.material, surface_speed=40.0,
        kind_of_cut=kind, who=shop.engineer, **fields,
    )  # fmt: skip
    found = of(operation, surface_speed=44.0)
    before, after = operation.minutes_per_part, found.asked.operation.minutes_per_part
    assert before is not None
    assert after is not None
    assert before * 40 / 44 <= after * 1.001 < before
    assert found.run.wrong == ""
    assert found.asked.life[50] < found.now.life[50]
    assert found.asked.operation.feed == operation.feed
    speeds = found.curves[0]
    assert speeds.cost is not None
    assert found.asked.cost is not None
    assert min(speeds.cost[50]) <= found.asked.cost.middle * 1.05


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("surface_speed", 0.0, "must be above zero"), ("feed", -1.0, "must be above zero"),
        ("surface_speed", 1e9, "beyond anything"), ("surface_speed", float("nan"), "must be above zero"),
        ("depth", 25.0, "deeper than SE-10 may cut"), ("width", 11.0, "wider than the tool"),
        ("work_diameter", 50.0, "cannot be tried here"),
    ],
)  # fmt: skip
def test_what_no_cut_can_have_is_refused_at_its_field(milled: Operation, field: str, value: float, says: str) -> None:
    with pytest.raises(BadInput) as refused:
        of(milled, **{field: value})
    assert refused.value.field == field
    assert says in refused.value.sentence


def test_figures_that_cannot_be_worked_with_are_refused_with_a_sentence(learnt: Shop) -> None:
    Operation.objects.update(change_minutes=float("inf"))
    with pytest.raises(BadInput, match="cannot be worked with"):
        ask(learnt)


def test_looking_changes_nothing_and_costs_a_fixed_number_of_queries(learnt: Shop) -> None:
    before = Operation.objects.values().get()
    with CaptureQueriesContext(connection) as few:
        ask(learnt, surface_speed=66.0)
    add_edges(learnt, WORN * 3)
    with CaptureQueriesContext(connection) as many:
        ask(learnt, surface_speed=66.0, feed=0.06)
    assert len(few) == len(many) <= 12
    # PostgreSQL reads the many lives of a group through a cursor.
    reads = ("SELECT", "DECLARE")
    assert not [query for query in many.captured_queries if not query["sql"].startswith(reads)]
    assert Operation.objects.values().get() == before
