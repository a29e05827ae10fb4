"""Lots beside each other under one law."""

from __future__ import annotations

import pytest

from crib.floor.models import Edge
from crib.life import selectors, services
from crib.life.laws import Duty
from crib.life.models import LifeModel
from tests.life.lives import add_in_order, fallen
from tests.shop import Shop


def learnt(shop: Shop, lots: list[str]) -> LifeModel:
    for edge, lot in zip(add_in_order(shop, fallen()), lots, strict=True):
        type(edge.item).objects.filter(pk=edge.item_id).update(lot=lot)
    services.refit_all()
    return LifeModel.objects.get()


def test_the_lot_whose_edges_last_half_as_long_stands_out(shop: Shop) -> None:
    lots = selectors.lots_of(model=learnt(shop, ["L-1"] * 8 + ["L-2"] * 8 + ["L-3"] * 10))
    assert [(one.named, one.edges, one.ended) for one in lots] == [("L-1", 8, 8), ("L-2", 8, 8), ("L-3", 10, 10)]
    assert [one.stands_out for one in lots] == [False, False, True]
    bad = lots[2]
    assert bad.factor_low < bad.factor < bad.factor_high < 1
    assert bad.low < bad.life < bad.high < lots[0].life
    assert bad.worse is not None
    assert bad.worse > 0.98
    assert bad.life / bad.factor == pytest.approx(lots[0].life / lots[0].factor)


def test_edges_of_no_known_lot_are_shown_and_not_compared(shop: Shop) -> None:
    lots = selectors.lots_of(model=learnt(shop, ["L-1"] * 8 + ["L-2"] * 8 + [""] * 10))
    assert [(one.named, one.worse is None) for one in lots] == [
        ("L-1", False), ("L-2", False), ("Not written down", True),
    ]  # fmt: skip
    assert not any(one.stands_out for one in lots)


def test_one_lot_has_nothing_to_be_worse_than(shop: Shop) -> None:
    (lot,) = selectors.lots_of(model=learnt(shop, ["L-1"] * 26))
    assert lot.worse is None
    assert not lot.stands_out


def test_without_lots_there_is_nothing_to_compare(shop: Shop) -> None:
    assert selectors.lots_of(model=learnt(shop, [""] * 26)) == []


def test_lives_are_told_at_the_duty_asked_for(shop: Shop) -> None:
    model = learnt(shop, ["L-1"] * 26)
    assert Edge.objects.filter(item__lot="L-1").count() == 26
    (at_reference,) = selectors.lots_of(model=model)
    (faster,) = selectors.lots_of(model=model, duty=Duty(120.0, 0.05, 1.0))
    assert faster.life < at_reference.life / 4
    assert faster.factor == at_reference.factor
