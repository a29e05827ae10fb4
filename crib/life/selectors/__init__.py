"""What is known of lives, read-only."""

from crib.life.selectors.accuracy import Held, held_by_model, held_by_point, held_overall
from crib.life.selectors.bands import WornBand, worn_bands
from crib.life.selectors.board import (
    BoardRow,
    board_row,
    board_rows,
    board_stamp,
    edges_in_use,
    machines_with_edges,
)
from crib.life.selectors.curves import (
    CurveRow,
    EdgeOutlook,
    LifeCurve,
    all_curves,
    curve_of,
    outlook_of,
)
from crib.life.selectors.facts import Fact, law_facts
from crib.life.selectors.taylor import FittedTaylor, fitted_taylor

__all__ = [
    "BoardRow",
    "CurveRow",
    "EdgeOutlook",
    "Fact",
    "FittedTaylor",
    "Held",
    "LifeCurve",
    "WornBand",
    "all_curves",
    "board_row",
    "board_rows",
    "board_stamp",
    "curve_of",
    "edges_in_use",
    "fitted_taylor",
    "held_by_model",
    "held_by_point",
    "held_overall",
    "law_facts",
    "machines_with_edges",
    "outlook_of",
    "worn_bands",
]
