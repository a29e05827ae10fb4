"""Kits as pages: seen on the job, staged, changed, handed out, undone, brought back; the pick list on paper."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from crib.core import clock
from crib.life.services.kits import hand_out_kit
from crib.planning.models import PlanLine, ProductionPlan
from crib.stock.models import Move, Reservation
from crib.stock.records import Kit
from crib.stock.services import set_take_limit
from crib.web.templatetags.shop import document_page
from tests.shop import Shop, assert_ledger_balances
from tests.web.pages import signed_in, text
from tests.web.test_machines_pages import see, send


@pytest.fixture
def crib(shop: Shop) -> Shop:
    shop.stock(shop.chamfer_tip, 40)
    _ = shop.operation
    return shop


def stage(shop: Shop, **fields: Any) -> Kit:
    send(shop.attendant, "stage_kit", shop.job.pk, **fields)
    return Kit.objects.latest("pk")


def wanted(shop: Shop, role: str) -> str:
    design = {"body": shop.body, "holder": shop.holder}.get(role, shop.chamfer_tip)
    return f"wanted-{design.pk}-{role}"


def test_a_job_says_what_to_lay_ready_and_staging_keeps_it(crib: Shop) -> None:
    assert "See what to lay ready" in text(see(crib.setter, "job", crib.job.pk))
    page = text(signed_in(crib.attendant).get(reverse("crib:stage_kit", args=[crib.job.pk]), {"parts": "10"}))
    assert "To lay ready for 10 parts" in page
    assert "2 to a tip for 10 parts" in page
    assert "1 short" in page
    # Whoever may not keep stock reads the same without fields.
    assert "wanted-" not in text(see(crib.setter, "stage_kit", crib.job.pk))
    answer = send(crib.attendant, "stage_kit", crib.job.pk, worked_for=10, **{wanted(crib, "edge"): "7"})
    kit = Kit.objects.get()
    assert f"Kit {kit.pk} is staged" in text(answer)
    assert "By hand: 7 instead of" in text(answer)
    assert (kit.parts, Reservation.objects.get(design=crib.chamfer_tip).quantity >= 7) == (10, True)
    assert f"Kit {kit.pk}" in text(see(crib.setter, "job", crib.job.pk))
    # Asked again, the kit that is staged is shown.
    assert see(crib.attendant, "stage_kit", crib.job.pk).status_code == 302


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"edge": "many"}, "is no whole number"),
        ({"edge": "99999"}, "0 to 10,000"),
        ({"needed_on": "2020-01-01"}, "This day has gone"),
    ],
)
def test_an_absurd_kit_is_refused_and_what_was_typed_stays(crib: Shop, fields: dict[str, str], words: str) -> None:
    given = {wanted(crib, "edge") if name == "edge" else name: value for name, value in fields.items()}
    answer = send(crib.attendant, "stage_kit", crib.job.pk, worked_for=10, **given)
    assert answer.status_code == 400
    assert words in text(answer)
    assert next(iter(given.values())) in text(answer)
    assert not Kit.objects.exists()


def test_a_kit_goes_out_is_undone_and_comes_back(crib: Shop) -> None:
    kit = stage(crib, worked_for=10, **{wanted(crib, "edge"): "4"})
    changed = send(crib.attendant, "change_kit", kit.pk, **{wanted(crib, "body"): "0", wanted(crib, "edge"): "5"})
    assert f"Kit {kit.pk} is changed" in text(changed)
    added = send(crib.attendant, "add_kit_line", kit.pk, design="HD-40-C16", role="holder", wanted=1)
    assert "HD-40-C16" in text(added)
    given = {"person": crib.setter.username, "key": "form:1"}
    refused = send(crib.attendant, "issue_kit", kit.pk, **given)
    assert refused.status_code == 409
    assert "1 HD-40-C16 short" in text(refused)
    holder = crib.item(crib.holder)
    out = send(crib.attendant, "issue_kit", kit.pk, **given, pieces=holder.label)
    assert "is with Sela Marsh" in text(out)
    assert holder.label in text(out)
    assert send(crib.other_setter, "undo_kit", kit.pk).status_code == 403
    assert "staged again" in text(send(crib.attendant, "undo_kit", kit.pk))
    send(crib.attendant, "issue_kit", kit.pk, **given | {"key": "form:2"})
    page = text(see(crib.setter, "return_kit", kit.pk))
    assert holder.label in page
    assert "A-01" in page
    loose = f"loose-{crib.chamfer_tip.pk}-new"
    absurd = send(crib.setter, "return_kit", kit.pk, key="form:3", **{f"back-{loose}": "900"})
    assert (absurd.status_code, "from 0 to" in text(absurd)) == (400, True)
    fields = {f"back-{loose}": "3", f"as-{loose}": "part_used", f"back-item-{holder.pk}": "1"}
    back = send(crib.setter, "return_kit", kit.pk, key="form:3", **fields)
    assert f"4 pieces of kit {kit.pk} came back" in text(back)
    assert Move.objects.filter(why="take_back", becomes="part_used").get().quantity == 3
    assert "Nobody holds this kit now" in text(see(crib.setter, "return_kit", kit.pk))
    assert_ledger_balances()


def test_a_kit_beyond_a_limit_goes_out_with_the_reason_of_a_lead(crib: Shop) -> None:
    set_take_limit(design=crib.chamfer_tip, per="person", most=2, days=7, who=crib.lead)
    kit = stage(crib, worked_for=10, **{wanted(crib, "body"): "0", wanted(crib, "edge"): "4"})
    given = {"person": crib.setter.username, "key": "form:1", "only_what_is_there": "on"}
    refused = send(crib.attendant, "issue_kit", kit.pk, **given)
    assert (refused.status_code, "Lena Holt may let more go out" in text(refused)) == (409, True)
    # Who may not allow it is not asked for the reason, and is refused who sends one all the same.
    assert 'name="reason"' not in text(refused)
    assert send(crib.attendant, "issue_kit", kit.pk, **given, reason="long run").status_code == 403
    assert 'name="reason"' in text(see(crib.lead, "kit", kit.pk))
    out = send(crib.lead, "issue_kit", kit.pk, **given, reason="long run")
    assert "is with Sela Marsh" in text(out)
    beyond = Move.objects.filter(why="check_out", design=crib.chamfer_tip)
    assert {(move.allowed_by, move.note) for move in beyond} == {(crib.lead, "long run")}


def test_a_machinist_is_offered_the_kit_for_himself(crib: Shop) -> None:
    kit = stage(crib, worked_for=10, **{wanted(crib, "body"): "0"})
    page = see(crib.setter, "kit", kit.pk)
    assert f'value="{crib.setter.username}"' in text(page)
    assert "Drop this kit" not in text(page)
    crib.item(crib.holder)
    out = send(crib.setter, "issue_kit", kit.pk, person=crib.setter.username, key="k", only_what_is_there="on")
    assert "is with Sela Marsh" in text(out)
    foreign = send(crib.setter, "issue_kit", kit.pk, person=crib.other_setter.username, key="k2")
    assert foreign.status_code in (403, 409)


def test_the_pick_list_is_a_pdf_of_one_page_or_more(crib: Shop) -> None:
    kit = stage(crib, worked_for=10)
    paper = see(crib.setter, "kit_pdf", kit.pk)
    assert paper["Content-Type"] == "application/pdf"
    assert paper.content.startswith(b"%PDF")
    assert "kit-" in paper["Content-Disposition"]


def test_a_dropped_kit_leaves_nothing_kept(crib: Shop) -> None:
    kit = stage(crib, worked_for=10)
    assert "is dropped" in text(send(crib.attendant, "drop_kit", kit.pk))
    assert not Reservation.objects.filter(released_at=None).exists()
    assert "Brought back or dropped" in text(see(crib.setter, "kits"))
    assert see(crib.setter, "kit", 999).status_code == 404


@pytest.mark.parametrize(("days", "on_today"), [(0, True), (1, True), (2, False), (40, None), (-3, True)])
def test_a_job_that_starts_soon_asks_for_its_kit(crib: Shop, days: int, on_today: bool | None) -> None:
    starts = clock.today() + timedelta(days=days)
    plan = ProductionPlan.objects.create(month=f"{starts:%Y-%m}", entered_by=crib.planner)
    PlanLine.objects.create(plan=plan, operation=crib.operation, parts=5, starts_on=starts, ends_on=starts)
    assert ("Stage its kit" in text(see(crib.attendant, "kits"))) == (on_today is not None)
    assert ("Kits before the shift" in text(see(crib.attendant, "today"))) == bool(on_today)
    kit = stage(crib, worked_for=10)
    if on_today:
        assert f"kit {kit.pk} is staged" in text(see(crib.attendant, "today"))
        send(crib.attendant, "issue_kit", kit.pk, person=crib.setter.username, key="k", only_what_is_there="on")
        assert "Kits before the shift" not in text(see(crib.attendant, "today"))


def test_a_line_of_a_kit_leads_to_the_kit_instead_of_being_reversed(crib: Shop) -> None:
    send(crib.attendant, "stage_kit", crib.job.pk, **{wanted(crib, "edge"): "3"})
    kit = Kit.objects.get()
    (move, *_) = hand_out_kit(
        kit=kit, person=crib.setter, who=crib.attendant, key=crib.key(), only_what_is_there=True
    ).moves
    page = see(crib.attendant, "reverse_move", move.pk).content.decode()
    assert f'<a href="/stock/kits/{kit.pk}/">Kit {kit.pk}</a>' in page
    assert "Reverse it" not in page
    assert send(crib.attendant, "reverse_move", move.pk, key=crib.key()).status_code == 400
    assert f'<a href="/stock/kits/{kit.pk}/">Kit {kit.pk}</a>' in see(crib.setter, "move", move.pk).content.decode()


def test_what_a_line_was_posted_for_has_its_own_page() -> None:
    """An import was looked for among the orders, where nobody finds it."""
    pages = {"Kit 7": "/stock/kits/7/", "Dispatch 7": "/stock/sent/7/", "IMPORT-7": "/stock/import/crib/7/"}
    assert {document: document_page(document) for document in pages} == pages
    assert document_page("PO-7") == "/month/orders/PO-7/"
