"""Whether a design will run short or stands too low, and what to buy then. Pure: the worker writes what comes out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from calc.errors import WorkingError
from calc.supply.quantity import discounted_quantity, price_at
from calc.supply.reorder import DAYS_PER_YEAR, ReorderPoint, normal_quantile, reorder_point
from crib.catalogue.models import Design, Offer
from crib.planning.calendar import month_of
from crib.planning.models import Flag
from crib.planning.selectors.gather import StockNow
from crib.planning.terms import HOLDING_RATE, ORDER_COST, RECEIPTS_TO_TRUST, REVIEW_DAYS, SERVICE


@dataclass(frozen=True, slots=True)
class Lead:
    """How long a supplier takes: mean and spread in days, and whether receipts have shown it."""

    mean: float
    sd: float
    observed: bool

    @property
    def careful(self) -> int:
        """Whole days within which it comes with the asked chance."""
        return math.ceil(self.mean + normal_quantile(SERVICE) * self.sd)


def lead_of(offer: Offer) -> Lead:
    """The stated lead time until enough receipts have shown the true one."""
    if offer.receipts_seen >= RECEIPTS_TO_TRUST and offer.observed_lead_days is not None:
        return Lead(offer.observed_lead_days, offer.observed_lead_days_sd or 0.0, True)
    return Lead(offer.lead_days, offer.lead_days_sd, False)


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the plans say of a design: the need of a day, and the first day short without and with what is coming."""

    daily_mean: float
    daily_sd: float
    planned: bool
    until: date | None = None
    short_likely: date | None = None
    short_careful: date | None = None
    short_with_orders: date | None = None
    needed_likely: int = 0
    needed_careful: int = 0


@dataclass(frozen=True, slots=True)
class Trouble:
    """A flag that ought to stand; `covered` when an order on its way mends it."""

    kind: str
    covered: bool
    short_on: date | None
    says: str
    evidence: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Buy:
    """What ought to be bought; `offer` is None when nobody is known to sell it."""

    offer: Offer | None
    quantity: int
    unit_price: Decimal
    order_by: date
    for_month: str
    says: str
    reasons: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Judgement:
    troubles: tuple[Trouble, ...]
    buy: Buy | None = None
    well: str = ""
    reorder: ReorderPoint | None = field(default=None, compare=False)


def judge(*, design: Design, stock: StockNow, outlook: Outlook, offers: Sequence[Offer], today: date) -> Judgement:
    """Weigh what is there and coming against what is needed."""
    best = _quickest(offers)
    lead = lead_of(best) if best else Lead(0.0, 0.0, False)
    point = reorder_point(outlook.daily_mean, outlook.daily_sd, lead.mean, lead.sd, SERVICE, review=REVIEW_DAYS)
    whole = int(point.whole)
    troubles = []
    if outlook.short_careful is not None:
        troubles.append(_short(design, stock, outlook))
    free = stock.on_hand - stock.reserved
    if outlook.daily_mean > 0 and free <= whole:
        troubles.append(_low(design, stock, outlook, point, lead, covered=stock.position > whole))
    if all(one.covered for one in troubles):
        return Judgement(tuple(troubles), None, _well(stock, outlook), point)
    low = outlook.daily_mean > 0 and stock.position <= whole
    missing = max(outlook.needed_careful - stock.on_hand - stock.on_order, whole + 1 - stock.position if low else 0)
    if missing <= 0:
        # Enough is on its way, only not in time: more of it would come no sooner.
        return Judgement(tuple(troubles), None, "", point)
    return Judgement(tuple(troubles), _buy(design, stock, outlook, offers, missing, whole, today), "", point)


def _quickest(offers: Sequence[Offer]) -> Offer | None:
    return min(offers, key=lambda offer: lead_of(offer).careful, default=None)


def _short(design: Design, stock: StockNow, outlook: Outlook) -> Trouble:
    covered = outlook.short_with_orders is None
    short_on = outlook.short_careful if covered else outlook.short_with_orders
    assert short_on is not None
    if outlook.short_likely is not None and outlook.short_likely == outlook.short_careful:
        when = f"will run short on {_day(outlook.short_likely)}"
    elif outlook.short_likely is not None:
        when = f"may run short from {_day(short_on)}, and likely from {_day(outlook.short_likely)}"
    else:
        when = f"may run short from {_day(short_on)} (1 chance in 20)"
    need = f"likely need {outlook.needed_likely}, at most {outlook.needed_careful} (95 %)"
    says = f"{design.code} {when}. {_there(stock)}; {need} by {_day(outlook.until)}." if outlook.until else ""
    if not covered and stock.on_hand + stock.on_order >= outlook.needed_careful:
        says += f" {', '.join(one.order for one in stock.coming)} comes too late: ask for quicker delivery."
    return Trouble(
        kind=Flag.Kind.WILL_RUN_SHORT,
        covered=covered,
        short_on=short_on,
        says=says,
        evidence={
            **_stock_evidence(stock),
            "short_likely": _iso(outlook.short_likely),
            "short_careful": _iso(outlook.short_careful),
            "short_with_orders": _iso(outlook.short_with_orders),
            "needed_likely": outlook.needed_likely,
            "needed_careful": outlook.needed_careful,
        },
    )


