"""Which delivered lot each tool of the past was of: the one that came last before it was fitted.

One lot of one design is bad: its tools last less. It is in use from a set day on, and what was delivered after it still
lies on the shelf.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from crib.management.demo.scenario import Scenario
from crib.management.demo.supplies import Delivery

FIRST_NUMBER = 2000


@dataclass(frozen=True, slots=True)
class BadLot:
    """A design whose tools last less from a day on."""

    design: str
    since: datetime
    life_factor: float

    def factor_for(self, design: str, fitted_at: datetime) -> float:
        return self.life_factor if design == self.design and fitted_at >= self.since else 1.0


def bad_lot(scenario: Scenario, now: datetime) -> BadLot:
    """The story's bad lot."""
    row = scenario.story["bad_lot"]
    return BadLot(row["design"], now - timedelta(weeks=row["weeks"]), row["life_factor"])


def lot_number(place: int) -> str:
    """The number on the boxes of a delivery, by its place among all."""
    return f"{FIRST_NUMBER + place}"


class Boxes:
    """The deliveries of each design, with their lots."""

    def __init__(self, deliveries: Sequence[Delivery], bad: BadLot) -> None:
        self.bad = bad
        self.came: dict[str, list[tuple[datetime, str]]] = defaultdict(list)
        for place, one in enumerate(deliveries):
            self.came[one.design].append((one.at, lot_number(place)))
        of_bad = self.came[bad.design]
        self.bad_at = max((at for at, _ in of_bad if at <= bad.since), default=of_bad[0][0] if of_bad else bad.since)

    def lot_of(self, design: str, fitted_at: datetime) -> str:
        """Of a tool, by when it was fitted."""
        boxes = self.came[design]
        if design == self.bad.design:
            if fitted_at >= self.bad.since:
                return next(lot for at, lot in boxes if at == self.bad_at)
            boxes = [box for box in boxes if box[0] < self.bad_at]
        place = bisect_right([at for at, _ in boxes], fitted_at) - 1
        return boxes[place][1] if place >= 0 else ""
