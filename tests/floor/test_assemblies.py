"""Assemblies, tips and pockets: what fits, who has it, and that the ledger goes along."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from crib.catalogue.errors import CouplingDoesNotFit
from crib.catalogue.services import change_design, create_machine
from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed
from crib.floor import errors, services
from crib.floor.models import Assembly, Edge, Fitting, PocketLoad
from crib.stock import services as stock
from crib.stock.errors import NotEnoughOnHand
from crib.stock.models import Condition, Item, Move, Place
from tests.shop import Shop, assert_ledger_balances, at_once, type_name


def _bare(shop: Shop) -> Assembly:
    """Holder and body without a tip."""
    return services.build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter)


def _fit(shop: Shop, assembly: Assembly, **changes: Any) -> Fitting:
    given: dict[str, Any] = {"design": shop.chamfer_tip, "from_place": shop.bin, "who": shop.setter, "key": shop.key()}
    return services.fit_tip(assembly=assembly, **(given | changes))


# --- building -----------------------------------------------------------------------------------------


def test_an_assembly_stands_where_its_holder_is(shop: Shop) -> None:
    holder, body = shop.item(shop.holder), shop.item(shop.body)
    shop.check_out(shop.holder, by=shop.setter, item=holder)
    holder.refresh_from_db()
    assembly = services.build_assembly(holder=holder, body=body, gauge_length_mm=160, stick_out_mm=60, who=shop.setter)
    body.refresh_from_db()
    assert body.place == holder.place == stock.place_of(person=shop.setter)
    assert assembly.name == "HD-40-C16 + BD-12-100"
    assert_ledger_balances()


def test_what_does_not_go_together_is_refused_with_the_reason(shop: Shop) -> None:
    thick = shop.design("BD-20", "body", machine_side_system="cylindrical", machine_side_size="20")
    with pytest.raises(CouplingDoesNotFit, match="the size differs"):
        services.build_assembly(holder=shop.item(shop.holder), body=shop.item(thick), who=shop.setter)
    assert not Assembly.objects.exists()


def test_a_holder_or_body_is_built_in_once(shop: Shop) -> None:
    assembly = _bare(shop)
    assert assembly.body is not None
    with pytest.raises(errors.AlreadyBuiltIn) as refused:
        services.build_assembly(holder=assembly.holder, body=shop.item(shop.body), who=shop.setter)
    assert refused.value.field == "holder"
    with pytest.raises(errors.AlreadyBuiltIn) as refused:
        services.build_assembly(holder=shop.item(shop.holder), body=assembly.body, who=shop.setter)
    assert refused.value.field == "body"


@pytest.mark.parametrize(
    ("lengths", "field"),
    [
        ({"gauge_length_mm": 0.0}, "gauge_length_mm"),
        ({"gauge_length_mm": -5.0}, "gauge_length_mm"),
        ({"gauge_length_mm": 1e9}, "gauge_length_mm"),
        ({"stick_out_mm": float("nan")}, "stick_out_mm"),
        ({"gauge_length_mm": 100.0, "stick_out_mm": 120.0}, "stick_out_mm"),
        ({"name": "x" * 61}, "name"),
    ],
)
def test_impossible_lengths_and_names_are_refused(shop: Shop, lengths: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        services.build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter, **lengths)
    assert refused.value.field == field


def test_what_is_away_or_spent_cannot_be_built_in(shop: Shop) -> None:
    holder = shop.item(shop.holder)
    stock.transfer(
        design=shop.holder, quantity=1, item=holder, from_place=shop.bin,
        to_place=stock.place_of(supplier=shop.supplier),
        who=shop.attendant, key=shop.key(),
    )  # fmt: skip
    holder.refresh_from_db()
    with pytest.raises(errors.NotAtHand, match="must come back first"):
        services.build_assembly(holder=holder, who=shop.setter)
    body = shop.item(shop.body)
    stock.transfer(
        design=shop.body, quantity=1, item=body, from_place=shop.bin, to_place=shop.bin, becomes=Condition.SPENT,
        who=shop.attendant, key=shop.key(),
    )  # fmt: skip
    body.refresh_from_db()
    with pytest.raises(errors.NotAtHand, match="is spent"):
        services.build_assembly(holder=shop.item(shop.holder), body=body, who=shop.setter)


def test_taking_apart_frees_the_parts(shop: Shop) -> None:
    assembly = _bare(shop)
    _fit(shop, assembly, design=_stocked(shop))
    with pytest.raises(errors.StillLoaded, match="still holds a tip"):
        services.take_apart(assembly=assembly, who=shop.setter)
    services.take_out(assembly=assembly, who=shop.setter, key=shop.key())
    apart = services.take_apart(assembly=assembly, who=shop.setter)
    assert services.take_apart(assembly=assembly, who=shop.setter).taken_apart_at == apart.taken_apart_at
    assert services.build_assembly(holder=assembly.holder, body=assembly.body, who=shop.setter).pk != assembly.pk
    with pytest.raises(errors.NothingFitted, match="was taken apart"):
        _fit(shop, assembly)
    with pytest.raises(errors.NothingFitted, match="was taken apart"):
        services.load_pocket(machine=shop.machine, pocket=1, assembly=assembly, who=shop.setter)


def _stocked(shop: Shop) -> Any:
    shop.stock(shop.chamfer_tip, 5)
    return shop.chamfer_tip


# --- fitting ------------------------------------------------------------------------------------------


def test_a_loose_tip_becomes_an_item_with_fresh_edges(shop: Shop) -> None:
    _stocked(shop)
    fitting = _fit(shop, _bare(shop))
    edges = list(Edge.objects.filter(item=fitting.item))
    assert [(edge.number, edge.state) for edge in edges] == [(1, "in_use"), (2, "fresh")]
    assert edges[0].put_in_at == fitting.fitted_at
    assert fitting.item.label.startswith("ET1:I")
    assert_ledger_balances()


def test_a_tip_drawn_by_a_person_goes_to_where_the_holder_is(shop: Shop) -> None:
    _stocked(shop)
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    fitting = _fit(shop, _bare(shop), from_place=stock.place_of(person=shop.setter))
    assert fitting.item.place == shop.bin
    assert Move.objects.get(item=fitting.item).why == Move.Why.FIT
    assert_ledger_balances()


def test_a_body_with_five_seats_takes_a_set_of_five(shop: Shop) -> None:
    insert = shop.design("IN-5", "insert", edges=4, machine_side_system="pocket", machine_side_size="12")
    cutter = shop.design(
        "CU-50", "body", seats=5, machine_side_system="cylindrical", machine_side_size="16",
        work_side_system="pocket", work_side_size="12",
    )  # fmt: skip
    shop.stock(insert, 7)
    assembly = services.build_assembly(holder=shop.item(shop.holder), body=shop.item(cutter), who=shop.setter)
    fitting = _fit(shop, assembly, design=insert)
    assert fitting.item.pieces == 5
    assert Edge.objects.filter(item=fitting.item).count() == 4
    second = services.build_assembly(holder=shop.item(shop.holder), body=shop.item(cutter), who=shop.setter)
    with pytest.raises(NotEnoughOnHand):
        _fit(shop, second, design=insert)
    with pytest.raises(errors.DoesNotFit, match="takes 5 at once"):
        _fit(shop, second, item=shop.item(insert), design=None, from_place=None)
    assert_ledger_balances()


def test_the_same_key_fits_once(shop: Shop) -> None:
    _stocked(shop)
    assembly, other = _bare(shop), _bare(shop)
    first = _fit(shop, assembly, key="scan-1")
    assert _fit(shop, assembly, key="scan-1") == first
    with pytest.raises(KeyAlreadyUsed):
        _fit(shop, other, key="scan-1")
    with pytest.raises(BadInput):
        _fit(shop, other, key="")
    assert Item.objects.filter(design=shop.chamfer_tip).count() == 1


def test_a_full_assembly_takes_no_second_tip(shop: Shop) -> None:
    _stocked(shop)
    assembly = _bare(shop)
    fitting = _fit(shop, assembly)
    with pytest.raises(errors.AlreadyBuiltIn, match="take that out first"):
        _fit(shop, assembly)
    with pytest.raises(errors.AlreadyBuiltIn, match="is part of"):
        _fit(shop, _bare(shop), item=fitting.item)


def test_what_cannot_sit_there_is_refused(shop: Shop) -> None:
    wrong = shop.design("CT-M12", machine_side_system="screw-on", machine_side_size="M12")
    shop.stock(wrong, 1)
    with pytest.raises(CouplingDoesNotFit):
        _fit(shop, _bare(shop), design=wrong)
    with pytest.raises(errors.DoesNotFit, match="no cutting edge"):
        _fit(shop, _bare(shop), design=shop.body)
    with pytest.raises(errors.DoesNotFit, match="needs a body"):
        _fit(shop, services.build_assembly(holder=shop.item(shop.holder), who=shop.setter))
    with pytest.raises(BadInput, match="which tip"):
        _fit(shop, _bare(shop), design=None, from_place=None)
    assert not Fitting.objects.exists()


def test_a_solid_drill_goes_straight_into_its_holder(shop: Shop) -> None:
    drill = shop.design("DR-8", "drill", edges=1, machine_side_system="cylindrical", machine_side_size="8")
    shop.stock(drill, 1)
    assembly = services.build_assembly(holder=shop.item(shop.holder), who=shop.setter)
    assert _fit(shop, assembly, design=drill).item.edges.count() == 1


def test_a_part_used_tip_goes_on_where_it_stopped(shop: Shop) -> None:
    shop.log_run(parts=5)
    out = services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key())
    item = Item.objects.get(pk=out.item_id)
    assert item.condition == Condition.PART_USED
    fitting = _fit(shop, _bare(shop), item=item, design=None, from_place=None)
    edge = Edge.objects.get(item=fitting.item, state="in_use")
    assert (edge.number, edge.minutes, edge.put_in_at) == (1, 10.0, shop.long_ago)
    assert_ledger_balances()


def test_another_edge_may_be_chosen_unless_one_is_part_used(shop: Shop) -> None:
    _stocked(shop)
    fitting = _fit(shop, _bare(shop), edge=2)
    assert Edge.objects.get(item=fitting.item, state="in_use").number == 2
    services.take_out(assembly=fitting.assembly, who=shop.setter, key=shop.key())
    again = _fit(shop, fitting.assembly, item=fitting.item, edge=1)
    assert Edge.objects.get(item=again.item, state="in_use").number == 1, "an unused edge may wait again"
    with pytest.raises(BadInput, match="no edge 9"):
        _fit(shop, _bare(shop), edge=9)
    shop.log_run()
    out = services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key())
    with pytest.raises(errors.EdgeStillInUse, match="part-used"):
        _fit(shop, shop.assembly, item=Item.objects.get(pk=out.item_id), edge=2)


def test_a_tip_with_no_edge_left_is_not_fitted(shop: Shop) -> None:
    shop.load_tool()
    first = shop.edge
    services.end_and_turn(edge=first, outcome="worn", who=shop.setter)
    services.end_edge(edge=shop.edge, outcome="worn", who=shop.setter)
    services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key(), to_place=shop.bin)
    with pytest.raises(errors.NotAtHand, match="is spent"):
        _fit(shop, _bare(shop), item=Item.objects.get(pk=first.item_id))


def test_a_used_up_tip_goes_to_spent(shop: Shop) -> None:
    shop.load_tool()
    with pytest.raises(errors.EdgeStillInUse, match="say why it came off"):
        services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key(), spent=True)
    services.end_edge(edge=shop.edge, outcome="broken", who=shop.setter)
    out = services.take_out(assembly=shop.assembly, who=shop.setter, key="out-1", spent=True)
    assert services.take_out(assembly=shop.assembly, who=shop.setter, key="out-1", spent=True) == out
    item = Item.objects.get(pk=out.item_id)
    assert (item.condition, item.place.kind) == (Condition.SPENT, Place.Kind.SPENT)
    with pytest.raises(errors.NothingFitted):
        services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key())
    with pytest.raises(KeyAlreadyUsed):
        services.take_out(assembly=_bare(shop), who=shop.setter, key="out-1")
    assert_ledger_balances()


def test_an_unused_tip_comes_out_as_new(shop: Shop) -> None:
    shop.load_tool()
    out = services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key(), to_place=shop.bin)
    assert Item.objects.get(pk=out.item_id).condition == Condition.NEW


def test_nothing_is_fitted_or_taken_out_before_what_it_follows(shop: Shop) -> None:
    run = shop.log_run(hour=5)
    with pytest.raises(errors.WrongOrder, match="last run"):
        services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key(), at=run.started_at)
    with pytest.raises(errors.WrongOrder, match="last run"):
        services.unload_pocket(machine=shop.machine, pocket=3, who=shop.setter, at=run.started_at)
    with pytest.raises(errors.WrongOrder, match="too early"):
        services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key(), at=shop.long_ago - timedelta(days=1))
    bare = _bare(shop)
    _stocked(shop)
    with pytest.raises(errors.WrongOrder):
        _fit(shop, bare, at=bare.built_at - timedelta(hours=1))
    with pytest.raises(BadInput, match="future"):
        _fit(shop, bare, at=clock.now() + timedelta(hours=1))
    with pytest.raises(BadInput, match="offset"):
        _fit(shop, bare, at=clock.now().replace(tzinfo=None))


# --- pockets ------------------------------------------------------------------------------------------


def test_loading_and_unloading_carry_every_part_in_the_ledger(shop: Shop) -> None:
    load = shop.loaded
    parts = Item.objects.filter(pk__in=[load.assembly.holder_id, load.assembly.body_id, shop.edge.item_id])
    assert {item.place for item in parts} == {stock.place_of(machine=shop.machine)}
    services.unload_pocket(machine=shop.machine, pocket=3, who=shop.setter)
    assert {item.place for item in parts.all()} == {stock.place_of(person=shop.setter)}
    services.load_pocket(machine=shop.machine, pocket=4, assembly=load.assembly, who=shop.setter)
    services.unload_pocket(machine=shop.machine, pocket=4, who=shop.attendant, to_place=shop.bin)
    assert {item.place for item in parts.all()} == {shop.bin}
    assert_ledger_balances()


def test_loading_says_what_the_edge_works_at(shop: Shop) -> None:
    assert shop.loaded.machine == shop.operation.machine
    assert shop.edge.operation == shop.operation


def test_a_pocket_holds_one_assembly_and_an_assembly_sits_in_one_pocket(shop: Shop) -> None:
    load = shop.loaded
    assert services.load_pocket(machine=shop.machine, pocket=3, assembly=load.assembly, who=shop.setter) == load
    with pytest.raises(errors.PocketTaken, match="holds"):
        services.load_pocket(machine=shop.machine, pocket=3, assembly=_bare(shop), who=shop.setter)
    with pytest.raises(errors.StillLoaded, match="unload it there first"):
        services.load_pocket(machine=shop.machine, pocket=4, assembly=load.assembly, who=shop.setter)
    with pytest.raises(errors.StillLoaded, match="unload it first"):
        services.take_apart(assembly=load.assembly, who=shop.setter)
    with pytest.raises(errors.PocketEmpty, match="is empty"):
        services.unload_pocket(machine=shop.machine, pocket=4, who=shop.setter)
    services.unload_pocket(machine=shop.machine, pocket=3, who=shop.setter)
    with pytest.raises(errors.PocketEmpty, match="has been empty since"):
        services.unload_pocket(machine=shop.machine, pocket=3, who=shop.setter)


@pytest.mark.parametrize("pocket", [0, 25, -1, True])
def test_a_machine_has_the_pockets_it_has(shop: Shop, pocket: int) -> None:
    with pytest.raises(BadInput, match="pockets 1 to 24"):
        services.load_pocket(machine=shop.machine, pocket=pocket, assembly=_bare(shop), who=shop.setter)


def test_a_holder_that_does_not_fit_the_nose_is_refused(shop: Shop) -> None:
    lathe = create_machine(code="LA-1", name="Lathe", nose_system="turret", nose_size="40", pockets=12, who=shop.lead)
    with pytest.raises(CouplingDoesNotFit, match="system differs"):
        services.load_pocket(machine=lathe, pocket=1, assembly=_bare(shop), who=shop.setter)
    bare = create_machine(code="NO-1", name="No pockets", pockets=0, who=shop.lead)
    with pytest.raises(BadInput, match="how many it has"):
        services.load_pocket(machine=bare, pocket=1, assembly=_bare(shop), who=shop.setter)


def test_a_part_that_may_not_turn_so_fast_is_refused(shop: Shop) -> None:
    # 60 m/min on 12 mm is 60000 / (pi * 12) = 1591.5 1/min, by the definition of surface speed.
    assert shop.operation.pk
    change_design(design=shop.holder, max_spindle_speed=1500.0, who=shop.lead)
    with pytest.raises(errors.TooFast, match="turns 1592 1/min, but HD-40-C16 may turn 1500") as refused:
        shop.load_tool()
    assert refused.value.field == "assembly"
    change_design(design=shop.holder, max_spindle_speed=1600.0, who=shop.lead)
    del shop.assembly
    assert (
        services.load_pocket(
            machine=shop.machine, pocket=5, assembly=shop.assembly_with(shop.chamfer_tip), who=shop.setter
        ).pocket
        == 5
    )


@pytest.mark.django_db(transaction=True)
def test_two_who_load_one_pocket_at_once_cannot_both(shop: Shop) -> None:
    one, other, setter, machine = _bare(shop), _bare(shop), shop.setter, shop.machine
    outcomes = at_once(
        lambda: services.load_pocket(machine=machine, pocket=7, assembly=one, who=setter),
        lambda: services.load_pocket(machine=machine, pocket=7, assembly=other, who=setter),
    )
    assert sorted(map(type_name, outcomes)) == ["PocketLoad", "PocketTaken"]
    assert PocketLoad.objects.filter(unloaded_at=None).count() == 1
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_two_who_fit_at_once_cannot_both(shop: Shop) -> None:
    _stocked(shop)
    assembly, setter, tip, place = _bare(shop), shop.setter, shop.chamfer_tip, shop.bin
    outcomes = at_once(
        lambda: services.fit_tip(assembly=assembly, design=tip, from_place=place, who=setter, key="a"),
        lambda: services.fit_tip(assembly=assembly, design=tip, from_place=place, who=setter, key="b"),
    )
    assert sorted(map(type_name, outcomes)) == ["AlreadyBuiltIn", "Fitting"]
    assert_ledger_balances()
