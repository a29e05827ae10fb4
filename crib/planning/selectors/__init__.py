"""What the plans, the stock ahead and the orders look like; read only."""

from crib.planning.selectors.month import (
    BudgetLine,
    DesignAhead,
    GridRow,
    MonthAhead,
    NeedRow,
    PlannedJob,
    SuggestionRow,
    design_ahead,
    month_ahead,
    month_to_plan,
    open_orders,
    open_suggestions,
    plan_grid,
)
from crib.planning.selectors.orders import find_order, is_open, orders, receipts, worth
from crib.planning.selectors.today import DueEdge, TodayNow, edges_due, late_orders, pressing_flags, today_now

__all__ = [
    "BudgetLine",
    "DesignAhead",
    "DueEdge",
    "GridRow",
    "MonthAhead",
    "NeedRow",
    "PlannedJob",
    "SuggestionRow",
    "TodayNow",
    "design_ahead",
    "edges_due",
    "find_order",
    "is_open",
    "late_orders",
    "month_ahead",
    "month_to_plan",
    "open_orders",
    "open_suggestions",
    "orders",
    "plan_grid",
    "pressing_flags",
    "receipts",
    "today_now",
    "worth",
]
