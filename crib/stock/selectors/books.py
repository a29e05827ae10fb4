"""Checks the books: balances against moves, and items against both."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import OuterRef, Subquery, Sum

from crib.catalogue.models import Design
from crib.stock.models import Balance, Condition, Item, Move, Place
from crib.stock.selectors.causes import Cause, Spot, cause_of_balance

LABELS = Cause(
    "Scan what lies there in a count; a piece that stands here and whose moves end elsewhere is named as well."
)
MOST_LOOKED_INTO = 100


@dataclass(frozen=True)
class Difference:
    """One thing the books do not agree on; `kind` is stable, `sentence` says it, `cause` what may have come of it."""

    kind: str
    design: str
    place: str
    sentence: str
    by: int | None = None
    cause: str = ""
    moves: tuple[int, ...] = ()


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

    def _say(self, kind: str, spot: Spot, sentence: str, *, by: int | None = None, cause: Cause | None = None) -> None:
        design, condition, place = spot
        where = self.places[place].code
        code = self.designs[design]
        words = f"{code} ({Condition(condition).label.lower()}) at {where}: {sentence}"
        why = cause or Cause()
        self.found.append(Difference(kind, code, where, words, by, why.sentence, why.moves))

    def _balances_equal_moves(self) -> None:
        off: dict[Spot, int] = {}
        for spot in self.balances.keys() | self.moved.keys():
            row = self.balances.get(spot)
            by = (row.quantity if row else 0) - self.moved.get(spot, 0)
            if by:
                off[spot] = by
        for number, spot in enumerate(sorted(off)):
            moved = self.moved.get(spot, 0)
            # Where everything is off, each by itself would be looked into for hours.
            cause = cause_of_balance(spot, off, self.places) if number < MOST_LOOKED_INTO else None
            words = f"the balance says {moved + off[spot]}, its moves come to {moved}."
            self._say("balance", spot, words, by=off[spot], cause=cause)

    def _designs_come_to_zero(self) -> None:
        totals: defaultdict[int, int] = defaultdict(int)
        for (design, _, _), row in self.balances.items():
            totals[design] += row.quantity
        for design, total in totals.items():
            if total:
                code = self.designs[design]
                sentence = f"{code}: all places together hold {total}; they must come to zero."
                cause = "Its balances above that differ from their moves say which."
                self.found.append(Difference("total", code, "", sentence, total, cause))

    def _nothing_below_zero_inside(self) -> None:
        for spot, row in self.balances.items():
            outside = self.places[spot[2]].may_go_negative
            if row.may_go_negative != outside:
                words = "the balance and its place disagree on whether it may be below zero."
                self._say("kind", spot, words, cause=Cause("The kind of the place was changed past the program."))
            if row.quantity < 0 and not outside:
                words = f"{row.quantity} stand there; a place inside the shop cannot owe any."
                self._say("below-zero", spot, words, by=row.quantity)

    def _items_fill_their_balances(self) -> None:
        piecewise = set(Design.objects.filter(kind__in=("body", "holder")).values_list("pk", flat=True))
        for spot in self.balances.keys() | self.items.keys():
            row = self.balances.get(spot)
            quantity, labelled = (row.quantity, row.labelled) if row else (0, 0)
            pieces = self.items.get(spot, 0)
            outside = self.places[spot[2]].may_go_negative
            if labelled != pieces:
                words = f"the balance counts {labelled} labelled pieces, the items are {pieces}."
                self._say("labelled", spot, words, by=labelled - pieces, cause=LABELS)
            if pieces > quantity and not outside:
                words = f"{pieces} pieces carry labels, but only {quantity} are there."
                self._say("items", spot, words, by=quantity - pieces, cause=LABELS)
            elif spot[0] in piecewise and not outside and pieces != quantity:
                words = f"{quantity} are there, but only {pieces} of them are items."
                self._say("unlabelled", spot, words, by=quantity - pieces, cause=LABELS)

    def _items_stand_where_moved(self) -> None:
        last = Move.objects.filter(item=OuterRef("pk")).order_by("-id")
        items = Item.objects.annotate(
            moved_to=Subquery(last.values("to_place")[:1]),
            moved_as=Subquery(last.values("becomes")[:1]),
            last_move=Subquery(last.values("pk")[:1]),
        ).filter(moved_to__isnull=False)
        for item in items.iterator(chunk_size=2000):
            if (item.place_id, item.condition) != (item.moved_to, item.moved_as):
                spot = (item.design_id, item.condition, item.place_id)
                went = f"{self.places[item.moved_to].code} as {Condition(item.moved_as).label.lower()}"
                words = f"{item.label} stands here, but its last move took it to {went}."
                cause = Cause(
                    "Its row was changed past the ledger, or the move after this one is missing.", (item.last_move,)
                )
                self._say("item-place", spot, words, by=item.pieces, cause=cause)


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
