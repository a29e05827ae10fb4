"""Operations: where their minutes come from, and that no absurd duty gets in."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from crib.catalogue.errors import CouplingDoesNotFit
from crib.core.errors import BadInput, Refused
from crib.floor import errors, services
from crib.floor.models import Operation
from tests.shop import Shop


def make(shop: Shop, **changes: Any) -> Operation:
    given: dict[str, Any] = {
        "job": shop.job, "number": 10, "name": "Mill the pocket", "machine": shop.machine, "tip": shop.chamfer_tip,
        "material": shop.material, "kind_of_cut": "milling", "surface_speed": 60.0, "feed": 0.05, "depth": 1.0,
        "width": 6.0, "length_of_cut": 500.0, "who": shop.engineer,
    }  # fmt: skip
    return services.create_operation(**(given | changes))


def test_milling_minutes_follow_from_the_duty(shop: Shop) -> None:
    # n = 60 m/min / (pi * 12 mm) = 1591.5 1/min; vf = 0.05 mm * 4 * n = 318.3 mm/min; 500 mm / vf = 1.571 min.
    operation = make(shop, passes=2)
    assert operation.minutes_per_part == pytest.approx(2 * 500 / (0.05 * 4 * 60000 / (3.14159265 * 12)), rel=1e-6)
    assert operation.minutes_source == "computed"
    assert operation.minutes_working["working"] == "milling"


def test_drilling_and_tapping_and_turning_minutes_follow_too(shop: Shop) -> None:
    drill = shop.design("DR-8", "drill", edges=1, diameter_mm=8.0, point_angle_deg=140.0)
    drilled = make(
        shop,
        number=20,
        kind_of_cut="drilling",
        tip=drill,
        feed=0.15,
        length_of_cut=30.0,
        passes=6,
        width=None,
        depth=None,
    )
    # vf = 0.15 * 60000 / (pi * 8) = 358.1 mm/min; at least six times 30 mm, with the point a little more.
    at_least = 6 * 30 / (0.15 * 60000 / (3.14159265 * 8))
    assert at_least <= (drilled.minutes_per_part or 0) < at_least * 1.2
    tap = shop.design("TP-M10", "tap", edges=1, diameter_mm=10.0, pitch_mm=1.5)
    tapped = make(
        shop, number=30, kind_of_cut="tapping", tip=tap, surface_speed=10.0, feed=None, length_of_cut=20.0, passes=4
    )
    each = 20 / (1.5 * 10000 / (3.14159265 * 10))
    assert (tapped.minutes_per_part or 0) >= 4 * each
    insert = shop.design("IN-80", "insert", edges=4, corner_radius_mm=0.8)
    turned = make(
        shop,
        number=40,
        kind_of_cut="turning",
        tip=insert,
        feed=0.25,
        depth=2.0,
        length_of_cut=100.0,
        work_diameter=80.0,
        surface_speed=50.0,
        passes=3,
    )
    # n = 50000 / (pi * 80) = 198.9 1/min; 100 mm / (0.25 * n) = 2.011 min, three times.
    assert turned.minutes_per_part == pytest.approx(3 * 100 / (0.25 * 50000 / (3.14159265 * 80)), rel=1e-6)
    faced = make(
        shop,
        number=50,
        kind_of_cut="facing",
        tip=insert,
        feed=0.25,
        depth=2.0,
        length_of_cut=None,
        work_diameter=80.0,
        surface_speed=50.0,
    )
    assert (faced.minutes_per_part or 0) > 0


def test_a_cutter_with_inserts_turns_on_its_bodys_diameter(shop: Shop) -> None:
    insert = shop.design("IN-5", "insert", edges=4, machine_side_system="pocket", machine_side_size="12")
    cutter = shop.design("CU-50", "body", seats=5, diameter_mm=50.0, work_side_system="pocket", work_side_size="12")
    operation = make(shop, tip=insert, body=cutter, width=30.0)
    assert operation.minutes_per_part == pytest.approx(500 / (0.05 * 5 * 60000 / (3.14159265 * 50)), rel=1e-6)


def test_too_little_is_known_and_that_is_said(shop: Shop) -> None:
    operation = make(shop, length_of_cut=None)
    assert (operation.minutes_per_part, operation.minutes_source) == (None, "missing")
    with pytest.raises(BadInput):
        services.recompute_minutes(operation=operation, who=shop.engineer)


def test_typed_minutes_stay_typed_until_worked_out_again(shop: Shop) -> None:
    operation = make(shop, minutes_per_part=9.0)
    assert operation.minutes_source == "typed"
    services.change_operation(operation=operation, who=shop.engineer, surface_speed=70.0)
    assert (operation.minutes_per_part, operation.minutes_source) == (9.0, "typed")
    services.recompute_minutes(operation=operation, who=shop.engineer)
    assert operation.minutes_source == "computed"
    before = operation.minutes_per_part or 0
    services.change_operation(operation=operation, who=shop.engineer, surface_speed=35.0)
    assert operation.minutes_per_part == pytest.approx(2 * before)
    services.change_operation(operation=operation, who=shop.engineer, minutes_per_part=4.5)
    assert (operation.minutes_per_part, operation.minutes_source) == (4.5, "typed")
    services.change_operation(operation=operation, who=shop.engineer, minutes_per_part=None)
    assert operation.minutes_source == "computed"
    services.change_operation(operation=operation, who=shop.engineer, length_of_cut=None)
    assert (operation.minutes_per_part, operation.minutes_source) == (None, "missing")


def test_minutes_are_learnt_from_measured_runs_alone(shop: Shop) -> None:
    shop.log_run(hour=0, parts=10)
    with pytest.raises(errors.MinutesNotKnown, match="have made 0 parts"):
        services.recompute_minutes(operation=shop.operation, who=shop.engineer, source="learnt")
    shop.log_run(hour=1, parts=10, minutes_in_cut=24.0)
    shop.log_run(hour=2, parts=10, minutes_in_cut=26.0)
    wrong = shop.log_run(hour=3, parts=1, minutes_in_cut=29.0)
    services.reverse_run(run=wrong, who=shop.setter, source_key="undo")
    operation = services.recompute_minutes(operation=shop.operation, who=shop.engineer, source="learnt")
    assert (operation.minutes_per_part, operation.minutes_source) == (2.5, "learnt")
    with pytest.raises(BadInput):
        services.recompute_minutes(operation=shop.operation, who=shop.engineer, source="guessed")


def test_a_changed_duty_is_news_for_the_edges_at_work(shop: Shop) -> None:
    shop.load_tool()
    before = shop.edge.revision
    services.change_operation(operation=shop.operation, who=shop.engineer, surface_speed=50.0)
    assert shop.edge.revision == before + 1


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"surface_speed": 0.0}, "surface_speed", "must be above zero"),
        ({"surface_speed": -5.0}, "surface_speed", "must be above zero"),
        ({"surface_speed": float("nan")}, "surface_speed", "must be above zero"),
        ({"surface_speed": 1e6}, "surface_speed", "beyond anything"),
        ({"feed": 0.0}, "feed", "must be above zero"),
        ({"feed": 100.0}, "feed", "beyond anything"),
        ({"depth": 7.0}, "depth", "deeper than CT-45-12 may cut"),
        ({"width": 13.0}, "width", "wider than the tool"),
        ({"passes": 0}, "passes", "1 to 10,000"),
        ({"length_of_cut": -1.0}, "length_of_cut", "must be above zero"),
        ({"minutes_per_part": 0.0}, "minutes_per_part", "must be above zero"),
        ({"cycle_minutes": -1.0}, "cycle_minutes", "must be above zero"),
        ({"inner_diameter": 5.0, "work_diameter": 4.0}, "inner_diameter", "smaller than the work diameter"),
        ({"name": " "}, "name", "what the operation does"),
        ({"number": 0}, "number", "1 to 9999"),
        ({"kind_of_cut": "sawing"}, "kind_of_cut", "one of"),
        ({"accepted_risk": 0.0}, "accepted_risk", "between 0 and 1"),
        ({"accepted_risk": 1.0}, "accepted_risk", "between 0 and 1"),
        ({"chance_part_lost": 1.1}, "chance_part_lost", "from 0 to 1"),
        ({"cost_of_lost_part": Decimal(-1)}, "cost_of_lost_part", "below zero"),
        ({"change_minutes": -1.0}, "change_minutes", "0 to a day"),
        ({"fixed_count": 0}, "fixed_count", "1 or more"),
        ({"entries_per_part": 0}, "entries_per_part", "leave them empty when breakage goes by minutes"),
        ({"entries_per_part": 2_000_000}, "entries_per_part", "from 1 to 1,000,000"),
        ({"wear_limit_mm": 0.0}, "wear_limit_mm", "above 0, up to 2 mm"),
        ({"wear_limit_mm": 3.0}, "wear_limit_mm", "such as 0.3 mm"),
        ({"wear_limit_mm": float("nan")}, "wear_limit_mm", "such as 0.3 mm"),
    ],
)
def test_an_absurd_duty_is_refused(shop: Shop, changes: dict[str, Any], field: str, words: str) -> None:
    with pytest.raises(BadInput) as refused:
        make(shop, **changes)
    assert refused.value.field == field
    assert words in refused.value.sentence
    assert not Operation.objects.exists()


def test_what_the_catalogue_does_not_know_is_named(shop: Shop) -> None:
    bare = shop.design("CT-BARE")
    with pytest.raises(BadInput, match="CT-BARE has no diameter in the catalogue") as refused:
        make(shop, tip=bare)
    assert refused.value.field == "tip"
    assert make(shop, tip=bare, minutes_per_part=3.0).minutes_source == "typed"
    toothless = shop.design("CT-NOZ", diameter_mm=12.0)
    with pytest.raises(BadInput, match="no number of teeth"):
        make(shop, tip=toothless, number=20)
    tap = shop.design("TP-X", "tap", edges=1, diameter_mm=10.0)
    with pytest.raises(BadInput, match="no thread pitch"):
        make(shop, tip=tap, kind_of_cut="tapping", number=30)


def test_a_speed_beyond_the_tools_own_is_refused_with_the_speed_that_goes(shop: Shop) -> None:
    slow = shop.design("CT-SLOW", diameter_mm=12.0, teeth=4, max_spindle_speed=1000.0)
    # 1000 1/min on 12 mm is 37.7 m/min.
    with pytest.raises(BadInput, match=r"may turn 1000 1/min at most. Use 37.6 m/min or less"):
        make(shop, tip=slow)


def test_a_tip_that_does_not_fit_the_body_and_a_body_that_is_none_are_refused(shop: Shop) -> None:
    wrong = shop.design("CT-M12", diameter_mm=12.0, teeth=4, machine_side_system="screw-on", machine_side_size="M12")
    with pytest.raises(CouplingDoesNotFit):
        make(shop, tip=wrong, body=shop.body)
    with pytest.raises(BadInput, match="is no body"):
        make(shop, body=shop.holder)
    with pytest.raises(BadInput, match="no cutting edge"):
        make(shop, tip=shop.body)


def test_a_number_stands_once_in_a_job(shop: Shop) -> None:
    make(shop)
    with pytest.raises(Refused, match="has an operation 10 already"):
        make(shop)


def test_unknown_changes_are_a_programmers_mistake(shop: Shop) -> None:
    with pytest.raises(TypeError):
        services.change_operation(operation=make(shop), who=shop.engineer, colour="red")


def test_work_in_hand_is_not_retired(shop: Shop) -> None:
    shop.load_tool()
    for act in (
        lambda: services.retire_operation(operation=shop.operation, who=shop.engineer),
        lambda: services.retire_job(job=shop.job, who=shop.engineer),
    ):
        with pytest.raises(errors.InUseStill):
            act()
    services.end_edge(edge=shop.edge, outcome="end_of_job", who=shop.setter)
    assert services.retire_operation(operation=shop.operation, who=shop.engineer).retired_at
    assert services.retire_job(job=shop.job, who=shop.engineer).retired


def test_minutes_of_drills_and_taps_keep_to_the_machine_s_speed_too(shop: Shop) -> None:
    shop.machine.max_spindle_speed = 200.0
    shop.machine.save()
    drill = shop.design("DR-8", "drill", edges=1, diameter_mm=8.0, point_angle_deg=180.0)
    drilled = make(
        shop, number=20, kind_of_cut="drilling", tip=drill, feed=0.1, length_of_cut=30.0, width=None, depth=None,
        passes=1,
    )  # fmt: skip
    assert drilled.minutes_per_part == pytest.approx(30 / (0.1 * 200))
    assert drilled.minutes_working["capped_by"] == "the highest spindle speed"
    tap = shop.design("TP-M10", "tap", edges=1, diameter_mm=10.0, pitch_mm=1.5)
    tapped = make(
        shop, number=30, kind_of_cut="tapping", tip=tap, surface_speed=10.0, feed=None, length_of_cut=20.0, passes=1,
        width=None, depth=None,
    )  # fmt: skip
    assert tapped.minutes_per_part == pytest.approx(2 * 20 / (1.5 * 200))
