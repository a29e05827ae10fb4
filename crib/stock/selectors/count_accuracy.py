"""How right the books were found to be: by count and by month, in lines, pieces and money."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone

from crib.core import clock
from crib.stock.models import Count, CountLine, CountPiece, Place
from crib.stock.selectors.counts import ToCount

MONTHS = 12


@dataclass
class Tally:
    """Lines looked at and what was found; `misplaced` pieces lay in another place of the crib than booked."""

    lines: int = 0
    right: int = 0
    more: int = 0
    fewer: int = 0
    misplaced: int = 0
    money_more: Decimal = Decimal(0)
    money_fewer: Decimal = Decimal(0)

    def add(self, *, more: int, fewer: int, misplaced: int, cost: Decimal) -> None:
        """One line more."""
        self.lines += 1
        self.right += not (more or fewer or misplaced)
        self.more += more
        self.fewer += fewer
        self.misplaced += misplaced
        self.money_more += more * cost
        self.money_fewer += fewer * cost

    @property
    def share(self) -> float | None:
        """Of the lines, those on which books and shelf agreed."""
        return self.right / self.lines if self.lines else None

    @property
    def net(self) -> int:
        return self.more - self.fewer

    @property
    def absolute(self) -> int:
        return self.more + self.fewer

    @property
    def money_net(self) -> Decimal:
        return self.money_more - self.money_fewer

    @property
    def money_absolute(self) -> Decimal:
        return self.money_more + self.money_fewer


@dataclass(frozen=True)
class MonthCounted:
    """What the counts posted in one month found."""

    month: date
    counts: int
    tally: Tally


def tally_of(sheet: Iterable[ToCount]) -> Tally:
    """What one count found, line by line."""
    tally = Tally()
    for one in sheet:
        if one.line is not None or one.pieces:
            lines = [(one.line.expected, one.line.counted)] if one.line else []
            _add(tally, lines, one.pieces, one.design.unit_cost)
    return tally


def accuracy_by_month(*, months: int = MONTHS) -> list[MonthCounted]:
    """The last so many months with counts posted in them, the oldest first; two queries."""
    today = clock.today()
    first = date(today.year - (months - today.month + 11) // 12, (today.month - months) % 12 + 1, 1)
    since = datetime(first.year, first.month, 1, tzinfo=timezone.get_current_timezone())
    posted = {"count__state": Count.State.POSTED, "count__posted_at__gte": since}
    spots: dict[tuple[int, int, int, str], _Spot] = {}
    for line in CountLine.objects.filter(**posted).select_related("count", "design"):
        key = (line.count_id, line.design_id, line.place_id, line.condition)
        spots[key] = _Spot(line.count, line.design.unit_cost, [(line.expected, line.counted)], [])
    for piece in CountPiece.objects.filter(**posted).select_related("count", "item__design", "booked"):
        key = (piece.count_id, piece.item.design_id, piece.place_id, piece.condition)
        spot = spots.setdefault(key, _Spot(piece.count, piece.item.design.unit_cost, [], []))
        spot.pieces.append(piece)
    return _by_month(spots.values())


@dataclass(frozen=True)
class _Spot:
    count: Count
    cost: Decimal
    lines: list[tuple[int, int]]
    pieces: list[CountPiece]


def _by_month(spots: Iterable[_Spot]) -> list[MonthCounted]:
    tallies: dict[date, tuple[set[int], Tally]] = {}
    for spot in spots:
        assert spot.count.posted_at is not None
        month = timezone.localdate(spot.count.posted_at).replace(day=1)
        counts, tally = tallies.setdefault(month, (set(), Tally()))
        counts.add(spot.count.pk)
        _add(tally, spot.lines, spot.pieces, spot.cost)
    return [MonthCounted(month, len(counts), tally) for month, (counts, tally) in sorted(tallies.items())]


def _add(tally: Tally, lines: Iterable[tuple[int, int]], pieces: Iterable[CountPiece], cost: Decimal) -> None:
    more = fewer = misplaced = 0
    for expected, counted in lines:
        more += max(counted - expected, 0)
        fewer += max(expected - counted, 0)
    for piece in pieces:
        many = piece.item.pieces if piece.differs else 0
        if not piece.found:
            fewer += many
        elif piece.booked.kind in Place.ON_HAND:
            misplaced += many
        else:
            more += many
    tally.add(more=more, fewer=fewer, misplaced=misplaced, cost=cost)
