"""What the callers of the charts hand over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Point:
    """One observed edge: filled when it ended by itself, open when it was still good when last seen.

    Two more looks: "broken" for an end that was no wear, "excused" for one that does not count.
    """

    x: float
    y: float
    ended: bool = True
    look: Literal["", "broken", "excused"] = ""


@dataclass(frozen=True)
class Mark:
    """A place on the horizontal axis with a word to it."""

    x: float
    words: str
    tone: str = "plain"


@dataclass(frozen=True)
class Series:
    """One named line."""

    name: str
    xs: Sequence[float]
    ys: Sequence[float]


@dataclass(frozen=True)
class Range:
    """A band with its name: between which heights something lies at each place."""

    name: str
    low: Sequence[float]
    high: Sequence[float]


@dataclass(frozen=True)
class Shade:
    """A stretch of the horizontal axis where something holds, such as a limit; its number refers to words beneath."""

    start: float
    stop: float
    number: int
