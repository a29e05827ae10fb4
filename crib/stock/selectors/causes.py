"""What may have come of a difference in the books: the line that fits it, and since when it can have been wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.utils import timezone

from crib.stock.models import CountLine, Move, Place

Spot = tuple[int, str, int]
LINES_NAMED = 3


@dataclass(frozen=True)
class Cause:
    """A sentence, and the moves that it is about."""

    sentence: str = ""
    moves: tuple[int, ...] = ()


def cause_of_balance(spot: Spot, off: Mapping[Spot, int], places: Mapping[int, Place]) -> Cause:
    """Why a balance may be `off[spot]` above what its moves come to; at most five queries."""
    by = off[spot]
    first = _carried_across(spot, by, off, places) or _one_line(spot, by) or _below_zero(spot, places)
    since = _right_when_counted(spot)
    if first is None:
        first = Cause("No single line fits; rows may have been written past the ledger.")
    return Cause(" ".join(filter(None, (first.sentence, since.sentence))), first.moves + since.moves)


def _carried_across(spot: Spot, by: int, off: Mapping[Spot, int], places: Mapping[int, Place]) -> Cause | None:
    """Another balance of the design is off by as much the other way: something between the two was miscounted."""
    twins = [other for other, its in off.items() if other[0] == spot[0] and other != spot and its == -by]
    if len(twins) != 1:
        return None
    more, fewer = (spot, twins[0]) if by > 0 else (twins[0], spot)
    names = places[fewer[2]].code, places[more[2]].code
    lost = _between(more, fewer, abs(by))
    if lost:
        return Cause(f"Fits a line from {names[1]} to {names[0]} that the balances never felt.", lost)
    doubled = _between(fewer, more, abs(by))
    if doubled:
        return Cause(f"Fits a line from {names[0]} to {names[1]} that the balances felt twice.", doubled)
    return Cause(
        f"The balances felt {abs(by)} go from {names[0]} to {names[1]}, and no line says so: one may have been deleted."
    )


def _between(giver: Spot, taker: Spot, quantity: int) -> tuple[int, ...]:
    found = Move.objects.filter(
        design=giver[0], quantity=quantity, condition=giver[1], from_place=giver[2], becomes=taker[1], to_place=taker[2]
    )
    return _newest(found)


def _one_line(spot: Spot, by: int) -> Cause | None:
    design, condition, place = spot
    came, went = Q(to_place=place, becomes=condition), Q(from_place=place, condition=condition)
    alike = Move.objects.filter(came | went, design=design, quantity=abs(by))
    moves = _newest(alike)
    if not moves:
        return None
    said = "this line" if len(moves) == 1 else "one of these lines, the newest first,"
    return Cause(f"Fits {said} of which this side was felt twice or not at all.", moves)


def _newest(moves: QuerySet[Move]) -> tuple[int, ...]:
    return tuple(moves.order_by("-id").values_list("pk", flat=True)[:LINES_NAMED])


def _below_zero(spot: Spot, places: Mapping[int, Place]) -> Cause | None:
    """The first move by which the place would have owed something, had the moves been all."""
    design, condition, place = spot
    if places[place].may_go_negative:
        return None
    came, went = Q(to_place=place, becomes=condition), Q(from_place=place, condition=condition)
    standing = 0
    rows = Move.objects.filter(came | went, design=design).order_by("pk")
    for number, quantity, to_place, becomes, from_place, left_as in rows.values_list(
        "pk", "quantity", "to_place", "becomes", "from_place", "condition"
    ).iterator(chunk_size=2000):
        standing += quantity * (
            ((to_place, becomes) == (place, condition)) - ((from_place, left_as) == (place, condition))
        )
        if standing < 0:
            return Cause(
                "By its moves alone it stood below zero after this one: a line before it is missing.", (number,)
            )
    return None


def _right_when_counted(spot: Spot) -> Cause:
    """The last time that somebody counted it and had it posted, and the first move since."""
    design, condition, place = spot
    lines = CountLine.objects.filter(design=design, condition=condition, place=place, count__state="posted")
    line = lines.select_related("count").order_by("-count__posted_at").first()
    if line is None or line.count.posted_at is None:
        return Cause()
    when = timezone.localtime(line.count.posted_at)
    touching = Q(to_place=place, becomes=condition) | Q(from_place=place, condition=condition)
    since = Move.objects.filter(touching, design=design, at__gt=line.count.posted_at).order_by("pk")
    first = since.values_list("pk", flat=True).first()
    said = f"Books and shelf agreed after count {line.count_id} on {when:%d.%m.%Y}"
    if first is None:
        return Cause(f"{said}, and no line touched it since.")
    return Cause(f"{said}; the first line since is {first}.", (first,))
