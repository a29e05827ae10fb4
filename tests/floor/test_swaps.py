"""One for another in one act: the assembly of a pocket, and the tip of an assembly."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from crib.catalogue.services import change_design
from crib.core.errors import BadInput, KeyAlreadyUsed, ShopError
from crib.floor import errors, services
from crib.floor.models import Assembly, Edge, Fitting, PocketLoad
from crib.stock.models import Condition, Item, Place
from crib.stock.services import place_of, spent_place
from tests.shop import Shop, assert_ledger_balances, at_once, type_name


def _swap(shop: Shop, assembly: Assembly, **changes: Any) -> services.PocketSwap:
    given: dict[str, Any] = {"machine": shop.machine, "pocket": 3, "who": shop.setter, "key": shop.key()}
    return services.swap_pocket(assembly=assembly, **(given | changes))


def _swap_tip(shop: Shop, **changes: Any) -> services.TipSwap:
    into = services.NextTip(design=shop.chamfer_tip, from_place=shop.bin)
    given: dict[str, Any] = {"assembly": shop.loaded.assembly, "into": into, "who": shop.setter, "key": shop.key()}
    return services.swap_tip(**(given | changes))


def _places(assembly: Assembly) -> set[Place]:
    fitted = Fitting.objects.filter(assembly=assembly, removed_at=None).values("item")
    parts = [pk for pk in (assembly.holder_id, assembly.body_id) if pk]
    return {item.place for item in [*Item.objects.filter(pk__in=parts), *Item.objects.filter(pk__in=fitted)]}


# --- a pocket's assembly ------------------------------------------------------------------------------


def test_one_assembly_takes_the_place_of_another_in_one_act(shop: Shop) -> None:
    shop.log_run(parts=5)
    before, spare = shop.loaded.assembly, shop.assembly_with(shop.chamfer_tip)
    worked = shop.edge.pk
    swap = _swap(shop, spare)
    assert (swap.out.assembly, swap.into.assembly) == (before, spare)
    assert swap.out.unloaded_at is not None
    assert swap.into.loaded_at >= swap.out.unloaded_at
    assert _places(before) == {place_of(person=shop.setter)}
    assert _places(spare) == {place_of(machine=shop.machine)}
    kept = Edge.objects.get(pk=worked)
    assert (kept.state, kept.minutes, kept.parts) == (Edge.State.IN_USE, 10.0, 5)
    assert_ledger_balances()


def test_the_same_swap_sent_twice_counts_once(shop: Shop) -> None:
    spare, key = shop.assembly_with(shop.chamfer_tip), shop.key()
    shop.load_tool()
    first, again = (_swap(shop, spare, key=key, to_place=shop.other_bin) for _ in range(2))
    assert (first.out.pk, first.into.pk) == (again.out.pk, again.into.pk)
    assert PocketLoad.objects.count() == 2
    assert _places(shop.loaded.assembly) == {shop.other_bin}
    with pytest.raises(KeyAlreadyUsed):
        _swap(shop, shop.loaded.assembly, key=key)
    with pytest.raises(errors.StillLoaded, match="already"):
        _swap(shop, spare)
    assert_ledger_balances()


def test_half_a_swap_does_not_stand(shop: Shop) -> None:
    """The one that goes in is too slow for the work: the one in the pocket stays there."""
    shop.load_tool()
    slow = shop.design("BD-SLOW", "body", max_spindle_speed=1000.0, machine_side_system="cylindrical",
                       machine_side_size="12", work_side_system="screw-on", work_side_size="M8")  # fmt: skip
    spare = shop.assembly_with(shop.chamfer_tip, body=slow)
    with pytest.raises(errors.TooFast, match="BD-SLOW may turn 1000"):
        _swap(shop, spare)
    assert PocketLoad.objects.get(unloaded_at=None).assembly == shop.loaded.assembly
    assert _places(shop.loaded.assembly) == {place_of(machine=shop.machine)}
    with pytest.raises(errors.PocketEmpty, match="load"):
        _swap(shop, spare, pocket=4)
    with pytest.raises(BadInput, match="key"):
        _swap(shop, spare, key="")
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_two_people_swap_in_the_same_assembly_at_once(shop: Shop) -> None:
    """Into the same pocket with keys of their own, and with one key sent twice: one swap stands each time."""
    shop.load_tool()
    spare = shop.assembly_with(shop.chamfer_tip)
    people = (shop.setter, shop.other_setter)
    outcomes = at_once(*(partial(_swap, shop, spare, who=person) for person in people))
    assert sorted(map(type_name, outcomes)) == ["PocketSwap", "StillLoaded"], outcomes
    key = shop.key()
    outcomes = at_once(*(partial(_swap, shop, shop.loaded.assembly, key=key) for _ in range(2)))
    assert sorted(map(type_name, outcomes)) == ["PocketSwap", "PocketSwap"], outcomes
    assert PocketLoad.objects.count() == 3
    assert_ledger_balances()


# --- a tip --------------------------------------------------------------------------------------------


def test_the_next_tip_goes_in_and_the_old_ones_edge_comes_off(shop: Shop) -> None:
    shop.log_run(parts=5)
    old = shop.edge
    shop.stock(shop.chamfer_tip, 1)
    swap = _swap_tip(shop, end=services.EdgeEnd(outcome="worn", wear_land_mm=0.28))
    assert swap.ended is not None
    assert (swap.ended.pk, swap.ended.outcome, swap.ended.wear_land_mm) == (old.pk, "worn", 0.28)
    assert swap.out.item_id == old.item_id
    out = Item.objects.get(pk=old.item_id)
    # Its second edge is still fresh: it is worth keeping.
    assert (out.place, out.condition) == (place_of(person=shop.setter), Condition.PART_USED)
    new = Edge.objects.get(item=swap.into.item, state="in_use")
    assert (new.operation, new.minutes) == (shop.operation, 0.0)
    assert Item.objects.get(pk=swap.into.item_id).place == place_of(machine=shop.machine)
    assert_ledger_balances()


def test_without_an_outcome_the_edge_keeps_its_minutes(shop: Shop) -> None:
    shop.log_run(parts=5)
    old = shop.edge
    shop.stock(shop.chamfer_tip, 1)
    swap = _swap_tip(shop, to_place=shop.other_bin)
    old.refresh_from_db()
    assert (swap.ended, old.state, old.minutes) == (None, "in_use", 10.0)
    back = _swap_tip(shop, into=services.NextTip(item=Item.objects.get(pk=old.item_id)))
    old.refresh_from_db()
    assert (back.into.item_id, old.state, old.minutes, old.parts) == (old.item_id, "in_use", 10.0, 5)
    assert_ledger_balances()


@pytest.mark.parametrize(("regrinds", "spent"), [(0, True), (2, False)])
def test_a_tip_without_edges_is_spent_unless_it_can_be_reground(shop: Shop, regrinds: int, spent: bool) -> None:
    change_design(design=shop.chamfer_tip, regrinds_allowed=regrinds, who=shop.lead)
    shop.load_tool()
    services.end_and_turn(edge=shop.edge, outcome="worn", who=shop.setter)
    shop.stock(shop.chamfer_tip, 1)
    key, end = shop.key(), services.EdgeEnd(outcome="broken")
    first, again = (_swap_tip(shop, end=end, key=key) for _ in range(2))
    assert (first.out.pk, first.into.pk, first.ended) == (again.out.pk, again.into.pk, again.ended)
    place = Item.objects.get(pk=first.out.item_id).place
    assert place == (spent_place() if spent else place_of(person=shop.setter))
    with pytest.raises(KeyAlreadyUsed):
        _swap_tip(shop, key=key, into=services.NextTip(item=shop.item(shop.body)))
    assert_ledger_balances()


def test_a_tip_swap_that_cannot_end_well_changes_nothing(shop: Shop) -> None:
    shop.load_tool()
    old = shop.edge
    end = services.EdgeEnd(outcome="worn")
    wrong = shop.design("CT-M12", machine_side_system="screw-on", machine_side_size="M12")
    shop.stock(wrong, 1)
    refused: list[dict[str, Any]] = [
        {"into": services.NextTip(design=wrong, from_place=shop.bin)},  # does not fit
        {"into": services.NextTip(design=shop.chamfer_tip, from_place=shop.other_bin)},  # none there
        {"into": services.NextTip(item=Item.objects.get(pk=old.item_id))},  # the same one
        {"end": services.EdgeEnd(outcome="tired")},
        {"key": ""},
    ]
    for changes in refused:
        with pytest.raises(ShopError):
            _swap_tip(shop, **({"end": end} | changes))
    old.refresh_from_db()
    assert (old.state, old.outcome) == ("in_use", "")
    assert Fitting.objects.get(removed_at=None).item_id == old.item_id
    assert_ledger_balances()


def test_a_tip_fitted_in_the_machine_must_bear_its_speed(shop: Shop) -> None:
    """60 m/min on 12 mm is 60000 / (pi * 12) = 1591.5 1/min, by the definition of surface speed."""
    shop.load_tool()
    shop.stock(shop.chamfer_tip, 1)
    place_of(person=shop.setter)  # or it would be made, and taken back, by the refusal
    change_design(design=shop.chamfer_tip, max_spindle_speed=1500.0, who=shop.lead)
    with pytest.raises(errors.TooFast, match="turns 1592 1/min, but CT-45-12 may turn 1500"):
        _swap_tip(shop)
    # On a machine that turns 1200 at most, nothing ever turns faster.
    shop.machine.max_spindle_speed = 1200.0
    shop.machine.save()
    assert _swap_tip(shop).into.pk


@pytest.mark.django_db(transaction=True)
def test_two_people_swap_the_same_tip_at_once(shop: Shop) -> None:
    """One key sent twice is one swap; with the same labelled tip only one of two gets it."""
    shop.load_tool()
    into, key = services.NextTip(item=shop.item(shop.chamfer_tip)), shop.key()
    outcomes = at_once(*(partial(_swap_tip, shop, into=into, key=key) for _ in range(2)))
    assert list(map(type_name, outcomes)) == ["TipSwap", "TipSwap"], outcomes
    into = services.NextTip(item=shop.item(shop.chamfer_tip))
    outcomes = at_once(*(partial(_swap_tip, shop, into=into, who=one) for one in (shop.setter, shop.other_setter)))
    assert sorted(map(type_name, outcomes)) == ["BadInput", "TipSwap"], outcomes
    assert Fitting.objects.count() == 3
    assert_ledger_balances()
