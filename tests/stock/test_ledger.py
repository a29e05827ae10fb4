"""The ledger: moves and balances agree, the same key counts once, and refusals say the way out."""

import pytest
from django.db import transaction

from crib.catalogue.models import Design
from crib.core.errors import BadInput, KeyAlreadyUsed, NotAllowed, Refused
from crib.people.models import Person
from crib.stock import services
from crib.stock.errors import (
    AlreadyReversed,
    DesignRetired,
    ItemNeeded,
    ItemNotThere,
    NobodyThere,
    NotEnoughOnHand,
    SpentNotHandedOut,
)
from crib.stock.models import Balance, Condition, DesignPulse, Item, Move, Place
from crib.stock.selectors import holdings, on_hand
from tests.shop import Shop, assert_ledger_balances, at_once, type_name


def balance(design: Design, place: Place, condition: str = Condition.NEW) -> int:
    row = Balance.objects.filter(design=design, place=place, condition=condition).first()
    return 0 if row is None else row.quantity


def test_a_receipt_stands_on_both_sides(shop: Shop) -> None:
    move = shop.stock(shop.chamfer_tip, 10)
    assert balance(shop.chamfer_tip, shop.bin) == 10
    assert balance(shop.chamfer_tip, services.place_of(supplier=shop.supplier)) == -10
    assert (move.why, move.who, on_hand(design=shop.chamfer_tip)) == ("receive", shop.attendant, 10)
    assert_ledger_balances()


def test_what_is_handed_out_stands_with_the_person(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 10)
    move = shop.check_out(shop.chamfer_tip, 3, by=shop.setter, job=shop.job)
    assert [(held.design, held.quantity) for held in holdings(person=shop.setter)] == [(shop.chamfer_tip, 3)]
    assert balance(shop.chamfer_tip, shop.bin) == 7
    assert move.job == shop.job
    assert_ledger_balances()


