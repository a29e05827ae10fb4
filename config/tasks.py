"""The sweep: does whatever the database says is due, whether or not anybody woke the worker for it."""

import logging
from pathlib import Path

from celery import shared_task
from django.conf import settings
from django.utils.module_loading import import_string

# The nightly jobs are not among them: they cost more than a sweep may and have times of their own.
SWEPT = ("forecasts", "flags")

LAST_SWEEP = "last_sweep"

log = logging.getLogger(__name__)


@shared_task(name="config.tasks.sweep", ignore_result=True)
def sweep() -> None:
    """Run every cheap “what is due” task once. Safe to run twice, late, or beside itself."""
    for name in SWEPT:
        try:
            import_string(settings.QUEUE_WAKES[name])()
        except Exception:
            # One kind of work that fails must not keep the others waiting.
            log.exception("The sweep could not do “%s”.", name)
    # What a health check of the worker looks at.
    Path(settings.QUEUE_DIR, LAST_SWEEP).touch()
