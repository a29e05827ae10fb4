"""The Edges board, an edge's own page, and the life curves."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.catalogue.models import Job
from crib.core import clock
from crib.floor.models import Edge, Inspection, Operation
from crib.life import services
from crib.life.models import ForecastScore, LifeModel
from crib.web.views import life
from tests.life.lives import WORN, Past, add_edges
from tests.shop import Shop
from tests.web.pages import signed_in, text


@pytest.fixture(autouse=True)
def no_kept_boards() -> Iterator[None]:
    life._boards.clear()
    yield
    life._boards.clear()


def stamp_of(page: str) -> str:
    found = re.search(r"stamp=([^\"&]+)", page)
    assert found
    return found[1]


@pytest.fixture
def learnt(shop: Shop) -> Shop:
    Job.objects.filter(pk=shop.job.pk).update(quantity=900)
    add_edges(shop, [*WORN, Past(20, "taken_off_early")])
    services.refit_all()
    shop.log_run(parts=2)
    services.refresh_all_due()
    return shop


def test_an_empty_shop_says_what_to_do_first(shop: Shop) -> None:
    page = signed_in(shop.setter).get("/edges/")
    assert "No edges in use" in text(page)
    assert "Fit a tip" in text(page)
    assert "Nothing learnt yet" in text(signed_in(shop.setter).get("/life-curves/"))


def test_the_board_shows_what_is_left_why_and_the_caution(learnt: Shop) -> None:
    forecast = learnt.edge.forecast
    page = text(signed_in(learnt.setter).get("/edges/"))
    assert f"<b>{forecast.parts_left_50}</b> parts" in page
    assert f"{forecast.parts_left_10} to {forecast.parts_left_90}" in page
    assert "VM-1 · 3" in page
    assert "Fitted from 10 worn" in page
    assert "never a promise" in page
    assert f"after {forecast.change_by_parts} parts" in page
    assert "<svg" in page


def test_the_most_urgent_edge_stands_first(learnt: Shop) -> None:
    late = add_edges(learnt, [Past(60), Past(1)])[0]
    services.refresh_all_due()
    page = text(signed_in(learnt.setter).get("/edges/"))
    assert page.index(f'id="edge-{late.pk}"') < page.index(f'id="edge-{learnt.edge.pk}"')
    assert "Change now" in page


def test_the_board_answers_nothing_until_something_changes(learnt: Shop) -> None:
    client = signed_in(learnt.setter)
    stamp = stamp_of(text(client.get("/edges/")))
    asked = f"/edges/board/?stamp={stamp}"
    assert client.get(asked).status_code == 204
    learnt.log_run(hour=1, parts=1)
    waiting = client.get(asked)
    assert waiting.status_code == 200
    assert "newer run waits" in text(waiting)
    services.refresh_all_due()
    fresh = client.get(f"/edges/board/?stamp={stamp_of(text(waiting))}")
    assert fresh.status_code == 200
    assert "newer run waits" not in text(fresh)
    assert client.get(f"/edges/board/?stamp={stamp_of(text(fresh))}").status_code == 204


def test_asking_whether_anything_changed_costs_next_to_nothing(learnt: Shop) -> None:
    client = signed_in(learnt.setter)
    stamp = stamp_of(text(client.get("/edges/")))
    with CaptureQueriesContext(connection) as queries:
        client.get(f"/edges/board/?stamp={stamp}")
    # The session, the person, and whether anything changed.
    assert len(queries) == 3
    assert not any("crib_run" in query["sql"] for query in queries)


def test_fifty_edges_cost_no_more_queries_than_five(learnt: Shop) -> None:
    client = signed_in(learnt.setter)

    def queries() -> int:
        life._boards.clear()
        with CaptureQueriesContext(connection) as counted:
            assert client.get("/edges/").status_code == 200
        assert not any("crib_run" in query["sql"] for query in counted)
        return len(counted)

    add_edges(learnt, [Past(number) for number in range(4)])
    services.refresh_all_due()
    few = queries()
    add_edges(learnt, [Past(number % 30) for number in range(45)])
    services.refresh_all_due()
    assert Edge.objects.filter(state="in_use").count() == 50
    assert queries() == few


def test_more_edges_than_a_page_holds_are_on_the_next(learnt: Shop) -> None:
    add_edges(learnt, [Past(number % 20) for number in range(60)])
    services.refresh_all_due()
    client = signed_in(learnt.setter)
    first, second = text(client.get("/edges/")), text(client.get("/edges/?page=2"))
    assert first.count('<tr id="edge-') == 50
    assert second.count('<tr id="edge-') == 11
    assert "page=2" in second.split('hx-trigger="every 1s"')[0]


def test_the_filter_shows_one_machine(learnt: Shop) -> None:
    loose = add_edges(learnt, [Past(3)])[0]
    services.refresh_all_due()
    client = signed_in(learnt.setter)
    page = text(client.get("/edges/?machine=VM-1"))
    assert f'id="edge-{learnt.edge.pk}"' in page
    assert f'id="edge-{loose.pk}"' not in page
    assert "No edges in use in" not in page
    Edge.objects.filter(pk=learnt.edge.pk).update(state="fresh")
    assert "No edges in use in VM-1" in text(client.get("/edges/?machine=VM-1"))
    assert client.get("/edges/?machine=nobody").status_code == 200


def test_edges_without_a_forecast_or_with_trouble_say_so(learnt: Shop) -> None:
    coming, lost, no_parts = add_edges(learnt, [Past(1), Past(2), Past(3)])
    Edge.objects.filter(pk=lost.pk).update(operation=None)
    services.refresh(edge_ids=[lost.pk, no_parts.pk])
    page = text(signed_in(learnt.setter).get("/edges/"))
    assert "The forecast is on its way" in page
    assert "It is not known what this edge works at" in page
    client = signed_in(learnt.setter)
    assert "on its way" in text(client.get(f"/edges/{coming.pk}/"))
    assert "It is not known" in text(client.get(f"/edges/{lost.pk}/"))


def test_where_changing_early_does_not_pay_the_page_says_run_to_the_end(learnt: Shop) -> None:
    Operation.objects.update(cost_of_lost_part=0)
    services.mark_stale()
    services.refresh_all_due()
    client = signed_in(learnt.setter)
    assert "early does not pay" in text(client.get("/edges/"))
    assert "Run to the end" in text(client.get(f"/edges/{learnt.edge.pk}/"))


def test_without_minutes_per_part_minutes_alone_are_shown(learnt: Shop) -> None:
    Operation.objects.update(minutes_per_part=None)
    services.mark_stale()
    services.refresh_all_due()
    client = signed_in(learnt.setter)
    assert "</b> min" in text(client.get("/edges/"))
    assert "Add the minutes in cut per part" in text(client.get(f"/edges/{learnt.edge.pk}/"))


# --- one edge -----------------------------------------------------------------------------------------


def test_an_edges_page_shows_its_place_on_the_curve_and_what_it_has_cut(learnt: Shop) -> None:
    page = text(signed_in(learnt.setter).get(f"/edges/{learnt.edge.pk}/"))
    assert "Its place on the life curve" in page
    assert "change-by" in page
    assert "Fresh edges to stage" in page
    assert "J-1001/20" in page
    assert "never a promise" in page


def test_an_edge_is_taken_off_with_its_outcome_and_the_next_turned_in(learnt: Shop) -> None:
    edge, client = learnt.edge, signed_in(learnt.setter)
    answer = client.post(
        f"/edges/{edge.pk}/end/", {"outcome": "worn", "wear_land_mm": "0.28", "turn": "1"}, follow=True
    )
    assert "The next edge is in use." in text(answer)
    edge.refresh_from_db()
    assert (edge.state, edge.outcome, edge.wear_land_mm, edge.ended_by) == ("ended", "worn", 0.28, learnt.setter)
    assert learnt.edge.number != edge.number
    assert "wear land 0.28" in text(client.get(f"/edges/{edge.pk}/"))


def test_an_edge_is_ended_and_turned_in_two_steps(learnt: Shop) -> None:
    edge, client = learnt.edge, signed_in(learnt.setter)
    client.post(f"/edges/{edge.pk}/end/", {"outcome": "chipped", "wear_land_mm": "0.1 in"})
    edge.refresh_from_db()
    assert edge.wear_land_mm == pytest.approx(2.54)
    assert "Turn to the next edge" in text(client.get(f"/edges/{edge.pk}/"))
    turned = client.post(f"/edges/{edge.pk}/turn/", follow=True)
    assert "is in use" in text(turned)
    assert Edge.objects.filter(item=edge.item, state="in_use").count() == 1


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({}, "Why did it come off"),
        ({"outcome": "melted"}, "valid choice"),
        ({"outcome": "worn", "wear_land_mm": "30"}, "cannot be"),
        ({"outcome": "worn", "wear_land_mm": "thin"}, "thin"),
    ],
)
def test_what_cannot_be_is_said_beside_the_field_and_nothing_is_ended(
    learnt: Shop, typed: dict[str, str], says: str
) -> None:
    edge = learnt.edge
    answer = signed_in(learnt.setter).post(f"/edges/{edge.pk}/end/", typed)
    assert answer.status_code == 400
    assert says in text(answer)
    edge.refresh_from_db()
    assert edge.state == "in_use"


def test_an_edge_already_off_is_not_ended_twice(learnt: Shop) -> None:
    edge, client = learnt.edge, signed_in(learnt.setter)
    client.post(f"/edges/{edge.pk}/end/", {"outcome": "worn"})
    assert client.post(f"/edges/{edge.pk}/end/", {"outcome": "broken"}).status_code == 409
    edge.refresh_from_db()
    assert edge.outcome == "worn"
    fresh = edge.item.edges.get(state="fresh")
    assert "Not in use yet" in text(client.get(f"/edges/{fresh.pk}/"))


def test_a_wear_land_is_written_down(learnt: Shop) -> None:
    edge, client = learnt.edge, signed_in(learnt.setter)
    client.post(f"/edges/{edge.pk}/look/", {"wear_land_mm": "0.08", "note": "even"})
    seen = Inspection.objects.get()
    assert (seen.wear_land_mm, seen.at_minutes, seen.seen_by) == (0.08, 4.0, learnt.setter)
    assert "even" in text(client.get(f"/edges/{edge.pk}/"))
    assert client.post(f"/edges/{edge.pk}/look/", {"wear_land_mm": ""}).status_code == 400
    assert client.post(f"/edges/{edge.pk}/look/", {"wear_land_mm": "9"}).status_code == 400


def test_a_planner_reads_and_does_not_take_off(learnt: Shop) -> None:
    client = signed_in(learnt.planner)
    assert "Take off" not in text(client.get("/edges/"))
    assert client.post(f"/edges/{learnt.edge.pk}/end/", {"outcome": "worn"}).status_code == 403
    assert client.get("/edges/999999/").status_code == 404


# --- life curves --------------------------------------------------------------------------------------


def test_the_curves_say_what_was_learnt_from_what_and_how_forecasts_held(learnt: Shop) -> None:
    learnt.log_run(hour=1, parts=8)
    signed_in(learnt.setter).post(f"/edges/{learnt.edge.pk}/end/", {"outcome": "worn"})
    services.score_ended()
    page = text(signed_in(learnt.lead).get("/life-curves/"))
    assert "Duplex 1.4462" in page
    assert "Fitted" in page
    assert "10 worn, 0 broken, 1 off early" in page
    assert "1 edge ended" in page
    assert "Too few ends yet to judge" in page
    one = text(signed_in(learnt.lead).get(f"/life-curves/{LifeModel.objects.get().pk}/"))
    assert "10 edges that wore out" in one
    assert one.count("point-ended") >= 10
    assert "10 % more speed makes the life" in one
    assert re.search(r"(0|25) % of life used", one)


def test_a_group_with_no_ends_shows_its_starting_value(shop: Shop) -> None:
    add_edges(shop, [Past(0)])
    services.refresh_all_due()
    client = signed_in(shop.lead)
    assert "Starting value" in text(client.get("/life-curves/"))
    one = text(client.get(f"/life-curves/{LifeModel.objects.get().pk}/"))
    assert "No edge has worn out here yet" in one
    assert "No edge has cut here yet" in one
    assert "No forecast" in one


def test_a_group_that_could_not_be_fitted_says_why(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("calc.life.likelihood.MOST_STEPS", 1)
    add_edges(shop, [Past(minutes, "worn") for minutes in (2, 3, 2.5)])
    services.refit_all()
    client = signed_in(shop.lead)
    assert "Not fitted" in text(client.get("/life-curves/"))
    assert "could not be fitted" in text(client.get(f"/life-curves/{LifeModel.objects.get().pk}/"))


@pytest.mark.parametrize(
    ("positions", "words"),
    [
        ([0.03] * 10 + [0.5] * 10 + [0.95] * 10, "Too sure"),
        ([0.5] * 30, "Too unsure"),
        ([0.03] * 3 + [0.5] * 24 + [0.95] * 3, "Held as promised"),
    ],
)
def test_dishonest_ranges_are_warned_of(learnt: Shop, positions: list[float], words: str) -> None:
    model, edges = LifeModel.objects.get(), add_edges(learnt, [Past(30, "worn") for _ in positions])
    for edge, position in zip(edges, positions, strict=True):
        ForecastScore.objects.create(
            edge=edge, model=model, point=0, minutes_then=0, minutes_left_10=20, minutes_left_50=40, minutes_left_90=60,
            scored_at=clock.now(), censored=False, position=position, minutes_really_left=30,
        )  # fmt: skip
    assert words in text(signed_in(learnt.lead).get("/life-curves/"))


def test_more_groups_cost_no_more_queries(learnt: Shop) -> None:
    client = signed_in(learnt.lead)
    with CaptureQueriesContext(connection) as one:
        client.get("/life-curves/")
    model = LifeModel.objects.get()
    for kind in ("milling", "drilling", "tapping"):
        model.pk, model.kind_of_cut = None, kind
        model.save()
    with CaptureQueriesContext(connection) as four:
        client.get("/life-curves/")
    assert len(four) == len(one)


def test_a_refit_is_asked_for_from_the_page(learnt: Shop) -> None:
    assert "Refit now" not in text(signed_in(learnt.setter).get("/life-curves/"))
    assert signed_in(learnt.setter).post("/life-curves/refit/").status_code == 403
    assert "refits the life curves" in text(signed_in(learnt.engineer).post("/life-curves/refit/", follow=True))
    assert services.refit_is_due()


def test_a_board_that_has_not_changed_is_drawn_once_for_everybody(
    learnt: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(life, "BOARDS_KEPT", 1)
    drawn: list[Any] = []
    draw = life._draw_board

    def noted(*given: Any) -> Any:
        drawn.append(given)
        return draw(*given)

    monkeypatch.setattr(life, "_draw_board", noted)
    for person in (learnt.setter, learnt.other_setter, learnt.setter):
        assert f'id="edge-{learnt.edge.pk}"' in text(signed_in(person).get("/edges/"))
    assert len(drawn) == 1
    # A planner may not take edges off, so theirs is another board; only the newest is kept here.
    signed_in(learnt.planner).get("/edges/")
    assert len(drawn) == 2
    assert len(life._boards) == 1
