"""A chamfer mill on an edge: the whole tool beside the wall, with what it must not meet."""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.utils.safestring import SafeString

from crib.web.charts.svg import Coordinate
from crib.web.drawings.corner import Corner, enlarged
from crib.web.drawings.flute import (
    COLUMN,
    HAIR,
    HIGHEST,
    Cone,
    Stand,
    below,
    cone_of,
    draw_bands,
    draw_tool,
    flute_legend,
    mark_heights,
    stand_of,
    told,
)
from crib.web.drawings.geometry import Window, clip, rectangle
from crib.web.drawings.paper import EDGE, WIDTH, Sheet, View
from crib.web.drawings.reading import Known

LARGE = 40.0  # a chamfer so wide on the paper carries its width itself
FARTHEST = 2.5  # a wall or a floor so many tool radii off would only make everything else small


@dataclass(frozen=True)
class _Edge:
    """The place of the tool beside an edge: the wall stands at 0, the face lies at 0."""

    stand: Stand
    width: float
    leg: float
    wall: float | None
    wall_top: float | None
    bottom: float | None

    @property
    def cone(self) -> Cone:
        return self.stand.cone

    @property
    def corner(self) -> Corner:
        return Corner(0.0, -1, self.width, self.leg, max(0.0, self.cone.tip - self.stand.x))


def edge(known: Known) -> SafeString:
    """A section across the edge: the whole tool beside the wall, then the edge itself enlarged."""
    x, z = known.number("axis_offset"), known.number("depth_below_face")
    cone = cone_of(known, z)
    place = _Edge(
        stand_of(known, cone, x, -z, -1), known.number("chamfer_width"), z - known.number("contact_low"),
        _near(known.maybe("neighbour_distance"), x, cone.widest), known.maybe("neighbour_height"),
        _near(known.maybe("floor_depth"), z, cone.flute),
    )  # fmt: skip
    sheet = Sheet()
    sheet.heading("Section across the edge")
    view = sheet.view(
        _edge_window(place), left=EDGE, top=sheet.bottom + 32, width=WIDTH - COLUMN - 2 * EDGE, height=HIGHEST
    )
    clashes = _edge_shapes(view, place)
    _edge_sizes(view, known, place)
    mark_heights(view, known, place.stand, _floor_mark(view, known, place))
    enlarged(sheet, known, place.stand, place.corner, view.scale)
    entries = flute_legend(known, place.stand)
    sheet.legend([*entries, *(("clash", words) for words in clashes)])
    says = [
        f"Section across the edge: the axis stands {known.text('axis_offset')} from the wall, the tip flat "
        f"{known.text('depth_below_face')} below the face; program a diameter of {known.text('program_diameter')}. "
        f"The chamfer is {known.text('chamfer_width')} wide. "
        f"The flute cuts from {known.text('contact_low')} to {known.text('contact_high')} above the tip flat.",
        *told(known, place.stand),
        *(f"Collision: {words}." for words in clashes),
        *_too_far(known, place),
    ]
    return sheet.drawn("The tool on the edge", " ".join(says))


def _near(distance: float | None, room: float, reach: float) -> float | None:
    """A distance, unless it lies so far off that drawing it would make everything else small."""
    return distance if distance is not None and distance <= room + FARTHEST * reach else None


def _edge_window(place: _Edge) -> Window:
    cone, x, z = place.cone, place.stand.x, -place.stand.tip_at
    reach = cone.widest
    left = min(x - 1.08 * reach, -0.8 * reach, -1.8 * place.width)
    right = max(x + 1.12 * reach, 2.05 * x, (place.wall or 0.0) + 0.35 * reach)
    low = max(z, place.bottom or 0.0)
    return Window(left, right, -low - max(0.25 * z, 0.12 * cone.top), cone.top - z)


