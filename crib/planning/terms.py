"""What the shop's buying goes by. Each figure is assumed until the shop says otherwise, and shown where it counts."""

from __future__ import annotations

from decimal import Decimal

# Chance of no shortage between an order and its arrival.
SERVICE = 0.95
# Days that pass between a shortage showing and somebody ordering.
REVIEW_DAYS = 3.0
# Cost of placing one order, and of holding stock for a year as a share of its price.
ORDER_COST = Decimal("20")
HOLDING_RATE = 0.2
# From so many receipts on, the lead time that was seen counts instead of the stated one.
RECEIPTS_TO_TRUST = 5
# An order that is late is expected so many days from now; the supplier says better.
DAYS_WHEN_LATE = 3
# What was drawn over so many days stands for the need of designs that no plan names.
DAYS_OF_USE = 90
# A plan reaches no further than this, and no cell holds more.
MONTHS_AHEAD = 24
MOST_PARTS = 1_000_000
