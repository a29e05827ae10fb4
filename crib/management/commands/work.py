"""`manage.py work`: the worker alone."""

import fcntl
import logging
import os
import threading
import time
import warnings
from typing import Any

from celery import Celery
from celery.exceptions import SecurityWarning
from django.conf import settings
from django.core.management.base import CommandParser
from django.db import connections
from django.utils.module_loading import import_string

from crib.core.wake import queue_app
from crib.management.base import ShopCommand
from crib.management.starting import leave_when_asked, require_current_tables

log = logging.getLogger(__name__)


class Command(ShopCommand):
    help = "Starts the worker: forecasts, flags, and the nightly refit and plan."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--threads", type=int, default=3, help="tasks done at the same time (default: 3)")
        parser.add_argument(
            "--no-schedule",
            action="store_true",
            help="for every worker but one: leave sweep and nightly jobs to the other",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        leave_when_asked()
        require_current_tables()
        # They would import every page, which the worker never needs and would keep in memory.
        os.environ["CELERY_SKIP_CHECKS"] = "1"
        app = queue_app()
        if not options["no_schedule"]:
            _start_schedule(app)
        # Containers run as root, and messages are JSON names of tasks, nothing that could be executed.
        warnings.simplefilter("ignore", SecurityWarning)
        worker = app.Worker(
            pool="threads",
            concurrency=options["threads"],
            hostname=f"edgetally-{os.getpid()}@%h",
            loglevel=None,
            without_gossip=True,
            without_mingle=True,
            without_heartbeat=True,
            quiet=True,
        )
        worker.start()
        raise SystemExit(_exit_code(worker.exitcode))


def _exit_code(given: int | None) -> int:
    """What the worker ends with: an end that was asked for is an ordinary one, whatever it cut into.

    The request may arrive while a line is being written to the log; the sentence that the queue then tries
    to print fails, and would pass for a breakdown.
    """
    from celery.worker import state

    asked: int | None = state.should_stop
    return (given or 0) if asked is None else asked


def _start_schedule(app: Celery) -> None:
    """Run the schedule as a thread beside the tasks: a process of its own would cost as much memory as the worker."""
    from celery.beat import EmbeddedService

    if not _claim_schedule():
        log.info("Another worker on these data keeps the schedule; this one does the tasks alone.")
        return
    service = EmbeddedService(app, thread=True, schedule_filename=str(settings.QUEUE_DIR / "schedule"))
    assert isinstance(service, threading.Thread)
    service.daemon = True
    service.start()
    threading.Thread(target=_sweep_without_queue, name="sweep", daemon=True).start()


def _claim_schedule() -> bool:
    """Whether this worker is the first on these data: two that write one schedule's file would spoil it."""
    # Held open until the process ends; the lock goes with it, however it ends.
    handle = os.open(settings.QUEUE_DIR / "schedule.lock", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(handle)
        return False
    return True


def _sweep_without_queue() -> None:
    """Sweep at once, and again whenever the queue has brought no sweep for a while: it may be away."""
    sweep = import_string("config.tasks.sweep")
    mark = settings.QUEUE_DIR / "last_sweep"
    due = True
    while True:
        try:
            if due:
                sweep()
                connections.close_all()
            time.sleep(settings.SWEEP_SECONDS / 3)
            due = not mark.exists() or time.time() - mark.stat().st_mtime > 2 * settings.SWEEP_SECONDS
        except Exception:
            log.exception("The sweep failed; it is tried again.")
