"""What a built tool may bear, what tightens it, and which lengths cannot be."""

from __future__ import annotations

import math
from typing import Any

import pytest

from crib.catalogue.services import change_design
from crib.core.errors import BadInput
from crib.floor import errors, services
from crib.floor.models import Assembly
from crib.floor.tooling import (
    Torque,
    likely_gauge_length,
    said_lengths,
    said_too_fast,
    said_torque,
    speed_limit,
    torques_of,
    turns_at,
)  # fmt: skip
from crib.people.models import ChangeRecord
from tests.shop import Shop


def _built(shop: Shop, **written: Any) -> Assembly:
    change_design(design=shop.holder, length_mm=80.0, clamp_torque_nm=60.0, who=shop.lead)
    return services.build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter, **written)


def test_the_weakest_of_parts_and_machine_decides(shop: Shop) -> None:
    tip, body, holder, machine = shop.chamfer_tip, shop.body, shop.holder, shop.machine
    assert machine.max_spindle_speed
    assert speed_limit([holder, body, tip]) is None
    body.max_spindle_speed, tip.max_spindle_speed = 9000.0, 20000.0
    for most, owner in ((machine.max_spindle_speed, body.code), (8000.0, machine.code)):
        machine.max_spindle_speed = most
        limit = speed_limit([holder, body, tip], machine)
        assert limit is not None
        assert (limit.speed, limit.owner) == (min(9000.0, most), owner)


def test_a_machine_never_turns_faster_than_it_can(shop: Shop) -> None:
    """n = 1000 vc / (pi d), by the definition of surface speed; the machine's limit comes first."""
    operation, asked = shop.operation, 60_000 / (math.pi * 12)
    assert turns_at(operation, shop.machine) == pytest.approx(asked)
    shop.body.max_spindle_speed = asked
    assert said_too_fast(operation, shop.machine, [shop.body]) == ""
    shop.body.max_spindle_speed = 1500.0
    assert said_too_fast(operation, shop.machine, [shop.body]).endswith("BD-12-100 may turn 1500 1/min at most.")
    shop.machine.max_spindle_speed = 1400.0
    assert turns_at(operation, shop.machine) == 1400.0
    assert said_too_fast(operation, shop.machine, [shop.body]) == ""


def test_what_is_tightened_is_said_for_each_joint(shop: Shop) -> None:
    shop.holder.clamp_torque_nm, shop.body.clamp_torque_nm = 60.0, 5.5
    chain = {"holder": shop.holder, "body": shop.body}
    assert torques_of(**chain, tip=shop.chamfer_tip) == [
        Torque("HD-40-C16", "BD-12-100", 60.0),
        Torque("BD-12-100", "CT-45-12", 5.5),
    ]
    assert [one.holds for one in torques_of(**chain)] == ["BD-12-100", "the tip"]
    assert [one.holds for one in torques_of(holder=shop.holder, body=None)] == ["the tool"]
    shop.body.clamp_torque_nm = None
    assert len(torques_of(**chain)) == 1


def test_a_torque_far_from_the_makers_is_questioned(shop: Shop) -> None:
    built = _built(shop, tightened_nm=61.0)
    assert said_torque(built) == ""
    built.tightened_nm = 45.0
    assert "less than the 60 N·m that the maker of HD-40-C16" in said_torque(built)
    built.tightened_nm = 81.3  # 60 lbf·ft taken for N·m
    assert "more than" in said_torque(built)
    built.tightened_nm = None
    assert said_torque(built) == ""


def test_gauge_length_and_stick_out_are_held_against_the_holder(shop: Shop) -> None:
    built = _built(shop, gauge_length_mm=140.0, stick_out_mm=60.0)
    assert likely_gauge_length(holder=shop.holder, stick_out_mm=60.0) == 140.0
    assert likely_gauge_length(holder=shop.holder, stick_out_mm=None, body=shop.body) == 180.0
    assert said_lengths(built) == ""
    built.stick_out_mm = 80.0
    assert "comes to 160 mm; measured were 140 mm" in said_lengths(built)
    built.stick_out_mm = None
    assert said_lengths(built) == ""


@pytest.mark.parametrize(
    ("written", "field"),
    [
        ({"gauge_length_mm": 70.0}, "gauge_length_mm"),  # shorter than its holder
        ({"gauge_length_mm": 100.0, "stick_out_mm": 120.0}, "stick_out_mm"),
        ({"tightened_nm": 0.0}, "tightened_nm"),
        ({"tightened_nm": math.nan}, "tightened_nm"),
        ({"tightened_nm": 1e6}, "tightened_nm"),
        ({"note": "x" * 201}, "note"),
    ],
)
def test_what_cannot_have_been_measured_is_refused(shop: Shop, written: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        _built(shop, **written)
    assert refused.value.field == field
    assert not Assembly.objects.exists()


def test_what_is_measured_later_is_written_down_with_who(shop: Shop) -> None:
    built = _built(shop, gauge_length_mm=140.0)
    measured = services.measure_assembly(assembly=built, who=shop.setter, stick_out_mm=60.0, note=" balanced G 2.5 ")
    assert (measured.gauge_length_mm, measured.stick_out_mm, measured.note) == (140.0, 60.0, "balanced G 2.5")
    changes = ChangeRecord.objects.filter(what="assembly", act="measured")
    assert changes.get().details == {"stick_out_mm": [None, 60.0], "note": ["", "balanced G 2.5"]}
    services.measure_assembly(assembly=built, who=shop.setter, stick_out_mm=60.0)
    assert changes.count() == 1
    with pytest.raises(BadInput) as refused:
        services.measure_assembly(assembly=built, who=shop.setter, gauge_length_mm=50.0)
    assert refused.value.field == "stick_out_mm"
    services.take_apart(assembly=built, who=shop.setter)
    with pytest.raises(errors.NothingFitted, match="nothing left to measure"):
        services.measure_assembly(assembly=built, who=shop.setter, gauge_length_mm=150.0)
