"""What stands behind a figure: the balances that make it up, and the moves that make up a balance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet, Sum

from crib.catalogue.models import Design
from crib.core.errors import NotFound
from crib.stock.models import Balance, Condition, Move, Place
from crib.stock.selectors.pages import LINES, LedgerPage, read_move_number
from crib.stock.selectors.standing import balances

FIGURES = {
    "in-crib": "in the crib",
    "out": "with people and machines",
    "spent": "spent, still inside",
}


@dataclass(frozen=True)
class RunningMove:
    """One move that touched a balance: what it changed, and what stood there after it."""

    move: Move
    change: int
    after: int


@dataclass(frozen=True)
class BehindBalance:
    """The moves that make up a balance, newest first, and what all of them come to."""

    balance: Balance
    lines: Sequence[RunningMove]
    before: int | None
    come_to: int

    @property
    def sound(self) -> bool:
        return self.come_to == self.balance.quantity


@dataclass(frozen=True)
class BehindFigure:
    """The balances that add up to one figure of a design."""

    name: str
    words: str
    rows: Sequence[Balance]

    @property
    def total(self) -> int:
        return sum(row.quantity for row in self.rows)


def balance_behind(*, number: int, before: str = "") -> BehindBalance:
    """A balance opened down to its moves; a fixed number of queries."""
    balance = Balance.objects.select_related("design", "place__person").filter(pk=number).first()
    if balance is None:
        raise NotFound("There is no such balance.")
    touched = _touching(balance)
    found = touched.select_related(
        "design", "item__design", "from_place__person", "to_place__person", "job", "who", "reversed_by", "reverses"
    ).order_by("-id")
    if before:
        found = found.filter(pk__lt=read_move_number(before))
    moves = list(found[: LINES + 1])
    upto = touched.filter(pk__lte=moves[0].pk) if moves else touched.none()
    all_of_them = _net(balance, touched)
    standing = all_of_them if not before else _net(balance, upto)
    lines = []
    for move in moves[:LINES]:
        change = _change(balance, move)
        lines.append(RunningMove(move, change, standing))
        standing -= change
    return BehindBalance(balance, lines, moves[LINES - 1].pk if len(moves) > LINES else None, all_of_them)


def _touching(balance: Balance) -> QuerySet[Move]:
    came = Q(to_place=balance.place_id, becomes=balance.condition)
    went = Q(from_place=balance.place_id, condition=balance.condition)
    return Move.objects.filter(came | went, design=balance.design_id)


def _net(balance: Balance, moves: QuerySet[Move]) -> int:
    came = Sum("quantity", filter=Q(to_place=balance.place_id, becomes=balance.condition), default=0)
    went = Sum("quantity", filter=Q(from_place=balance.place_id, condition=balance.condition), default=0)
    sums: dict[str, Any] = moves.order_by().aggregate(came=came, went=went)
    return int(sums["came"] - sums["went"])


def _change(balance: Balance, move: Move) -> int:
    came = (move.to_place_id, move.becomes) == (balance.place_id, balance.condition)
    went = (move.from_place_id, move.condition) == (balance.place_id, balance.condition)
    return (came - went) * move.quantity


def figure_behind(*, design: Design, name: str) -> BehindFigure:
    """The balances behind one figure of a design, added up as `design_standings` does."""
    if name not in FIGURES:
        raise NotFound("There is no such figure.")
    rows = balances(design=design).filter(quantity__gt=0, may_go_negative=False)
    if name == "spent":
        rows = rows.filter(condition=Condition.SPENT)
    elif name == "in-crib":
        rows = rows.filter(place__kind__in=Place.ON_HAND).exclude(condition=Condition.SPENT)
    else:
        rows = rows.exclude(place__kind__in=Place.ON_HAND).exclude(condition=Condition.SPENT)
    return BehindFigure(name, FIGURES[name], list(rows))


@dataclass(frozen=True, kw_only=True)
class MoveFilter:
    """Which moves of the ledger are wanted; what is left out is not asked about."""

    design: Design | None = None
    place: Place | None = None
    why: str = ""
    since: datetime | None = None
    until: datetime | None = None

    def moves(self) -> QuerySet[Move]:
        """The moves that fit, newest first."""
        found = Move.objects.order_by("-id")
        if self.design is not None:
            found = found.filter(design=self.design)
        if self.place is not None:
            found = found.filter(Q(from_place=self.place) | Q(to_place=self.place))
        if self.why:
            found = found.filter(why=self.why)
        if self.since is not None:
            found = found.filter(at__gte=self.since)
        if self.until is not None:
            found = found.filter(at__lt=self.until)
        return found


def ledger_of(*, wanted: MoveFilter, before: str = "") -> LedgerPage:
    """A stretch of the moves that fit a filter, newest first."""
    found = wanted.moves().select_related(
        "design", "item__design", "from_place__person", "to_place__person", "job", "who", "reversed_by", "reverses"
    )
    if before:
        found = found.filter(pk__lt=read_move_number(before))
    moves = list(found[: LINES + 1])
    return LedgerPage(moves[:LINES], moves[LINES - 1].pk if len(moves) > LINES else None)
