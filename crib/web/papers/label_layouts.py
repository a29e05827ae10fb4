"""Where labels stand on paper: sheets of labels in rows and columns, and rolls on which each label is a page."""

from __future__ import annotations

from dataclasses import dataclass

from crib.core.errors import BadInput

PAPERS = {"a4": ("A4", 210.0, 297.0), "letter": ("Letter", 215.9, 279.4)}
SMALLEST_MM, LARGEST_MM = 6.0, 300.0
# Sheets are cut and fed to a tenth of a millimetre at best.
SLACK_MM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A page and the labels on it, all in mm: the first label's corner, and from one label to the next."""

    says: str
    page_width: float
    page_height: float
    width: float
    height: float
    columns: int = 1
    rows: int = 1
    left: float = 0.0
    top: float = 0.0
    pitch_x: float = 0.0
    pitch_y: float = 0.0

    @property
    def per_page(self) -> int:
        return self.columns * self.rows

    @property
    def is_roll(self) -> bool:
        return (self.page_width, self.page_height) == (self.width, self.height)

    def corner(self, number: int) -> tuple[float, float]:
        """Where label `number` of a page begins, counted along the rows from 0."""
        row, column = divmod(number, self.columns)
        return self.left + column * self.pitch_x, self.top + row * self.pitch_y


def roll(width: float, height: float) -> Layout:
    """A label printer's roll: the page is the label."""
    for field, size in (("width", width), ("height", height)):
        _between(field, size, SMALLEST_MM, LARGEST_MM)
    return Layout(
        says=f"Roll, {width:g} × {height:g} mm", page_width=width, page_height=height, width=width, height=height
    )


def sheet(
    *,
    paper: str,
    columns: int,
    rows: int,
    width: float,
    height: float,
    left: float | None = None,
    top: float | None = None,
    pitch_x: float | None = None,
    pitch_y: float | None = None,
) -> Layout:
    """A sheet of labels; pitches left out mean labels side by side, margins left out that they stand in the middle."""
    if paper not in PAPERS:
        raise BadInput("paper", "Sheets are A4 or Letter. For any other size choose a roll.")
    name, page_width, page_height = PAPERS[paper]
    _between("columns", columns, 1, 30)
    _between("rows", rows, 1, 60)
    _between("width", width, SMALLEST_MM, page_width)
    _between("height", height, SMALLEST_MM, page_height)
    across, down = pitch_x or width, pitch_y or height
    taken_x, taken_y = (columns - 1) * across + width, (rows - 1) * down + height
    layout = Layout(
        says=f"{name}, {columns} × {rows} labels of {width:g} × {height:g} mm",
        page_width=page_width, page_height=page_height, width=width, height=height, columns=columns, rows=rows,
        left=(page_width - taken_x) / 2 if left is None else left,
        top=(page_height - taken_y) / 2 if top is None else top,
        pitch_x=across, pitch_y=down,
    )  # fmt: skip
    _check_fits(layout, taken_x, taken_y)
    return layout


def _check_fits(layout: Layout, taken_x: float, taken_y: float) -> None:
    if layout.pitch_x < layout.width - SLACK_MM:
        raise BadInput("pitch_x", "From one label to the next is no less than a label’s width. Measure edge to edge.")
    if layout.pitch_y < layout.height - SLACK_MM:
        raise BadInput("pitch_y", "From one label to the next is no less than a label’s height. Measure edge to edge.")
    if layout.left < -SLACK_MM or layout.left + taken_x > layout.page_width + SLACK_MM:
        over = layout.left + taken_x
        raise BadInput(
            "columns",
            f"The labels reach from {layout.left:.1f} to {over:.1f} mm across a {layout.page_width:g} mm page.",
        )
    if layout.top < -SLACK_MM or layout.top + taken_y > layout.page_height + SLACK_MM:
        over = layout.top + taken_y
        raise BadInput(
            "rows", f"The labels reach from {layout.top:.1f} to {over:.1f} mm down a {layout.page_height:g} mm page."
        )


def _between(field: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:  # says no to NaN as well
        raise BadInput(field, f"This is between {low:g} and {high:g}, not {value:g}. Measure the paper.")


# Our own measures, for plain sheets cut along the lines and for common rolls; any other is typed in.
LAYOUTS: dict[str, Layout] = {
    "a4-3x9": sheet(paper="a4", columns=3, rows=9, width=64, height=30, pitch_x=66),
    "a4-5x13": sheet(paper="a4", columns=5, rows=13, width=36, height=20, pitch_x=38, pitch_y=21),
    "a4-2x5": sheet(paper="a4", columns=2, rows=5, width=90, height=52, pitch_x=95, pitch_y=55),
    "letter-3x8": sheet(paper="letter", columns=3, rows=8, width=64, height=30, pitch_x=66, pitch_y=32),
    "letter-5x12": sheet(paper="letter", columns=5, rows=12, width=36, height=20, pitch_x=38, pitch_y=21),
    "roll-25x10": roll(25, 10),
    "roll-40x20": roll(40, 20),
    "roll-50x25": roll(50, 25),
    "roll-62x29": roll(62, 29),
}
