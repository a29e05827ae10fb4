"""What no state of the crib could allow, each with its field."""

from datetime import timedelta
from typing import Any

import pytest

from crib.core import clock
from crib.core.errors import BadInput, Refused, ShopError
from crib.stock import services
from crib.stock.models import Condition, Move, Place
from crib.stock.selectors import condition_to_take, held_condition, home_for, where_else
from tests.shop import Shop, assert_ledger_balances


def transfer(shop: Shop, **more: Any) -> Move:
    given: dict[str, Any] = {
        "design": shop.chamfer_tip,
        "quantity": 1,
        "from_place": shop.bin,
        "to_place": shop.other_bin,
        "who": shop.attendant,
        "key": shop.key(),
    }
    return services.transfer(**(given | more))


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"condition": "shiny"}, "condition"),
        ({"becomes": "shiny"}, "becomes"),
        ({"key": ""}, "key"),
        ({"key": "k" * 121}, "key"),
        ({"note": "n" * 201}, "note"),
        ({"at": clock.now() + timedelta(days=1)}, "at"),
        ({"quantity": 0}, "quantity"),
    ],
)
def test_a_move_that_cannot_be_names_its_field(shop: Shop, wrong: dict[str, Any], field: str) -> None:
    shop.stock(shop.chamfer_tip, 2)
    with pytest.raises(BadInput) as refused:
        transfer(shop, **wrong)
    assert refused.value.field == field
    assert Move.objects.count() == 1


def test_nothing_moves_to_where_it_is_or_to_a_closed_place(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    with pytest.raises(BadInput, match="at A-01 already"):
        transfer(shop, to_place=shop.bin)
    spent = transfer(shop, to_place=shop.bin, becomes=Condition.SPENT)
    assert (spent.from_place, spent.becomes) == (shop.bin, "spent")
    services.retire_place(place=shop.other_bin, who=shop.lead)
    with pytest.raises(Refused, match="is retired"):
        transfer(shop)
    assert_ledger_balances()


def test_a_move_made_before_is_answered_although_it_would_be_refused_today(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 2)
    done = transfer(shop, key="k1", quantity=2)
    transfer(shop, from_place=shop.other_bin, to_place=shop.bin, quantity=2)
    services.retire_place(place=shop.other_bin, who=shop.lead)
    assert transfer(shop, key="k1", quantity=2) == done


def test_a_set_moves_as_a_whole(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 4)
    fitted = services.make_item(design=shop.chamfer_tip, condition="new", place=shop.bin, who=shop.attendant, pieces=3)
    with pytest.raises(BadInput, match="moves as a whole: 3, not 1"):
        transfer(shop, item=fitted)
    transfer(shop, item=fitted, quantity=3)
    assert_ledger_balances()
    for pieces, condition in ((101, "new"), (0, "new"), (1, "shiny")):
        with pytest.raises(BadInput):
            services.make_item(
                design=shop.chamfer_tip, condition=condition, place=shop.bin, who=shop.attendant, pieces=pieces
            )


def test_an_item_that_has_changed_is_looked_at_again(shop: Shop) -> None:
    piece = shop.item(shop.body)
    transfer(shop, design=shop.body, item=piece, to_place=shop.bin, becomes=Condition.PART_USED)
    with pytest.raises(ShopError, match="it is part-used now"):
        transfer(shop, design=shop.body, item=piece, condition=Condition.NEW)
    at_machine = services.place_of(machine=shop.machine)
    transfer(shop, design=shop.body, item=piece, condition=Condition.PART_USED, to_place=at_machine)
    with pytest.raises(ShopError, match="it is at M-VM-1, Vertical mill 1"):
        transfer(shop, design=shop.body, item=piece, condition=Condition.PART_USED)
    assert_ledger_balances()


def test_spent_edges_are_not_received(shop: Shop) -> None:
    with pytest.raises(BadInput, match="not received"):
        shop.stock(shop.chamfer_tip, 1, condition=Condition.SPENT)


def test_where_the_rest_is_names_machines_regrind_and_the_many(shop: Shop) -> None:
    shop.stock(shop.chamfer_tip, 30)
    transfer(shop, quantity=2, to_place=services.place_of(machine=shop.machine))
    transfer(shop, quantity=3, to_place=services.place_of(regrind="Grindwell"), becomes=Condition.PART_USED)
    said = where_else(design=shop.chamfer_tip, besides=(shop.bin, "new"))
    assert said == "3 part-used at regrind Grindwell; 2 at machine Vertical mill 1."
    for number in range(6):
        place = services.create_place(code=f"Z-{number}", name="Bin", kind=Place.Kind.BIN, who=shop.lead)
        transfer(shop, to_place=place)
    assert where_else(design=shop.chamfer_tip).endswith("8 more elsewhere.")


def test_the_home_of_a_design_and_the_freshest_of_it(shop: Shop) -> None:
    assert home_for(design=shop.chamfer_tip) is None
    shop.stock(shop.chamfer_tip, 2)
    assert home_for(design=shop.chamfer_tip) == shop.bin
    services.change_place(place=shop.other_bin, home_of=shop.chamfer_tip, who=shop.lead)
    assert home_for(design=shop.chamfer_tip) == shop.other_bin
    transfer(shop, quantity=2, to_place=shop.bin, becomes=Condition.REGROUND)
    assert condition_to_take(design=shop.chamfer_tip, place=shop.bin) == "reground"
    assert held_condition(design=shop.chamfer_tip, person=shop.setter) == "new"


def test_an_unlabelled_body_that_is_nowhere_says_so_at_every_door(shop: Shop) -> None:
    with pytest.raises(Refused, match="has no bin yet"):
        services.check_out_anywhere(design=shop.body, quantity=1, person=shop.setter, who=shop.setter, key=shop.key())
    with pytest.raises(Refused, match="has no bin yet"):
        services.take_back_home(
            design=shop.chamfer_tip, quantity=1, person=shop.setter, who=shop.setter, key=shop.key()
        )


def test_what_was_done_to_a_built_tool_is_not_reversed_here(shop: Shop) -> None:
    piece = shop.item(shop.chamfer_tip)
    at_machine = services.place_of(machine=shop.machine)
    fitted = transfer(shop, item=piece, to_place=at_machine, why=Move.Why.FIT)
    with pytest.raises(Refused, match="on the Machines page"):
        services.reverse(move=fitted, who=shop.attendant, key=shop.key())
    assert_ledger_balances()
