"""The plot of wear lands: what is drawn, and what cannot be."""

from __future__ import annotations

from typing import Any

import pytest

from crib.web.charts import Mark, Point, wear_plot
from crib.web.charts.svg import CannotDraw

pytestmark = pytest.mark.once

PLOT: dict[str, Any] = {
    "xs": [0.0, 30.0, 60.0], "middle": [0.05, 0.15, 0.25], "band": ([0.03, 0.12, 0.2], [0.06, 0.2, 0.35]),
    "points": [Point(10.0, 0.08), Point(30.0, 0.15)], "limit": 0.3, "crossing": (50.0, 70.0, 95.0),
    "marks": [Mark(30.0, "now", "info")], "title": "Wear", "says": "Wear of an edge.", "x_label": "minutes in cut",
    "y_label": "mm",
}  # fmt: skip


def test_readings_growth_criterion_and_crossing_are_drawn() -> None:
    drawn = wear_plot(**PLOT)
    assert drawn.count('class="point point-ended"') == 3  # two readings and the key
    assert all(f'class="{kind}"' in drawn for kind in ("band band-1", "line line-1", "threshold", "whisker"))
    assert "now" in drawn
    assert "set aside" not in drawn


def test_a_reading_set_aside_is_drawn_open() -> None:
    drawn = wear_plot(**PLOT | {"points": [Point(10.0, 0.31, ended=False), Point(30.0, 0.15)]})
    assert "point-open" in drawn
    assert "set aside" in drawn


def test_without_growth_readings_and_criterion_are_left() -> None:
    drawn = wear_plot(**PLOT | {"xs": [], "middle": [], "band": ([], []), "crossing": None})
    assert "threshold" in drawn
    assert "band-1" not in drawn
    assert "whisker" not in drawn


def test_a_crossing_ever_so_late_does_not_press_the_readings_together() -> None:
    assert "100,000" not in wear_plot(**PLOT | {"crossing": (50.0, 70.0, 1e5)})


@pytest.mark.parametrize("change", [{"middle": [0.1]}, {"limit": float("nan")}, {"crossing": (1.0, float("inf"), 2.0)}])
def test_what_cannot_be_drawn_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(CannotDraw):
        wear_plot(**PLOT | change)
