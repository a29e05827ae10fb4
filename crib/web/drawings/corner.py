"""The corner that a chamfer mill cuts, many times enlarged."""

from __future__ import annotations

from dataclasses import dataclass

from crib.web.charts.svg import Coordinate
from crib.web.drawings.flute import Stand, draw_bands
from crib.web.drawings.geometry import Window
from crib.web.drawings.paper import EDGE, WIDTH, Sheet, View, scale_for
from crib.web.drawings.reading import Known

MUCH_LARGER = 1.5
WORDS = 150.0  # beside the view, for the depth


@dataclass(frozen=True)
class Corner:
    """The corner that is cut: its wall, the side on which the metal lies, width and depth of the chamfer."""

    wall: float
    side: int
    width: float
    leg: float
    gouge: float = 0.0

    def at(self, into: float, down: float) -> Coordinate:
        """A point so far into the metal and so far below the face."""
        return self.wall + self.side * into, -down

    def taken(self) -> list[Coordinate]:
        return [self.at(self.width, 0), self.at(0, 0), self.at(0, self.leg), self.at(self.gouge, self.leg)]


def enlarged(sheet: Sheet, known: Known, stand: Stand, corner: Corner, scale: float) -> None:
    """The edge alone with width and depth of the chamfer, many times larger."""
    w, leg, x, z = corner.width, corner.leg, stand.x, -stand.tip_at
    size = max(w, leg)
    inner, outer = corner.at(1.6 * w + 0.5 * size, 0)[0], corner.at(-1.6 * size, 0)[0]
    window = Window(min(inner, outer), max(inner, outer), -leg - 0.55 * size, 0.7 * size)
    larger = scale_for(window, WIDTH - 2 * EDGE - WORDS, 190)
    if larger < MUCH_LARGER * scale:
        return
    top = sheet.bottom + 58
    view = View(sheet, window, larger, left=EDGE + (WORDS if corner.side < 0 else 0.0), top=top)
    sheet.heading(f"The edge, {view.scale / scale:.2g} times as large", y=top - 32)
    far = 9 * (w + size)
    view.metal([corner.at(0, 0), corner.at(0, far), corner.at(far, far), corner.at(far, 0)])
    view.outline(corner.taken(), "taken")
    view.outline(stand.outline(), "tool see-through")
    for band in stand.worn:
        view.outline(stand.cone.outline(x, -z, band.low, band.high), f"worn worn-{band.shade}")
    view.clash([corner.at(0, 0), corner.at(corner.gouge, 0), corner.at(corner.gouge, z), corner.at(0, z)])
    draw_bands(view, stand)
    view.across(
        corner.at(w, 0)[0], corner.wall, view.top - 8, f"w {known.length(w)}", name="w-enlarged", start=(0.0, 0.0)
    )
    level, edge = (view.left - 4, window.left) if corner.side < 0 else (view.right + 4, window.right)
    start = (edge, corner.at(corner.gouge, 0)[0])
    view.down(0, -leg, level, f"depth {known.length(leg)}", name="leg-enlarged", start=start, left=corner.side < 0)
    if corner.gouge > 0:
        end = (view.right + 8, view.bottom - 10)
        view.leader(*corner.at(corner.gouge / 2, z), end, f"gouge {known.length(corner.gouge)}")
