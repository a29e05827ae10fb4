"""How the edges of one tip stand, and what is left of each at some work; in figures and in words."""

from __future__ import annotations

from dataclasses import dataclass

from crib.catalogue.models import Design
from crib.floor.flute import is_chamfer_mill
from crib.floor.models import Operation
from crib.stock.models import Item, Place


@dataclass(frozen=True, slots=True)
class CornerLeft:
    """One edge of a tip: what it has done, and what is left of it at the work asked about.

    `state` is fresh, part_used or ended, and `work` what it did last. `change_in` are minutes to the change-by, None
    where it is run to its end.
    """

    number: int
    state: str
    minutes: float = 0.0
    parts: int = 0
    edge: int | None = None
    work: Operation | None = None
    outcome: str = ""
    minutes_left_10: float | None = None
    minutes_left_50: float | None = None
    parts_left_10: int | None = None
    parts_left_50: int | None = None
    change_in: float | None = None
    chance_of_batch: float | None = None


@dataclass(frozen=True, slots=True)
class TipLeft:
    """A labelled tip with all its corners, the one that cuts next among them, at one operation or at its own last.

    `whole_life` is what half of fresh edges last there, in minutes; `batch_left` the parts still to make there.
    """

    item: Item
    corners: tuple[CornerLeft, ...]
    operation: Operation | None = None
    whole_life: float | None = None
    batch_left: int | None = None

    @property
    def place(self) -> Place:
        return self.item.place

    @property
    def fresh(self) -> int:
        return self._count("fresh")

    @property
    def part_used(self) -> int:
        return self._count("part_used")

    @property
    def ended(self) -> int:
        return self._count("ended")

    def _count(self, state: str) -> int:
        return sum(corner.state == state for corner in self.corners)

    @property
    def used_up(self) -> bool:
        """Whether the last of its edges has come off."""
        return bool(self.corners) and self.ended == len(self.corners)

    @property
    def next(self) -> CornerLeft | None:
        """The one that would cut when it is fitted now: the part-used one, else the lowest fresh one."""
        left = [corner for corner in self.corners if corner.state != "ended"]
        return min(left, key=lambda corner: (corner.state != "part_used", corner.number), default=None)

    @property
    def minutes_left_10(self) -> float | None:
        return self.next.minutes_left_10 if self.next else None

    @property
    def minutes_left_50(self) -> float | None:
        return self.next.minutes_left_50 if self.next else None

    @property
    def parts_left(self) -> int | None:
        """Whole parts that the next edge makes nine times in ten."""
        return self.next.parts_left_10 if self.next else None

    @property
    def chance(self) -> float | None:
        """That the next edge by itself lasts the rest of the batch."""
        return self.next.chance_of_batch if self.next else None

    @property
    def enough(self) -> bool:
        """Whether the next edge lasts the rest of the batch within the risk that its operation accepts."""
        if self.chance is None or self.operation is None or not self.batch_left:
            return False
        return self.chance >= 1 - self.operation.accepted_risk

    @property
    def enough_words(self) -> str:
        """Whether that does for the batch, in a few words; empty where nothing can be said."""
        if self.chance is None or not self.batch_left:
            return ""
        batch = f"the {self.batch_left} parts" if self.batch_left > 1 else "the 1 part"
        return f"lasts {batch} still to make" if self.enough else f"not sure to last {batch} still to make"

    @property
    def says(self) -> str:
        """Such as “3 of 4 corners fresh, corner 2 has 12 of about 40 min left”."""
        return corners_in_words(self)


def corners_in_words(tip: TipLeft) -> str:
    """How the edges of a tip stand, in a sentence without its full stop."""
    one, several = edge_words(tip.item.design)
    count = len(tip.corners)
    if not count:
        return "It has no edge that cuts"
    if tip.used_up:
        return "Used up" if count == 1 else f"Used up: all {count} {several} have come off"
    if count == 1:
        begins = "Fresh" if tip.fresh else ""
    elif tip.fresh:
        begins = f"{tip.fresh} of {count} {several} fresh"
    else:
        begins = f"None of {count} {several} fresh"
    worn = next((corner for corner in tip.corners if corner.state == "part_used"), None)
    if worn is None:
        return begins
    which = f"{one} {worn.number}" if count > 1 else "it"
    said = f"{which} {_left_of(worn, tip)}"
    return f"{begins}, {said}" if begins else said[:1].upper() + said[1:]


def _left_of(corner: CornerLeft, tip: TipLeft) -> str:
    if corner.minutes_left_50 is None or tip.whole_life is None:
        return f"has cut {_minutes(corner.minutes)} min"
    return f"has {_minutes(corner.minutes_left_50)} of about {_minutes(tip.whole_life)} min left"


def _minutes(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


def edge_words(design: Design) -> tuple[str, str]:
    """What one working edge of a design is called, and several: corners of an insert or a tip that is turned."""
    turned = design.kind in (Design.Kind.TIP, Design.Kind.INSERT) and not is_chamfer_mill(design)
    return ("corner", "corners") if turned else ("edge", "edges")
