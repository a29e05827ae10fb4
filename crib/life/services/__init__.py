"""What the shop does with lives: learn them, forecast the edges in use, and score what was forecast."""

from crib.life.services.forecasting import claim_due, mark_stale, refresh, refresh_all_due
from crib.life.services.recalling import recall_forecasts
from crib.life.services.refitting import RefitReport, ask_for_refit, refit_all, refit_is_due
from crib.life.services.scoring import score_ended
from crib.life.services.starting import write_starting_life

__all__ = [
    "RefitReport",
    "ask_for_refit",
    "claim_due",
    "mark_stale",
    "recall_forecasts",
    "refit_all",
    "refit_is_due",
    "refresh",
    "refresh_all_due",
    "score_ended",
    "write_starting_life",
]