def _low(
    design: Design, stock: StockNow, outlook: Outlook, point: ReorderPoint, lead: Lead, *, covered: bool
) -> Trouble:
    whole = int(point.whole)
    source = "the plan" if outlook.planned else "what was drawn lately"
    return Trouble(
        kind=Flag.Kind.BELOW_REORDER_POINT,
        covered=covered,
        short_on=None,
        says=(
            f"{design.code} stands at or below its reorder point of {whole}. {_there(stock)}; {source} takes "
            f"{outlook.daily_mean * 7:.1f} a week and an order {lead.mean:.0f} days."
        ),
        evidence={
            **_stock_evidence(stock),
            "reorder_point": whole,
            "safety_stock": round(float(point.safety_stock), 1),
            "daily_mean": round(outlook.daily_mean, 3),
            "daily_sd": round(outlook.daily_sd, 3),
            "lead_days": round(lead.mean, 1),
            "lead_days_sd": round(lead.sd, 1),
            "lead_observed": lead.observed,
            "review_days": REVIEW_DAYS,
            "service": SERVICE,
            "from_plan": outlook.planned,
        },
    )


def _well(stock: StockNow, outlook: Outlook) -> str:
    until = f" until {_day(outlook.until)}" if outlook.until else ""
    return f"{_there(stock)}: enough{until}"


def _buy(
    design: Design,
    stock: StockNow,
    outlook: Outlook,
    offers: Sequence[Offer],
    missing: int,
    reorder_at: int,
    today: date,
) -> Buy:
    short_on = outlook.short_with_orders
    month = month_of(short_on or outlook.until or today)
    chosen = [_at(offer, outlook, missing) for offer in offers if list(offer.prices.all())]
    reasons: dict[str, Any] = {
        **_stock_evidence(stock),
        "missing": missing,
        "reorder_point": reorder_at,
        "short_on": _iso(short_on),
        "order_cost": str(ORDER_COST),
        "holding_rate": HOLDING_RATE,
    }
    if not chosen:
        quantity = -(-missing // design.pack_size) * design.pack_size
        says = f"Order {quantity}. No supplier with a price is entered for {design.code}: add an offer first."
        return Buy(None, quantity, design.unit_cost, today, month, says, reasons)
    in_time = [one for one in chosen if short_on is None or today + timedelta(days=one.lead.careful) <= short_on]
    # Nobody is in time: the quickest does least harm.
    best = min(in_time, key=lambda one: one.yearly) if in_time else min(chosen, key=lambda one: one.lead.careful)
    order_by = today if short_on is None else max(today, short_on - timedelta(days=best.lead.careful))
    offer = best.offer
    lead_words = f"{best.lead.mean:.0f} days ({'seen' if best.lead.observed else 'stated'})"
    says = f"{missing} are missing. Order {best.quantity} from {offer.supplier.name}"
    says += f" (packs of {offer.pack}" if offer.pack > 1 else " (single pieces"
    says += f", at least {offer.minimum})" if offer.minimum > 1 else ")"
    says += ": the quantity that costs least over a year" if best.economic else ""
    says += f". It takes {lead_words}."
    if not in_time:
        says += " It will come late: ask for quicker delivery."
    reasons |= {
        "supplier": offer.supplier.name,
        "pack": offer.pack,
        "minimum": offer.minimum,
        "lead_days": round(best.lead.mean, 1),
        "lead_days_sd": round(best.lead.sd, 1),
        "lead_observed": best.lead.observed,
        "in_time": bool(in_time),
        "economic": best.economic,
        "compared": [
            {
                "supplier": one.offer.supplier.name,
                "quantity": one.quantity,
                "unit_price": str(one.unit_price),
                "lead_days": round(one.lead.mean, 1),
                "in_time": one in in_time,
            }
            for one in chosen
        ],
    }
    return Buy(offer, best.quantity, best.unit_price, order_by, month, says, reasons)


@dataclass(frozen=True, slots=True)
class _Priced:
    offer: Offer
    lead: Lead
    quantity: int
    unit_price: Decimal
    yearly: float
    economic: bool


def _at(offer: Offer, outlook: Outlook, missing: int) -> _Priced:
    """What one supplier's terms make of it: the least yearly cost, and never less than what is missing."""
    prices = {row.from_quantity: row.unit_price for row in offer.prices.all()}
    starts = sorted(prices)
    least = -(-max(missing, offer.minimum) // offer.pack) * offer.pack
    try:
        purchase = discounted_quantity(
            outlook.daily_mean * DAYS_PER_YEAR,
            float(ORDER_COST),
            HOLDING_RATE,
            [0, *starts[1:]],
            [float(prices[start]) for start in starts],
            pack=offer.pack,
            minimum=offer.minimum,
            least=missing,
        )
    except WorkingError:
        # A price of nothing has no economic quantity; what is missing is bought.
        return _Priced(offer, lead_of(offer), least, price_at(least, prices), 0.0, False)
    quantity = int(purchase.quantity)
    return _Priced(offer, lead_of(offer), quantity, price_at(quantity, prices), purchase.yearly_cost, quantity > least)


def _there(stock: StockNow) -> str:
    words = f"{stock.on_hand} on hand"
    if stock.on_order:
        words += f", {stock.on_order} on order"
    if stock.reserved:
        words += f", {stock.reserved} reserved"
    return words


def _stock_evidence(stock: StockNow) -> dict[str, Any]:
    return {
        "on_hand": stock.on_hand,
        "part_used": stock.part_used,
        "on_order": stock.on_order,
        "reserved": stock.reserved,
        "coming": [
            {"order": one.order, "expected_on": _iso(one.expected_on), "quantity": one.quantity} for one in stock.coming
        ],
    }


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _day(day: date) -> str:
    return f"{day.day} {day:%b}"
