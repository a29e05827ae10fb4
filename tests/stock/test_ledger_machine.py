"""Any sequence of acts against a simple model of the crib: a dictionary of how many lie where.

After every act the invariants of the ledger hold: balances are sums of moves, each design comes to zero over all
places, an item is in one place, nothing inside the shop is below zero. A key counts once; a refusal changes nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from crib.core.errors import KeyAlreadyUsed, Refused, ShopError
from crib.stock import services
from crib.stock.models import Balance, Condition, Item, Move, Place
from crib.stock.selectors import check_ledger
from tests.shop import Shop

Spot = tuple[int, str, int]
SEQUENCES, LENGTH = 8, 20
HOW_MANY = st.integers(1, 6)
EITHER = st.integers(0, 1)
BACK_AS = st.sampled_from(["new", "part_used", "reground", "spent"])


class Crib(RuleBasedStateMachine):
    """The services on one side, a Counter of pieces by design, condition and place on the other."""

    shop: Shop

    @initialize()
    def begin(self) -> None:
        self.point = transaction.atomic()
        self.point.__enter__()
        shop = self.shop
        self.designs = [shop.chamfer_tip, shop.body]
        self.bins, self.people = [shop.bin, shop.other_bin], [shop.setter, shop.other_setter]
        self.regrind = services.place_of(regrind="Grinder")
        self.machine = services.place_of(machine=shop.machine)
        self.model: Counter[Spot] = Counter()
        self.keys: dict[str, Callable[..., Move]] = {}
        self.done: list[Move] = []
        self.number = 0

    def teardown(self) -> None:
        if hasattr(self, "point"):
            transaction.set_rollback(True)
            self.point.__exit__(None, None, None)

    # --- the acts ---------------------------------------------------------------------------------------

    @rule(quantity=HOW_MANY, where=EITHER, condition=st.sampled_from(["new", "part_used"]))
    def receive_tips(self, quantity: int, where: int, condition: str) -> None:
        self.act(
            services.receive, design=self.designs[0], quantity=quantity, to_place=self.bins[where],
            supplier=self.shop.supplier, condition=condition, who=self.shop.attendant, key=self.key(),
        )  # fmt: skip

    @rule(quantity=st.integers(1, 2), where=EITHER)
    def receive_bodies(self, quantity: int, where: int) -> None:
        self.act(
            services.receive, design=self.designs[1], quantity=quantity, to_place=self.bins[where],
            supplier=self.shop.supplier, who=self.shop.attendant, key=self.key(),
        )  # fmt: skip

    @rule(quantity=HOW_MANY, where=EITHER, taker=EITHER, condition=BACK_AS, own=st.booleans())
    def check_out(self, quantity: int, where: int, taker: int, condition: str, own: bool) -> None:
        person = self.people[taker]
        self.act(
            services.check_out, design=self.designs[0], quantity=quantity, person=person, from_place=self.bins[where],
            who=person if own else self.people[1 - taker], key=self.key(), condition=condition,
        )  # fmt: skip

    @rule(quantity=HOW_MANY, where=EITHER, giver=EITHER, condition=BACK_AS)
    def take_back(self, quantity: int, where: int, giver: int, condition: str) -> None:
        person = self.people[giver]
        to_place = services.spent_place() if condition == "spent" else self.bins[where]
        self.act(
            services.take_back, design=self.designs[0], quantity=quantity, person=person, to_place=to_place,
            who=person, key=self.key(), condition=condition,
        )  # fmt: skip

    @rule(quantity=HOW_MANY, way=st.integers(0, 6), condition=BACK_AS, becomes=BACK_AS)
    def carry(self, quantity: int, way: int, condition: str, becomes: str) -> None:
        """Between bins, to a person or a machine, to the grinder and back, lost and found again."""
        mine, lost = services.place_of(person=self.people[0]), services.difference_place()
        ways: list[tuple[Place, Place, str]] = [
            (self.bins[0], self.bins[1], "transfer"), (mine, self.machine, "transfer"),
            (self.machine, mine, "transfer"),
            (self.bins[0], self.regrind, "regrind"), (self.regrind, self.bins[0], "regrind_back"),
            (mine, lost, "lost"), (lost, self.bins[1], "found"),
        ]  # fmt: skip
        start, end, why = ways[way]
        self.act(
            services.transfer, design=self.designs[0], quantity=quantity, from_place=start, to_place=end,
            who=self.shop.attendant, key=self.key(), condition=condition, becomes=becomes, why=why,
        )  # fmt: skip

    @precondition(lambda self: Item.objects.exists())
    @rule(data=st.data(), to=st.integers(0, 3), becomes=BACK_AS, wrong=st.booleans())
    def carry_a_piece(self, data: st.DataObject, to: int, becomes: str, wrong: bool) -> None:
        """A labelled piece, from where it is or from where somebody thinks it is."""
        item = data.draw(st.sampled_from(list(Item.objects.select_related("design", "place").order_by("pk"))))
        places = [*self.bins, services.place_of(person=self.people[0]), self.machine]
        self.act(
            services.transfer, design=item.design, quantity=1, from_place=self.bins[0] if wrong else item.place,
            to_place=places[to], who=self.shop.attendant, key=self.key(), condition=item.condition, becomes=becomes,
            item=item,
        )  # fmt: skip

    @precondition(lambda self: self.done)
    @rule(data=st.data())
    def reverse(self, data: st.DataObject) -> None:
        """A line is taken back once, and only while what it brought is still there."""
        move = data.draw(st.sampled_from(self.done))
        self.act(services.reverse, move=move, who=self.shop.attendant, key=self.key())

    @precondition(lambda self: self.keys)
    @rule(data=st.data())
    def send_the_same_again(self, data: st.DataObject) -> None:
        """The same key with the same body answers the same line, whatever happened meanwhile."""
        key = data.draw(st.sampled_from(sorted(self.keys)))
        before = Move.objects.count()
        assert self.keys[key]().key == key
        assert Move.objects.count() == before

    @precondition(lambda self: any(move.why == "receive" for move in self.done))
    @rule(data=st.data())
    def send_another_body_with_the_key(self, data: st.DataObject) -> None:
        move = data.draw(st.sampled_from([one for one in self.done if one.why == "receive"]))
        with pytest.raises(KeyAlreadyUsed):
            self.keys[move.key](quantity=move.quantity + 1)

    # --- how an act is looked at ------------------------------------------------------------------------

    def key(self) -> str:
        self.number += 1
        return f"machine:{self.number}"

    def act(self, service: Callable[..., Move], **given: Any) -> None:
        """Do it; the model says whether there was enough, and a refusal must leave everything as it was."""
        written = Move.objects.count()
        refusal, move = "", None
        try:
            with transaction.atomic():
                move = service(**given)
        except ShopError as refused:
            refusal = refused.sentence
        if move is None:
            assert refusal.endswith((".", "?"))
            assert Move.objects.count() == written
            assert not self.must_work(service, given), refusal
            return
        assert Move.objects.count() == written + 1
        self.model[move.design_id, move.condition, move.from_place_id] -= move.quantity
        self.model[move.design_id, move.becomes, move.to_place_id] += move.quantity
        self.done.append(move)
        self.keys[given["key"]] = lambda **other: service(**(given | other))

    def must_work(self, service: Callable[..., Move], given: dict[str, Any]) -> bool:
        """Whether the model knows no reason to refuse: enough is there, and the way is sound."""
        if service is services.receive:
            return True
        if service is services.check_out:
            own, sound = given["who"] == given["person"], given["condition"] != Condition.SPENT
            spot = (given["design"].pk, given["condition"], given["from_place"].pk)
            return bool(own and sound and self.model[spot] >= given["quantity"])
        if service is services.transfer and given.get("item") is None:
            spot = (given["design"].pk, given["condition"], given["from_place"].pk)
            worse = given["becomes"] == Condition.NEW and given["condition"] != Condition.NEW
            return not worse and (given["from_place"].may_go_negative or self.model[spot] >= given["quantity"])
        return False

    # --- what holds after each act ----------------------------------------------------------------------

    @invariant()
    def the_balances_are_the_models(self) -> None:
        if not hasattr(self, "model"):
            return
        rows = Balance.objects.exclude(quantity=0).values_list("design", "condition", "place", "quantity")
        kept = {(design, condition, place): quantity for design, condition, place, quantity in rows}
        assert kept == {spot: quantity for spot, quantity in self.model.items() if quantity}

    @invariant()
    def nothing_inside_is_below_zero(self) -> None:
        assert not Balance.objects.filter(quantity__lt=0, may_go_negative=False).exists()

    @invariant()
    def the_books_agree(self) -> None:
        assert check_ledger() == []


def test_any_sequence_of_acts_leaves_a_sound_ledger(shop: Shop) -> None:
    _ = (shop.chamfer_tip, shop.body, shop.bin, shop.other_bin, shop.setter, shop.other_setter, shop.attendant)
    _ = (shop.machine, shop.supplier)
    # What is made in one sequence goes with it, so the places that are remembered are made before.
    for person in (shop.setter, shop.other_setter):
        services.place_of(person=person)
    _ = (services.place_of(machine=shop.machine), services.place_of(supplier=shop.supplier))
    _ = (services.spent_place(), services.difference_place(), services.place_of(regrind="Grinder"))
    machine = type("CribOfThisShop", (Crib,), {"shop": shop})
    run_state_machine_as_test(machine, settings=settings(max_examples=SEQUENCES, stateful_step_count=LENGTH))


def test_the_model_sees_a_refusal(shop: Shop) -> None:
    """The machine's own eyes: it would notice an act that ought to work and is refused."""
    with pytest.raises(Refused):
        shop.check_out(shop.chamfer_tip, 1, by=shop.setter)
