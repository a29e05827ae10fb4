"""Ending, turning and looking at edges."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from crib.core import clock
from crib.core.errors import BadInput
from crib.floor import errors, services
from crib.floor.errors import OddReading
from crib.floor.models import Edge, Inspection
from crib.stock.models import Condition, Item
from tests.shop import Shop, assert_ledger_balances


def test_an_edge_ends_with_its_outcome_and_wear(shop: Shop) -> None:
    run = shop.log_run(parts=5)
    before = shop.edge
    ended = services.end_edge(edge=before, outcome="worn", who=shop.setter, wear_land_mm=0.31, note=" even wear ")
    kept = Edge.objects.get(pk=before.pk)
    assert (kept.state, kept.outcome, kept.wear_land_mm, kept.end_note) == ("ended", "worn", 0.31, "even wear")
    assert (kept.ended_by, kept.ended_at, kept.minutes) == (shop.setter, ended.ended_at, 10.0)
    assert kept.revision == before.revision + 1
    assert kept.ended_at is not None
    assert kept.ended_at >= run.ended_at


def test_an_edge_ends_once(shop: Shop) -> None:
    shop.load_tool()
    edge = shop.edge
    services.end_edge(edge=edge, outcome="chipped", who=shop.setter)
    with pytest.raises(errors.EdgeEnded, match=r"came off already at .* \(chipped\)"):
        services.end_edge(edge=edge, outcome="worn", who=shop.other_setter)
    assert Edge.objects.get(pk=edge.pk).outcome == "chipped"


def test_an_edge_that_never_worked_cannot_come_off(shop: Shop) -> None:
    shop.load_tool()
    with pytest.raises(errors.EdgeEnded, match="has not been in use"):
        services.end_edge(edge=Edge.objects.get(number=2), outcome="worn", who=shop.setter)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"outcome": "tired"}, "outcome"),
        ({"outcome": ""}, "outcome"),
        ({"wear_land_mm": -0.1}, "wear_land_mm"),
        ({"wear_land_mm": 300.0}, "wear_land_mm"),
        ({"wear_land_mm": float("nan")}, "wear_land_mm"),
        ({"note": "x" * 201}, "note"),
    ],
)
def test_an_impossible_end_is_refused_and_nothing_is_written(shop: Shop, changes: dict[str, Any], field: str) -> None:
    shop.load_tool()
    edge = shop.edge
    given: dict[str, Any] = {"edge": edge, "outcome": "worn", "who": shop.setter} | changes
    with pytest.raises(BadInput) as refused:
        services.end_edge(**given)
    assert refused.value.field == field
    assert Edge.objects.get(pk=edge.pk).state == "in_use"


def test_an_edge_does_not_end_before_its_last_run_or_in_the_future(shop: Shop) -> None:
    run = shop.log_run(hour=3)
    with pytest.raises(errors.WrongOrder, match="its last run ended at"):
        services.end_edge(edge=shop.edge, outcome="worn", who=shop.setter, at=run.started_at)
    with pytest.raises(BadInput, match="future"):
        services.end_edge(edge=shop.edge, outcome="worn", who=shop.setter, at=clock.now() + timedelta(hours=1))


def test_the_last_edge_takes_the_item_with_it(shop: Shop) -> None:
    shop.load_tool()
    first = shop.edge
    services.end_edge(edge=first, outcome="worn", who=shop.setter)
    assert Item.objects.get(pk=first.item_id).condition == Condition.NEW
    services.turn_edge(edge=first, who=shop.setter)
    services.end_edge(edge=shop.edge, outcome="worn", who=shop.setter)
    assert Item.objects.get(pk=first.item_id).condition == Condition.SPENT
    assert_ledger_balances()


def test_turning_puts_the_next_fresh_edge_to_the_same_work(shop: Shop) -> None:
    shop.log_run()
    first = shop.edge
    with pytest.raises(errors.EdgeStillInUse, match="say first why it came off"):
        services.turn_edge(edge=first, who=shop.setter)
    services.end_edge(edge=first, outcome="worn", who=shop.setter)
    second = services.turn_edge(edge=first, who=shop.setter)
    assert (second.number, second.state, second.operation, second.minutes) == (2, "in_use", shop.operation, 0.0)
    services.end_edge(edge=second, outcome="worn", who=shop.setter)
    with pytest.raises(errors.NoFreshEdge, match="fit a new tip"):
        services.turn_edge(edge=second, who=shop.setter)


def test_end_and_turn_is_both_or_neither(shop: Shop) -> None:
    shop.load_tool()
    first = shop.edge
    ended, second = services.end_and_turn(edge=first, outcome="worn", who=shop.setter, wear_land_mm=0.3)
    assert (ended.state, second.number) == ("ended", 2)
    with pytest.raises(errors.NoFreshEdge):
        services.end_and_turn(edge=second, outcome="worn", who=shop.setter)
    assert Edge.objects.get(pk=second.pk).state == "in_use", "nothing is half done"


def test_a_tip_in_a_drawer_is_not_turned(shop: Shop) -> None:
    shop.load_tool()
    edge = shop.edge
    services.end_edge(edge=edge, outcome="worn", who=shop.setter)
    services.take_out(assembly=shop.assembly, who=shop.setter, key=shop.key())
    with pytest.raises(errors.NothingFitted, match="fit it"):
        services.turn_edge(edge=edge, who=shop.setter)


def test_an_inspection_stands_at_the_minutes_so_far(shop: Shop) -> None:
    shop.log_run(parts=5)
    before = shop.edge
    seen = services.record_inspection(edge=before, wear_land_mm=0.12, who=shop.setter)
    assert (seen.at_minutes, seen.wear_land_mm) == (10.0, 0.12)
    assert services.record_inspection(edge=before, wear_land_mm=0.05, who=shop.setter, at_minutes=4.0).at_minutes == 4.0
    assert shop.edge.revision == before.revision + 2


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"wear_land_mm": -1.0}, "wear_land_mm"),
        ({"wear_land_mm": 12.0}, "wear_land_mm"),
        ({"at_minutes": -1.0}, "at_minutes"),
        ({"at_minutes": 99.0}, "at_minutes"),
        ({"at_minutes": float("inf")}, "at_minutes"),
    ],
)
def test_an_impossible_inspection_is_refused(shop: Shop, changes: dict[str, Any], field: str) -> None:
    shop.log_run(parts=5)
    given: dict[str, Any] = {"edge": shop.edge, "wear_land_mm": 0.1, "who": shop.setter} | changes
    with pytest.raises(BadInput) as refused:
        services.record_inspection(**given)
    assert refused.value.field == field
    assert not Inspection.objects.exists()


def test_a_fresh_edge_has_no_wear_to_see(shop: Shop) -> None:
    shop.load_tool()
    with pytest.raises(BadInput, match="not been in use"):
        services.record_inspection(edge=Edge.objects.get(number=2), wear_land_mm=0.1, who=shop.setter)


@pytest.fixture
def worked(shop: Shop) -> Edge:
    """An edge of 40 minutes whose wear land was 0.10 mm at 20."""
    shop.log_run(parts=20, long=60.0)
    services.record_inspection(edge=shop.edge, wear_land_mm=0.1, who=shop.setter, at_minutes=20.0)
    return shop.edge


@pytest.mark.parametrize(
    ("land", "at", "odd"),
    [
        (0.01, 40.0, "wear never falls"),
        (0.19, 10.0, "wear never falls"),
        (1.4, 21.0, "no edge wears so fast"),
        (1.2, 40.0, None),
        (0.02, 40.0, None),
        (0.5, 21.0, "no edge wears so fast"),
        (0.17, 20.0, None),
        (0.19, 20.0, "no edge wears so fast"),
    ],
)
def test_an_odd_wear_land_is_refused_until_somebody_looks_twice(
    shop: Shop, worked: Edge, land: float, at: float, odd: str | None
) -> None:
    given: dict[str, Any] = {"edge": worked, "wear_land_mm": land, "who": shop.setter, "at_minutes": at}
    if odd is None:
        assert not services.record_inspection(**given, looked_twice=True).looked_twice
        return
    with pytest.raises(OddReading, match=odd) as refused:
        services.record_inspection(**given)
    assert "Look twice" in refused.value.sentence
    assert refused.value.field == "wear_land_mm"
    assert worked.inspections.count() == 1
    assert services.record_inspection(**given, looked_twice=True).looked_twice
    assert worked.inspections.count() == 2


def test_a_better_gauge_questions_smaller_falls(shop: Shop, worked: Edge) -> None:
    given: dict[str, Any] = {"edge": worked, "wear_land_mm": 0.05, "who": shop.setter}
    with pytest.raises(OddReading):
        services.record_inspection(**given, gauge_mm=0.005)
    assert not services.record_inspection(**given).looked_twice


def test_a_wear_land_beyond_the_tip_is_questioned(shop: Shop, worked: Edge) -> None:
    shop.chamfer_tip.diameter_mm = 3.0
    shop.chamfer_tip.save()
    given: dict[str, Any] = {"edge": worked, "wear_land_mm": 1.6, "who": shop.setter}
    with pytest.raises(OddReading, match="half of the tip's diameter"):
        services.record_inspection(**given)
    shop.chamfer_tip.diameter_mm = None
    shop.chamfer_tip.save()
    with pytest.raises(OddReading, match="is common"):
        services.record_inspection(**given | {"wear_land_mm": 3.2})


def test_the_wear_land_at_the_end_is_questioned_by_those_before_it(shop: Shop, worked: Edge) -> None:
    with pytest.raises(OddReading, match="wear never falls"):
        services.end_edge(edge=worked, outcome="worn", wear_land_mm=0.0, who=shop.setter)
    assert Edge.objects.get(pk=worked.pk).state == Edge.State.IN_USE
    services.end_edge(edge=worked, outcome="worn", wear_land_mm=0.0, who=shop.setter, looked_twice=True)
    kept = worked.inspections.get(looked_twice=True)
    assert (kept.at_minutes, kept.wear_land_mm, kept.seen_by) == (40.0, 0.0, shop.setter)


def test_a_sound_wear_land_at_the_end_is_no_inspection(shop: Shop, worked: Edge) -> None:
    services.end_edge(edge=worked, outcome="worn", wear_land_mm=0.3, who=shop.setter, looked_twice=True)
    assert worked.inspections.count() == 1
