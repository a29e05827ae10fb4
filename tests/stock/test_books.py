"""`check_ledger` finds whatever does not agree; bulk posting keeps the same rules."""

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext

from crib.core.errors import BadInput, KeyAlreadyUsed, Refused
from crib.stock import services
from crib.stock.errors import ItemNeeded, ItemNotThere, NotEnoughOnHand
from crib.stock.models import Balance, Condition, Item, Move, Place
from crib.stock.selectors import check_ledger, not_brought_back, on_hand
from crib.stock.services import MoveDraft
from tests.shop import Shop, assert_ledger_balances, at_once, type_name


def kinds() -> set[str]:
    return {one.kind for one in check_ledger()}


def test_a_balance_that_was_tampered_with_is_named(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    Balance.objects.filter(place=shop.bin).update(quantity=7)
    (balance, total) = sorted(check_ledger(), key=lambda one: one.kind)
    assert balance.sentence == "CT-45-12 (new) at A-01: the balance says 7, its moves come to 5."
    assert total.sentence == "CT-45-12: all places together hold 2; they must come to zero."


def test_a_missing_balance_and_a_wrong_kind_are_named(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    Balance.objects.filter(place=shop.bin).update(may_go_negative=True)
    assert kinds() == {"kind"}
    Balance.objects.filter(place=shop.bin).delete()
    assert kinds() == {"balance", "total"}


def test_a_piece_in_the_wrong_place_is_named(shop: Shop) -> None:
    piece = shop.item(shop.body)
    shop.check_out(shop.body, by=shop.setter, item=piece)
    assert kinds() == set()
    Item.objects.filter(pk=piece.pk).update(place=shop.bin)
    assert {"item-place", "labelled", "unlabelled"} <= kinds()


def test_labels_that_no_piece_bears_are_named(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    Balance.objects.filter(place=shop.bin).update(labelled=2)
    assert kinds() == {"labelled"}


def test_the_command_says_so_and_fails(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    out = StringIO()
    call_command("check_ledger", stdout=out)
    assert out.getvalue() == "The ledger is clean.\n"
    Balance.objects.filter(place=shop.bin).update(quantity=F("quantity") - 1)
    for flags in ([], ["--json"]):
        out = StringIO()
        with pytest.raises(SystemExit) as ended:
            call_command("check_ledger", *flags, stdout=out)
        assert ended.value.code == 1
    answer = json.loads(out.getvalue())
    assert (answer["clean"], len(answer["differences"])) == (False, 2)


# --- many at once -----------------------------------------------------------------------------------


def draft(shop: Shop, key: str, quantity: int = 1, **more: Any) -> MoveDraft:
    given: dict[str, Any] = {
        "design": shop.chamfer_tip,
        "quantity": quantity,
        "from_place": services.place_of(supplier=shop.supplier),
        "to_place": shop.bin,
        "key": key,
        "why": Move.Why.RECEIVE,
    }
    return MoveDraft(**(given | more))


def test_many_moves_are_posted_in_their_order(shop: Shop) -> None:
    mine = services.place_of(person=shop.setter)
    out: dict[str, Any] = {"from_place": shop.bin, "to_place": mine, "why": Move.Why.CHECK_OUT, "who": shop.setter}
    drafts = [draft(shop, "a", 3), draft(shop, "b", 2, **out), draft(shop, "c", 1, **out)]
    moves = services.post_moves(drafts=drafts, who=shop.attendant)
    assert [(move.key, move.who) for move in moves] == [
        ("a", shop.attendant),
        ("b", shop.setter),
        ("c", shop.setter),
    ]
    assert services.post_moves(drafts=drafts, who=shop.attendant) == moves
    assert (on_hand(design=shop.chamfer_tip), Move.objects.count()) == (0, 3)
    assert_ledger_balances()


def test_one_that_cannot_be_leaves_none_posted(shop: Shop) -> None:
    out: dict[str, Any] = {"from_place": shop.bin, "to_place": services.place_of(person=shop.setter)}
    with pytest.raises(NotEnoughOnHand, match="key “b”"):
        services.post_moves(drafts=[draft(shop, "a", 3), draft(shop, "b", 4, **out)], who=shop.attendant)
    assert Move.objects.count() == 0
    # Out first and in later is no better, although the sum would be sound.
    with pytest.raises(NotEnoughOnHand):
        services.post_moves(drafts=[draft(shop, "b", 3, **out), draft(shop, "a", 3)], who=shop.attendant)
    with pytest.raises(KeyAlreadyUsed, match="Moves 1 and 2"):
        services.post_moves(drafts=[draft(shop, "a"), draft(shop, "a")], who=shop.attendant)
    services.post_moves(drafts=[draft(shop, "a", 3)], who=shop.attendant)
    with pytest.raises(KeyAlreadyUsed):
        services.post_moves(drafts=[draft(shop, "a", 4)], who=shop.attendant)
    with pytest.raises(BadInput):
        services.post_moves(drafts=[draft(shop, "z", 0)], who=shop.attendant)
    assert_ledger_balances()


def test_pieces_move_in_bulk_too(shop: Shop) -> None:
    services.post_moves(drafts=[draft(shop, "a", 2, design=shop.body)], who=shop.attendant)
    first, second = Item.objects.order_by("pk")
    mine = services.place_of(person=shop.setter)
    out: dict[str, Any] = {"design": shop.body, "from_place": shop.bin, "to_place": mine}
    back: dict[str, Any] = {
        "design": shop.body,
        "from_place": mine,
        "to_place": shop.other_bin,
        "becomes": Condition.PART_USED,
    }
    drafts = [draft(shop, "b", item=first, **out), draft(shop, "c", item=first, **back)]
    services.post_moves(drafts=drafts, who=shop.attendant)
    first.refresh_from_db()
    assert (first.place, first.condition, second.place) == (shop.other_bin, "part_used", shop.bin)
    with pytest.raises(ItemNotThere):
        services.post_moves(drafts=[draft(shop, "d", item=first, **out)], who=shop.attendant)
    with pytest.raises(ItemNeeded):
        services.post_moves(drafts=[draft(shop, "e", **out)], who=shop.attendant)
    assert_ledger_balances()


def test_bulk_costs_queries_by_the_chunk_not_by_the_move(shop: Shop) -> None:
    counted = []
    for number, many in enumerate((10, 400)):
        drafts = [draft(shop, f"{number}:{one}") for one in range(many)]
        with CaptureQueriesContext(connection) as queries:
            services.post_moves(drafts=drafts, who=shop.attendant)
        counted.append(len(queries))
    assert counted[1] <= counted[0] + 5
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_bulk_and_single_moves_beside_each_other(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 40)
    mine, place, who, tip = services.place_of(person=shop.setter), shop.bin, shop.attendant, shop.chamfer_tip
    out: dict[str, Any] = {"from_place": place, "to_place": mine}
    batches = [[draft(shop, f"{batch}:{one}", **out) for one in range(10)] for batch in range(3)]
    acts = [lambda b=batch: services.post_moves(drafts=b, who=who) for batch in batches]
    single = [lambda: shop.check_out(tip, 1, by=shop.setter, from_place=place) for _ in range(4)]
    outcomes = at_once(*acts, *single)
    assert sorted(map(type_name, outcomes)) == ["Move"] * 4 + ["list"] * 3, outcomes
    assert on_hand(design=tip) == 6
    assert_ledger_balances()


# --- what people hold and places --------------------------------------------------------------------


def test_what_comes_back_is_asked_for_and_what_is_used_up_is_not(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 3)
    piece = shop.item(shop.body)
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    shop.check_out(shop.body, by=shop.setter, item=piece)
    (held,) = not_brought_back()
    assert (held.person, held.design, held.quantity, held.labels) == (shop.setter, shop.body, 1, (piece.label,))


def test_places_stand_for_each_of_their_kind_once(shop: Shop) -> None:
    assert services.place_of(person=shop.setter) == services.place_of(person=shop.setter)
    assert services.place_of(machine=shop.machine).kind == "machine"
    assert services.place_of(regrind="Grindwell & Söhne") == services.place_of(regrind="Grindwell & Söhne")
    twin = shop.person("SELA.", "machinist", "Selma", "Twin")
    assert services.place_of(person=shop.setter) != services.place_of(person=twin)
    assert {services.spent_place().kind, services.difference_place().kind} == {"spent", "difference"}
    with pytest.raises(TypeError):
        services.place_of()
    with pytest.raises(Refused):
        services.retire_place(place=services.spent_place(), who=shop.lead)


@pytest.mark.django_db(transaction=True)
def test_a_place_asked_for_at_once_is_made_once(shop: Shop) -> None:
    person = shop.setter
    outcomes = at_once(*[lambda: services.place_of(person=person)] * 4)
    assert len({place.pk for place in outcomes}) == 1
    assert Place.objects.filter(person=person).count() == 1
