"""Jobs and operations as pages."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from crib.catalogue.models import Job
from crib.catalogue.services import change_design, create_job
from crib.core import clock
from crib.floor import selectors, services
from crib.floor.models import Edge, EdgeMinutes, Operation
from tests.life.lives import Past, add_edges
from tests.shop import Shop
from tests.web.pages import signed_in, text
from tests.web.test_machines_pages import see, send


def operation_fields(shop: Shop, **changes: Any) -> dict[str, Any]:
    return {
        "number": 10, "name": "Mill the pocket", "machine": shop.machine.pk, "tip": shop.chamfer_tip.pk,
        "material": shop.material.pk, "kind_of_cut": "milling", "surface_speed": "200 ft/min", "feed": "0.002 in",
        "depth": "1", "width": "6", "length_of_cut": "500", "passes": 1, "accepted_risk": 0.05,
        "cost_of_lost_part": 900, "chance_part_lost": 1, "change_minutes": 3,
    } | changes  # fmt: skip


def test_a_job_is_entered_changed_and_put_away(shop: Shop) -> None:
    fields = {"code": "j-7", "part": "Pump shaft", "quantity": 40, "due": "2026-12-24", "state": "planned"}
    assert "J-7 is saved" in text(send(shop.engineer, "add_job", **fields))
    assert send(shop.engineer, "add_job", **fields).status_code == 400
    job = Job.objects.get()
    assert "J-7 is saved" in text(
        send(shop.engineer, "change_job", job.pk, **fields | {"quantity": 50, "state": "done"})
    )
    job.refresh_from_db()
    assert (job.quantity, job.state, job.code) == (50, "done", "J-7")
    assert "Pump shaft" not in text(see(shop.setter, "jobs"))
    assert "Pump shaft" in text(signed_in(shop.setter).get(reverse("crib:jobs"), {"show": "done"}))
    assert "is put away" in text(send(shop.engineer, "retire_job", job.pk))


def test_an_operation_is_added_in_any_unit(shop: Shop) -> None:
    answer = send(shop.engineer, "add_operation", shop.job.pk, **operation_fields(shop))
    operation = Operation.objects.get()
    # 200 ft/min is 60.96 m/min, by the definition of the foot.
    assert operation.surface_speed == pytest.approx(60.96)
    assert operation.minutes_source == "computed"
    assert "Worked out by the milling working" in text(answer)
    assert "61 m/min" in text(answer) or "60.96 m/min" in text(answer)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"surface_speed": "0"}, "must be above zero"),
        ({"surface_speed": "12 kg"}, "12 kg"),
        ({"feed": "many"}, "is not a number with a unit"),
        ({"width": "40"}, "wider than the tool"),
        ({"depth": "9"}, "deeper than CT-45-12 may cut"),
        ({"name": ""}, "required"),
        ({"accepted_risk": "2"}, "0.999"),
        ({"entries_per_part": "0"}, "greater than or equal to 1"),
        ({"wear_limit_mm": "5 mm"}, "up to 2 mm"),
    ],
)
def test_an_absurd_operation_is_refused_beside_its_field(shop: Shop, changes: dict[str, Any], words: str) -> None:
    refused = send(shop.engineer, "add_operation", shop.job.pk, **operation_fields(shop, **changes))
    page = text(refused)
    assert refused.status_code == 400
    assert "Nothing was saved" in page
    if words != "12 kg":
        assert words in page
    assert not Operation.objects.exists()


def test_how_an_edge_wears_and_breaks_is_kept_with_the_operation(shop: Shop) -> None:
    send(shop.engineer, "add_operation", shop.job.pk, **operation_fields(shop, entries_per_part="8"))
    operation = Operation.objects.get()
    assert (operation.entries_per_part, operation.wear_limit_mm) == (8, 0.3)
    page = text(see(shop.setter, "operation", operation.pk))
    assert "<dt>Entries into the metal per part</dt><dd>8</dd>" in page
    assert "<dt>Worn at a wear land of</dt><dd>0.3 mm</dd>" in page
    fields = operation_fields(shop, wear_limit_mm="0.25 mm", entries_per_part="", minutes_per_part="")
    send(shop.engineer, "change_operation", operation.pk, **fields)
    operation.refresh_from_db()
    assert (operation.entries_per_part, operation.wear_limit_mm) == (None, 0.25)
    page = text(see(shop.setter, "operation", operation.pk))
    assert "Not given: breakage goes by minutes" in page
    assert "<dd>0.25 mm</dd>" in page


def test_a_change_sent_back_untouched_in_inches_changes_nothing(shop: Shop) -> None:
    shop.engineer.units = "inch"
    shop.engineer.save()
    before = Operation.objects.values().get(pk=shop.operation.pk)
    page = see(shop.engineer, "change_operation", shop.operation.pk)
    form = page.context["form"]
    assert form.fields["surface_speed"].shown_unit == "ft/min"
    shown = {name: form[name].value() for name in form.fields}
    fields = {name: getattr(value, "pk", value) for name, value in shown.items() if value is not None}
    assert "is saved" in text(send(shop.engineer, "change_operation", shop.operation.pk, **fields))
    assert Operation.objects.values().get(pk=shop.operation.pk) == before


def test_minutes_are_taken_anew_from_the_page(shop: Shop) -> None:
    refused = send(shop.engineer, "take_minutes", shop.operation.pk, source="learnt")
    assert (refused.status_code, "say enough" in text(refused)) == (409, True)
    services.change_operation(operation=shop.operation, length_of_cut=300.0, who=shop.engineer)
    assert "minutes in cut per part now" in text(send(shop.engineer, "take_minutes", shop.operation.pk))
    shop.operation.refresh_from_db()
    assert shop.operation.minutes_source == "computed"


def test_the_operation_page_shows_edges_at_work_and_gone(shop: Shop) -> None:
    shop.log_run(parts=5)
    services.end_and_turn(edge=shop.edge, outcome="worn", wear_land_mm=0.28, who=shop.setter)
    page = text(see(shop.planner, "operation", shop.operation.pk))
    for words in ("CT-45-12 edge 2", "Worn", "0.28 mm", "Typed by hand", "1592 rev/min"):
        assert words in page, words
    assert see(shop.planner, "operation", 9999).status_code == 404


def test_the_setup_sheet_carries_tool_conditions_and_cautions(shop: Shop) -> None:
    shop.load_tool()
    page = text(see(shop.setter, "setup_sheet", shop.operation.pk))
    for words in (
        "Starting values",
        "Guards closed",
        "Duplex 1.4462",
        "160 mm",
        "Gauge length",
        "data-print",
        "BD-12-100",
    ):
        assert words in page, words
    services.unload_pocket(machine=shop.machine, pocket=3, who=shop.setter)
    assert "No assembly with CT-45-12" in text(see(shop.setter, "setup_sheet", shop.operation.pk))


def tool_facts(shop: Shop, operation: Operation) -> dict[str, str]:
    """What the sheet says of the tool, by its words."""
    page = text(see(shop.setter, "setup_sheet", operation.pk))
    tool = page[page.index("<h2>Tool</h2>") :]
    found = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", tool[: tool.index("</dl>")], re.S)
    return {words: " ".join(re.sub(r"<[^>]+>", "", said).split()) for words, said in found}


def milling_with(shop: Shop, *, tip: dict[str, Any], body: dict[str, Any] | None, **fields: Any) -> Operation:
    kind = "insert" if body is not None else "tip"
    given: dict[str, Any] = {
        "job": shop.job, "number": 30, "name": "Mill the face", "machine": shop.machine, "material": shop.material,
        "tip": shop.design("IN-12", kind, **tip), "kind_of_cut": "milling", "who": shop.engineer,
        "body": shop.design("BD-63", "body", **body) if body is not None else None,
    }  # fmt: skip
    return services.create_operation(**given | fields)


def test_the_setup_sheet_gives_an_inserts_body_its_diameter_and_its_speed(shop: Shop) -> None:
    operation = milling_with(
        shop, tip={"max_spindle_speed": 20000.0}, body={"diameter_mm": 63.0, "max_spindle_speed": 11800.0, "seats": 5}
    )
    said = tool_facts(shop, operation)
    assert said["Cutting diameter"] == "63 mm"
    assert said["Largest spindle speed"] == "11800 rev/min (BD-63)"


def test_the_setup_sheet_says_what_was_not_entered_and_whose_limit_is_the_lowest(shop: Shop) -> None:
    said = tool_facts(shop, milling_with(shop, tip={}, body={"seats": 5}))
    assert said["Cutting diameter"] == "not entered: measure it"
    assert said["Largest spindle speed"] == "not entered: look in its maker's data"
    own = tool_facts(shop, shop.operation)
    assert own["Cutting diameter"] == "12 mm"
    change_design(design=shop.chamfer_tip, max_spindle_speed=16000.0, who=shop.lead)
    change_design(design=shop.body, max_spindle_speed=30000.0, who=shop.lead)
    assert "(CT-45-12)" in tool_facts(shop, shop.operation)["Largest spindle speed"]


def test_the_setup_sheet_of_a_banded_chamfer_says_where_it_cuts(shop: Shop) -> None:
    # A 90 degree tip with a flat of 2 mm is 2 + 2 · 3 = 8 mm across at a height of 3 mm.
    services.change_operation(operation=shop.operation, contact_low=1.0, contact_high=3.0, who=shop.engineer)
    said = tool_facts(shop, shop.operation)
    assert (said["Cutting diameter"], said["Diameter where it cuts"]) == ("12 mm", "8 mm")


def test_where_the_work_turns_the_tool_has_no_speed_of_its_own(shop: Shop) -> None:
    said = tool_facts(shop, milling_with(shop, tip={}, body={"seats": 1}, kind_of_cut="turning"))
    assert "Largest spindle speed" not in said
    assert "Cutting diameter" not in said


def test_the_operation_page_lists_the_latest_edges_first(shop: Shop) -> None:
    add_edges(shop, [Past(minutes, "worn") for minutes in range(1, 56)])
    first = Edge.objects.order_by("pk")[0]
    operation = EdgeMinutes.objects.get(edge=first).operation
    now = clock.now()
    # In the order in which they were made they came off one day after the other.
    for days, edge in enumerate(Edge.objects.order_by("pk")):
        Edge.objects.filter(pk=edge.pk).update(ended_at=now - timedelta(days=100 - days))
    shown = selectors.edges_at(operation)
    ended = [one.edge.ended_at for one in shown if one.edge.ended_at]
    assert ended == sorted(ended, reverse=True)
    assert len(ended) == 50
    assert ended[0] == Edge.objects.latest("ended_at").ended_at
    assert first not in [one.edge for one in shown], "of 55 the oldest is not among the latest 50"
    assert "the latest 50" in text(see(shop.setter, "operation", operation.pk))


def test_an_empty_choice_says_what_it_means(shop: Shop) -> None:
    page = text(see(shop.engineer, "add_operation", shop.job.pk))
    for words in ("Choose a machine", "Choose what cuts", "No body", "Choose a material"):
        assert f'<option value="" selected>{words}</option>' in page, words


def test_an_operation_at_work_is_not_put_away(shop: Shop) -> None:
    shop.load_tool()
    assert send(shop.engineer, "retire_operation", shop.operation.pk).status_code == 409
    services.end_edge(edge=shop.edge, outcome="end_of_job", who=shop.setter)
    assert "is put away" in text(send(shop.engineer, "retire_operation", shop.operation.pk))
    assert "Put away" in text(see(shop.setter, "job", shop.job.pk))


def test_pages_cost_the_same_with_5_and_with_50(shop: Shop) -> None:
    def add(first: int, count: int) -> None:
        for number in range(first, first + count):
            create_job(code=f"J-{number}", part="Bracket", quantity=10, who=shop.lead)
            services.create_operation(
                job=shop.job, number=100 + number, name="Chamfer", machine=shop.machine, tip=shop.chamfer_tip,
                body=shop.body, material=shop.material, kind_of_cut="chamfering", who=shop.engineer,
            )  # fmt: skip

    shop.log_run()
    add(1, 5)
    browser = signed_in(shop.setter)
    addresses = [
        reverse("crib:jobs"),
        reverse("crib:job", args=[shop.job.pk]),
        reverse("crib:operation", args=[shop.operation.pk]),
    ]
    counts = []
    for address in addresses:
        browser.get(address)
        with CaptureQueriesContext(connection) as few:
            browser.get(address)
        counts.append(len(few))
    add(10, 30)
    for address, count in zip(addresses, counts, strict=True):
        with CaptureQueriesContext(connection) as many:
            browser.get(address)
        assert len(many) == count, address


def test_no_jobs_says_what_to_do_first(shop: Shop) -> None:
    assert "Enter a job" in text(see(shop.engineer, "jobs"))
    assert "No job is done yet" in text(signed_in(shop.setter).get(reverse("crib:jobs"), {"show": "done"}))
    assert "Add the first step" in text(see(shop.engineer, "job", shop.job.pk))