def _edge_shapes(view: View, place: _Edge) -> list[str]:
    """Work, tool and cut; returns what collides, in words."""
    stand, window = place.stand, view.window
    deep = 2 * window.height
    far = window.right + deep if place.wall is None else place.wall
    block = [(window.left - deep, -deep), (window.left - deep, 0.0), (0.0, 0.0)]
    block += [(0.0, -deep)] if place.bottom is None else [(0.0, -place.bottom), (far, -place.bottom)]
    if place.wall is not None:
        # A wall of which no height is known may be as high as the tool.
        top = deep if place.wall_top is None else place.wall_top
        wall = rectangle(place.wall, window.right + deep, -deep, top)
        if place.bottom is None:
            view.metal(wall)
        else:
            block += [(far, top), (window.right + deep, top), (window.right + deep, -deep)]
    elif place.bottom is not None:
        block += [(far, -deep)]
    view.metal(block)
    view.outline(place.corner.taken(), "taken", data_name="taken")
    draw_tool(view, stand)
    clashes = _edge_clashes(view, place)
    draw_bands(view, stand)
    return clashes


def _edge_clashes(view: View, place: _Edge) -> list[str]:
    """Where the tool meets what it must not, drawn and in words."""
    stand, cone, window = place.stand, place.cone, view.window
    x, z = stand.x, -stand.tip_at
    clashes = []
    if view.clash(rectangle(-place.corner.gouge, 0.0, -z, 0.0)):
        clashes.append("the tip flat cuts into the wall")
    if z > cone.flute + HAIR and cone.known:
        view.clash(clip(cone.outline(x, -z, cone.flute), replace(window, right=0.0, top=0.0)))
        rim = x - cone.radius(cone.flute)
        view.clash([(rim, cone.flute - z), (x - cone.reached(z), 0.0), (rim, 0.0)])
        clashes.append("the shank above the flute meets the edge")
    if place.wall is not None:
        top = window.top if place.wall_top is None else place.wall_top
        if view.clash(clip(stand.outline(), replace(window, left=place.wall, top=top))):
            clashes.append("the tool runs into the neighbouring wall")
    if place.bottom is not None and view.clash(clip(stand.outline(), below(window, -place.bottom))):
        clashes.append("the tip runs into the floor")
    return clashes


def _edge_sizes(view: View, known: Known, place: _Edge) -> None:
    x, z = place.stand.x, -place.stand.tip_at
    tip = (x - place.cone.tip, x + place.cone.tip)
    view.down(0, -z, view.left + 12, f"z {known.text('depth_below_face')}", name="z", start=(view.window.left, tip[0]))
    level = view.bottom + 20
    if x > 0:
        view.across(0, x, level, f"x {known.text('axis_offset')}", name="x", start=(0.0, -z))
        words = f"program Ø {known.text('program_diameter')}"
        view.across(0, 2 * x, level + 26, words, name="program", start=(0.0, 0.0))
        level += 26
    else:
        view.sheet.words(f"x {known.text('axis_offset')}: the axis stands on the wall", view.at(0, 0)[0], level)
    if place.wall is not None:
        level += 26
        words = f"to the next wall {known.text('neighbour_distance')}"
        view.across(0, place.wall, level, words, name="neighbour", start=(0.0, view.window.bottom))
    view.sheet.bottom = max(view.sheet.bottom, level + 8)
    level = view.top - 12
    if place.width * view.scale >= LARGE:
        view.across(-place.width, 0, level, f"w {known.text('chamfer_width')}", name="w", start=(0.0, 0.0))


def _floor_mark(view: View, known: Known, place: _Edge) -> list[tuple[Coordinate, str]]:
    """The floor with its depth, at the right end of what is seen of it."""
    if place.bottom is None:
        return []
    end = view.window.right if place.wall is None else place.wall
    return [((end, -place.bottom), f"floor {known.text('floor_depth')} down")]


def _too_far(known: Known, place: _Edge) -> list[str]:
    """Walls and floors so far off that they are not drawn."""
    said = []
    if place.wall is None and known.has("neighbour_distance"):
        said.append(f"The neighbouring wall, {known.text('neighbour_distance')} off, lies beyond the drawing.")
    if place.bottom is None and known.has("floor_depth"):
        said.append(f"The floor, {known.text('floor_depth')} down, lies beyond the drawing.")
    return said
