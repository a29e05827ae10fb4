"""Machines, pockets and assemblies as pages: what is shown, what is done, and what a refusal looks like."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from crib.catalogue.services import change_design
from crib.core import clock
from crib.floor import services
from crib.floor.models import Assembly, Edge, Inspection, PocketLoad, Run
from crib.life.models import Forecast
from crib.people.models import Person
from tests.shop import Shop, assert_ledger_balances
from tests.web.pages import signed_in, text


def send(person: Person, page: str, /, *args: object, **fields: Any) -> Any:
    return signed_in(person).post(reverse(f"crib:{page}", args=args), fields, follow=True)


def see(person: Person, page: str, *args: object) -> Any:
    return signed_in(person).get(reverse(f"crib:{page}", args=args))


def test_machines_show_their_pockets_with_edge_and_forecast(shop: Shop) -> None:
    shop.log_run(parts=5)
    edge = shop.edge
    Forecast.objects.create(
        edge=edge,
        life_used=0.9,
        change_by_parts=1,
        parts_left_10=2,
        parts_left_50=6,
        parts_left_90=11,
        change_by_at=clock.now() + timedelta(hours=1),
    )
    page = text(see(shop.planner, "machines"))
    for words in ("VM-1", "CT-45-12", "J-1001/20", "90 %", "Change soon", "2 to 11", "1 loaded, 23 empty"):
        assert words in page, words


@pytest.mark.parametrize(
    ("used", "parts", "words"),
    [
        (0.2, 8, "Good"),
        (1.3, 0, "Change now"),
        (-0.001, 12, "Good"),
        (0.8, 0, "Change now"),
        (1.1, None, "Run to the end"),
    ],
)
def test_life_used_is_said_in_words(shop: Shop, used: float, parts: int | None, words: str) -> None:
    """As on the board: an edge with no whole part left is due however little of its life is used."""
    shop.load_tool()
    Forecast.objects.create(
        edge=shop.edge, life_used=used, change_by_parts=parts, change_by_at=clock.now() + timedelta(hours=1)
    )
    page = text(see(shop.setter, "machine", shop.machine.pk))
    assert words in page
    assert ("change by" in page) == (parts != 0)


def test_an_edge_whose_forecast_failed_says_why(shop: Shop) -> None:
    shop.load_tool()
    Forecast.objects.create(edge=shop.edge, trouble="No starting life is known for it")
    assert "No starting life is known for it" in text(see(shop.setter, "machine", shop.machine.pk))


def test_no_machines_says_what_to_do_first(shop: Shop) -> None:
    assert "Enter the machines" in text(see(shop.setter, "machines"))
    assert "Build an assembly" in text(see(shop.setter, "assemblies"))
    assert "No runs yet" in text(see(shop.setter, "runs"))


@pytest.mark.parametrize("name", ["machines", "assemblies", "machine"])
def test_a_page_costs_the_same_with_5_and_with_50(shop: Shop, name: str) -> None:
    from crib.catalogue.services import change_machine

    change_machine(machine=shop.machine, pockets=60, who=shop.lead)
    args = [shop.machine.pk] if name == "machine" else []

    def load(count: int) -> None:
        for _ in range(count):
            assembly = shop.assembly_with(shop.chamfer_tip)
            pocket = PocketLoad.objects.count() + 1
            services.load_pocket(machine=shop.machine, pocket=pocket, assembly=assembly, who=shop.setter)

    assert shop.operation.pk
    load(5)
    browser = signed_in(shop.setter)
    browser.get(reverse(f"crib:{name}", args=args))
    with CaptureQueriesContext(connection) as few:
        browser.get(reverse(f"crib:{name}", args=args))
    load(15)
    with CaptureQueriesContext(connection) as many:
        answer = browser.get(reverse(f"crib:{name}", args=args))
    assert answer.content.count(b"CT-45-12") >= 20
    assert len(few) == len(many), [query["sql"] for query in many]


# --- the machine page: pocket, parts, Enter -------------------------------------------------------------


def test_parts_and_enter_log_a_run_that_ends_now(shop: Shop) -> None:
    shop.load_tool()
    answer = send(shop.setter, "log_parts", shop.machine.pk, 3, key="k1", parts=6)
    assert "Pocket 3: 6 parts logged at J-1001/20." in text(answer)
    run = Run.objects.get()
    assert (run.parts, run.minutes, run.logged_by, run.source) == (6, 12.0, shop.setter, "typed")
    # Six parts at five minutes by the clock.
    assert run.ended_at - run.started_at == timedelta(minutes=30)
    send(shop.setter, "log_parts", shop.machine.pk, 3, key="k1", parts=6)
    assert Run.objects.count() == 1, "a second tap counts once"
    assert "came before with another run" in text(send(shop.setter, "log_parts", shop.machine.pk, 3, key="k1", parts=7))


def test_a_run_never_begins_before_the_one_before_it(shop: Shop) -> None:
    shop.load_tool()
    last = services.log_parts(
        machine=shop.machine, pocket=3, parts=6, who=shop.setter, key="a", ended_at=clock.now() - timedelta(minutes=20)
    )
    after = services.log_parts(machine=shop.machine, pocket=3, parts=5, who=shop.setter, key="b")
    assert after.started_at == last.ended_at
    refused = send(shop.setter, "log_parts", shop.machine.pk, 3, key="c", parts=10)
    assert refused.status_code == 400
    assert "10 parts at 2 min each" in text(refused)
    assert 'value="10" autofocus aria-invalid="true"' in text(refused)


def test_what_is_typed_for_parts_is_shown_again_as_text(shop: Shop) -> None:
    shop.load_tool()
    refused = send(shop.setter, "log_parts", shop.machine.pk, 3, key="k", parts='"><b>' + "9" * 50)
    assert "<b>9" not in refused.content.decode()
    assert 'value="&quot;&gt;&lt;b&gt;' + "9" * 15 + '"' in refused.content.decode()


@pytest.mark.parametrize("parts", ["", "0", "-4", "many", "1e9"])
def test_parts_that_are_none_are_told_beside_the_pocket(shop: Shop, parts: str) -> None:
    shop.load_tool()
    refused = send(shop.setter, "log_parts", shop.machine.pk, 3, key="k", parts=parts)
    assert refused.status_code == 400
    assert 'id="refused-3"' in text(refused)
    assert not Run.objects.exists()
    # What was typed stays to be mended, in its own pocket alone.
    assert text(refused).count(f'value="{parts}" autofocus aria-invalid="true"') == 1


def test_an_empty_pocket_logs_nothing(shop: Shop) -> None:
    refused = send(shop.setter, "log_parts", shop.machine.pk, 5, key="k", parts=3)
    assert refused.status_code == 409
    shop.load_tool()
    Edge.objects.update(operation=None)
    assert "which operation" in text(send(shop.setter, "log_parts", shop.machine.pk, 3, key="k", parts=3))


# --- the pocket page ------------------------------------------------------------------------------------


def test_the_pocket_page_logs_a_run_with_everything(shop: Shop) -> None:
    shop.load_tool()
    end = clock.now().replace(second=0, microsecond=0) - timedelta(hours=2)
    fields = {
        "key": "k1", "parts": 4, "minutes_in_cut": "540 s", "operation": shop.operation.pk,
        "started_at": f"{end - timedelta(minutes=30):%Y-%m-%dT%H:%M}", "ended_at": f"{end:%Y-%m-%dT%H:%M}",
    }  # fmt: skip
    assert "4 parts logged" in text(send(shop.setter, "log_run", shop.machine.pk, 3, **fields))
    run = Run.objects.get()
    assert (run.minutes, run.minutes_computed) == (9.0, False)
    refused = send(shop.setter, "log_run", shop.machine.pk, 3, **fields | {"key": "k2"})
    assert (refused.status_code, "which this one overlaps" in text(refused)) == (409, True)
    unread = send(shop.setter, "log_run", shop.machine.pk, 3, **fields | {"key": "k3", "minutes_in_cut": "9 kg"})
    assert (unread.status_code, "Nothing was saved" in text(unread), "a time such as" in text(unread)) == (
        400,
        True,
        True,
    )


def test_an_edge_is_ended_and_turned_in_one_tap(shop: Shop) -> None:
    shop.load_tool()
    shop.setter.units = "inch"
    shop.setter.save()
    first = shop.edge
    answer = send(
        shop.setter, "pocket_end_edge", shop.machine.pk, 3, first.pk, outcome="worn", wear_land_mm="0.012", turn="1"
    )
    assert "Edge 1 is ended. The next edge is in use." in text(answer)
    first.refresh_from_db()
    # 0.012 in is 0.3048 mm: a bare number is read in the unit the person's page shows.
    assert first.outcome == "worn"
    assert first.wear_land_mm == pytest.approx(0.3048)
    second = shop.edge
    assert second.number == 2
    refused = send(shop.setter, "pocket_end_edge", shop.machine.pk, 3, second.pk, outcome="worn", wear_land_mm="9 in")
    assert (refused.status_code, "cannot be; 0.3 mm is common" in text(refused)) == (400, True)
    assert send(shop.setter, "pocket_end_edge", shop.machine.pk, 3, second.pk).status_code == 400
    answer = send(shop.setter, "pocket_end_edge", shop.machine.pk, 3, second.pk, outcome="broken")
    assert "is used up" in text(answer)
    refused = send(shop.setter, "pocket_turn", shop.machine.pk, 3, second.pk)
    assert (refused.status_code, "fit a new tip" in text(refused)) == (409, True)


def test_an_ended_edge_is_turned_later(shop: Shop) -> None:
    shop.load_tool()
    first = shop.edge
    assert "Turn to the next edge" in text(
        send(shop.setter, "pocket_end_edge", shop.machine.pk, 3, first.pk, outcome="worn")
    )
    assert "Edge 2 is in use." in text(send(shop.setter, "pocket_turn", shop.machine.pk, 3, first.pk))


def test_wear_is_written_down(shop: Shop) -> None:
    shop.load_tool()
    assert "written down" in text(
        send(shop.setter, "pocket_look", shop.machine.pk, 3, shop.edge.pk, wear_land_mm="0.1")
    )
    refused = send(shop.setter, "pocket_look", shop.machine.pk, 3, shop.edge.pk, wear_land_mm="8")
    assert refused.status_code == 400
    assert send(shop.setter, "pocket_look", shop.machine.pk, 3, shop.edge.pk).status_code == 400
    assert Inspection.objects.count() == 1
    assert "0.1 mm" in text(see(shop.setter, "pocket", shop.machine.pk, 3))


def test_a_part_too_weak_for_the_speed_is_shouted(shop: Shop) -> None:
    shop.load_tool()
    change_design(design=shop.body, max_spindle_speed=1000.0, who=shop.lead)
    page = text(see(shop.setter, "pocket", shop.machine.pk, 3))
    assert "J-1001/20 turns 1592 1/min, but BD-12-100 may turn 1000 1/min at most." in page
    assert "Too fast" in text(see(shop.setter, "machines"))


def test_a_pocket_is_loaded_and_unloaded(shop: Shop) -> None:
    assembly = shop.assembly
    page = see(shop.setter, "pocket", shop.machine.pk, 9)
    assert assembly.name in text(page)
    assert "is in pocket 9" in text(send(shop.setter, "pocket_load", shop.machine.pk, 9, assembly=assembly.pk))
    assert send(shop.setter, "pocket_load", shop.machine.pk, 8, assembly=assembly.pk).status_code == 400
    other = shop.assembly_with(shop.chamfer_tip)
    refused = send(shop.setter, "pocket_load", shop.machine.pk, 9, assembly=other.pk)
    assert refused.status_code == 409
    assert "you have it now" in text(send(shop.setter, "pocket_unload", shop.machine.pk, 9))
    assert send(shop.setter, "pocket_unload", shop.machine.pk, 9).status_code == 409
    assert see(shop.setter, "pocket", shop.machine.pk, 99).status_code == 404
    assert_ledger_balances()


def test_nothing_to_load_says_build_one(shop: Shop) -> None:
    assert "Build one" in text(see(shop.setter, "pocket", shop.machine.pk, 2))
    assert "Nothing is loaded in this pocket" in text(see(shop.planner, "pocket", shop.machine.pk, 2))


# --- assemblies -----------------------------------------------------------------------------------------


def test_an_assembly_is_built_fitted_emptied_and_taken_apart(shop: Shop) -> None:
    holder, body = shop.item(shop.holder), shop.item(shop.body)
    shop.stock(shop.chamfer_tip, 3)
    fields: dict[str, Any] = {"holder": holder.pk, "body": body.pk, "name": "Chamfer long", "gauge_length_mm": "160"}
    answer = send(shop.setter, "build_assembly", **fields)
    assert "Chamfer long is built" in text(answer)
    assembly = Assembly.objects.get()
    assert send(shop.setter, "build_assembly", **fields).status_code == 400, "its parts are no longer offered"
    page = see(shop.setter, "assembly", assembly.pk)
    assert "CT-45-12: 3 at A-01" in text(page)
    [tip] = page.context["fit_form"].found
    assert "is fitted; its label is" in text(send(shop.setter, "fit_tip", assembly.pk, key="f1", tip=tip))
    assert send(shop.setter, "fit_tip", assembly.pk, key="f2", tip=tip).status_code == 409
    assert send(shop.setter, "fit_tip", assembly.pk, key="f3", tip="none").status_code == 400
    assert send(shop.setter, "take_out", assembly.pk, key="o1", where="crib").status_code == 400
    assert send(shop.setter, "take_out", assembly.pk, key="o1", where="spent").status_code == 409
    assert "is out" in text(send(shop.setter, "take_out", assembly.pk, key="o1", where="crib", place=shop.bin.pk))
    assert send(shop.setter, "take_out", assembly.pk, key="o2", where="me").status_code == 409
    assert "taken apart" in text(send(shop.setter, "take_apart", assembly.pk))
    assert "Taken apart" in text(see(shop.setter, "assembly", assembly.pk))
    assert_ledger_balances()


def test_what_does_not_fit_is_refused_on_the_form(shop: Shop) -> None:
    thick = shop.design("BD-20", "body", machine_side_system="cylindrical", machine_side_size="20")
    fields = {"holder": shop.item(shop.holder).pk, "body": shop.item(thick).pk}
    refused = send(shop.setter, "build_assembly", **fields)
    assert (refused.status_code, "the size differs" in text(refused)) == (409, True)


def test_assemblies_are_listed_with_where_they_are(shop: Shop) -> None:
    shop.load_tool()
    page = text(see(shop.planner, "assemblies"))
    assert "VM-1 pocket 3" in page
    assert "160 mm" in page


def test_no_tip_that_fits_says_to_draw_one(shop: Shop) -> None:
    bare = services.build_assembly(holder=shop.item(shop.holder), body=shop.item(shop.body), who=shop.setter)
    assert "Draw one at the counter" in text(see(shop.setter, "assembly", bare.pk))


# --- runs -----------------------------------------------------------------------------------------------


def test_runs_are_listed_and_taken_back(shop: Shop) -> None:
    services.log_runs(drafts=[shop.run_draft(hour=hour) for hour in range(45)], who=shop.setter)
    page = see(shop.setter, "runs")
    assert len(page.context["runs"]) == 40
    older = signed_in(shop.setter).get(
        reverse("crib:runs"), {"before": page.context["older"], "machine": shop.machine.pk}
    )
    assert len(older.context["runs"]) == 5
    assert signed_in(shop.setter).get(reverse("crib:runs"), {"before": "x", "machine": "no"}).status_code == 200
    run = Run.objects.earliest("pk")
    assert "is taken back" in text(send(shop.setter, "reverse_run", run.pk))
    assert shop.edge.parts == 44 * 5
    assert send(shop.setter, "reverse_run", run.pk).status_code == 200, "the second tap is answered by the first"
    assert shop.edge.parts == 44 * 5


def test_the_spindle_s_power_is_drawn_for_whoever_looks(shop: Shop) -> None:
    page = see(shop.setter, "machine", shop.machine.pk).content.decode()
    assert "Spindle power at its speeds" not in page
    shop.machine.power_curve = [[350.0, 9.0], [1150.0, 18.0]]
    shop.machine.save()
    page = see(shop.setter, "machine", shop.machine.pk).content.decode()
    assert "Spindle power at its speeds of VM-1" in page
    assert "Up to 18\u00a0kW at 1150\u00a0rev/min." in page
