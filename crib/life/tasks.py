"""Nothing but wake-ups: what is due stands in the database."""

from __future__ import annotations

import threading

from celery import shared_task

from crib.life import services

# A refit under way still stands there as due; each further thread of the worker would begin the same one.
_REFITTING = threading.Lock()


@shared_task(ignore_result=True)
def refresh_stale_forecasts() -> None:
    """Score what has ended and compute every forecast that is due. Safe to run twice, late, or beside itself."""
    services.score_ended()
    if _REFITTING.acquire(blocking=False):
        try:
            if services.refit_is_due():
                services.refit_all()
        finally:
            _REFITTING.release()
    services.refresh_all_due()


@shared_task(ignore_result=True)
def refit_life_models() -> None:
    """Learn from the edges that ended since the last refit, then forecast anew what that changes."""
    with _REFITTING:
        services.refit_all()
    services.refresh_all_due()
