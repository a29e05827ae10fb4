"""From an operation into a calculator and back: the duty comes through whole, and what is kept can be run."""

from __future__ import annotations

import math
from typing import Any

import pytest

from calc.workings import run
from crib.core.errors import BadInput
from crib.floor import services
from crib.floor.as_working import KINDS_OF, as_working, duty_of_answer, minutes_of_answer
from crib.floor.models import Edge, Operation
from crib.life.known import look_up
from crib.people.models import ChangeRecord
from tests.floor.test_operations import make
from tests.shop import Shop

DUTY = (
    "surface_speed", "feed", "depth", "width", "length_of_cut", "passes", "work_diameter", "inner_diameter",
    "contact_low", "contact_high",
)  # fmt: skip


def milled(shop: Shop, **changes: Any) -> Operation:
    return make(shop, **({"tip": shop.design("EM-16", "solid_mill", diameter_mm=16.0, teeth=4, edges=1)} | changes))


def drilled(shop: Shop) -> Operation:
    drill = shop.design("DR-8", "drill", edges=1, diameter_mm=8.0, point_angle_deg=140.0)
    return make(
        shop, kind_of_cut="drilling", tip=drill, feed=0.15, length_of_cut=30.0, passes=6, width=None, depth=None
    )


def tapped(shop: Shop) -> Operation:
    tap = shop.design("TP-M10", "tap", edges=1, diameter_mm=10.0, pitch_mm=1.5)
    return make(
        shop, kind_of_cut="tapping", tip=tap, surface_speed=10.0, feed=None, length_of_cut=20.0, passes=4, depth=None,
        width=None,
    )  # fmt: skip


def turned(shop: Shop, **changes: Any) -> Operation:
    insert = shop.design("IN-80", "insert", edges=4, corner_radius_mm=0.8)
    given = {
        "kind_of_cut": "turning", "tip": insert, "feed": 0.25, "depth": 2.0, "width": None, "length_of_cut": 100.0,
        "work_diameter": 80.0, "surface_speed": 50.0, "passes": 3,
    }  # fmt: skip
    return make(shop, **(given | changes))


def faced(shop: Shop) -> Operation:
    return turned(shop, kind_of_cut="facing", length_of_cut=None, inner_diameter=20.0, passes=1)


def chamfered(shop: Shop) -> Operation:
    return make(
        shop, kind_of_cut="chamfering", depth=None, width=None, contact_low=1.0, contact_high=1.75, length_of_cut=120.0
    )


KINDS = {
    "milling": milled, "drilling": drilled, "tapping": tapped, "turning": turned, "facing": faced,
    "chamfer-edge": chamfered,
}  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
def test_what_opens_in_a_calculator_and_is_kept_again_is_the_same_duty(shop: Shop, name: str) -> None:
    operation = KINDS[name](shop)
    before = {field: getattr(operation, field) for field in DUTY}
    minutes = operation.minutes_per_part
    opened = as_working(operation)
    assert opened.working == name
    assert operation.kind_of_cut in KINDS_OF[name]
    kept = services.keep_working(operation=operation, name=name, inputs=opened.inputs, who=shop.engineer, shop=look_up)
    assert not [doubt for doubt in kept.doubts if "Worked out with" in doubt]
    operation.refresh_from_db()
    assert {field: getattr(operation, field) for field in DUTY} == pytest.approx(before)
    assert operation.minutes_per_part == pytest.approx(minutes)


def test_a_chamfer_without_a_band_opens_as_milling(shop: Shop) -> None:
    opened = as_working(make(shop, kind_of_cut="chamfering", number=70))
    assert opened.working == "milling"
    assert opened.inputs["tool"] == "CT-45-12"
    assert opened.inputs["radial_depth"] == "6 mm"
    assert opened.inputs["teeth"] == "4"


def test_a_chamfer_opens_where_its_band_lies(shop: Shop) -> None:
    opened = as_working(chamfered(shop)).inputs
    # tan 45° is 1: the width along the face is the height of the band.
    assert (opened["contact_low"], opened["chamfer_width"]) == ("1 mm", "0.75 mm")


def test_what_an_operation_does_not_say_stays_out(shop: Shop) -> None:
    opened = as_working(make(shop, length_of_cut=None, feed=None, width=None)).inputs
    assert not {"length_of_cut", "feed_per_tooth", "radial_depth"} & set(opened)
    assert opened["surface_speed"] == "60 m/min"


