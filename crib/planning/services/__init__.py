"""What planning does: enter a month, work it out, raise flags, order, receive."""

from crib.planning.drafts import Goods, LineDraft
from crib.planning.services.orders import cancel_order, order_suggestion, receive_order, send_order, take_back_receipt
from crib.planning.services.plans import enter_plan, set_budget
from crib.planning.services.refresh import (
    Refreshed,
    compute_plan,
    refresh_designs,
    refresh_due_flags,
    refresh_due_plans,
)

__all__ = [
    "Goods",
    "LineDraft",
    "Refreshed",
    "cancel_order",
    "compute_plan",
    "enter_plan",
    "order_suggestion",
    "receive_order",
    "refresh_designs",
    "refresh_due_flags",
    "refresh_due_plans",
    "send_order",
    "set_budget",
    "take_back_receipt",
]
