"""A chamfer mill in the mouth of a hole, plunged on its axis or circling in it."""

from __future__ import annotations

from dataclasses import replace

from django.utils.safestring import SafeString

from crib.web.drawings.corner import Corner, enlarged
from crib.web.drawings.flute import (
    COLUMN,
    HAIR,
    HIGHEST,
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

FARTHEST = 2.5  # times the tool's depth; a deeper bottom would only make everything else small


def hole(known: Known) -> SafeString:
    """A section through the hole: the whole tool at its depth, and where on its circle."""
    if not known.has("depth_below_face"):
        return _kept_out(known)
    bore, mouth = known.given("hole_diameter") / 2, known.number("chamfer_diameter") / 2
    z, circle = known.number("depth_below_face"), known.number("interpolation_radius")
    cone, deep = cone_of(known, z), known.maybe("hole_depth")
    stand = stand_of(known, cone, circle, -z, 1)
    bottom = deep if deep is not None and deep <= FARTHEST * max(z, cone.top) else None
    sheet = Sheet()
    sheet.heading("Section through the hole")
    reach = max(mouth * 1.25, circle + 1.08 * cone.widest)
    low = max(z, bottom or 0.0) + max(0.25 * mouth, 0.1 * cone.top)
    window = Window(-max(1.7 * mouth, 1.08 * cone.widest - circle), reach, -low, cone.top - z)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 8, width=WIDTH - COLUMN - 2 * EDGE, height=HIGHEST)
    clashes = _hole_shapes(view, stand, (bore, mouth), bottom)
    _hole_sizes(view, known, stand, (bore, mouth))
    also = [((bore, -bottom), f"bottom {known.text('hole_depth')} down")] if bottom is not None else []
    mark_heights(view, known, stand, also)
    enlarged(sheet, known, stand, Corner(bore, 1, mouth - bore, z - stand.low), view.scale)
    sheet.legend([*flute_legend(known, stand), *(("clash", words) for words in clashes)])
    way = f"circling on a radius of {known.text('interpolation_radius')}" if circle > 0 else "plunged on the axis"
    says = [
        f"Section of a hole of {known.given_text('hole_diameter')}, its mouth {known.text('chamfer_diameter')}: the "
        f"tool {way}, its tip flat {known.text('depth_below_face')} below the face. "
        f"The flute cuts from {known.text('contact_low')} to {known.text('contact_high')} above the tip flat.",
        *told(known, stand),
        *(f"Collision: {words}." for words in clashes),
    ]
    return sheet.drawn("The tool in the hole", " ".join(says))


def _hole_shapes(view: View, stand: Stand, radii: tuple[float, float], bottom: float | None) -> list[str]:
    """Work, tool and cut; returns what collides, in words."""
    (bore, mouth), window = radii, view.window
    far = 2 * (window.width + window.height)
    for side in (-1, 1):
        view.metal([(side * bore, 0.0), (side * far, 0.0), (side * far, -far), (side * bore, -far)])
        leg = [(side * bore, 0.0), (side * mouth, 0.0), (side * bore, stand.low + stand.tip_at)]
        view.outline(leg, "taken", data_name="taken")
    if bottom is not None:
        view.metal(rectangle(-bore, bore, -far, -bottom))
    draw_tool(view, stand)
    if stand.x != 0:
        view.stroke([(0.0, window.top), (0.0, window.bottom)], "axis-line")
    clashes = _hole_clashes(view, stand, radii)
    if bottom is not None and view.clash(clip(stand.outline(), below(window, -bottom))):
        clashes.append("the tip runs into the bottom of the hole")
    draw_bands(view, stand)
    if stand.x == 0 and stand.cutting_high > stand.low:
        view.stroke(stand.cone.flank(0.0, stand.tip_at, stand.low, stand.cutting_high, -1), "band")
    return clashes


def _hole_clashes(view: View, stand: Stand, radii: tuple[float, float]) -> list[str]:
    cone, window, z = stand.cone, view.window, -stand.tip_at
    bore, _ = radii
    clashes = []
    if cone.known and z > cone.flute + HAIR:
        rim = cone.radius(cone.flute)
        for side in (1,) if stand.x > 0 else (-1, 1):
            metal = replace(window, left=bore, top=0.0) if side > 0 else replace(window, right=-bore, top=0.0)
            view.clash(clip(cone.outline(stand.x, -z, cone.flute), metal))
            end = stand.x + side * rim
            view.clash([(end, cone.flute - z), (stand.x + side * cone.reached(z), 0.0), (end, 0.0)])
        clashes.append("the shank above the flute meets the face")
    if stand.x < -HAIR:
        view.clash(clip(stand.outline(), replace(window, right=-bore, top=0.0)))
        clashes.append("the tool is too wide to enter the hole")
    return clashes


def _hole_sizes(view: View, known: Known, stand: Stand, radii: tuple[float, float]) -> None:
    (bore, mouth), z = radii, -stand.tip_at
    view.down(
        0, -z, view.left + 12, f"z {known.text('depth_below_face')}", name="z",
        start=(view.window.left, stand.x - stand.cone.tip),
    )  # fmt: skip
    level = view.bottom + 20
    if stand.x > 0:
        words = f"circle radius {known.text('interpolation_radius')}"
        view.across(0, stand.x, level, words, name="circle", start=(view.window.bottom, view.window.bottom))
        level += 26
    words = f"hole Ø {known.given_text('hole_diameter')}"
    view.across(-bore, bore, level, words, name="hole", start=(view.window.bottom, view.window.bottom))
    words = f"mouth Ø {known.text('chamfer_diameter')}"
    view.across(-mouth, mouth, level + 26, words, name="mouth", start=(0.0, 0.0))
    view.sheet.bottom = max(view.sheet.bottom, level + 34)


def _kept_out(known: Known) -> SafeString:
    """A tip flat wider than the hole stands on its rim and goes no further."""
    bore, tip = known.given("hole_diameter") / 2, known.given("tip_diameter") / 2
    cone = cone_of(known, 2 * tip)
    stand = Stand(cone, 0.0, 0.0, 1, 0.0, 0.0)
    sheet = Sheet()
    sheet.heading("Section through the hole")
    reach = 1.2 * max(cone.widest, bore)
    window = Window(-reach, reach, -0.8 * max(tip, bore), cone.top)
    view = sheet.view(window, left=EDGE, top=sheet.bottom + 8, width=WIDTH - 2 * EDGE, height=HIGHEST * 0.7)
    for side in (-1, 1):
        view.metal(
            [(side * bore, 0.0), (side * 9 * reach, 0.0), (side * 9 * reach, -9 * reach), (side * bore, -9 * reach)]
        )
        view.clash([(side * bore, 0.0), (side * tip, 0.0), (side * tip, -0.15 * tip), (side * bore, -0.15 * tip)])
    draw_tool(view, stand)
    level = view.bottom + 20
    view.across(-bore, bore, level, f"hole Ø {known.given_text('hole_diameter')}", name="hole", start=(0.0, 0.0))
    words = f"tip flat Ø {known.given_text('tip_diameter')}"
    view.across(-tip, tip, level + 26, words, name="tip", start=(0.0, 0.0))
    sheet.bottom = max(sheet.bottom, level + 34)
    sheet.legend([("metal", "the work in section"), ("clash", "the tip flat does not enter the hole")])
    return sheet.drawn(
        "The tool over the hole",
        f"The tip flat of {known.given_text('tip_diameter')} stands on the rim of a hole of "
        f"{known.given_text('hole_diameter')}: it does not enter.",
    )
