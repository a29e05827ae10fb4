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
from crib.planning.selectors.pace import MonthParts, parts_of_month
from crib.planning.selectors.starts import KitToStage, kits_before_the_shift, kits_to_stage
from crib.planning.selectors.today import (
    DueEdge,
    TodayNow,
    edges_due,
    falling_lives,
    late_orders,
    pressing_flags,
    today_now,
)

__all__ = [
    "BudgetLine",
    "DesignAhead",
    "DueEdge",
    "GridRow",
    "KitToStage",
    "MonthAhead",
    "MonthParts",
    "NeedRow",
    "PlannedJob",
    "SuggestionRow",
    "TodayNow",
    "design_ahead",
    "edges_due",
    "falling_lives",
    "find_order",
    "is_open",
    "kits_before_the_shift",
    "kits_to_stage",
    "late_orders",
    "month_ahead",
    "month_to_plan",
    "open_orders",
    "open_suggestions",
    "orders",
    "parts_of_month",
    "plan_grid",
    "pressing_flags",
    "receipts",
    "today_now",
    "worth",
]
