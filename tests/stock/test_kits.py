"""Kits: staged, kept for their job, handed out in one act, undone, and brought back in one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from crib.catalogue.models import Design, Job
from crib.catalogue.services import create_job
from crib.core.errors import BadInput, NotAllowed, Refused
from crib.people.models import Person
from crib.stock import selectors, services
from crib.stock.counter import CounterState
from crib.stock.errors import LimitReached, NotEnoughOnHand, OwnedByDocument
from crib.stock.kits import BackLine, KitWant
from crib.stock.labels import make_label
from crib.stock.models import Balance, Item, Move, Reservation
from crib.stock.records import Kit
from crib.stock.services import change_kit, drop_kit, issue_kit, return_kit, stage_kit, undo_kit
from tests.shop import Shop, assert_ledger_balances, at_once


def want(design: Design, wanted: int, role: str = "edge") -> KitWant:
    return KitWant(design=design, role=role, wanted=wanted)


def staged(shop: Shop, tips: int = 4, *, job: Job | None = None, more: Sequence[KitWant] = ()) -> Kit:
    lines = [want(shop.chamfer_tip, tips), *more]
    return stage_kit(job=job or shop.job, parts=20, lines=lines, who=shop.attendant)


def other_job(shop: Shop) -> Job:
    return create_job(code="J-2002", part="Flange", quantity=10, who=shop.lead)


def hand_out(shop: Shop, kit: Kit, **changes: Any) -> services.KitActed:
    given: dict[str, Any] = {"kit": kit, "person": shop.setter, "who": shop.attendant, "key": shop.key()}
    return issue_kit(**(given | changes))


def kept(design: Design, job: Job) -> int | None:
    row = Reservation.objects.filter(design=design, job=job, released_at=None).first()
    return None if row is None else row.quantity


def held(person: Person, design: Design) -> int:
    return sum(Balance.objects.filter(place__person=person, design=design).values_list("quantity", flat=True))


def test_staging_keeps_it_for_the_job_and_says_what_is_short(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    shop.check_out(shop.chamfer_tip, 1, by=shop.other_setter)
    kit = staged(shop, 3, more=[want(shop.chamfer_tip, 2, "spare"), want(shop.body, 1, "body")])
    assert kept(shop.chamfer_tip, shop.job) == 5
    edge, body, spare = selectors.kit_lines_now(kit=kit)
    assert (edge.on_hand, edge.free, edge.short) == (4, 4, 0)
    # The spare of the same design has what the first line leaves.
    assert (spare.free, spare.short, spare.elsewhere) == (1, 1, ("Odd Brennan holds 1",))
    assert (body.on_hand, body.short) == (0, 1)


def test_what_is_kept_for_a_job_is_not_free_for_one_that_asks_later(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    first = staged(shop, 4)
    second = staged(shop, 3, job=other_job(shop))
    (line,) = selectors.kit_lines_now(kit=second)
    assert (line.on_hand, line.kept, line.free, line.short) == (5, 4, 1, 2)
    assert line.kept_for == "4 kept for J-1001"
    with pytest.raises(NotEnoughOnHand, match=r"2 CT-45-12 short: 1 of 3 free \(4 kept for J-1001\)"):
        hand_out(shop, second)
    # The one that asked first is not held up by the second.
    assert hand_out(shop, first).short == ()
    assert_ledger_balances()


def test_all_or_nothing_unless_what_is_there_is_asked_for(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    kit = staged(shop, 4, more=[want(shop.body, 1, "body")])
    with pytest.raises(NotEnoughOnHand, match="Nothing was handed out"):
        hand_out(shop, kit)
    assert held(shop.setter, shop.chamfer_tip) == 0
    assert hand_out(shop, kit, only_what_is_there=True).short == ("1 BD-12-100",)
    assert (held(shop.setter, shop.chamfer_tip), kept(shop.chamfer_tip, shop.job)) == (4, None)
    assert kept(shop.body, shop.job) == 1
    piece = shop.item(shop.body)
    with pytest.raises(Refused, match="Sela Marsh has kit"):
        hand_out(shop, kit, person=shop.other_setter)
    rest = hand_out(shop, kit)
    assert [move.item for move in rest.moves] == [piece]
    assert kept(shop.body, shop.job) is None
    with pytest.raises(Refused, match="handed out already"):
        hand_out(shop, kit)
    assert_ledger_balances()


def test_the_same_key_hands_out_once(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 9)
    kit = staged(shop, 4)
    first, again = (hand_out(shop, kit, key="one-tap") for _ in range(2))
    assert first.moves == again.moves
    assert held(shop.setter, shop.chamfer_tip) == 4
    assert {move.job for move in first.moves} == {shop.job}


def test_bodies_go_by_item_scanned_or_the_first_free(shop: Shop) -> None:
    built, free, scanned = (shop.item(shop.body) for _ in range(3))
    kit = stage_kit(job=shop.job, parts=5, lines=[want(shop.body, 2, "body")], who=shop.attendant)
    done = hand_out(shop, kit, pieces=[scanned], besides=[built.pk])
    assert [move.item for move in done.moves] == [scanned, free]
    assert Item.objects.get(pk=built.pk).place == shop.bin
    foreign = shop.item(shop.holder)
    other = stage_kit(job=other_job(shop), parts=5, lines=[want(shop.body, 1, "body")], who=shop.attendant)
    with pytest.raises(Refused, match="more than this kit wants"):
        hand_out(shop, other, pieces=[foreign], only_what_is_there=True)


def test_one_act_undoes_it_while_all_is_still_there(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 4)
    kit = staged(shop, 4)
    hand_out(shop, kit)
    undo_kit(kit=kit, who=shop.attendant)
    assert (held(shop.setter, shop.chamfer_tip), kept(shop.chamfer_tip, shop.job)) == (0, 4)
    kit.refresh_from_db()
    assert (kit.state, kit.issued_to) == (Kit.State.STAGED, None)
    assert undo_kit(kit=kit, who=shop.attendant).moves == ()
    # It can go out again, and then one of them is gone.
    hand_out(shop, kit)
    services.take_back(
        design=shop.chamfer_tip, quantity=1, person=shop.setter, to_place=shop.bin, who=shop.setter, key=shop.key(),
        condition="spent",
    )  # fmt: skip
    with pytest.raises(NotEnoughOnHand):
        undo_kit(kit=kit, who=shop.attendant)
    assert held(shop.setter, shop.chamfer_tip) == 3
    assert_ledger_balances()


def test_a_line_of_a_kit_is_not_reversed_in_the_ledger_alone(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 4)
    kit = staged(shop, 4)
    (out,) = hand_out(shop, kit).moves
    with pytest.raises(OwnedByDocument, match="Undo the whole on the kit's page, or bring this one back"):
        services.reverse(move=out, who=shop.attendant, key=shop.key())
    assert selectors.lines_of(kit)[0].issued == held(shop.setter, shop.chamfer_tip) == 4
    assert len(undo_kit(kit=kit, who=shop.attendant).moves) == 1
    hand_out(shop, kit)
    line = BackLine(design=shop.chamfer_tip, quantity=4, condition="new", becomes="new")
    (back,) = return_kit(kit=kit, lines=[line], who=shop.setter, key=shop.key()).moves
    with pytest.raises(OwnedByDocument, match=f"came back with Kit {kit.pk}"):
        services.reverse(move=back, who=shop.attendant, key=shop.key())
    assert selectors.lines_of(kit)[0].came_back == 4
    assert_ledger_balances()


def test_leftovers_come_back_in_one_act(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 6)
    body = shop.item(shop.body)
    kit = staged(shop, 6, more=[want(shop.body, 1, "body")])
    left = selectors.left_of_kit(kit=hand_out(shop, kit).kit)
    assert [(one.design.code, one.quantity, one.home) for one in left] == [
        ("BD-12-100", 1, shop.bin),
        ("CT-45-12", 6, shop.bin),
    ]
    tip: dict[str, Any] = {"design": shop.chamfer_tip, "condition": "new"}
    lines = [
        BackLine(**tip, quantity=2, becomes="new"),
        BackLine(**tip, quantity=1, becomes="part_used", to_place=shop.other_bin),
        BackLine(**tip, quantity=2, becomes="spent"),
        BackLine(design=shop.body, quantity=1, condition="new", becomes="new", item=body),
    ]
    given: dict[str, Any] = {"kit": kit, "lines": lines, "who": shop.setter, "key": "back"}
    done = return_kit(**given)
    assert return_kit(**given).moves == done.moves
    assert [move.to_place.code for move in done.moves] == ["A-01", "B-02", "SPENT", "A-01"]
    kit.refresh_from_db()
    edge = selectors.lines_of(kit)[0]
    assert (kit.state, edge.issued, edge.came_back) == (Kit.State.BACK, 6, 3)
    # What was not named stays with the person.
    assert held(shop.setter, shop.chamfer_tip) == 1
    with pytest.raises(Refused, match="nobody holds it"):
        return_kit(**(given | {"key": "again"}))
    assert_ledger_balances()


def test_one_bad_line_brings_nothing_back(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 6)
    kit = staged(shop, 4)
    hand_out(shop, kit)
    tip: dict[str, Any] = {"design": shop.chamfer_tip, "condition": "new", "becomes": "new"}
    with pytest.raises(NotEnoughOnHand):
        return_kit(kit=kit, lines=[BackLine(**tip, quantity=1), BackLine(**tip, quantity=9)], who=shop.setter, key="k")
    assert held(shop.setter, shop.chamfer_tip) == 4
    foreign = BackLine(design=shop.holder, quantity=1, condition="new", becomes="new")
    with pytest.raises(Refused, match="no part of kit"):
        return_kit(kit=kit, lines=[foreign], who=shop.setter, key="k")


def test_numbers_are_changed_by_hand_and_say_so(shop: Shop) -> None:
    kit = staged(shop, 4)
    change_kit(kit=kit, lines=[want(shop.chamfer_tip, 6), want(shop.holder, 1, "holder")], who=shop.attendant)
    edge, holder = selectors.lines_of(kit)
    assert (edge.wanted, edge.why) == (6, "By hand: 6 instead of 4. ")
    assert (holder.wanted, kept(shop.holder, shop.job), kept(shop.chamfer_tip, shop.job)) == (1, 1, 6)
    change_kit(kit=kit, lines=[want(shop.holder, 0, "holder")], who=shop.attendant)
    assert kept(shop.holder, shop.job) is None
    with pytest.raises(Refused, match="Drop it instead"):
        change_kit(kit=kit, lines=[want(shop.chamfer_tip, 0)], who=shop.attendant)


def test_one_staged_kit_for_a_job_and_dropping_frees_it(shop: Shop) -> None:
    kit = staged(shop, 4)
    with pytest.raises(Refused, match="staged for J-1001 already"):
        staged(shop, 2)
    drop_kit(kit=kit, who=shop.attendant)
    assert kept(shop.chamfer_tip, shop.job) is None
    with pytest.raises(Refused, match="is dropped"):
        hand_out(shop, kit)
    assert staged(shop, 2).pk != kit.pk


@pytest.mark.parametrize(("wanted", "role"), [(-1, "edge"), (10_001, "edge"), (1, "gloves")])
def test_an_absurd_line_is_refused(shop: Shop, wanted: int, role: str) -> None:
    with pytest.raises(BadInput):
        stage_kit(job=shop.job, parts=5, lines=[want(shop.chamfer_tip, wanted, role)], who=shop.attendant)
    with pytest.raises(BadInput, match="1 to"):
        stage_kit(job=shop.job, parts=0, lines=[want(shop.chamfer_tip, 1)], who=shop.attendant)


def test_a_machinist_takes_a_kit_for_himself_alone(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 8)
    kit = staged(shop, 4)
    with pytest.raises(NotAllowed, match="for yourself alone"):
        hand_out(shop, kit, who=shop.setter, person=shop.other_setter)
    assert hand_out(shop, kit, who=shop.setter, person=shop.setter).moves
    with pytest.raises(NotAllowed):
        undo_kit(kit=kit, who=shop.other_setter)
    with pytest.raises(NotAllowed):
        return_kit(kit=kit, lines=[], who=shop.other_setter, key="k")


def test_a_scan_finds_the_kit_and_the_counter_says_where_it_is_handed_out(shop: Shop) -> None:
    kit = staged(shop, 4)
    assert selectors.find_label(text=make_label("K", kit.pk)).thing == kit
    scanned = services.take_scan(
        state=CounterState(), text=make_label("K", kit.pk), key="s1", acting=shop.attendant, shared=False
    )
    assert scanned.state.job == shop.job.pk
    assert scanned.answer.words == f"Kit {kit.pk} for job J-1001"


def test_a_kit_keeps_the_limits_of_the_counter(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 9)
    services.set_take_limit(design=shop.chamfer_tip, per="person", most=4, days=7, who=shop.lead)
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    piece = shop.item(shop.body)
    kit = staged(shop, 2, more=[want(shop.chamfer_tip, 1, "spare"), want(shop.body, 1, "body")])
    with pytest.raises(LimitReached, match=r"Sela Marsh has drawn 2 of the 4 CT-45-12 .*; 3 asked for"):
        hand_out(shop, kit)
    assert Item.objects.get(pk=piece.pk).place == shop.bin
    with pytest.raises(BadInput, match="why more goes out"):
        hand_out(shop, kit, allowed_by=shop.lead, note=" ")
    with pytest.raises(NotAllowed, match="may not let more go out"):
        hand_out(shop, kit, allowed_by=shop.attendant, note="long run")
    given = {"allowed_by": shop.lead, "note": "long run", "key": "allowed"}
    done = hand_out(shop, kit, **given)
    assert hand_out(shop, kit, **given).moves == done.moves
    said = {move.design: (move.allowed_by, move.note) for move in done.moves}
    assert said == {shop.chamfer_tip: (shop.lead, "long run"), shop.body: (None, "")}
    # Another person has a limit of their own.
    assert hand_out(shop, staged(shop, 4, job=other_job(shop)), person=shop.other_setter).moves
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_a_kit_and_a_scan_never_pass_a_limit_together(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 9)
    services.set_take_limit(design=shop.chamfer_tip, per="person", most=3, days=7, who=shop.lead)
    kit, person, who = staged(shop, 2), shop.setter, shop.attendant
    given: dict[str, Any] = {"design": shop.chamfer_tip, "quantity": 2, "from_place": shop.bin}
    outcomes = at_once(
        lambda: issue_kit(kit=kit, person=person, who=who, key="kit"),
        lambda: services.check_out(**given, person=person, who=who, key="scan"),
    )
    assert sum(isinstance(one, LimitReached) for one in outcomes) == 1, outcomes
    assert held(person, shop.chamfer_tip) == 2
    assert_ledger_balances()


def test_taking_what_is_kept_is_said_and_not_forbidden(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    staged(shop, 4)
    assert selectors.kept_for_others(design=shop.chamfer_tip, job=None) == ""
    shop.check_out(shop.chamfer_tip, 2, by=shop.other_setter)
    said = selectors.kept_for_others(design=shop.chamfer_tip, job=None)
    assert said == "Take care: 4 kept for J-1001, and only 3 are left."
    scanned = services.take_scan(
        state=CounterState(), text="CT-45-12", key="s1", acting=shop.other_setter, shared=False
    )
    assert (scanned.answer.tone, held(shop.other_setter, shop.chamfer_tip)) == ("good", 3)
    assert "Take care: 4 kept for J-1001, and only 2 are left." in scanned.answer.more
    assert selectors.kept_for_others(design=shop.chamfer_tip, job=shop.job) == ""


@pytest.mark.django_db(transaction=True)
def test_two_kits_handed_out_at_once_never_take_the_same_piece(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 4)
    bodies = [shop.item(shop.body), shop.item(shop.body)]
    body = want(shop.body, 1, "body")
    first, second = staged(shop, 2, more=[body]), staged(shop, 2, job=other_job(shop), more=[body])
    people = (shop.setter, shop.other_setter)
    who = shop.attendant
    outcomes = at_once(
        lambda: issue_kit(kit=first, person=people[0], who=who, key="a"),
        lambda: issue_kit(kit=second, person=people[1], who=who, key="b"),
        lambda: issue_kit(kit=first, person=people[0], who=who, key="a"),
    )
    assert [type(one).__name__ for one in outcomes] == ["KitActed"] * 3
    assert outcomes[0].moves == outcomes[2].moves
    assert [held(person, shop.chamfer_tip) for person in people] == [2, 2]
    assert {Item.objects.get(pk=one.pk).place.person for one in bodies} == set(people)
    assert Move.objects.filter(why="check_out").count() == 4
    assert not Reservation.objects.filter(released_at=None).exists()
    assert_ledger_balances()
