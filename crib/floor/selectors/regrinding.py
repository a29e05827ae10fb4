"""What is out at the regrind shops, what came of it, and what is worth sending; each a fixed number of queries."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Count, Exists, F, Max, OuterRef, Q, QuerySet, Sum

from crib.catalogue.models import Design
from crib.core import clock
from crib.core.errors import NotFound
from crib.floor.grinds import PRESENT
from crib.floor.models import Assembly, Edge, Fitting
from crib.stock.models import Balance, Condition, Item, Place
from crib.stock.records import Dispatch, DispatchLine, ScrapCollection

MOST_SHOWN = 100
WORN = (Condition.PART_USED, Condition.SPENT)


def regrind_shops() -> QuerySet[Place]:
    """Where tools can be sent."""
    return Place.objects.filter(kind=Place.Kind.REGRIND, retired_at=None).order_by("name")


def dispatches() -> QuerySet[Dispatch]:
    """Every dispatch, the last first, each with how many of its tools are still out and what they cost so far."""
    still_out = Count("lines", filter=Q(lines__state=DispatchLine.State.OUT))
    counted = Dispatch.objects.annotate(tools=Count("lines"), still_out=still_out, paid=Sum("lines__cost"))
    return counted.select_related("shop", "sent_by").order_by("-pk")


def dispatch_with(*, number: int) -> Dispatch:
    """The dispatch with this number, with its tools."""
    found = dispatches().filter(pk=number).prefetch_related("lines__item__design", "lines__item__place").first()
    if found is None:
        raise NotFound("There is no such dispatch.")
    return found


def lines_out(*, shop: Place | None = None) -> list[DispatchLine]:
    """Tools that are out, the first to come back first; those with no day named come last."""
    lines = DispatchLine.objects.filter(state=DispatchLine.State.OUT)
    if shop is not None:
        lines = lines.filter(dispatch__shop=shop)
    related = lines.select_related("dispatch__shop", "dispatch__sent_by", "item__design")
    return list(related.order_by(F("dispatch__due_on").asc(nulls_last=True), "dispatch", "pk"))


@dataclass(frozen=True, slots=True)
class LateDispatch:
    """A dispatch of which something should be back."""

    dispatch: Dispatch
    tools: int
    due_on: date

    @property
    def days(self) -> int:
        return (clock.today() - self.due_on).days


def late_dispatches() -> list[LateDispatch]:
    """Dispatches whose day has passed and that are not all back, the longest overdue first; one query."""
    late = Counter(line.dispatch for line in lines_out() if line.overdue)
    return [LateDispatch(one, tools, one.due_on) for one, tools in late.items() if one.due_on is not None]


@dataclass(frozen=True, slots=True)
class GrindHistory:
    """What became of a tool's lives: money in the shop's currency, lives as ground so far."""

    left: int
    lines: tuple[DispatchLine, ...]
    spent: Decimal
    price: Decimal
    lives: int
    minutes: float
    parts: int

    @property
    def cost_per_life(self) -> Decimal:
        """Price and regrinds so far over the lives it has had, the present one among them."""
        return (self.price + self.spent) / self.lives

    @property
    def cost_per_part(self) -> Decimal | None:
        """The same over the parts it has cut, once it has cut any."""
        return (self.price + self.spent) / self.parts if self.parts > 0 else None


def grind_history(*, item: Item) -> GrindHistory:
    """Where a tool was sent, what it measures and costs, and what is left of its regrinds; two queries."""
    lines = tuple(item.dispatch_lines.select_related("dispatch__shop").order_by("-pk"))
    cut = Edge.objects.filter(item=item).aggregate(minutes=Sum("minutes"), parts=Sum("parts"))
    return GrindHistory(
        left=max(item.design.regrinds_allowed - item.regrinds_done, 0),
        lines=lines,
        spent=sum((line.cost or Decimal(0) for line in lines), Decimal(0)),
        price=item.design.unit_cost * item.pieces,
        lives=1 + item.regrinds_done,
        minutes=float(cut["minutes"] or 0.0),
        parts=int(cut["parts"] or 0),
    )


@dataclass(frozen=True, slots=True)
class WorthSending:
    """A worn tool, or loose ones of a design, that a regrind makes good for less than a new one."""

    design: Design
    place: Place
    condition: str
    item: Item | None
    pieces: int
    left: int

    @property
    def saves(self) -> Decimal:
        """Against new, for this one regrind of all these pieces."""
        return (self.design.unit_cost - self.design.regrind_cost) * self.pieces

    @property
    def saves_in_all(self) -> Decimal:
        """Against new, over all the regrinds that are left."""
        return self.saves * self.left

    @property
    def condition_words(self) -> str:
        return str(Condition(self.condition).label)


def worth_sending() -> list[WorthSending]:
    """Worn tools at hand with regrinds left that cost less than new, what saves most first.

    What was thrown away counts until the box of worn carbide is emptied. A tool that broke is left out.
    """
    found = [
        WorthSending(item.design, item.place, item.condition, item, item.pieces, left)
        for item in _worn_items()
        if (left := item.design.regrinds_allowed - item.regrinds_done) > 0
    ]
    for row in _worn_loose():
        loose = row.quantity - row.labelled
        found.append(WorthSending(row.design, row.place, row.condition, None, loose, row.design.regrinds_allowed))
    return sorted(found, key=lambda one: (-one.saves, one.design.code, one.place.code))


def _pays() -> Q:
    return Q(design__regrinds_allowed__gt=0, design__regrind_cost__lt=F("design__unit_cost"))


def _worn_items() -> QuerySet[Item]:
    fitted = Fitting.objects.filter(item=OuterRef("pk"), removed_at=None)
    built_in = Assembly.objects.filter(Q(holder=OuterRef("pk")) | Q(body=OuterRef("pk")), taken_apart_at=None)
    broke = Edge.objects.filter(PRESENT, item=OuterRef("pk"), outcome=Edge.Outcome.BROKEN)
    emptied = ScrapCollection.objects.aggregate(last=Max("at"))["last"]
    in_the_box = Q(place__kind=Place.Kind.SPENT)
    if emptied is not None:
        in_the_box &= Q(since__gt=emptied)
    at_hand = Q(place__kind__in=(*Place.ON_HAND, Place.Kind.PERSON)) | in_the_box
    items = Item.objects.filter(
        _pays(), at_hand, ~Exists(fitted), ~Exists(built_in), ~Exists(broke), condition__in=WORN
    )
    return items.select_related("design", "place").order_by("-since", "-pk")[:MOST_SHOWN]


def _worn_loose() -> QuerySet[Balance]:
    """Loose ones on the shelves and with people; of those thrown away nobody knows which are in the box still."""
    rows = Balance.objects.filter(_pays(), condition__in=WORN, quantity__gt=F("labelled"))
    at_hand = rows.filter(place__kind__in=(*Place.ON_HAND, Place.Kind.PERSON))
    return at_hand.select_related("design", "place").order_by("design__code", "pk")[:MOST_SHOWN]
