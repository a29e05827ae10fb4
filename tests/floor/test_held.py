"""Who has what: since when and for what job, overdue, handed on, lost, found again, and nobody leaves with anything."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from crib.catalogue import services as catalogue
from crib.core import clock
from crib.core.errors import BadInput, KeyAlreadyUsed, NotAllowed, Refused, ShopError
from crib.floor import services
from crib.floor.errors import EdgeStillInUse
from crib.people import models as people
from crib.people.models import Person
from crib.stock.counter import BACK_SPENT, CounterState
from crib.stock.models import Item, Move
from crib.stock.selectors import held_by, held_of, not_brought_back, on_hand, open_losses
from crib.stock.services import check_out, place_of, reverse, spent_place, take_back_home, take_scan, transfer
from tests.shop import Shop, assert_ledger_balances


def client_of(person: Person) -> Client:
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def drawn(shop: Shop, quantity: int = 3) -> None:
    shop.stock(shop.chamfer_tip, 10)
    shop.check_out(shop.chamfer_tip, quantity, by=shop.setter)


def test_what_is_held_tells_job_value_and_whether_it_is_overdue(shop: Shop) -> None:
    piece, late = shop.item(shop.body), shop.item(shop.body)
    given: dict[str, Any] = {
        "design": shop.body,
        "quantity": 1,
        "person": shop.setter,
        "who": shop.setter,
        "from_place": shop.bin,
    }
    check_out(**given, item=piece, job=shop.job, key="now")
    (held,) = not_brought_back()
    assert (held.job, held.overdue, held.value, held.labels) == ("J-1001", False, shop.body.unit_cost, (piece.label,))
    catalogue.change_design(design=shop.body, who=shop.lead, return_days=3)
    past = clock.now() - timedelta(days=4)
    check_out(**(given | {"person": shop.other_setter, "who": shop.other_setter}), item=late, key="ago", at=past)
    assert [(one.holder, one.overdue) for one in not_brought_back()] == [("Odd Brennan", True), ("Sela Marsh", False)]


def test_what_stands_at_a_machine_is_held_by_it_and_never_overdue(shop: Shop) -> None:
    shop.load_tool()
    at_machine = held_by(place=place_of(machine=shop.machine))
    assert {one.design.code for one in at_machine} == {"BD-12-100", "HD-40-C16", "CT-45-12"}
    assert not any(one.overdue for one in at_machine)


def test_handing_on_is_one_move_that_names_the_receiver(shop: Shop) -> None:
    drawn(shop)
    mine, theirs = place_of(person=shop.setter), place_of(person=shop.other_setter)
    given: dict[str, Any] = {"design": shop.chamfer_tip, "from_place": mine, "to_place": theirs, "who": shop.setter}
    move = services.hand_on(**given, quantity=2, key="k")
    assert services.hand_on(**given, quantity=2, key="k") == move
    with pytest.raises(KeyAlreadyUsed):
        services.hand_on(**given, quantity=1, key="k")
    assert [(one.design.code, one.quantity) for one in held_of(person=shop.other_setter)] == [("CT-45-12", 2)]
    with pytest.raises(NotAllowed, match="what you hold yourself"):
        services.hand_on(**(given | {"from_place": theirs, "to_place": mine}), quantity=1, key="k2")
    with pytest.raises(BadInput, match="neither a person nor a machine"):
        services.hand_on(**(given | {"to_place": shop.bin}), quantity=1, key="k3")
    with pytest.raises(Refused, match="1 new CT-45-12; 9 asked for"):
        services.hand_on(**given, quantity=9, key="k4")
    to_machine: dict[str, Any] = given | {"to_place": place_of(machine=shop.machine)}
    services.hand_on(**to_machine, quantity=1, key="k5")
    assert held_of(person=shop.setter) == []
    assert_ledger_balances()


def test_what_sits_in_a_built_tool_goes_with_the_tool_alone(shop: Shop) -> None:
    shop.load_tool()
    body = Item.objects.select_related("design", "place").get(body_assemblies=shop.assembly)
    given: dict[str, Any] = {
        "design": shop.body,
        "quantity": 1,
        "item": body,
        "from_place": body.place,
        "who": shop.attendant,
        "key": "k",
    }
    with pytest.raises(Refused, match="sits in the built tool"):
        services.hand_on(**given, to_place=place_of(person=shop.setter))
    with pytest.raises(Refused, match="sits in the built tool"):
        services.write_lost(**given, note="fell into the coolant tank")


def test_lost_with_a_reason_and_found_again_but_never_more_than_was_lost(shop: Shop) -> None:
    drawn(shop)
    mine = place_of(person=shop.setter)
    given: dict[str, Any] = {"design": shop.chamfer_tip, "from_place": mine, "who": shop.attendant}
    with pytest.raises(BadInput, match="how it was lost"):
        services.write_lost(**given, quantity=2, note=" ", key="l0")
    lost = services.write_lost(**given, quantity=2, note="fell into the chip conveyor", key="l")
    assert services.write_lost(**given, quantity=2, note="fell into the chip conveyor", key="l") == lost
    assert [(loss.move, loss.open) for loss in open_losses()] == [(lost, 2)]
    again: dict[str, Any] = {"lost": lost, "to_place": shop.bin, "who": shop.attendant}
    found = services.find_again(**again, quantity=1, key="f")
    assert services.find_again(**again, quantity=1, key="f") == found
    with pytest.raises(Refused, match="1 may still turn up, not 2"):
        services.find_again(**again, quantity=2, key="f2")
    with pytest.raises(Refused, match="wrote nothing lost"):
        services.find_again(lost=found, to_place=shop.bin, who=shop.attendant, key="f3")
    reverse(move=found, who=shop.attendant, key="r")
    services.find_again(**again, quantity=2, key="f4")
    assert (open_losses(), on_hand(design=shop.chamfer_tip)) == ([], 9)
    assert_ledger_balances()


def test_a_labelled_piece_is_lost_and_found_as_itself(shop: Shop) -> None:
    piece = shop.item(shop.body)
    given: dict[str, Any] = {
        "design": shop.body,
        "quantity": 1,
        "item": piece,
        "from_place": piece.place,
        "who": shop.attendant,
    }
    lost = services.write_lost(**given, note="not in its drawer", key="l")
    services.find_again(lost=lost, to_place=shop.other_bin, who=shop.attendant, key="f")
    assert Item.objects.get(pk=piece.pk).place == shop.other_bin
    with pytest.raises(ShopError):
        services.find_again(lost=lost, to_place=shop.bin, who=shop.attendant, key="f2")
    assert_ledger_balances()


def test_nobody_leaves_with_anything(shop: Shop) -> None:
    drawn(shop)
    piece = shop.item(shop.body)
    shop.check_out(shop.body, by=shop.setter, item=piece)
    with pytest.raises(Refused, match="still holds"):
        services.let_go(person=shop.setter, who=shop.lead)
    moves = services.take_all_back(person=shop.setter, who=shop.attendant, key="all")
    assert len(moves) == 2
    assert services.take_all_back(person=shop.setter, who=shop.attendant, key="all") == moves
    with pytest.raises(KeyAlreadyUsed):
        services.take_all_back(person=shop.other_setter, who=shop.attendant, key="all")
    assert (held_of(person=shop.setter), on_hand(design=shop.chamfer_tip)) == ([], 10)
    services.let_go(person=shop.setter, who=shop.lead)
    assert not Person.objects.get(pk=shop.setter.pk).is_active
    assert_ledger_balances()


def test_what_a_leaver_cannot_bring_back_is_written_lost_in_one_act(shop: Shop) -> None:
    drawn(shop)
    services.write_all_lost(person=shop.setter, note="left without handing over", who=shop.lead, key="lost")
    services.write_all_lost(person=shop.setter, note="left without handing over", who=shop.lead, key="lost")
    assert Move.objects.filter(why="lost").count() == 1
    with pytest.raises(KeyAlreadyUsed, match="for somebody else"):
        services.write_all_lost(person=shop.other_setter, note="left", who=shop.lead, key="lost")
    services.let_go(person=shop.setter, who=shop.lead)
    assert_ledger_balances()


def test_the_pages_show_and_do_it(shop: Shop) -> None:
    drawn(shop)
    piece = shop.item(shop.body)
    shop.check_out(shop.body, by=shop.setter, item=piece)
    mine, crib, lead = client_of(shop.setter), client_of(shop.attendant), client_of(shop.lead)
    assert piece.label in mine.get("/stock/held/").content.decode()
    assert "CT-45-12" not in mine.get("/stock/held/").content.decode().split("<main")[1]
    assert "CT-45-12" in mine.get(f"/stock/held/?person={shop.setter.pk}").content.decode()
    assert "holds nothing" in mine.get(f"/stock/held/?person={shop.other_setter.pk}").content.decode()
    assert mine.get("/stock/held/?person=x").status_code == 404
    assert "3 CT-45-12" in mine.get("/me/").content.decode()
    assert piece.label in mine.get("/stock/held/export/").content.decode()
    form = {"key": "form:1", "what": piece.label, "to": shop.other_setter.username, "quantity": "1"}
    assert mine.post("/stock/held/hand-on/", form)["Location"] == f"/stock/held/?person={shop.other_setter.pk}"
    assert mine.post("/stock/held/lost/", form).status_code == 403
    lose = {"key": "form:2", "what": "CT-45-12", "holder": "sela", "quantity": "1", "note": "swept up"}
    assert crib.post("/stock/held/lost/", lose).status_code == 302
    assert "swept up" in crib.get("/stock/held/").content.decode()
    lost = Move.objects.get(why="lost")
    assert crib.get(f"/stock/held/found/{lost.pk}/").status_code == 200
    back = {"key": "form:3", "quantity": "1", "to_place": str(shop.bin.pk)}
    assert crib.post(f"/stock/held/found/{lost.pk}/", back).status_code == 302
    assert lead.post("/people/sela/retire/").status_code == 409
    assert crib.post("/stock/held/people/sela/take-back/", {"key": "form:4"}).status_code == 302
    assert lead.post("/people/sela/retire/").status_code == 302
    assert lead.post("/stock/held/people/odd/lost/", {"key": "form:5", "note": "never seen again"}).status_code == 302
    assert held_by() == []
    assert_ledger_balances()


def test_the_losses_take_two_queries_whatever_their_number(shop: Shop) -> None:
    drawn(shop, 5)
    mine = place_of(person=shop.setter)
    for number in range(3):
        lost = services.write_lost(
            design=shop.chamfer_tip, quantity=1, from_place=mine, note="fell away", who=shop.attendant, key=f"l{number}"
        )
    services.find_again(lost=lost, to_place=shop.bin, who=shop.attendant, key="f")
    with CaptureQueriesContext(connection) as asked:
        assert [loss.open for loss in open_losses()] == [1, 1]
    assert len(asked) == 2


def test_only_the_service_that_looks_what_somebody_holds_lets_people_go() -> None:
    """`retire_person` lies below the stock and cannot look; whoever else called it would let things leave unseen."""
    crib = Path(people.__file__).parents[1]
    callers = [path.relative_to(crib) for path in crib.rglob("*.py") if "import retire_person" in path.read_text()]
    named = [path.relative_to(crib) for path in crib.rglob("*.py") if "services.retire_person" in path.read_text()]
    assert (callers, named) == ([Path("floor/services/held.py")], [])


@pytest.mark.parametrize("way", ["counter", "api", "move"])
def test_a_tip_whose_edge_is_in_use_is_not_thrown_away(shop: Shop, way: str) -> None:
    """Its edge would stay on the board for ever; part-used it comes back with its minutes."""
    shop.log_run(parts=5)
    tip = shop.edge.item
    services.take_out(assembly=shop.assembly, who=shop.setter, key="out")
    tip.refresh_from_db()
    mine = place_of(person=shop.setter)
    given: dict[str, Any] = {"design": tip.design, "quantity": 1, "who": shop.setter, "item": tip}
    if way == "counter":
        state = CounterState(mode=BACK_SPENT)
        answer = take_scan(state=state, text=tip.label, key="s", acting=shop.setter, shared=False).answer
        assert (answer.tone, answer.field) == ("bad", "item")
        assert "is still in use. Say on the Edges page why it came off" in answer.words
    elif way == "api":
        with pytest.raises(EdgeStillInUse, match="bring the tip back part-used"):
            take_back_home(**given, person=shop.setter, condition="spent", key="s")
    else:
        with pytest.raises(EdgeStillInUse, match="bring the tip back part-used"):
            transfer(
                **given, from_place=mine, to_place=spent_place(), condition=tip.condition, becomes="spent", key="s"
            )
    tip.refresh_from_db()
    assert (tip.place, tip.condition) == (mine, "part_used")
    take_back_home(**given, person=shop.setter, to_place=shop.bin, key="part-used")
    assert_ledger_balances()


def test_a_loss_of_which_some_turned_up_is_not_reversed(shop: Shop) -> None:
    drawn(shop)
    given: dict[str, Any] = {"design": shop.chamfer_tip, "from_place": place_of(person=shop.setter)}
    lost = services.write_lost(**given, quantity=3, note="fell away", who=shop.attendant, key="l")
    found = services.find_again(lost=lost, to_place=shop.bin, who=shop.attendant, key="f", quantity=2)
    with pytest.raises(Refused, match="wrote lost 2 turned up again"):
        reverse(move=lost, who=shop.attendant, key="r")
    reverse(move=found, who=shop.attendant, key="rf")
    reverse(move=lost, who=shop.attendant, key="r")
    assert (open_losses(), sum(one.quantity for one in held_of(person=shop.setter))) == ([], 3)
    assert_ledger_balances()
