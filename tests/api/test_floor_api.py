"""The floor over REST: operations, assemblies, pockets, edges and runs."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crib.core import clock
from crib.floor import services
from crib.floor.models import Assembly, Edge, Operation, PocketLoad, Run
from crib.life.models import Forecast
from crib.stock import services as stock
from crib.stock.models import Item
from tests.api.calls import BASE, PROBLEM, api, get, post
from tests.shop import Shop, assert_ledger_balances


def run_body(shop: Shop, **changes: Any) -> dict[str, Any]:
    draft = shop.run_draft(**{name: changes.pop(name) for name in ("hour", "long") if name in changes})
    body = {
        "machine": "VM-1", "pocket": 3, "operation": "J-1001/20", "started_at": draft.started_at.isoformat(),
        "ended_at": draft.ended_at.isoformat(), "minutes_in_cut": None, "parts": 5, "source": "typed",
        "source_key": draft.source_key,
    }  # fmt: skip
    return body | changes


# --- runs ---------------------------------------------------------------------------------------------


def test_a_run_is_logged_once_and_answered_the_same(shop: Shop) -> None:
    body = run_body(shop)
    made, again = (post(shop.setter, "runs/", body) for _ in range(2))
    assert made.status_code == again.status_code == 201, made.data
    assert made.data == again.data
    assert (made.data["minutes_in_cut"], made.data["minutes_computed"], made.data["operation"]) == (
        10.0,
        True,
        "J-1001/20",
    )
    assert made.data["edge"] == shop.edge.pk
    keyed = post(shop.setter, "runs/", body, key="k-1")
    assert keyed.data == made.data
    other = post(shop.setter, "runs/", body | {"parts": 6}, key="k-1")
    assert (other.status_code, other.data["type"]) == (409, PROBLEM + "key-already-used")
    clash = post(shop.setter, "runs/", body | {"parts": 6})
    assert (clash.status_code, list(clash.data["errors"])) == (409, ["source_key"])
    assert Run.objects.count() == 1


def test_a_run_may_name_its_edge_and_carry_units(shop: Shop) -> None:
    shop.load_tool()
    for number, edge in enumerate((shop.edge.pk, str(shop.edge.pk), f"{shop.edge.item.label}/1")):
        body = run_body(shop, hour=number, edge=edge, machine=None, pocket=None, minutes_in_cut="600 s")
        made = post(shop.setter, "runs/", body)
        assert (made.status_code, made.data.get("minutes_in_cut"), made.data.get("pocket")) == (201, 10.0, 3), made.data


@pytest.mark.parametrize(
    ("changes", "status", "code", "field"),
    [
        ({"parts": -1}, 400, "bad-input", "parts"),
        ({"parts": "five"}, 400, "bad-input", "parts"),
        ({"parts": 10**12}, 400, "bad-input", "parts"),
        ({"machine": "VM-9"}, 400, "bad-input", "machine"),
        ({"machine": None}, 400, "bad-input", "machine"),
        ({"operation": "J-9/9"}, 400, "bad-input", "operation"),
        ({"started_at": "ten o'clock"}, 400, "bad-input", "started_at"),
        ({"minutes_in_cut": "10 kg"}, 400, "bad-input", "minutes_in_cut"),
        ({"minutes_in_cut": 31}, 400, "bad-input", "minutes_in_cut"),
        ({"pocket": 5}, 409, "nothing-loaded", "pocket"),
        ({"source": "guess"}, 400, "bad-input", "source"),
        ({"source_key": ""}, 400, "bad-input", "source_key"),
        ({"edge": True}, 400, "bad-input", "edge"),
        ({"edge": "?"}, 400, "bad-input", "edge"),
        ({"hour": -3}, 409, "nothing-loaded", "pocket"),
        ({"long": -30}, 400, "bad-input", "ended_at"),
    ],
)
def test_a_wrong_run_is_a_problem_that_names_the_field(
    shop: Shop, changes: dict[str, Any], status: int, code: str, field: str
) -> None:
    refused = post(shop.setter, "runs/", run_body(shop, **changes))
    assert (refused.status_code, refused.data["type"]) == (status, PROBLEM + code), refused.data
    assert list(refused.data["errors"]) == [field]
    assert not Run.objects.exists()


def test_each_run_of_a_list_has_its_fate(shop: Shop) -> None:
    standing = run_body(shop)
    post(shop.setter, "runs/", standing)
    rows = [
        run_body(shop, hour=1),
        standing,
        {"parts": "?"},
        run_body(shop, hour=1.25),
        run_body(shop, hour=2),
        "no run",
    ]
    made = post(shop.setter, "runs/", rows)
    assert (made.status_code, made.data["accepted"], made.data["already_there"]) == (201, [0, 4], [1]), made.data
    fates = [(fate["index"], fate["field"], fate["type"].removeprefix(PROBLEM)) for fate in made.data["refused"]]
    assert fates == [(2, "operation", "bad-input"), (3, "started_at", "run-overlaps"), (5, "body", "bad-input")]
    again = post(shop.setter, "runs/", rows)
    assert (again.status_code, again.data["accepted"], again.data["already_there"]) == (200, [], [0, 1, 4])
    assert Run.objects.count() == 3
    assert post(shop.setter, "runs/", [{}] * 10_001).status_code == 400


def test_a_run_is_taken_back(shop: Shop) -> None:
    made = post(shop.setter, "runs/", run_body(shop))
    undo = post(shop.setter, f"runs/{made.data['id']}/reverse/", key="u-1")
    assert (undo.status_code, undo.data["parts"], undo.data["reverses"]) == (201, -5, made.data["id"])
    assert post(shop.setter, f"runs/{made.data['id']}/reverse/", key="u-1").data == undo.data
    assert post(shop.setter, f"runs/{made.data['id']}/reverse/").data["type"] == PROBLEM + "already-reversed"
    assert shop.edge.minutes == 0


def test_runs_are_listed_by_cursor_with_a_fixed_number_of_queries(shop: Shop) -> None:
    services.log_runs(drafts=[shop.run_draft(hour=hour) for hour in range(5)], who=shop.setter)
    with CaptureQueriesContext(
        connection,
    ) as few:
        assert len(get(shop.setter, "runs/?machine=VM-1").data["results"]) == 5
    services.log_runs(drafts=[shop.run_draft(hour=hour) for hour in range(10, 60)], who=shop.setter)
    with CaptureQueriesContext(connection) as many:
        page = get(shop.setter, "runs/?machine=VM-1&page_size=50").data
    assert len(few) == len(many)
    assert len(page["results"]) == 50
    assert page["next"]
    assert get(shop.setter, "runs/?colour=red").status_code == 400
    assert get(shop.setter, "runs/999999/").status_code == 404
    assert get(shop.setter, "runs/x/").status_code == 404


# --- rights -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("who", "path"),
    [
        ("planner", "runs/"), ("attendant", "runs/"), ("planner", "assemblies/"), ("planner", "fittings/"),
        ("planner", "pockets/"), ("planner", "pockets/unload/"), ("setter", "operations/"),
        ("attendant", "edges/1/end/"), ("attendant", "edges/1/turn/"), ("setter", "jobs/"),
    ],
)  # fmt: skip
def test_who_may_not_is_told_so(shop: Shop, who: str, path: str) -> None:
    refused = post(getattr(shop, who), path, {})
    assert (refused.status_code, refused.data["type"]) == (403, PROBLEM + "not-allowed")


# --- operations and jobs ------------------------------------------------------------------------------


def operation_body(shop: Shop, **changes: Any) -> dict[str, Any]:
    assert shop.job.pk
    return {
        "job": "J-1001", "number": 10, "name": "Mill the pocket", "machine": shop.machine.code,
        "tip": shop.chamfer_tip.code, "material": shop.material.name, "kind_of_cut": "milling",
        "surface_speed": "200 ft/min", "feed": "0.002 in",
        "depth": 1.0, "width": 6.0, "length_of_cut": 500,
    } | changes  # fmt: skip


def test_an_operation_takes_units_and_knows_its_minutes(shop: Shop) -> None:
    made = post(shop.engineer, "operations/", operation_body(shop))
    assert made.status_code == 201, made.data
    # 200 ft/min is 60.96 m/min and 0.002 in is 0.0508 mm, by the definition of the inch.
    assert made.data["surface_speed"] == pytest.approx(60.96)
    assert made.data["feed"] == pytest.approx(0.0508)
    assert made.data["minutes_source"] == "computed"
    path = f"operations/{made.data['id']}/"
    changed = api(shop.engineer).patch(f"{BASE}/{path}", {"minutes_per_part": 4}, format="json")
    assert (changed.data["minutes_per_part"], changed.data["minutes_source"]) == (4.0, "typed")
    worn = {"wear_limit_mm": "0.01 in", "entries_per_part": 12}
    changed = api(shop.engineer).patch(f"{BASE}/{path}", worn, format="json")
    assert changed.data["entries_per_part"] == 12
    assert changed.data["wear_limit_mm"] == pytest.approx(0.254)
    assert post(shop.engineer, f"{path}minutes/", {"source": "computed"}).data["minutes_source"] == "computed"
    assert post(shop.engineer, f"{path}minutes/", {"source": "learnt"}).data["type"] == PROBLEM + "minutes-not-known"
    assert post(shop.engineer, "operations/", operation_body(shop)).status_code == 409
    assert post(shop.engineer, f"{path}retire/").data["retired_at"]
    assert get(shop.setter, "operations/?job=J-1001&retired=true").data["count"] == 0
    assert Operation.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"surface_speed": 0}, "surface_speed"),
        ({"surface_speed": "12 kg"}, "surface_speed"),
        ({"tip": "NONE"}, "tip"),
        ({"job": "NONE"}, "job"),
        ({"kind_of_cut": "sawing"}, "kind_of_cut"),
        ({"number": 0}, "number"),
        ({"accepted_risk": 2}, "accepted_risk"),
        ({"passes": 0}, "passes"),
        ({"entries_per_part": 0}, "entries_per_part"),
        ({"wear_limit_mm": "0.2 in"}, "wear_limit_mm"),
    ],
)
def test_an_unsound_operation_names_the_field(shop: Shop, changes: dict[str, Any], field: str) -> None:
    refused = post(shop.engineer, "operations/", operation_body(shop, **changes))
    assert (refused.status_code, list(refused.data["errors"])) == (400, [field]), refused.data


def test_a_job_at_work_is_not_put_away(shop: Shop) -> None:
    shop.load_tool()
    refused = post(shop.engineer, "jobs/J-1001/retire/")
    assert (refused.status_code, refused.data["type"]) == (409, PROBLEM + "in-use-still")


# --- assemblies, fittings, pockets, edges -------------------------------------------------------------


def test_a_tool_is_built_fitted_loaded_worn_and_taken_apart(shop: Shop) -> None:
    assert shop.operation.pk
    holder, body = shop.item(shop.holder), shop.item(shop.body)
    shop.stock(shop.chamfer_tip, 3)
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    built = post(
        shop.setter, "assemblies/", {"holder": holder.label, "body": body.label, "gauge_length_mm": "6.3 in"}, key="b-1"
    )
    assert (built.status_code, built.data["gauge_length_mm"]) == (201, pytest.approx(160.02)), built.data
    assert post(shop.setter, "assemblies/", {"holder": holder.label}).data["type"] == PROBLEM + "already-built-in"
    fit = {"assembly": built.data["id"], "design": "CT-45-12"}
    fitted = post(shop.setter, "fittings/", fit, key="f-1")
    assert fitted.status_code == 201, fitted.data
    assert post(shop.setter, "fittings/", fit, key="f-1").data == fitted.data
    loaded = post(shop.setter, "pockets/", {"machine": "VM-1", "pocket": 7, "assembly": built.data["id"]})
    assert loaded.status_code == 201, loaded.data
    [edge] = get(shop.setter, "edges/?state=in_use&machine=VM-1").data["results"]
    assert (edge["item"], edge["number"], edge["operation"]) == (fitted.data["item"], 1, "J-1001/20")
    ended = post(shop.setter, f"edges/{edge['id']}/end/", {"outcome": "worn", "wear_land_mm": 0.3}, key="e-1")
    assert (ended.status_code, ended.data["state"], ended.data["outcome"]) == (200, "ended", "worn")
    assert post(shop.setter, f"edges/{edge['id']}/end/", {"outcome": "worn"}).data["type"] == PROBLEM + "edge-ended"
    turned = post(shop.setter, f"edges/{edge['id']}/turn/")
    assert (turned.status_code, turned.data["number"]) == (200, 2)
    assert post(shop.setter, f"edges/{edge['id']}/turn/").data["type"] == PROBLEM + "edge-still-in-use"
    unloaded = post(shop.setter, "pockets/unload/", {"machine": "VM-1", "pocket": 7, "to_place": "A-01"})
    assert unloaded.data["unloaded_at"]
    assert post(shop.setter, f"assemblies/{built.data['id']}/apart/").data["type"] == PROBLEM + "still-loaded"
    out = post(shop.setter, f"fittings/{fitted.data['id']}/out/", {"to_place": "A-01"}, key="o-1")
    assert (out.status_code, bool(out.data["removed_at"])) == (200, True), out.data
    assert post(shop.setter, f"fittings/{fitted.data['id']}/out/").data["removed_at"] == out.data["removed_at"]
    assert post(shop.setter, f"assemblies/{built.data['id']}/apart/").data["taken_apart_at"]
    assert_ledger_balances()
    assert (Assembly.objects.count(), PocketLoad.objects.count(), Edge.objects.count()) == (1, 1, 2)


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        ("assemblies/", {"holder": "ET1:I99Z"}, "holder"),
        ("assemblies/", {"holder": "spanner"}, "holder"),
        ("assemblies/", {}, "holder"),
        ("fittings/", {"assembly": 99}, "assembly"),
        ("pockets/", {"machine": "VM-1", "pocket": 99999, "assembly": 1}, "pocket"),
    ],
)
def test_what_cannot_be_read_names_the_field(shop: Shop, path: str, body: dict[str, Any], field: str) -> None:
    assert shop.machine.pk
    refused = post(shop.setter, path, body)
    assert refused.status_code == 400
    assert field in refused.data["errors"], refused.data


def test_an_edge_shows_its_forecast_and_whether_it_is_up_to_date(shop: Shop) -> None:
    shop.load_tool()
    edge = shop.edge
    assert get(shop.planner, f"edges/{edge.pk}/").data["forecast"] is None
    Forecast.objects.create(
        edge=edge,
        edge_revision=edge.revision,
        life_used=0.4,
        parts_left_50=12,
        change_by_at=clock.now() + timedelta(hours=2),
    )
    shown = get(shop.planner, f"edges/{edge.pk}/").data["forecast"]
    assert (shown["life_used"], shown["parts_left"][50], shown["up_to_date"]) == (0.4, 12, True)
    shop.log_run()
    assert get(shop.planner, f"edges/{edge.pk}/").data["forecast"]["up_to_date"] is False


@pytest.mark.parametrize("path", ["operations", "assemblies", "fittings", "pockets", "edges"])
def test_lists_cost_the_same_however_long(shop: Shop, path: str) -> None:
    def make(count: int) -> None:
        for _ in range(count):
            pocket = PocketLoad.objects.count() + 5
            assembly = shop.assembly_with(shop.chamfer_tip)
            services.load_pocket(machine=shop.machine, pocket=pocket, assembly=assembly, who=shop.setter)
            services.create_operation(
                job=shop.job, number=100 + pocket, name="More", machine=shop.machine, tip=shop.chamfer_tip,
                body=shop.body, material=shop.material, kind_of_cut="chamfering", who=shop.engineer,
            )  # fmt: skip

    make(2)
    with CaptureQueriesContext(connection) as few:
        first = get(shop.setter, f"{path}/")
    make(5)
    with CaptureQueriesContext(connection) as many:
        second = get(shop.setter, f"{path}/")
    assert len(second.data["results"]) > len(first.data["results"]) > 0
    assert len(few) == len(many), [query["sql"] for query in many]
    assert Item.objects.filter(place=stock.place_of(machine=shop.machine)).exists()


# --- built tools --------------------------------------------------------------------------------------


def test_a_built_tool_is_measured_and_swapped_over_rest(shop: Shop) -> None:
    shop.load_tool()
    built, spare = shop.loaded.assembly, shop.assembly_with(shop.chamfer_tip)
    told = get(shop.setter, f"assemblies/{built.pk}/").data
    assert (told["label"][:5], told["max_spindle_speed"]) == ("ET1:A", None)
    measured = post(shop.setter, f"assemblies/{built.pk}/measure/", {"tightened_nm": "60 N*m", "note": "G 2.5"})
    assert (measured.status_code, measured.data["tightened_nm"], measured.data["gauge_length_mm"]) == (200, 60.0, 160.0)
    swap = {"machine": "VM-1", "pocket": 3, "assembly": spare.pk, "to_place": shop.bin.code}
    done, again = (post(shop.setter, "pockets/swap/", swap, key="s-1") for _ in range(2))
    assert (done.status_code, done.data["out"]["assembly"], done.data["into"]["assembly"]) == (201, built.pk, spare.pk)
    assert again.data == done.data
    other = post(shop.setter, "pockets/swap/", swap)
    assert (other.status_code, other.data["type"]) == (409, PROBLEM + "still-loaded")
    assert PocketLoad.objects.count() == 2
    assert_ledger_balances()


def test_a_tip_is_swapped_over_rest(shop: Shop) -> None:
    shop.log_run(parts=5)
    old, new = shop.edge, shop.item(shop.chamfer_tip)
    body = {"assembly": shop.loaded.assembly.pk, "item": new.label, "outcome": "worn", "wear_land_mm": 0.2}
    done, again = (post(shop.setter, "fittings/swap/", body, key="t-1") for _ in range(2))
    assert (done.status_code, done.data["ended_edge"]) == (201, old.pk), done.data
    assert (done.data["out"]["item"], done.data["into"]["item"]) == (old.item.label, new.label)
    assert again.data == done.data
    shop.stock(shop.chamfer_tip, 1)
    loose = {"assembly": body["assembly"], "design": shop.chamfer_tip.code, "from_place": shop.bin.code}
    assert post(shop.attendant, "fittings/swap/", loose | {"outcome": "worn"}).status_code == 403
    assert list(post(shop.setter, "fittings/swap/", loose | {"note": "why?"}).data["errors"]) == ["outcome"]
    kept = post(shop.attendant, "fittings/swap/", loose)
    assert (kept.status_code, kept.data["ended_edge"]) == (201, None)
    assert_ledger_balances()
