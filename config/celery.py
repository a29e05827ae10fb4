"""The queue's application: its settings are Django's own `CELERY_…` names."""

import os
from pathlib import Path

from celery import Celery
from celery.schedules import crontab
from django.conf import settings

import config.embedded_queue  # noqa: F401  # makes its address known to kombu

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
# The embedded queue's folders and the schedule's file; whoever comes first makes them.
for folder in ("messages", "control", "processed"):
    Path(settings.QUEUE_DIR, folder).mkdir(mode=0o700, parents=True, exist_ok=True)

app = Celery("edgetally")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.beat_schedule = {
    # Expires: after a pause of the worker one sweep does the work of all that were missed.
    "sweep": {
        "task": "config.tasks.sweep",
        "schedule": settings.SWEEP_SECONDS,
        "options": {"expires": settings.SWEEP_SECONDS},
    },
    "nightly refit": {"task": settings.QUEUE_WAKES["refit"], "schedule": crontab(hour="1", minute="30")},
    "nightly plan": {"task": settings.QUEUE_WAKES["plan"], "schedule": crontab(hour="2", minute="30")},
}
app.autodiscover_tasks(["config", "crib.life", "crib.planning"])
