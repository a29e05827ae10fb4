"""What the slices above the stock object to before a piece counts as spent.

The stock knows no edges, and a spent tip whose edge is in use would stay on the board for ever. Who knows such a
reason says so here when the program starts, and then every way of throwing a piece away asks it.
"""

from __future__ import annotations

from collections.abc import Callable

from crib.stock.models import Item

Objection = Callable[[Item], None]
_objections: list[Objection] = []


def ask_before_spent(objection: Objection) -> None:
    """Have `objection` raise a domain error for every piece that must not count as spent yet."""
    if objection not in _objections:
        _objections.append(objection)


def check_may_be_spent(item: Item) -> None:
    """Refuse a piece of which something is still at work."""
    for objection in _objections:
        objection(item)
