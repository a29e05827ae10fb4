"""Draws what the crib handed out and took in while the floor worked: counter draws, deliveries, stock at the end.

Tips are drawn before they are fitted. Deliveries follow a plain reorder rule with each offer's lead time, so that no
bin ever owes anything. At the end every design stands at a chosen cover of what is planned; the two in the story
that run short, and the one that waits for its order, stand lower.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from crib.management.demo.past import Past, PastTool
from crib.management.demo.scenario import Row, Scenario

FALLOW = timedelta(days=45)
LATELY = timedelta(days=90)


@dataclass(frozen=True, slots=True)
class Draw:
    """A hand-out at the counter."""

    at: datetime
    design: str
    quantity: int
    person: str
    job: str


@dataclass(frozen=True, slots=True)
class Delivery:
    """Goods that came."""

    at: datetime
    design: str
    quantity: int
    supplier: str


@dataclass(frozen=True, slots=True)
class Supplies:
    """Everything that went over the counter, and what came in."""

    draws: list[Draw]
    deliveries: list[Delivery]


def draw_supplies(scenario: Scenario, past: Past, needs: Mapping[str, float], now: datetime) -> Supplies:
    """Work out draws from the tools fitted, and deliveries from the draws; `needs` are the pieces still planned."""
    chance = np.random.default_rng([scenario.story["seed"], 1000])
    draws = _draws(scenario, past, chance)
    offers: dict[str, Row] = {}
    for row in scenario.offers:
        offers.setdefault(row["design"], row)
    deliveries: list[Delivery] = []
    start = now - timedelta(weeks=scenario.story["weeks"], days=3)
    by_design: dict[str, list[Draw]] = defaultdict(list)
    for draw in draws:
        by_design[draw.design].append(draw)
    for code in (row["code"] for row in scenario.designs if row["kind"] not in ("body", "holder")):
        shelf = _Shelf(code, offers[code], by_design[code], needs.get(code, 0.0), scenario, start, now, chance)
        deliveries += shelf.deliveries()
    return Supplies(draws, sorted(deliveries, key=lambda one: one.at))


def _draws(scenario: Scenario, past: Past, chance: np.random.Generator) -> list[Draw]:
    held: dict[tuple[str, str], int] = defaultdict(int)
    draws = []
    for tool in past.tools:
        hand = (tool.fitted_by, tool.seat.tip)
        if held[hand] < tool.pieces:
            quantity = _lot(scenario.design_rows[tool.seat.tip], tool)
            at = tool.fitted_at - timedelta(minutes=float(chance.uniform(6, 25)))
            draws.append(Draw(at, tool.seat.tip, quantity, tool.fitted_by, tool.job))
            held[hand] += quantity
        held[hand] -= tool.pieces
    return sorted(draws, key=lambda draw: draw.at)


def _lot(row: Row, tool: PastTool) -> int:
    """What a setter takes at once: a few single inserts, two heads, one solid tool, one set."""
    if row["kind"] == "insert":
        return 5 if tool.pieces == 1 else tool.pieces
    return 2 if row["kind"] == "tip" else 1


class _Shelf:
    """One design's bin over the months."""

    def __init__(
        self,
        code: str,
        offer: Row,
        draws: list[Draw],
        need: float,
        scenario: Scenario,
        start: datetime,
        now: datetime,
        chance: np.random.Generator,
    ) -> None:
        self.code, self.offer, self.draws, self.now, self.chance = code, offer, draws, now, chance
        spread = scenario.story["spread_of_stock"]
        low: dict[str, float] = spread["short"] | spread["on_its_way"]
        self.runs_low = code in low
        lately = sum(draw.quantity for draw in draws if draw.at > now - LATELY) / LATELY.days
        self.target = math.ceil(need * low[code] if self.runs_low else max(need, lately * 30) * spread["cover"])
        self.daily = sum(draw.quantity for draw in draws) / max((now - start).days, 1)
        self.start = start
        self.on_hand = 0
        self.came: list[Delivery] = []
        self.ordered: Delivery | None = None

    def deliveries(self) -> list[Delivery]:
        days = (14, 20) if self.runs_low else (35, 45)
        level, lot = math.ceil(self.daily * days[0]), self._packed(self.daily * days[1])
        self._deliver(Delivery(self.start, self.code, self._packed(self.daily * 50), self.offer["supplier"]))
        quiet_from = self.now - FALLOW
        stocked_up = not self.runs_low
        for draw in self.draws:
            self._take_in(draw.at)
            if not stocked_up and draw.at > quiet_from:
                self._stock_up(draw.at)
                stocked_up = True
            if self.ordered is None and self.on_hand - draw.quantity < level and not (self.runs_low and stocked_up):
                self.ordered = Delivery(self._arrival(draw.at), self.code, lot, self.offer["supplier"])
            if self.on_hand < draw.quantity:
                self._deliver(Delivery(draw.at - timedelta(hours=2), self.code, lot, self.offer["supplier"]))
            self.on_hand -= draw.quantity
        self._take_in(self.now)
        self._fill_up()
        return self.came

    def _deliver(self, delivery: Delivery) -> None:
        self.came.append(delivery)
        self.on_hand += delivery.quantity

    def _take_in(self, at: datetime) -> None:
        if self.ordered is not None and self.ordered.at <= at:
            self._deliver(self.ordered)
            self.ordered = None

    def _stock_up(self, at: datetime) -> None:
        """The last delivery of a design that runs low: what is still drawn, and the little that is left at the end."""
        self.ordered = None
        wanted = sum(draw.quantity for draw in self.draws if draw.at >= at) + self.target - self.on_hand
        if wanted > 0:
            self._deliver(Delivery(at - timedelta(hours=3), self.code, self._packed(wanted), self.offer["supplier"]))

    def _fill_up(self) -> None:
        if not self.runs_low and self.on_hand < self.target:
            at = self.now - timedelta(days=float(self.chance.uniform(1, 8)))
            self._deliver(Delivery(at, self.code, self._packed(self.target - self.on_hand), self.offer["supplier"]))

    def _arrival(self, ordered: datetime) -> datetime:
        days = max(1.0, float(self.chance.normal(float(self.offer["lead_days"]), float(self.offer["lead_days_sd"]))))
        return ordered + timedelta(days=days)

    def _packed(self, quantity: float) -> int:
        pack = int(self.offer["pack"])
        return max(math.ceil(quantity / pack) * pack, int(self.offer["minimum"]))
