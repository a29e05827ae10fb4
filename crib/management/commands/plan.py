"""`plan --month 2026-12`: works out what a month takes, its flags and suggestions, as the worker does each night."""

from __future__ import annotations

import argparse
import json as json_module
from typing import Any

from crib.core.errors import NotFound
from crib.management.base import ShopCommand
from crib.planning import selectors, services
from crib.planning.selectors.month import MonthAhead


class Command(ShopCommand):
    help = "Works out what a month takes, and what to order for it"

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--month", required=True, help="the month, such as 2026-12")
        parser.add_argument("--json", action="store_true", help="answer as JSON")

    def handle(self, *args: Any, month: str, json: bool, **options: Any) -> None:
        before = selectors.month_ahead(month=month)
        if before.plan is None:
            raise NotFound(f"Nothing is planned for {month}. Enter it on the page Month ahead, or by the API.")
        if before.over:
            self.stderr.write(f"{month} is over; this is what was worked out for it.")
        else:
            services.compute_plan(month=month, tell=None if json else self._tell)
        ahead = selectors.month_ahead(month=month)
        if json:
            self.stdout.write(json_module.dumps(_answer(ahead), indent=2))
        else:
            self._say(ahead)

    def _tell(self, done: int, of: int) -> None:
        self.stderr.write(f"{done} of {of} designs")

    def _say(self, ahead: MonthAhead) -> None:
        for row in ahead.needs:
            demand = row.demand
            short = f", short from {demand.shortage_day_95}" if demand.shortage_day_95 else ""
            self.stdout.write(
                f"{row.design.code}: {demand.quantile_50:.0f} ({demand.quantile_10:.0f} to {demand.quantile_90:.0f}, "
                f"95 %: {demand.quantile_95:.0f}), {row.on_hand} on hand{short}"
            )
        for suggested in ahead.suggestions:
            self.stdout.write(suggested.suggestion.says)
        assert ahead.plan is not None
        for sentence in ahead.plan.trouble:
            self.stdout.write(f"Left out: {sentence}")


def _answer(ahead: MonthAhead) -> dict[str, Any]:
    assert ahead.plan is not None
    return {
        "month": ahead.month,
        "designs": [
            {
                "design": row.design.code,
                "mean": round(row.demand.mean, 2),
                "quantiles": {
                    "10": row.demand.quantile_10,
                    "50": row.demand.quantile_50,
                    "90": row.demand.quantile_90,
                    "95": row.demand.quantile_95,
                },
                "on_hand": row.on_hand,
                "coming": row.coming,
                "short_on_50": row.demand.shortage_day_50.isoformat() if row.demand.shortage_day_50 else None,
                "short_on_95": row.demand.shortage_day_95.isoformat() if row.demand.shortage_day_95 else None,
                "flags": [flag.kind for flag in row.flags if not flag.covered],
            }
            for row in ahead.needs
        ],
        "suggestions": [
            {
                "design": one.suggestion.design.code,
                "quantity": one.suggestion.quantity,
                "cost": str(one.cost),
                "order_by": one.suggestion.order_by.isoformat() if one.suggestion.order_by else None,
                "says": one.suggestion.says,
            }
            for one in ahead.suggestions
        ],
        "trouble": ahead.plan.trouble,
    }
