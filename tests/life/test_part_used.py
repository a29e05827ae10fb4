"""Tips that have cut before: their edges counted, and what is left of them at this work."""

from __future__ import annotations

import pytest

from crib.catalogue.models import Design
from crib.floor import services as floor
from crib.floor.models import Operation
from crib.life import selectors
from crib.life.models import LifePrior
from crib.life.tip_left import TipLeft
from crib.stock.models import Item
from tests.shop import Shop


@pytest.fixture
def insert(shop: Shop) -> Design:
    """A square insert of four corners, of which half last 38 minutes at the operation."""
    LifePrior.objects.create(
        kind_of_cut="milling", life_minutes=42, surface_speed=60, feed=0.1, depth=1.0, shape=4.0, life_spread=0.1
    )
    return shop.design(
        "IN-4", "insert", edges=4, family="squares", machine_side_system="screw-on", machine_side_size="M8"
    )


@pytest.fixture
def milling(shop: Shop, insert: Design) -> Operation:
    return operation_for(shop, insert, 30)


def operation_for(shop: Shop, tip: Design, number: int, **changes: object) -> Operation:
    given = {"surface_speed": 60.0, "feed": 0.1, "depth": 1.0, "minutes_per_part": 2.0} | changes
    return floor.create_operation(
        job=shop.job, number=number, name="Mill", machine=shop.machine, tip=tip, body=shop.body,
        material=shop.material, kind_of_cut="milling", who=shop.engineer, **given,  # type: ignore[arg-type]
    )  # fmt: skip


def used_tip(shop: Shop, operation: Operation, minutes: float) -> Item:
    """A tip that was fitted, run and taken out to the bin again."""
    assembly = shop.assembly_with(operation.tip)
    floor.load_pocket(machine=shop.machine, pocket=5, assembly=assembly, who=shop.setter, at=shop.long_ago)
    shop.log_run(pocket=5, operation=f"{shop.job.code}/{operation.number}", minutes_in_cut=minutes)
    item = Item.objects.get(fittings__assembly=assembly, fittings__removed_at=None)
    floor.unload_pocket(machine=shop.machine, pocket=5, who=shop.setter)
    floor.take_out(assembly=assembly, who=shop.setter, to_place=shop.bin, key=shop.key())
    return item


def one(found: list[TipLeft]) -> TipLeft:
    [tip] = found
    return tip


def test_a_part_used_tip_says_its_corners_and_what_is_left(shop: Shop, milling: Operation) -> None:
    item = used_tip(shop, milling, 28.0)
    tip = one(selectors.part_used_tips(designs=[milling.tip]))
    assert tip.item == item
    assert (tip.fresh, tip.part_used, tip.ended) == (3, 1, 0)
    assert tip.says == "3 of 4 corners fresh, corner 1 has 13 of about 38 min left"
