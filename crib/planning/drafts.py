"""Lines of a plan and of a receipt as they come in, before anything in them is believed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crib.catalogue.models import Job
from crib.floor.models import Operation
from crib.planning.models import OrderLine


@dataclass(frozen=True, slots=True, kw_only=True)
class LineDraft:
    """Parts of one operation, or of all operations of a job, to be made between two days, both included.

    `operation` may be the operation, a job, or its name such as "J-1001/20" or "J-1001".
    """

    operation: Operation | Job | str
    parts: int
    starts_on: date
    ends_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Goods:
    """So many pieces that came for one line of an order."""

    line: OrderLine
    quantity: int
    lot: str = ""