def test_the_speed_kept_is_the_one_after_the_limits(shop: Shop) -> None:
    operation = milled(shop)
    inputs = {**as_working(operation).inputs, "max_spindle_speed": "1000"}
    services.keep_working(operation=operation, name="milling", inputs=inputs, who=shop.engineer, shop=look_up)
    operation.refresh_from_db()
    assert operation.surface_speed == pytest.approx(math.pi * 16 * 1000 / 1000)
    assert operation.minutes_per_part == pytest.approx(500 / (0.05 * 4 * 1000))
    assert operation.minutes_source == "computed"
    assert operation.minutes_working["working"] == "milling"
    assert operation.minutes_working["spindle_speed"] == pytest.approx(1000)
    assert operation.minutes_working["capped_by"] == "the highest spindle speed"


def test_feed_and_speed_of_a_drill_are_told_from_turns_and_feed_rate() -> None:
    answer = run("drilling", {"diameter": 8, "spindle_speed": 4000, "feed": 0.2, "max_feed_rate": 400, "depth": 30})
    duty = duty_of_answer(answer)
    assert duty["feed"] * answer.results["spindle_speed"].value == pytest.approx(answer.results["feed_rate"].value)
    assert duty["length_of_cut"] == 30


def test_a_chamfer_on_a_hole_keeps_its_band_and_the_speed_at_its_largest_diameter() -> None:
    asked = {
        "hole_diameter": 8.5, "chamfer_diameter": 11, "included_angle": 90, "tip_diameter": 1, "surface_speed": 60,
        "how": "interpolate", "max_diameter": 12, "teeth": 4, "feed_per_tooth": 0.03, "holes": 4,
    }  # fmt: skip
    answer = run("chamfer-hole", asked)
    duty = duty_of_answer(answer)
    across = answer.results["effective_diameter"].value
    assert duty["surface_speed"] == pytest.approx(math.pi * across * answer.results["spindle_speed"].value / 1000)
    assert duty["contact_high"] - duty["contact_low"] == pytest.approx(1.25)  # (11 − 8.5)/2 at 45°
    assert duty["passes"] == 4
    # All four holes are in the calculator's time already.
    assert minutes_of_answer(answer, 4) == answer.results["time_in_cut"].value


def test_a_tap_keeps_its_whole_travel_as_its_length_of_cut() -> None:
    asked = {"thread": "M10", "surface_speed": 10, "depth": 20}
    assert duty_of_answer(run("tapping", asked))["length_of_cut"] == 20
    # Four threads of 1.5 mm go in below the full thread; opened again, the same travel takes the same time.
    kept = duty_of_answer(answer := run("tapping", asked | {"chamfer_threads": 4}))
    assert kept["length_of_cut"] == pytest.approx(26)
    again = run("tapping", asked | {"depth": kept["length_of_cut"]})
    assert again.results["time_in_cut"].value == pytest.approx(answer.results["time_in_cut"].value)
    assert "length_of_cut" not in duty_of_answer(run("tapping", {"thread": "M10", "surface_speed": 10}))


def test_minutes_of_one_pass_are_taken_as_often_as_there_are_passes(shop: Shop) -> None:
    operation = turned(shop)
    answer = run("turning", as_working(operation).inputs, shop=look_up)
    assert minutes_of_answer(answer, 3) == pytest.approx(3 * answer.results["time_in_cut"].value)
    answer = run("milling", {"diameter": 16, "teeth": 4, "surface_speed": 60, "feed_per_tooth": 0.08})
    assert minutes_of_answer(answer, 3) is None


# --- proposals ------------------------------------------------------------------------------------------


def test_a_proposal_says_before_and_after_and_writes_nothing(shop: Shop) -> None:
    operation = milled(shop)
    inputs = {**as_working(operation).inputs, "surface_speed": "80 m/min"}
    answer = run("milling", inputs, shop=look_up)
    proposal = services.propose_keeping(operation=operation, answer=answer)
    changes = {one.field: (one.before, one.after) for one in proposal.changes}
    assert changes["surface_speed"] == (60.0, pytest.approx(80.0))
    assert changes["minutes_per_part"] == (pytest.approx(operation.minutes_per_part), pytest.approx(proposal.minutes))
    assert set(changes) == {"surface_speed", "minutes_per_part"}
    operation.refresh_from_db()
    assert operation.surface_speed == 60.0


