"""Checks the books: balances against moves, and items against both."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import OuterRef, Subquery, Sum

from crib.catalogue.models import Design
from crib.stock.models import Balance, Condition, Item, Move, Place

Spot = tuple[int, str, int]


@dataclass(frozen=True)
class Difference:
    """One thing the books do not agree on; `kind` is stable, `sentence` explains it."""

    kind: str
    design: str
    place: str
    sentence: str


def check_ledger() -> list[Difference]:
    """Every difference between moves, balances and items; none in a sound ledger."""
    return _Books().differences()


class _Books:
    """Sums of the whole ledger, made by the database; no line is read one by one."""

    def __init__(self) -> None:
        self.designs = dict(Design.objects.values_list("pk", "code"))
        self.places = {place.pk: place for place in Place.objects.all()}
        self.balances = {(row.design_id, row.condition, row.place_id): row for row in Balance.objects.all()}
        self.moved = _sums_of_moves()
        self.items = _pieces_of_items()
        self.found: list[Difference] = []

    def differences(self) -> list[Difference]:
        self._balances_equal_moves()
        self._designs_come_to_zero()
        self._nothing_below_zero_inside()
        self._items_fill_their_balances()
        self._items_stand_where_moved()
        return sorted(self.found, key=lambda one: (one.design, one.place, one.kind))

    def _say(self, kind: str, spot: Spot, sentence: str) -> None:
        design, condition, place = spot
        where = self.places[place].code
        code = self.designs[design]
        words = f"{code} ({Condition(condition).label.lower()}) at {where}: {sentence}"
        self.found.append(Difference(kind, code, where, words))

    def _balances_equal_moves(self) -> None:
        for spot in self.balances.keys() | self.moved.keys():
            row = self.balances.get(spot)
            kept, moved = (row.quantity if row else 0), self.moved.get(spot, 0)
            if kept != moved:
                self._say("balance", spot, f"the balance says {kept}, its moves come to {moved}.")

    def _designs_come_to_zero(self) -> None:
        totals: defaultdict[int, int] = defaultdict(int)
        for (design, _, _), row in self.balances.items():
            totals[design] += row.quantity
        for design, total in totals.items():
            if total:
                code = self.designs[design]
                sentence = f"{code}: all places together hold {total}; they must come to zero."
                self.found.append(Difference("total", code, "", sentence))

    def _nothing_below_zero_inside(self) -> None:
        for spot, row in self.balances.items():
            outside = self.places[spot[2]].may_go_negative
            if row.may_go_negative != outside:
                self._say("kind", spot, "the balance and its place disagree on whether it may be below zero.")
            if row.quantity < 0 and not outside:
                self._say("below-zero", spot, f"{row.quantity} stand there; a place inside the shop cannot owe any.")

    def _items_fill_their_balances(self) -> None:
        piecewise = set(Design.objects.filter(kind__in=("body", "holder")).values_list("pk", flat=True))
        for spot in self.balances.keys() | self.items.keys():
            row = self.balances.get(spot)
            quantity, labelled = (row.quantity, row.labelled) if row else (0, 0)
            pieces = self.items.get(spot, 0)
            outside = self.places[spot[2]].may_go_negative
            if labelled != pieces:
                self._say("labelled", spot, f"the balance counts {labelled} labelled pieces, the items are {pieces}.")
            if pieces > quantity and not outside:
                self._say("items", spot, f"{pieces} pieces carry labels, but only {quantity} are there.")
            elif spot[0] in piecewise and not outside and pieces != quantity:
                self._say("unlabelled", spot, f"{quantity} are there, but only {pieces} of them are items.")

    def _items_stand_where_moved(self) -> None:
        last = Move.objects.filter(item=OuterRef("pk")).order_by("-id")
        items = Item.objects.annotate(
            moved_to=Subquery(last.values("to_place")[:1]), moved_as=Subquery(last.values("becomes")[:1])
        ).filter(moved_to__isnull=False)
        for item in items.iterator(chunk_size=2000):
            if (item.place_id, item.condition) != (item.moved_to, item.moved_as):
                spot = (item.design_id, item.condition, item.place_id)
                went = f"{self.places[item.moved_to].code} as {Condition(item.moved_as).label.lower()}"
                self._say("item-place", spot, f"{item.label} stands here, but its last move took it to {went}.")


def _sums_of_moves() -> dict[Spot, int]:
    sums: defaultdict[Spot, int] = defaultdict(int)
    for sign, condition, place in ((1, "becomes", "to_place"), (-1, "condition", "from_place")):
        for design, kind, where, total in (
            Move.objects.order_by().values_list("design", condition, place).annotate(total=Sum("quantity"))
        ):
            sums[(design, kind, where)] += sign * total
    return dict(sums)


def _pieces_of_items() -> dict[Spot, int]:
    rows = Item.objects.order_by().values_list("design", "condition", "place").annotate(total=Sum("pieces"))
    return {(design, condition, place): total for design, condition, place, total in rows}
