"""Labels on paper in true size: how large the code can be, where its words go, and the PDF of it all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from crib.core.errors import BadInput, Refused
from crib.web import codes
from crib.web.papers.label_layouts import Layout
from crib.web.papers.printing import make_pdf

# What hand-held scanners and telephones read without fuss from a hand's width away; common practice, no source.
SMALLEST_MODULE_MM, LARGEST_MODULE_MM = 0.25, 0.75
EDGE_MM, GAP_MM = 0.8, 0.8
# DejaVu Sans Mono: 1233 of 2048 units from letter to letter, by the font itself; a line takes 1.2 of its size.
LETTER_WIDTH, LINE_HEIGHT = 1233 / 2048, 1.2
MM_PER_POINT = 25.4 / 72
SMALLEST_POINTS, LARGEST_POINTS = 5.0, 9.0
MM_PER_INCH = 25.4
# 203 dpi stands for the eight dots to the millimetre that those printers have.
DOTS = {"203": 1 / 8, "300": MM_PER_INCH / 300, "600": MM_PER_INCH / 600}
MOST_LABELS = 1_000
SHEET = "labels"


class NothingToLabel(Refused):
    """What was chosen holds nothing, such as the kits of a shop that has none yet."""

    code = "nothing-to-label"


@dataclass(frozen=True, slots=True)
class Face:
    """What one label says: the text of its code, the name people call the thing by, and what else helps."""

    text: str
    name: str
    more: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """How labels are to be printed."""

    layout: Layout
    as_qr: bool = False
    dots: str = "300"
    copies: int = 1
    start: int = 1
    outlines: bool = False


@dataclass(frozen=True, slots=True)
class Fit:
    """How one code fits its label: the module's size, the code's with its quiet zone, and where the words go."""

    module_mm: float
    dots: int
    code_mm: float
    beside: bool
    points: float


@dataclass(frozen=True, slots=True)
class Plan:
    """What will come out of the printer."""

    faces: Sequence[Face]
    fits: Sequence[Fit]
    labels: int
    pages: int
    how: Print

    @property
    def smallest(self) -> Fit:
        return min(self.fits, key=lambda fit: fit.module_mm)

    @property
    def module_words(self) -> str:
        return f"{self.smallest.module_mm:.3g}"

    @property
    def code_words(self) -> str:
        return f"{self.smallest.code_mm:.1f}"


def plan_labels(faces: Sequence[Face], how: Print) -> Plan:
    """Fit every label; refused when one is too small for its code, or when the whole is out of measure."""
    if not faces:
        raise NothingToLabel("There is nothing to label here. Choose something else, or make it first.", field="of")
    if not 1 <= how.start <= how.layout.per_page:
        raise BadInput("start", f"This sheet has labels 1 to {how.layout.per_page}. Count along the rows.")
    if how.copies < 1 or len(faces) * how.copies > MOST_LABELS:
        raise BadInput("copies", f"At most {MOST_LABELS:,} labels are printed at once. Print them in parts.")
    labels = len(faces) * how.copies
    fits = [fit_label(face.text, how) for face in faces]
    return Plan(faces, fits, labels, math.ceil((labels + how.start - 1) / how.layout.per_page), how)


def fit_label(text: str, how: Print) -> Fit:
    """The largest module, a whole number of the printer's dots, with which code and text stand on the label."""
    modules, quiet = codes.modules(text, as_qr=how.as_qr)
    return _fit(len(modules) + 2 * quiet, len(text), how.layout.width, how.layout.height, how.dots)


@lru_cache(maxsize=256)
def _fit(across: int, letters: int, width: float, height: float, dots: str) -> Fit:
    dot = DOTS[dots]
    fewest = math.ceil(SMALLEST_MODULE_MM / dot - 1e-9)
    ways = []
    for beside in (True, False):
        room_x, room_y = _room(letters, width, height, beside=beside)
        count = min(math.floor(min(room_x, room_y) / across / dot + 1e-9), math.floor(LARGEST_MODULE_MM / dot + 1e-9))
        if count >= fewest:
            ways.append((count, beside))
    if not ways:
        raise _too_small(across * fewest * dot, letters, width, height)
    count, beside = max(ways)
    code = across * count * dot
    wide = width - 2 * EDGE_MM - (code + GAP_MM if beside else 0)
    points = min(LARGEST_POINTS, wide / letters / LETTER_WIDTH / MM_PER_POINT)
    if not beside:
        points = min(points, (height - 2 * EDGE_MM - code) / LINE_HEIGHT / MM_PER_POINT)
    else:
        points = min(points, (height - 2 * EDGE_MM) / 2 / LINE_HEIGHT / MM_PER_POINT)
    return Fit(count * dot, count, code, beside, max(points, SMALLEST_POINTS))


def _room(letters: int, width: float, height: float, *, beside: bool) -> tuple[float, float]:
    """What is left for the code across and down, once its text has its place in the smallest type."""
    words_x, words_y = _words(letters)
    if beside:
        two_lines = height - 2 * EDGE_MM >= 2 * words_y
        return (width - 2 * EDGE_MM - GAP_MM - words_x) if two_lines else 0.0, height - 2 * EDGE_MM
    return (width - 2 * EDGE_MM if width - 2 * EDGE_MM >= words_x else 0.0), height - 2 * EDGE_MM - words_y