def test_the_same_key_counts_once_and_answers_the_same_move(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    first = shop.check_out(shop.chamfer_tip, 2, by=shop.setter, key="scan-1")
    services.place_of(person=shop.setter)
    again = shop.check_out(shop.chamfer_tip, 2, by=shop.setter, key="scan-1")
    assert first == again
    assert balance(shop.chamfer_tip, shop.bin) == 0
    assert_ledger_balances()


def test_the_same_key_with_something_else_is_refused(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter, key="scan-1")
    with pytest.raises(KeyAlreadyUsed):
        shop.check_out(shop.chamfer_tip, 2, by=shop.setter, key="scan-1")
    with pytest.raises(KeyAlreadyUsed):
        shop.check_out(shop.chamfer_tip, 1, by=shop.other_setter, key="scan-1")
    assert balance(shop.chamfer_tip, shop.bin) == 4


def test_too_few_says_how_many_and_where_the_others_are(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 4)
    shop.stock(shop.chamfer_tip, 3, place=shop.other_bin)
    shop.check_out(shop.chamfer_tip, 2, by=shop.other_setter)
    with pytest.raises(NotEnoughOnHand) as refused:
        shop.check_out(shop.chamfer_tip, 5, by=shop.setter)
    assert refused.value.sentence == (
        "There are only 2 new CT-45-12 in A-01; 5 asked for. 3 in B-02; Odd Brennan holds 2."
    )
    assert_ledger_balances()


def test_too_few_says_what_lies_there_whichever_place_is_written_first(shop: Shop) -> None:
    places = sorted([shop.bin, shop.other_bin], key=lambda place: place.pk)
    shop.stock(shop.chamfer_tip, 1, place=places[1])
    with pytest.raises(NotEnoughOnHand, match=f"only 1 new CT-45-12 in {places[1].code}; 2 asked for. There is none"):
        services.transfer(
            design=shop.chamfer_tip, quantity=2, from_place=places[1], to_place=places[0], who=shop.lead, key="far"
        )
    assert not Move.objects.filter(key="far").exists()
    assert_ledger_balances()


def test_none_anywhere_is_said_so(shop: Shop) -> None:
    with pytest.raises(NotEnoughOnHand, match="There is none anywhere else in the shop"):
        shop.check_out(shop.chamfer_tip, by=shop.setter)


@pytest.mark.parametrize("quantity", [0, -1, 100_001, 1.5, True, "2"])
def test_a_quantity_is_a_sensible_whole_number(shop: Shop, quantity: int) -> None:
    shop.stock(shop.chamfer_tip, 5)
    with pytest.raises(BadInput) as refused:
        shop.check_out(shop.chamfer_tip, quantity, by=shop.setter)
    assert refused.value.field == "quantity"
    assert balance(shop.chamfer_tip, shop.bin) == 5


def test_a_retired_design_is_not_handed_out_but_comes_back(shop: Shop) -> None:
    from crib.catalogue.services import retire_design

    shop.stock(shop.chamfer_tip, 5)
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    retire_design(design=shop.chamfer_tip, who=shop.lead)
    with pytest.raises(DesignRetired):
        shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    bring_back(shop, 1)
    assert balance(shop.chamfer_tip, shop.bin) == 5


def bring_back(
    shop: Shop, quantity: int, condition: str = Condition.NEW, key: str | None = None, **more: object
) -> Move:
    given = {
        "design": shop.chamfer_tip,
        "quantity": quantity,
        "person": shop.setter,
        "to_place": shop.bin,
        "who": shop.setter,
        "key": key or shop.key(),
        "condition": condition,
    }
    return services.take_back(**(given | more))  # type: ignore[arg-type]  # one call for many shapes


def test_new_may_come_back_part_used_but_never_the_other_way(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    move = bring_back(shop, 1, Condition.PART_USED, key="back-1")
    assert (move.condition, move.becomes) == ("new", "part_used")
    assert bring_back(shop, 1, Condition.PART_USED, key="back-1") == move
    with pytest.raises(KeyAlreadyUsed):
        bring_back(shop, 1, Condition.NEW, key="back-1")
    services.check_out(
        design=shop.chamfer_tip,
        quantity=1,
        person=shop.setter,
        from_place=shop.bin,
        who=shop.setter,
        key=shop.key(),
        condition=Condition.PART_USED,
    )
    with pytest.raises(Refused, match="cannot come as new"):
        bring_back(shop, 1, Condition.NEW)
    assert_ledger_balances()


def test_more_cannot_come_back_than_is_held(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    with pytest.raises(NotEnoughOnHand, match="Sela Marsh holds 1 CT-45-12, so 2 cannot come back"):
        bring_back(shop, 2)
    bring_back(shop, 1, Condition.SPENT, to_place=services.spent_place())
    with pytest.raises(NotEnoughOnHand, match="holds no CT-45-12"):
        bring_back(shop, 1)
    assert_ledger_balances()


def test_two_kinds_held_come_back_one_kind_at_a_time(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 1)
    shop.stock(shop.chamfer_tip, 1, condition=Condition.REGROUND)
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    services.check_out(
        design=shop.chamfer_tip,
        quantity=1,
        person=shop.setter,
        from_place=shop.bin,
        who=shop.setter,
        key=shop.key(),
        condition=Condition.REGROUND,
    )
    with pytest.raises(Refused, match="1 new and 1 reground CT-45-12"):
        bring_back(shop, 2, Condition.SPENT)


def test_spent_edges_are_not_handed_out(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 1)
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    bring_back(shop, 1, Condition.SPENT)
    with pytest.raises(SpentNotHandedOut):
        services.check_out(
            design=shop.chamfer_tip,
            quantity=1,
            person=shop.setter,
            from_place=shop.bin,
            who=shop.setter,
            key=shop.key(),
            condition=Condition.SPENT,
        )


def test_a_machinist_draws_for_themselves_alone(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    act = {"design": shop.chamfer_tip, "quantity": 1, "person": shop.other_setter, "from_place": shop.bin}
    with pytest.raises(NotAllowed, match="for yourself alone, not for Odd Brennan"):
        services.check_out(**act, who=shop.setter, key=shop.key())  # type: ignore[arg-type]  # shared arguments
    services.check_out(**act, who=shop.attendant, key=shop.key())  # type: ignore[arg-type]  # shared arguments
    assert balance(shop.chamfer_tip, shop.bin) == 1


def test_a_tablet_and_a_person_who_left_hold_nothing(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    with pytest.raises(NobodyThere, match="Scan the badge"):
        services.place_of(person=shop.tablet)
    shop.setter.is_active = False
    shop.setter.save()
    with pytest.raises(NobodyThere, match="no longer works here"):
        shop.check_out(shop.chamfer_tip, by=shop.setter)


def test_only_the_crib_hands_out_and_takes_in(shop: Shop) -> None:
    at_machine = services.place_of(machine=shop.machine)
    with pytest.raises(BadInput, match="no place in the crib"):
        shop.check_out(shop.chamfer_tip, by=shop.setter, from_place=at_machine)
    with pytest.raises(BadInput, match="no place in the crib"):
        shop.stock(shop.chamfer_tip, 1, place=at_machine)


# --- items ------------------------------------------------------------------------------------------


def test_a_body_is_an_item_from_receipt_and_moves_by_its_label(shop: Shop) -> None:
    shop.stock(shop.body, 2)
    first, second = Item.objects.order_by("pk")
    with pytest.raises(ItemNeeded, match="Scan the label"):
        shop.check_out(shop.body, by=shop.setter)
    shop.check_out(shop.body, by=shop.setter, item=first)
    first.refresh_from_db()
    assert first.place == services.place_of(person=shop.setter)
    assert second.place == shop.bin
    with pytest.raises(ItemNotThere, match="Sela Marsh holds it"):
        shop.check_out(shop.body, by=shop.other_setter, item=first)
    assert_ledger_balances()


def test_an_item_of_another_design_is_refused(shop: Shop) -> None:
    piece = shop.item(shop.body)
    shop.stock(shop.chamfer_tip, 1)
    with pytest.raises(BadInput, match="is not a CT-45-12"):
        shop.check_out(shop.chamfer_tip, by=shop.setter, item=piece)


def test_a_tip_with_a_label_is_not_taken_as_a_loose_one(shop: Shop) -> None:
    piece = shop.item(shop.chamfer_tip)
    with pytest.raises(NotEnoughOnHand):
        shop.check_out(shop.chamfer_tip, by=shop.setter)
    shop.check_out(shop.chamfer_tip, by=shop.setter, item=piece)
    with pytest.raises(ItemNeeded, match="carries a label"):
        bring_back(shop, 1)
    bring_back(shop, 1, Condition.PART_USED, item=piece)
    piece.refresh_from_db()
    assert (piece.place, piece.condition) == (shop.bin, "part_used")
    assert_ledger_balances()


def test_no_more_labels_than_loose_pieces(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 3)
    services.make_item(design=shop.chamfer_tip, condition="new", place=shop.bin, who=shop.attendant, pieces=2)
    with pytest.raises(NotEnoughOnHand):
        services.make_item(design=shop.chamfer_tip, condition="new", place=shop.bin, who=shop.attendant, pieces=2)
    assert_ledger_balances()


# --- reversing --------------------------------------------------------------------------------------


def test_a_mistake_is_reversed_and_both_lines_stay(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    move = shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    back = services.reverse(move=move, who=shop.attendant, key="undo-1", note="wrong drawer")
    assert services.reverse(move=move, who=shop.attendant, key="undo-1", note="wrong drawer") == back
    assert (back.reverses, Move.objects.count()) == (move, 3)
    assert balance(shop.chamfer_tip, shop.bin) == 5
    with pytest.raises(AlreadyReversed):
        services.reverse(move=move, who=shop.attendant, key="undo-2")
    with pytest.raises(Refused, match="reverses another"):
        services.reverse(move=back, who=shop.attendant, key="undo-3")
    assert_ledger_balances()


def test_a_receipt_of_bodies_is_reversed_with_its_items(shop: Shop) -> None:
    move = shop.stock(shop.body, 2)
    services.reverse(move=move, who=shop.attendant, key=shop.key())
    assert set(Item.objects.values_list("place__kind", flat=True)) == {"supplier"}
    assert_ledger_balances()


def test_a_receipt_whose_bodies_have_moved_is_not_reversed(shop: Shop) -> None:
    move = shop.stock(shop.body, 2)
    shop.check_out(shop.body, by=shop.setter, item=Item.objects.first())
    with pytest.raises(Refused, match="only 1 are still in A-01"):
        services.reverse(move=move, who=shop.attendant, key=shop.key())
    assert_ledger_balances()


def test_what_has_gone_cannot_be_reversed(shop: Shop) -> None:
    move = shop.stock(shop.chamfer_tip, 2)
    shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
    with pytest.raises(NotEnoughOnHand):
        services.reverse(move=move, who=shop.attendant, key=shop.key())
    assert_ledger_balances()


def test_a_line_is_never_changed_or_deleted(shop: Shop) -> None:
    move = shop.stock(shop.chamfer_tip, 2)
    with pytest.raises(TypeError):
        move.save()
    with pytest.raises(TypeError):
        move.delete()


def test_each_move_raises_the_pulse_of_its_design(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    before = DesignPulse.objects.get(design=shop.chamfer_tip).revision
    shop.check_out(shop.chamfer_tip, by=shop.setter)
    assert DesignPulse.objects.get(design=shop.chamfer_tip).revision == before + 1


# --- at once ----------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_eight_take_the_last_five_and_three_are_told_so(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    people = [shop.person(f"m{number}", "machinist") for number in range(8)]
    tip, place = shop.chamfer_tip, shop.bin
    outcomes = at_once(*(lambda p=person: shop.check_out(tip, by=p, from_place=place) for person in people))
    assert sorted(map(type_name, outcomes)) == ["Move"] * 5 + ["NotEnoughOnHand"] * 3
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_twins_with_one_key_get_one_move(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 1)
    tip, place, person = shop.chamfer_tip, shop.bin, shop.setter
    act = lambda: shop.check_out(tip, by=person, from_place=place, key="one-scan")  # noqa: E731
    outcomes = at_once(*[act] * 6)
    assert {type_name(outcome) for outcome in outcomes} == {"Move"}, outcomes
    assert len({outcome.pk for outcome in outcomes}) == 1
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_one_item_goes_to_one_person(shop: Shop) -> None:
    piece, body, place = shop.item(shop.body), shop.body, shop.bin

    def take(person: Person) -> Move:
        return shop.check_out(body, by=person, from_place=place, item=Item.objects.get(pk=piece.pk))

    first, second = shop.setter, shop.other_setter
    outcomes = at_once(lambda: take(first), lambda: take(second))
    assert sorted(map(type_name, outcomes)) == ["ItemNotThere", "Move"]
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_carrying_both_ways_at_once_never_locks_up(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 50)
    shop.stock(shop.chamfer_tip, 50, place=shop.other_bin)
    tip, left, right, who = shop.chamfer_tip, shop.bin, shop.other_bin, shop.attendant

    def carry(from_place: Place, to_place: Place) -> int:
        for _ in range(5):
            services.transfer(design=tip, quantity=1, from_place=from_place, to_place=to_place, who=who, key=shop.key())
        return 5

    outcomes = at_once(*[lambda: carry(left, right), lambda: carry(right, left)] * 3)
    assert outcomes == [5] * 6
    assert_ledger_balances()


@pytest.mark.django_db(transaction=True)
def test_one_move_is_reversed_once(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 5)
    move, who = shop.check_out(shop.chamfer_tip, 2, by=shop.setter), shop.attendant
    shop.check_out(shop.chamfer_tip, 2, by=shop.setter)
    outcomes = at_once(*(lambda k=key: services.reverse(move=move, who=who, key=k) for key in ("u1", "u2", "u3")))
    assert sorted(map(type_name, outcomes)) == ["AlreadyReversed", "AlreadyReversed", "Move"], outcomes
    assert_ledger_balances()


def test_the_place_of_a_person_that_was_made_in_an_act_undone_is_made_anew(shop: Shop) -> None:
    person = shop.person("newcomer", "machinist")
    for _ in range(2):
        # An act that is tried again after a deadlock looks for the place it made the first time.
        with transaction.atomic():
            services.place_of(person=person)
            assert services.place_of(person=person).person == person
            transaction.set_rollback(True)
    assert Place.objects.filter(pk=services.place_of(person=person).pk).exists()
