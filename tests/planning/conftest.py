"""A shop that plans: the named cast with a month to come, and today's date held still."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from crib.catalogue.models import Design
from crib.core import clock
from crib.planning import services as planning
from crib.planning.models import Flag, OrderLine, ProductionPlan, Suggestion
from tests.shop import Shop

TODAY = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
MONTH = "2026-12"


class PlanningShop(Shop):
    """The cast, and what a planner does all day."""

    def line(self, parts: int = 120, **changes: Any) -> planning.LineDraft:
        given: dict[str, Any] = {
            "operation": self.operation,
            "parts": parts,
            "starts_on": date(2026, 12, 1),
            "ends_on": date(2026, 12, 31),
        }
        return planning.LineDraft(**(given | changes))

    def plan(self, parts: int = 120, **changes: Any) -> ProductionPlan:
        return planning.enter_plan(month=MONTH, lines=[self.line(parts, **changes)], who=self.planner)

    def planned(self, parts: int = 600, on_hand: int = 3) -> ProductionPlan:
        """Next month takes more tips than lie on the shelf, and the worker has found out."""
        self.sold()
        if on_hand:
            self.stock(self.chamfer_tip, on_hand)
        plan = self.plan(parts)
        planning.refresh_due_plans()
        plan.refresh_from_db()
        return plan

    def sold(self) -> None:
        """See that somebody sells the tip, for tests that need it and nothing of it."""
        assert self.offer.pk

    def flag(self, kind: str = Flag.Kind.WILL_RUN_SHORT, design: Design | None = None) -> Flag:
        return Flag.objects.get(design=design or self.chamfer_tip, kind=kind, cleared_at=None)

    def suggestion(self) -> Suggestion:
        return Suggestion.objects.get(design=self.chamfer_tip, state=Suggestion.State.OPEN)

    def order(self, **changes: Any) -> OrderLine:
        return planning.order_suggestion(suggestion=self.suggestion(), who=self.planner, **changes)

    def receive(self, line: OrderLine, quantity: int, key: str | None = None) -> list[Any]:
        return planning.receive_order(
            order=line.order,
            goods=[planning.Goods(line=line, quantity=quantity)],
            who=self.planner,
            key=key or self.key(),
            to_place=self.bin,
        )


@pytest.fixture(autouse=True)
def today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: TODAY)


@pytest.fixture
def shop(db: None) -> PlanningShop:
    return PlanningShop()