def _words(letters: int) -> tuple[float, float]:
    type_mm = SMALLEST_POINTS * MM_PER_POINT
    return letters * LETTER_WIDTH * type_mm, LINE_HEIGHT * type_mm


def _too_small(code: float, letters: int, width: float, height: float) -> Refused:
    words_x, words_y = _words(letters)
    beside = (2 * EDGE_MM + GAP_MM + code + words_x, 2 * EDGE_MM + max(code, 2 * words_y))
    beneath = (2 * EDGE_MM + max(code, words_x), 2 * EDGE_MM + code + words_y)
    sizes = " or ".join(f"{_up(wide):g} × {_up(high):g} mm" for wide, high in (beside, beneath))
    return Refused(
        f"A label of {width:g} × {height:g} mm is too small for this code and its text: scanners by hand want modules "
        f"of {SMALLEST_MODULE_MM:g} mm. The smallest that will do is {sizes}.",
        field="layout",
    )


def _up(size: float) -> float:
    return math.ceil(size * 2) / 2


def print_labels(plan: Plan) -> bytes:
    """The PDF, each page as large as the paper, to be printed at 100 %."""
    return make_pdf(SHEET, label_figures(plan))


def label_figures(plan: Plan) -> dict[str, Any]:
    """All that the sheet draws: each face once, and where on which page it stands."""
    layout, how = plan.how.layout, plan.how
    faces = [_figures(face, fit, how) for face, fit in zip(plan.faces, plan.fits, strict=True)]
    order = [number for number in range(len(faces)) for _ in range(how.copies)]
    pages: list[list[list[float]]] = [[] for _ in range(plan.pages)]
    for place, number in enumerate(order, start=how.start - 1):
        page, spot = divmod(place, layout.per_page)
        pages[page].append([*layout.corner(spot), number])
    return {
        "page": [layout.page_width, layout.page_height],
        "label": [layout.width, layout.height],
        "outlines": how.outlines,
        "faces": faces,
        "pages": pages,
    }


def _figures(face: Face, fit: Fit, how: Print) -> dict[str, Any]:
    layout = how.layout
    lines = _lines(face, fit, layout)
    high = sum(line["points"] for line in lines) * LINE_HEIGHT * MM_PER_POINT
    if fit.beside:
        code_y, x, y = (layout.height - fit.code_mm) / 2, EDGE_MM + fit.code_mm + GAP_MM, (layout.height - high) / 2
        code_x, wide = EDGE_MM, layout.width - EDGE_MM - x
    else:
        code_x, x, wide = (layout.width - fit.code_mm) / 2, EDGE_MM, layout.width - 2 * EDGE_MM
        code_y = (layout.height - fit.code_mm - high) / 2
        y = code_y + fit.code_mm
    for line in lines:
        line["y"] = y
        y += line["points"] * LINE_HEIGHT * MM_PER_POINT
    dot = DOTS[how.dots]
    code_x, code_y = (math.floor(one / dot) * dot for one in (code_x, code_y))  # begins on a dot, so no module blurs
    return {"code": codes.drawing(face.text, as_qr=how.as_qr), "size": fit.code_mm, "at": [code_x, code_y], "x": x,
            "wide": wide, "middle": not fit.beside, "lines": lines}  # fmt: skip


def _lines(face: Face, fit: Fit, layout: Layout) -> list[dict[str, Any]]:
    """The code's text, the name, and what else there is room for; the text is never cut, the rest is shortened."""
    wide = layout.width - 2 * EDGE_MM - (fit.code_mm + GAP_MM if fit.beside else 0)
    room = layout.height - 2 * EDGE_MM - (0 if fit.beside else fit.code_mm)
    lines = [{"words": face.text, "points": fit.points, "bold": False}]
    room -= fit.points * LINE_HEIGHT * MM_PER_POINT
    small = max(SMALLEST_POINTS, fit.points * 0.8)
    for words, points, bold in ((face.name, fit.points, True), *((one, small, False) for one in face.more)):
        per_line = math.floor(wide / (points * LETTER_WIDTH * MM_PER_POINT) + 1e-9)
        for part in _broken(words, per_line, 2):
            high = points * LINE_HEIGHT * MM_PER_POINT
            if high > room + 1e-9:
                return lines
            lines.append({"words": part, "points": points, "bold": bold})
            room -= high
    return lines


def _broken(words: str, per_line: int, most: int) -> list[str]:
    """The words in at most so many lines, broken between words where that is possible, shortened with an ellipsis."""
    left = " ".join("".join(one if one.isprintable() else " " for one in words).split())
    lines: list[str] = []
    while left and per_line > 0:
        if len(left) <= per_line:
            return [*lines, left]
        if len(lines) == most - 1:
            return [*lines, left[: per_line - 1].rstrip() + "…"]
        cut = left.rfind(" ", 0, per_line + 1)
        cut = cut if cut > per_line // 3 else per_line
        lines.append(left[:cut].rstrip())
        left = left[cut:].lstrip()
    return lines
