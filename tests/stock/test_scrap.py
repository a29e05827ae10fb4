"""Worn carbide collected by mass, against what the ledger says should be in the box."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from crib.core.errors import BadInput, Refused
from crib.stock import services as stock
from crib.stock.models import Condition, Move
from crib.stock.records import ScrapCollection
from crib.stock.selectors import worn_carbide
from tests.shop import Shop, at_once

pytestmark = pytest.mark.django_db


def spend(shop: Shop, code: str, pieces: int, kind: str = "insert", **fields: Any) -> Move:
    """So many of a new design used up."""
    design = shop.design(code, kind, **fields)
    shop.stock(design, pieces)
    return stock.transfer(
        design=design, quantity=pieces, from_place=shop.bin, to_place=stock.spent_place(), becomes=Condition.SPENT,
        why=Move.Why.WORN_OUT, who=shop.attendant, key=shop.key(),
    )  # fmt: skip


def test_expected_is_mass_times_pieces_less_what_was_reversed() -> None:
    shop = Shop()
    spend(shop, "IN-A", 20, carbide_mass_g=8.5)
    spend(shop, "IN-B", 4)
    spend(shop, "AC-1", 3, kind="accessory")
    wrong = spend(shop, "IN-C", 5, carbide_mass_g=100.0)
    stock.reverse(move=wrong, who=shop.lead, key="r")
    worn = worn_carbide()
    assert (worn.grams, worn.pieces, worn.unknown) == (170.0, 20, 4)
    assert [one.design.code for one in worn.designs] == ["IN-A", "IN-B"], "steel is no carbide"


def test_each_piece_is_collected_once() -> None:
    shop = Shop()
    spend(shop, "IN-A", 20, carbide_mass_g=10.0)
    first = stock.collect_scrap(
        weighed_g=190.0, after=None, who=shop.attendant, taken_by="Grey Metals", paid=Decimal("4.10")
    )
    assert (first.expected_g, first.pieces) == (200.0, 20)
    assert first.difference == pytest.approx(-0.05)
    assert worn_carbide().grams == 0.0
    spend(shop, "IN-B", 2, carbide_mass_g=5.0)
    second = stock.collect_scrap(weighed_g=10.0, after=first.pk, who=shop.attendant)
    assert (second.expected_g, second.pieces) == (10.0, 2)


def test_the_same_weighing_sent_twice_counts_once() -> None:
    shop = Shop()
    spend(shop, "IN-A", 20, carbide_mass_g=10.0)
    first = stock.collect_scrap(weighed_g=190.0, after=None, who=shop.attendant)
    assert stock.collect_scrap(weighed_g=190.0, after=None, who=shop.attendant) == first
    with pytest.raises(Refused, match="meanwhile"):
        stock.collect_scrap(weighed_g=50.0, after=None, who=shop.lead)
    assert ScrapCollection.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_who_weigh_at_once_share_no_piece() -> None:
    shop = Shop()
    spend(shop, "IN-A", 20, carbide_mass_g=10.0)
    who = shop.attendant
    at_once(*[lambda: stock.collect_scrap(weighed_g=190.0, after=None, who=who) for _ in range(3)])
    assert ScrapCollection.objects.get().pieces == 20


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"weighed_g": 0.0}, "weighed_g"),
        ({"weighed_g": float("inf")}, "weighed_g"),
        ({"weighed_g": 2e7}, "weighed_g"),
        ({"paid": Decimal("-1")}, "paid"),
        ({"taken_by": "x" * 81}, "taken_by"),
        ({"note": "x" * 201}, "note"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        stock.collect_scrap(**({"weighed_g": 10.0, "after": None, "who": Shop().attendant} | changes))
    assert refused.value.field == field