def test_without_a_time_the_minutes_follow_the_operations_own_conditions(shop: Shop) -> None:
    operation = milled(shop)
    inputs = {"diameter": 16, "teeth": 4, "surface_speed": 120, "feed_per_tooth": 0.05}
    before = operation.minutes_per_part or 0
    kept = services.keep_working(operation=operation, name="milling", inputs=inputs, who=shop.engineer)
    assert kept.minutes is None
    operation.refresh_from_db()
    assert operation.minutes_per_part == pytest.approx(before / 2)
    assert operation.length_of_cut == 500.0


def test_the_same_conditions_again_change_nothing(shop: Shop) -> None:
    operation = milled(shop)
    inputs = as_working(operation).inputs
    before = ChangeRecord.objects.count()
    kept = services.keep_working(operation=operation, name="milling", inputs=inputs, who=shop.engineer, shop=look_up)
    assert kept.changes == ()
    assert ChangeRecord.objects.count() == before


def test_edges_at_work_there_are_forecast_anew(shop: Shop) -> None:
    shop.load_tool()
    shop.log_run(hour=0)
    edge = shop.edge
    operation = Operation.objects.get(pk=shop.operation.pk)
    inputs = {**as_working(operation).inputs, "surface_speed": "45 m/min"}
    services.keep_working(operation=operation, name="milling", inputs=inputs, who=shop.engineer, shop=look_up)
    assert Edge.objects.get(pk=edge.pk).revision > edge.revision
    operation.refresh_from_db()
    assert operation.surface_speed == pytest.approx(45.0)


# --- doubts and refusals --------------------------------------------------------------------------------


def test_another_tool_metal_machine_or_diameter_is_pointed_out(shop: Shop) -> None:
    operation = milled(shop)
    inputs = {**as_working(operation).inputs, "tool": shop.chamfer_tip.code, "diameter": "12 mm", "teeth": "4"}
    proposal = services.propose_keeping(operation=operation, answer=run("milling", inputs, shop=look_up))
    assert "Worked out with tool CT-45-12, but the operation has EM-16." in proposal.doubts
    assert "Worked out with a diameter of 12 mm, but the operation's tool has 16 mm." in proposal.doubts
    same = services.propose_keeping(
        operation=operation, answer=run("milling", as_working(operation).inputs, shop=look_up)
    )
    assert not [doubt for doubt in same.doubts if "Worked out with" in doubt]


def test_a_turned_diameter_is_the_works_and_no_doubt(shop: Shop) -> None:
    operation = turned(shop)
    inputs = {**as_working(operation).inputs, "diameter": "60 mm"}
    proposal = services.propose_keeping(operation=operation, answer=run("turning", inputs, shop=look_up))
    assert {one.field: one.after for one in proposal.changes}["work_diameter"] == 60.0
    assert not [doubt for doubt in proposal.doubts if "diameter" in doubt]


def test_what_is_amiss_with_the_numbers_is_a_doubt_too(shop: Shop) -> None:
    operation = milled(shop)
    inputs = {**as_working(operation).inputs, "hone": "0.2 mm"}
    answer = run("milling", inputs, shop=look_up)
    assert answer.warnings
    assert set(answer.warnings) <= set(services.propose_keeping(operation=operation, answer=answer).doubts)


def test_a_calculator_of_another_cut_is_refused(shop: Shop) -> None:
    operation = drilled(shop)
    answer = run("milling", {"diameter": 16, "teeth": 4, "surface_speed": 60, "feed_per_tooth": 0.08})
    with pytest.raises(BadInput, match="is drilling, which this calculator does not work out; choose another"):
        services.propose_keeping(operation=operation, answer=answer)
    thread = run("thread", {"thread": "M10"})
    with pytest.raises(BadInput):
        services.propose_keeping(operation=operation, answer=thread)


def test_an_operation_that_is_put_away_is_refused(shop: Shop) -> None:
    operation = services.retire_operation(operation=milled(shop), who=shop.engineer)
    with pytest.raises(BadInput, match="is put away; choose another one"):
        services.keep_working(
            operation=operation, name="milling", inputs=as_working(operation).inputs, who=shop.engineer, shop=look_up
        )
    operation.refresh_from_db()
    assert operation.surface_speed == 60.0


def test_what_was_not_known_is_filled_in(shop: Shop) -> None:
    operation = milled(shop, length_of_cut=None)
    assert operation.minutes_source == "missing"
    inputs = {**as_working(operation).inputs, "length_of_cut": "250 mm"}
    services.keep_working(operation=operation, name="milling", inputs=inputs, who=shop.engineer, shop=look_up)
    operation.refresh_from_db()
    assert (operation.length_of_cut, operation.minutes_source) == (250.0, "computed")
