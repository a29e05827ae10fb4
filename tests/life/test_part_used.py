"""Tips that have cut before: their edges counted, and what is left of them at this work or another."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from crib.catalogue import services as catalogue
from crib.catalogue.models import Design, Job
from crib.floor import services as floor
from crib.floor.errors import EdgeStillInUse
from crib.floor.models import Edge, Operation
from crib.life import selectors, services
from crib.life.models import Forecast, LifePrior
from crib.life.tip_left import TipLeft
from crib.stock import services as stock
from crib.stock.models import Condition, Item, Move, Place
from crib.stock.services import place_of
from crib.web.part_used import labelled_to_fit
from tests.api.calls import get
from tests.life.test_bands import tally
from tests.shop import Shop, assert_ledger_balances

POCKET = 5


@pytest.fixture
def insert(shop: Shop) -> Design:
    """A square insert of four corners, of which half last 38 minutes at the operation."""
    LifePrior.objects.create(
        kind_of_cut="milling", life_minutes=42, surface_speed=60, feed=0.1, depth=1.0, shape=4.0, life_spread=0.1,
        speed_exponent=4.0,
    )  # fmt: skip
    return shop.design(
        "IN-4", "insert", edges=4, family="squares", machine_side_system="screw-on", machine_side_size="M8"
    )


@pytest.fixture
def milling(shop: Shop, insert: Design) -> Operation:
    return operation_for(shop, insert, 30)


def operation_for(shop: Shop, tip: Design, number: int, *, job: Job | None = None, **changes: object) -> Operation:
    given = {"surface_speed": 60.0, "feed": 0.1, "depth": 1.0, "minutes_per_part": 2.0} | changes
    return floor.create_operation(
        job=job or shop.job, number=number, name="Mill", machine=shop.machine, tip=tip, body=shop.body,
        material=shop.material, kind_of_cut="milling", who=shop.engineer, **given,  # type: ignore[arg-type]
    )  # fmt: skip


def run(shop: Shop, operation: Operation, minutes: float, *, hour: float = 0.0) -> None:
    name = f"{operation.job.code}/{operation.number}"
    shop.log_run(pocket=POCKET, operation=name, minutes_in_cut=minutes, hour=hour, long=60.0, parts=int(minutes // 2))


def load(shop: Shop, assembly: object, **at: object) -> None:
    floor.load_pocket(machine=shop.machine, pocket=POCKET, assembly=assembly, who=shop.setter, **at)  # type: ignore[arg-type]


def used_tip(shop: Shop, operation: Operation, minutes: float, *, hour: float = 0.0) -> Item:
    """A tip that was fitted, run and taken out to the bin again."""
    begins = shop.long_ago + timedelta(hours=hour)
    assembly = shop.assembly_with(operation.tip, at=begins)
    load(shop, assembly, at=begins)
    run(shop, operation, minutes, hour=hour)
    item = Item.objects.get(fittings__assembly=assembly, fittings__removed_at=None)
    ends = begins + timedelta(hours=2)
    floor.unload_pocket(machine=shop.machine, pocket=POCKET, who=shop.setter, at=ends)
    floor.take_out(assembly=assembly, who=shop.setter, to_place=shop.bin, key=shop.key(), at=ends)
    item.refresh_from_db()
    return item


def one(found: list[TipLeft]) -> TipLeft:
    [tip] = found
    return tip


def test_a_part_used_tip_says_its_corners_and_what_is_left(shop: Shop, milling: Operation) -> None:
    item = used_tip(shop, milling, 28.0)
    tip = one(selectors.part_used_tips(designs=[milling.tip]))
    assert (tip.item, tip.place, tip.operation) == (item, shop.bin, milling)
    assert (tip.fresh, tip.part_used, tip.ended) == (3, 1, 0)
    assert tip.says == "3 of 4 corners fresh, corner 1 has 13 of about 38 min left"
    assert tip.batch_left == 120 - 14
    assert not tip.enough
    assert tip.chance == pytest.approx(0, abs=1e-6)
    assert tip.enough_words == "not sure to last the 106 parts still to make"


def test_the_whole_way_through_the_counter_to_another_job_and_its_minutes_go_on(shop: Shop, milling: Operation) -> None:
    """Drawn, fitted, run, taken out part-used, brought back; drawn by another for another job, fitted: goes on."""
    shop.stock(milling.tip, 3)
    shop.check_out(milling.tip, 1, by=shop.setter)
    built = floor.build_assembly(
        holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter, at=shop.long_ago
    )
    floor.fit_tip(
        assembly=built, design=milling.tip, from_place=place_of(person=shop.setter), who=shop.setter, key="a",
        at=shop.long_ago,
    )  # fmt: skip
    load(shop, built, at=shop.long_ago)
    run(shop, milling, 20.0)
    item = Item.objects.get(fittings__assembly=built)
    floor.unload_pocket(machine=shop.machine, pocket=POCKET, who=shop.setter)
    floor.take_out(assembly=built, who=shop.setter, key="b")
    item.refresh_from_db()
    assert (item.place, item.condition) == (place_of(person=shop.setter), Condition.PART_USED)
    stock.take_back(
        design=item.design, item=item, quantity=1, person=shop.setter, to_place=shop.bin, who=shop.attendant, key="c",
        condition=item.condition,
    )  # fmt: skip
    other = catalogue.create_job(code="J-2002", part="Cover", quantity=4, who=shop.lead)
    faster = operation_for(shop, milling.tip, 10, job=other, surface_speed=72.0)
    tip = one(selectors.part_used_tips(designs=[milling.tip], job=other, place=shop.bin))
    assert (tip.operation, tip.batch_left) == (faster, 4)
    # Taylor: at 1.2 times the speed what was cut weighs 1.2⁴ times as much.
    whole = 42 * 1.2**-4 * 0.6931**0.25
    assert tip.whole_life == pytest.approx(whole, rel=0.03)
    item.refresh_from_db()
    stock.check_out(
        design=item.design, item=item, quantity=1, person=shop.other_setter, from_place=shop.bin, job=other,
        condition=item.condition, who=shop.other_setter, key="again",
    )  # fmt: skip
    item.refresh_from_db()
    floor.fit_tip(assembly=built, item=item, who=shop.other_setter, key="d")
    milling.job.state = "done"
    milling.job.save(update_fields=["state"])
    floor.load_pocket(machine=shop.machine, pocket=POCKET, assembly=built, operation=faster, who=shop.other_setter)
    services.refresh_all_due()
    forecast = Forecast.objects.get(edge__item=item)
    assert (forecast.operation, forecast.minutes_used) == (faster, 20.0)
    # What was offered is what the board then says.
    assert forecast.minutes_left_50 == pytest.approx(tip.minutes_left_50)
    assert forecast.minutes_left_10 == pytest.approx(tip.minutes_left_10)
    assert forecast.chance_of_batch == pytest.approx(tip.chance)
    assert forecast.parts_left_10 == tip.parts_left
    assert_ledger_balances()


def test_those_that_last_the_batch_come_first_the_most_worn_of_them_before_the_rest(
    shop: Shop, milling: Operation
) -> None:
    worn, half, hardly = (used_tip(shop, milling, minutes, hour=3 * n) for n, minutes in enumerate((30.0, 12.0, 2.0)))
    milling.job.quantity = 22 + 3
    milling.job.save(update_fields=["quantity"])
    found = selectors.part_used_tips(designs=[milling.tip], operation=milling)
    assert [tip.item for tip in found] == [half, hardly, worn]
    assert [tip.enough for tip in found] == [True, True, False]
    assert found[0].enough_words == "lasts the 3 parts still to make"


def test_wear_that_was_seen_counts_as_on_the_board(shop: Shop, milling: Operation) -> None:
    item = used_tip(shop, milling, 20.0)
    edge = Edge.objects.get(item=item, number=1)
    floor.record_inspection(edge=edge, wear_land_mm=0.25, who=shop.setter)
    services.refresh_all_due()
    tip = one(selectors.part_used_tips(designs=[milling.tip]))
    forecast = Forecast.objects.get(edge=edge)
    assert forecast.wear_readings == 1
    assert tip.minutes_left_50 == pytest.approx(forecast.minutes_left_50)
    assert tip.chance == pytest.approx(forecast.chance_of_batch)


def test_fresh_edges_of_a_flute_worn_by_others_are_offered_with_what_is_left_of_the_flute(shop: Shop) -> None:
    operation = shop.use_band(0.0, 1.0)
    shop.load_tool()
    item = shop.edge.item
    tally(shop.edge, operation, 12.0, 0.0, 1.0)
    Edge.objects.filter(item=item, number=1).update(minutes=12.0)
    tip = selectors.tips_left(items=[item])[item.pk]
    first, second = tip.corners
    assert (first.state, second.state) == ("part_used", "fresh")
    assert second.minutes_left_50 == pytest.approx(first.minutes_left_50)
    assert tip.says.startswith("1 of 2 edges fresh, edge 1 has ")


def test_a_tip_that_was_never_fitted_one_used_up_and_one_ground_again_are_counted(
    shop: Shop, milling: Operation
) -> None:
    shop.stock(milling.tip, 1)
    new = stock.make_item(design=milling.tip, condition=Condition.NEW, place=shop.bin, who=shop.attendant)
    ground = used_tip(shop, milling, 8.0)
    Item.objects.filter(pk=ground.pk).update(regrinds_done=1)
    ground.refresh_from_db()
    Edge.objects.create(item=ground, number=1, grind=1)
    spent = used_tip(shop, milling, 8.0, hour=4)
    Edge.objects.filter(item=spent).update(state="ended", outcome="worn")
    found = selectors.tips_left(items=[new, ground, spent], operation=milling)
    assert [len(found[item.pk].corners) for item in (new, ground, spent)] == [4, 1, 4]
    assert [found[item.pk].says for item in (new, ground, spent)] == [
        "4 of 4 corners fresh", "Fresh", "Used up: all 4 corners have come off",
    ]  # fmt: skip
    assert [found[item.pk].used_up for item in (new, ground, spent)] == [False, False, True]
    # None of them is part-used with something left.
    assert selectors.part_used_tips(designs=[milling.tip]) == []


def test_many_tips_cost_no_more_queries_than_one(shop: Shop, milling: Operation) -> None:
    counts = []
    for hour in (0, 3, 6):
        used_tip(shop, milling, 6.0, hour=hour)
        with CaptureQueriesContext(connection) as asked:
            selectors.part_used_tips(designs=[milling.tip], operation=milling)
        counts.append(len(asked))
    assert counts[0] == counts[2]
    assert counts[0] <= 8


def test_a_used_up_tip_is_thrown_away_in_one_act_wherever_it_is(shop: Shop, milling: Operation, client: Client) -> None:
    assembly = shop.assembly_with(milling.tip)
    item = Item.objects.get(fittings__assembly=assembly)
    client.force_login(shop.setter)
    with pytest.raises(EdgeStillInUse, match="has not come off"):
        floor.throw_away(item=item, who=shop.setter, key="early")
    Edge.objects.filter(item=item).update(state="ended", outcome="worn")
    page = client.get(f"/stock/items/{item.pk}/").content.decode()
    assert "It is spent: throw it away" in page
    for _ in range(2):
        assert client.post(f"/stock/items/{item.pk}/throw-away/").status_code == 302
    item.refresh_from_db()
    assert (item.place.kind, item.condition) == (Place.Kind.SPENT, Condition.SPENT)
    assert Move.objects.filter(item=item, why=Move.Why.WORN_OUT).count() == 1
    assert not assembly.fittings.filter(removed_at=None).exists()
    assert "throw it away" not in client.get(f"/stock/items/{item.pk}/").content.decode()
    assert_ledger_balances()


def test_pages_of_item_design_and_tool_offer_what_is_left(shop: Shop, milling: Operation, client: Client) -> None:
    item = used_tip(shop, milling, 28.0)
    client.force_login(shop.setter)
    for address in (f"/stock/items/{item.pk}/", f"/stock/designs/{milling.tip_id}/"):
        for asked in ("", f"?at={milling.pk}", "?at=x"):
            page = client.get(address + asked).content.decode()
            assert "3 of 4 corners fresh, corner 1 has 13 of about 38 min left" in page
    built = item.fittings.get().assembly
    load(shop, built)
    [tip] = labelled_to_fit(assembly=built, person=shop.setter)
    assert (tip.item, tip.operation) == (item, milling)
    page = client.get(f"/machines/assemblies/{built.pk}/").content.decode()
    assert "Labelled tips that fit" in page
    fitted = client.post(f"/machines/assemblies/{built.pk}/fit/", {"key": "k", "tip": f"item-{item.pk}"})
    assert fitted.status_code == 302
    assert built.fittings.get(removed_at=None).item == item


def test_the_api_shows_the_edges_of_a_piece_and_the_part_used_ones(shop: Shop, milling: Operation) -> None:
    item = used_tip(shop, milling, 28.0)
    said = get(shop.setter, f"items/{item.label}/edges/").data
    assert (said["label"], said["operation"], said["fresh"]) == (item.label, "J-1001/30", 3)
    assert [edge["state"] for edge in said["edges"]] == ["part_used", "fresh", "fresh", "fresh"]
    assert (said["edges"][0]["minutes"], round(said["edges"][0]["minutes_left_50"])) == (28.0, 13)
    found = get(shop.setter, "part-used/?design=IN-4&operation=J-1001/30&place=A-01").data
    assert found == [said]
    assert get(shop.setter, "part-used/?design=IN-4&job=J-1001").data == [said]
    for asked, field in (
        ("", "design"), ("?design=nothing", "design"), ("?design=IN-4&operation=x", "operation"),
        ("?design=IN-4&operation=J%00/1", "operation"), ("?design=IN-4&place=%00", "place"),
    ):  # fmt: skip
        refused = get(shop.setter, f"part-used/{asked}")
        assert (refused.status_code, list(refused.data["errors"])) == (400, [field])
