"""A kit as it is proposed, handed out and brought back, before it is written."""

from __future__ import annotations

from dataclasses import dataclass

from crib.catalogue.models import Design
from crib.stock.models import Item, Move, Place
from crib.stock.records import Kit, KitLine

MOST_WANTED = 10_000
MOST_LINES = 200
LONGEST_WHY = 200
# In this order a kit is shown and served: what cuts first, what is only there in case last.
ROLES = (KitLine.Role.EDGE, KitLine.Role.BODY, KitLine.Role.HOLDER, KitLine.Role.SPARE)


@dataclass(frozen=True, kw_only=True)
class KitWant:
    """So many of a design, for what, and how the number was reached."""

    design: Design
    role: str
    wanted: int
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class BackLine:
    """What comes back of a kit: loose pieces in the condition they are held in, or a labelled one.

    `becomes` is its condition now; without a place, spent ones go to the spent box and others to their own bin.
    """

    design: Design
    quantity: int
    condition: str
    becomes: str
    item: Item | None = None
    to_place: Place | None = None


@dataclass(frozen=True)
class KitActed:
    """A kit after an act, the moves it made, and what of it is still missing, in words."""

    kit: Kit
    moves: tuple[Move, ...] = ()
    short: tuple[str, ...] = ()


def share_out(lines: list[KitLine], quantity: int, *, taken: str, most: str) -> None:
    """Count pieces of one design on its lines, each filled up to its `most`; what is too many goes on the last."""
    for line in lines:
        room = max(getattr(line, most) - getattr(line, taken), 0)
        part = quantity if line is lines[-1] else min(room, quantity)
        setattr(line, taken, getattr(line, taken) + part)
        quantity -= part


def by_role(line: KitLine | KitWant) -> tuple[int, str]:
    return ROLES.index(KitLine.Role(line.role)), line.design.code
