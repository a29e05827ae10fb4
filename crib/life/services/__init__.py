"""What the shop does with lives: learn them, forecast the edges in use, and score what was forecast."""

from crib.life.services.beginning_anew import learn_anew, learn_from_all
from crib.life.services.drifting import note_drift
from crib.life.services.forecasting import claim_due, mark_stale, refresh, refresh_all_due
from crib.life.services.looking import look_at_edge
from crib.life.services.recalling import recall_forecasts
from crib.life.services.refitting import RefitReport, ask_for_refit, refit_all, refit_is_due
from crib.life.services.scoring import score_ended
from crib.life.services.starting import write_starting_life

__all__ = [
    "RefitReport",
    "ask_for_refit",
    "claim_due",
    "learn_anew",
    "learn_from_all",
    "look_at_edge",
    "mark_stale",
    "note_drift",
    "recall_forecasts",
    "refit_all",
    "refit_is_due",
    "refresh",
    "refresh_all_due",
    "score_ended",
    "write_starting_life",
]
