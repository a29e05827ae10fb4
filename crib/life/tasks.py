"""Nothing but wake-ups: what is due stands in the database."""

from __future__ import annotations

from celery import shared_task

from crib.life import services


@shared_task(ignore_result=True)
def refresh_stale_forecasts() -> None:
    """Score what has ended and compute every forecast that is due. Safe to run twice, late, or beside itself."""
    if services.refit_is_due():
        services.refit_all()
    services.refresh_all_due()
    services.score_ended()


@shared_task(ignore_result=True)
def refit_life_models() -> None:
    """Learn from the edges that ended since the last refit, then forecast anew what that changes."""
    services.refit_all()
    services.refresh_all_due()
