"""The flute of a chamfer mill drawn whole: its heights, the band that cuts, what is worn, and where it collides."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from crib.web.charts.svg import Coordinate
from crib.web.drawings.geometry import Window, spread
from crib.web.drawings.paper import LINE, View
from crib.web.drawings.reading import Known

COLUMN = 204.0  # beside the view, for the heights in words
HIGHEST = 330.0  # of a view of the whole tool
MOST_TOLD = 4
SHADES = 4
HAIR = 1e-9


@dataclass(frozen=True)
class Cone:
    """A chamfer mill for drawing: tip radius, radius gained per height, and its heights where they are known."""

    tip: float
    slope: float
    flute: float
    shank: float
    body: float
    known: bool

    def radius(self, height: float) -> float:
        """Of the flute; above it, of its end."""
        return self.tip + min(height, self.flute) * self.slope

    def reached(self, height: float) -> float:
        """The radius as if the flute went on, which is what a chamfer above it would ask for."""
        return self.tip + height * self.slope

    @property
    def top(self) -> float:
        return self.flute + self.shank

    @property
    def widest(self) -> float:
        return max(self.radius(self.flute), self.body if self.shank else 0.0)

    def outline(self, x: float, tip_at: float, low: float = 0.0, high: float = math.inf) -> list[Coordinate]:
        """Its section between two heights, the axis at x and the tip flat at the level tip_at."""
        high = min(high, self.top)
        right = [(self.radius(height), height) for height in (low, min(high, self.flute)) if height <= self.flute]
        if high > self.flute:
            right += [(self.body, max(low, self.flute)), (self.body, high)]
        points = [(x + radius, tip_at + height) for radius, height in right]
        return [*points, *((2 * x - across, level) for across, level in reversed(points))]

    def flank(self, x: float, tip_at: float, low: float, high: float, side: int) -> list[Coordinate]:
        """The line of the flute on one side between two heights."""
        return [(x + side * self.radius(height), tip_at + height) for height in (low, high)]


def cone_of(known: Known, highest: float) -> Cone:
    """The tool; without its largest diameter, as much of it as the contact needs and a little more."""
    tip = known.given("tip_diameter") / 2
    slope = math.tan(math.radians(known.given("included_angle") / 2))
    largest, shank = known.maybe("max_diameter"), known.maybe("shank_diameter")
    if largest is None:
        return Cone(tip, slope, highest * 1.5, 0.0, 0.0, known=False)
    flute = (largest / 2 - tip) / slope
    above = max(0.3 * flute, highest - flute + 0.3 * flute)
    return Cone(tip, slope, flute, above, largest / 2 if shank is None else shank / 2, known=True)


@dataclass(frozen=True)
class Worn:
    """A band that edges of this tool have cut with before, and the share of their life it took."""

    low: float
    high: float
    share: float | None

    @property
    def shade(self) -> int:
        """Of 1 to SHADES, stronger with more wear; the middle when nothing is known of it."""
        if self.share is None:
            return 2
        return max(1, min(SHADES, math.ceil(self.share * SHADES)))


def worn_bands(known: Known, flute: float) -> list[Worn]:
    """The worn bands as far as they lie on the flute, least worn first so that stronger ones lie on top."""
    found = []
    for row in known.rows("worn"):
        if not isinstance(row, Mapping):
            continue
        low, high, share = (_number(row.get(name)) for name in ("low", "high", "share"))
        if low is not None and high is not None and max(low, 0.0) < min(high, flute):
            found.append(Worn(max(low, 0.0), min(high, flute), share))
    return sorted(found, key=lambda band: band.share or 0.0)


def _number(value: object) -> float | None:
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if good else None  # type: ignore[arg-type]  # the line above makes it a number


@dataclass(frozen=True)
class Stand:
    """Where the tool stands: its axis, the level of its tip flat, the side that cuts, and the band that does."""

    cone: Cone
    x: float
    tip_at: float
    side: int
    low: float
    high: float
    worn: Sequence[Worn] = ()
    proposed: tuple[float, float] | None = None

    @property
    def cutting_high(self) -> float:
        """The highest contact that the flute has; above it there is only shank."""
        return min(self.high, self.cone.flute)

    def outline(self) -> list[Coordinate]:
        return self.cone.outline(self.x, self.tip_at)


def stand_of(known: Known, cone: Cone, x: float, tip_at: float, side: int) -> Stand:
    low, high = known.maybe("proposed_contact_low"), known.maybe("proposed_contact_high")
    proposed = (low, min(high, cone.flute)) if low is not None and high is not None and low < cone.flute else None
    return Stand(
        cone, x, tip_at, side, known.number("contact_low"), known.number("contact_high"),
        worn_bands(known, cone.flute), proposed,
    )  # fmt: skip


def draw_tool(view: View, stand: Stand) -> None:
    """The flute whole with its shank, worn bands across it, and the bands that cut and are proposed along its sides."""
    cone = stand.cone
    if cone.shank:
        view.outline(cone.outline(stand.x, stand.tip_at, cone.flute), "shank see-through")
    view.outline(cone.outline(stand.x, stand.tip_at, 0.0, cone.flute), "tool see-through")
    for band in stand.worn:
        view.outline(cone.outline(stand.x, stand.tip_at, band.low, band.high), f"worn worn-{band.shade}")
    if not cone.known:
        end = stand.tip_at + cone.flute
        view.stroke([(stand.x - cone.widest, end), (stand.x + cone.widest, end)], "open-end")
    view.stroke([(stand.x, stand.tip_at + cone.top), (stand.x, view.window.bottom)], "axis-line")


def draw_bands(view: View, stand: Stand) -> None:
    """The band that cuts where it cuts, and the proposed one on both sides of the flute."""
    cone = stand.cone
    if stand.proposed is not None:
        for side in (-1, 1):
            view.stroke(cone.flank(stand.x, stand.tip_at, *stand.proposed, side), "proposed")
    if stand.cutting_high > stand.low:
        view.stroke(
            cone.flank(stand.x, stand.tip_at, stand.low, stand.cutting_high, stand.side), "band", data_name="band"
        )


def mark_heights(view: View, known: Known, stand: Stand, also: Sequence[tuple[Coordinate, str]] = ()) -> None:
    """The heights above the tip flat in a column beside the tool, each with a line to its place."""
    cone = stand.cone
    rows = [(0.0, "tip flat 0"), (stand.low, f"cuts from {known.text('contact_low')}")]
    fits = stand.high <= cone.flute + HAIR
    rows.append((stand.high, f"{'cuts' if fits else 'would cut'} to {known.text('contact_high')}"))
    if stand.proposed is not None:
        low, high = stand.proposed
        rows += [(low, f"least worn from {known.length(low)}"), (high, f"least worn to {known.length(high)}")]
    if cone.known:
        rows.append((cone.flute, f"flute ends {known.length(cone.flute)}"))
    if stand.low <= HAIR:
        rows = [(0.0, "tip flat 0, cuts from it"), *rows[2:]]
    marks = [((stand.x + cone.radius(height), stand.tip_at + height), words) for height, words in rows]
    marks += also
    levels = spread([view.at(*point)[1] for point, _ in marks], view.top + 6, view.bottom + 10, LINE + 1)
    for (point, words), level in zip(marks, levels, strict=True):
        view.leader(*point, (view.right + 10, level), words)


def told(known: Known, stand: Stand) -> list[str]:
    """In words: what is worn and what is proposed."""
    said = []
    if stand.worn:
        said.append(f"Worn already: {worn_words(known, stand)}.")
    if stand.proposed is not None:
        low, high = stand.proposed
        said.append(f"The least worn band that fits is {known.length(low)} to {known.length(high)}.")
    return said


def worn_words(known: Known, stand: Stand) -> str:
    most = sorted(stand.worn, key=lambda band: band.low)[:MOST_TOLD]
    words = [
        f"{known.length(band.low)} to {known.length(band.high)}"
        + ("" if band.share is None else f" ({100 * band.share:.0f} % of a life)")
        for band in most
    ]
    rest = len(stand.worn) - len(most)
    return "; ".join(words) + (f" and {rest} more" if rest else "")


def flute_legend(known: Known, stand: Stand) -> list[tuple[str, str]]:
    entries = [("metal", "the work in section"), ("tool", "the flute"), ("band", "the band that cuts")]
    shades = sorted({band.shade for band in stand.worn})
    if shades:
        entries.append(
            (f"worn worn-{shades[-1]}", f"worn already, stronger with more wear: {worn_words(known, stand)}")
        )
    if stand.proposed is not None:
        entries.append(("proposed", "the least worn band that fits"))
    return entries


def below(window: Window, y: float) -> Window:
    """The part of a window under a level."""
    return Window(window.left, window.right, window.bottom, max(min(y, window.top), window.bottom))
