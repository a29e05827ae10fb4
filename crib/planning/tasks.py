"""Wake-ups of planning: each does what the database says is due, and may run twice, late, or beside itself."""

from __future__ import annotations

from celery import shared_task

from crib.planning import services


@shared_task(ignore_result=True)
def check_flags() -> None:
    """Check the flags of every design that is due; a plan whose own wake-up was lost is worked out on the way."""
    services.refresh_due_plans()
    services.refresh_due_flags()


@shared_task(ignore_result=True)
def refresh_plan() -> None:
    """Work out every plan that has changed, and all of them once a day."""
    services.refresh_due_plans()
