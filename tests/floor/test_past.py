"""Earlier records brought into the books: the same rules as for one act at a time, and all or nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from crib.core.errors import BadInput
from crib.floor.errors import AlreadyBuiltIn, DoesNotFit, NothingFitted, WrongOrder
from crib.floor.models import Assembly, Edge, Fitting, Inspection
from crib.floor.records import EdgeRecord, InspectionRecord, ToolRecord
from crib.floor.services import (
    build_assembly,
    load_pocket,
    log_run,
    record_inspections,
    record_tools,
    take_apart,
)
from crib.stock.errors import NotEnoughOnHand
from crib.stock.models import Balance, Condition, Item, Move
from crib.stock.selectors import check_ledger
from crib.stock.services import place_of, spent_place
from tests.shop import Shop

HOUR = timedelta(hours=1)


@pytest.fixture
def assembly(shop: Shop) -> Assembly:
    """Holder and body in pocket 5 of the machine for ten days, with nothing fitted yet; ten tips in the bin."""
    built = build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter, at=shop.long_ago)
    load_pocket(machine=shop.operation.machine, pocket=5, assembly=built, who=shop.setter, at=shop.long_ago)
    shop.stock(shop.chamfer_tip, 10)
    return built


def edge(shop: Shop, number: int = 1, *, hour: float = 1, hours: float = 2, **changes: Any) -> EdgeRecord:
    start = shop.long_ago + hour * HOUR
    given: dict[str, Any] = {
        "number": number,
        "operation": shop.operation,
        "put_in_at": start,
        "ended_at": start + hours * HOUR,
        "outcome": "worn",
        "wear_land_mm": 0.31,
        "ended_by": shop.other_setter,
    }
    return EdgeRecord(**(given | changes))


def tool(shop: Shop, assembly: Assembly, *edges: EdgeRecord, **changes: Any) -> ToolRecord:
    told = edges or (edge(shop), edge(shop, 2, hour=4))
    given: dict[str, Any] = {
        "assembly": assembly,
        "design": shop.chamfer_tip,
        "from_place": shop.bin,
        "fitted_at": told[0].put_in_at,
        "fitted_by": shop.setter,
        "key": "past:1",
        "edges": told,
        "removed_at": told[-1].ended_at,
    }
    return ToolRecord(**(given | changes))


def test_a_recorded_tool_stands_as_if_each_act_had_been_done(shop: Shop, assembly: Assembly) -> None:
    (fitting,) = record_tools(records=[tool(shop, assembly)], who=shop.attendant)
    item = Item.objects.get(pk=fitting.item_id)
    assert (item.condition, item.place, item.pieces) == (Condition.SPENT, spent_place(), 1)
    first, second = Edge.objects.filter(item=item).order_by("number")
    assert (first.outcome, first.wear_land_mm, first.ended_by) == ("worn", 0.31, shop.other_setter)
    assert second.ended_at == fitting.removed_at
    assert list(Move.objects.filter(item=item).order_by("pk").values_list("why", flat=True)) == [
        Move.Why.FIT,
        Move.Why.WORN_OUT,
        Move.Why.WORN_OUT,
    ]
    assert check_ledger() == []


def test_a_tool_still_fitted_stands_in_the_machine_with_its_edge_in_use(shop: Shop, assembly: Assembly) -> None:
    record = tool(shop, assembly, edge(shop, ended_at=None, outcome="", wear_land_mm=None), removed_at=None)
    (fitting,) = record_tools(records=[record], who=shop.attendant)
    assert fitting.item.place == place_of(machine=shop.machine)
    states = Edge.objects.filter(item=fitting.item).order_by("number").values_list("state", flat=True)
    assert list(states) == [Edge.State.IN_USE, Edge.State.FRESH]
    assert check_ledger() == []


def test_what_is_taken_out_with_life_left_goes_where_it_is_said(shop: Shop, assembly: Assembly) -> None:
    record = tool(shop, assembly, edge(shop), removed_to=shop.other_bin)
    (fitting,) = record_tools(records=[record], who=shop.attendant)
    item = Item.objects.get(pk=fitting.item_id)
    assert (item.place, item.condition) == (shop.other_bin, Condition.PART_USED)
    assert check_ledger() == []


def test_what_goes_for_regrind_says_so(shop: Shop, assembly: Assembly) -> None:
    away = place_of(regrind="Whetstone")
    (fitting,) = record_tools(records=[tool(shop, assembly, removed_to=away)], who=shop.attendant)
    assert (fitting.item.place, fitting.item.condition) == (away, Condition.SPENT)
    assert Move.objects.filter(item=fitting.item).latest("pk").why == Move.Why.REGRIND
    assert check_ledger() == []


def test_runs_logged_afterwards_find_the_edge_that_was_in_then(shop: Shop, assembly: Assembly) -> None:
    (fitting,) = record_tools(records=[tool(shop, assembly)], who=shop.attendant)
    run = log_run(draft=shop.run_draft(hour=4.5, pocket=5), who=shop.setter)
    assert (run.edge.item_id, run.edge.number) == (fitting.item_id, 2)


def test_the_same_records_again_add_nothing(shop: Shop, assembly: Assembly) -> None:
    records = [tool(shop, assembly)]
    once = record_tools(records=records, who=shop.attendant)
    moves = Move.objects.count()
    assert record_tools(records=records, who=shop.attendant) == once
    assert (Fitting.objects.count(), Move.objects.count()) == (1, moves)


def test_two_tools_follow_each_other_in_one_assembly(shop: Shop, assembly: Assembly) -> None:
    later = tool(shop, assembly, edge(shop, hour=10), edge(shop, 2, hour=13), key="past:2")
    fittings = record_tools(records=[later, tool(shop, assembly)], who=shop.attendant)
    assert [fitting.key for fitting in fittings] == ["past:2", "past:1"]
    assert check_ledger() == []


@pytest.mark.parametrize(
    ("changes", "refusal", "says"),
    [
        ({"key": ""}, BadInput, "key"),
        ({"edges": ()}, BadInput, "which edge"),
        ({"removed_at": "before"}, WrongOrder, "cannot have come out"),
        ({"fitted_at": "late"}, WrongOrder, "before it was fitted"),
        ({"fitted_at": "ahead"}, BadInput, "future"),
    ],
)
def test_a_record_that_cannot_be_is_refused_whole(
    shop: Shop, assembly: Assembly, changes: dict[str, Any], refusal: type[Exception], says: str
) -> None:
    moments = {"before": shop.long_ago, "late": shop.long_ago + 2 * HOUR, "ahead": shop.long_ago + 999 * HOUR}
    given: dict[str, Any] = {
        name: moments[value] if isinstance(value, str) and value in moments else value
        for name, value in changes.items()
    }
    good = tool(shop, assembly, edge(shop, hour=20), edge(shop, 2, hour=23), key="past:good")
    with pytest.raises(refusal, match=says):
        record_tools(records=[good, replace(tool(shop, assembly), **given)], who=shop.attendant)
    assert not Fitting.objects.exists()
    assert Balance.objects.get(design=shop.chamfer_tip, place=shop.bin).quantity == 10


@pytest.mark.parametrize(
    ("changes", "refusal", "says"),
    [
        ({"number": 3}, BadInput, "edges 1 to 2"),
        ({"outcome": ""}, BadInput, "outcome"),
        ({"outcome": "melted"}, BadInput, "why it came off"),
        ({"wear_land_mm": 30.0}, BadInput, "wear land"),
        ({"note": "x" * 201}, BadInput, "note"),
        ({"hours": -0.5}, WrongOrder, "came off before"),
    ],
)
def test_an_edge_that_cannot_be_is_refused(
    shop: Shop, assembly: Assembly, changes: dict[str, Any], refusal: type[Exception], says: str
) -> None:
    with pytest.raises(refusal, match=says):
        record_tools(records=[tool(shop, assembly, edge(shop, **changes))], who=shop.attendant)


def test_only_the_last_edge_may_be_in_use(shop: Shop, assembly: Assembly) -> None:
    open_edge = edge(shop, ended_at=None, outcome="")
    with pytest.raises(WrongOrder, match="still be in use"):
        record_tools(records=[tool(shop, assembly, open_edge, edge(shop, 2, hour=4))], who=shop.attendant)


def test_nothing_is_fitted_where_something_was(shop: Shop, assembly: Assembly) -> None:
    overlapping = tool(shop, assembly, edge(shop, hour=2), edge(shop, 2, hour=5), key="past:2")
    with pytest.raises(WrongOrder, match="still in it"):
        record_tools(records=[tool(shop, assembly), overlapping], who=shop.attendant)
    record_tools(records=[tool(shop, assembly)], who=shop.attendant)
    with pytest.raises(WrongOrder, match="was free from"):
        record_tools(records=[overlapping], who=shop.attendant)
    held = tool(shop, assembly, edge(shop, hour=20, ended_at=None, outcome=""), removed_at=None, key="past:3")
    record_tools(records=[held], who=shop.attendant)
    with pytest.raises(AlreadyBuiltIn, match="take that out first"):
        record_tools(records=[tool(shop, assembly, edge(shop, hour=30), key="past:4")], who=shop.attendant)


def test_what_does_not_fit_or_is_not_there_is_refused(shop: Shop, assembly: Assembly) -> None:
    bare = build_assembly(holder=shop.item(shop.holder), who=shop.setter, at=shop.long_ago)
    with pytest.raises(DoesNotFit, match="needs a body"):
        record_tools(records=[tool(shop, bare)], who=shop.attendant)
    with pytest.raises(NotEnoughOnHand):
        record_tools(records=[tool(shop, assembly, from_place=shop.other_bin)], who=shop.attendant)
    take_apart(assembly=bare, who=shop.setter)
    with pytest.raises((NothingFitted, DoesNotFit)):
        record_tools(records=[tool(shop, bare)], who=shop.attendant)


def test_inspections_come_after_the_runs_they_stand_on(shop: Shop) -> None:
    run = shop.log_run(parts=5)
    seen = InspectionRecord(
        edge=run.edge, at_minutes=10.0, wear_land_mm=0.12, seen_by=shop.setter, seen_at=run.ended_at
    )
    before = Edge.objects.get(pk=run.edge_id).revision
    assert record_inspections(records=[seen], who=shop.lead) == 1
    assert Inspection.objects.get().wear_land_mm == 0.12
    assert Edge.objects.get(pk=run.edge_id).revision == before + 1
    with pytest.raises(BadInput, match="log its runs"):
        record_inspections(records=[replace(seen, at_minutes=11.0)], who=shop.lead)
    with pytest.raises(BadInput, match="wear land"):
        record_inspections(records=[replace(seen, wear_land_mm=9.0)], who=shop.lead)
    assert record_inspections(records=[], who=shop.lead) == 0
