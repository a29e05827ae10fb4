"""What is known of lives, read-only."""

from crib.life.selectors.accuracy import Held, held_by_model, held_by_point, held_of, held_overall
from crib.life.selectors.bands import WornBand, worn_bands
from crib.life.selectors.beside_start import Figure, LifeOverSpeed, SaidAndSeen, life_over_speed, said_and_seen
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
    SeenEdge,
    curve_of,
    curves_and_record,
    outlook_of,
    twin_of,
)
from crib.life.selectors.drift import (
    Drift,
    DriftShown,
    Falling,
    LearnsSince,
    Stood,
    drift_of,
    drift_shown,
    falling_lives,
    learns_since,
)
from crib.life.selectors.facts import Fact, law_facts
from crib.life.selectors.lots import LotLife, lots_of
from crib.life.selectors.part_used import part_used_tips, tips_left
from crib.life.selectors.policies import ChangeAdvice, Policy, change_advice
from crib.life.selectors.skill import Accuracy, Against, Judged, Worth, accuracy, worth_by_model
from crib.life.selectors.staging import Staging, staging_at
from crib.life.selectors.stops import Change, ChangesAhead, MachineAhead, Stop, TipNeed, changes_ahead
from crib.life.selectors.taylor import FittedTaylor, fitted_taylor
from crib.life.selectors.wear_growth import WearGrowth, wear_growth

__all__ = [
    "Accuracy",
    "Against",
    "BoardRow",
    "Change",
    "ChangeAdvice",
    "ChangesAhead",
    "CurveRow",
    "Drift",
    "DriftShown",
    "EdgeOutlook",
    "Fact",
    "Falling",
    "Figure",
    "FittedTaylor",
    "Held",
    "Judged",
    "LearnsSince",
    "LifeCurve",
    "LifeOverSpeed",
    "LotLife",
    "MachineAhead",
    "Policy",
    "SaidAndSeen",
    "SeenEdge",
    "Staging",
    "Stood",
    "Stop",
    "TipNeed",
    "WearGrowth",
    "WornBand",
    "Worth",
    "accuracy",
    "board_row",
    "board_rows",
    "board_stamp",
    "change_advice",
    "changes_ahead",
    "curve_of",
    "curves_and_record",
    "drift_of",
    "drift_shown",
    "edges_in_use",
    "falling_lives",
    "fitted_taylor",
    "held_by_model",
    "held_by_point",
    "held_of",
    "held_overall",
    "law_facts",
    "learns_since",
    "life_over_speed",
    "lots_of",
    "machines_with_edges",
    "outlook_of",
    "part_used_tips",
    "said_and_seen",
    "staging_at",
    "tips_left",
    "twin_of",
    "wear_growth",
    "worn_bands",
    "worth_by_model",
]
