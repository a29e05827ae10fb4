"""What planning and buying refuse, each with its own code."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crib.core.errors import BadInput, Refused


@dataclass(frozen=True, slots=True)
class BadCell:
    """What is wrong in one cell of a plan: the line's place in the list, the field, and the way out."""

    line: int
    field: str
    sentence: str


class BadPlan(BadInput):
    """Lines of a plan that cannot be used; all of them are named, and nothing of the plan is changed."""

    code = "bad-plan"

    def __init__(self, cells: Sequence[BadCell]) -> None:
        first = cells[0]
        super().__init__(f"lines.{first.line}.{first.field}", first.sentence)
        self.cells = tuple(cells)


class MonthOver(Refused):
    """The month lies in the past."""

    code = "month-over"


class NoOffer(Refused):
    """Nobody is known to sell it."""

    code = "no-offer"


class AlreadyOrdered(Refused):
    """The suggestion has become a line of an order before."""

    code = "already-ordered"


class NoLongerNeeded(Refused):
    """The suggestion has lapsed, because stock or an order covers the need."""

    code = "no-longer-needed"


class OverReceipt(Refused):
    """More came than was still to come."""

    code = "over-receipt"


class OrderClosed(Refused):
    """The order was received or cancelled before."""

    code = "order-closed"


class GoodsCame(Refused):
    """Something of the order is on the shelf already."""

    code = "goods-came"
