"""Wakes the worker. What is due stands in the database; a wake-up only makes it happen sooner.

Services call `wake` when their transaction has committed::

    transaction.on_commit(partial(wake, "forecasts"))

The name is handed to one sender thread, so a page never waits for the queue. Names not yet sent are
kept once each: a thousand runs logged together wake the worker a few times, not a thousand times.
When the queue cannot be reached the sender pauses and the worker's own sweep finds the work.
"""

import atexit
import logging
import os
import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

from django.conf import settings
from django.utils.module_loading import import_string

if TYPE_CHECKING:
    from celery import Celery

Wake = Literal["forecasts", "refit", "flags", "plan"]

SECONDS_BETWEEN_SENDS = 0.05
FIRST_PAUSE_SECONDS = 2.0
LONGEST_PAUSE_SECONDS = 30.0
EXIT_SECONDS = 1.0

log = logging.getLogger(__name__)


def wake(name: Wake) -> None:
    """Ask the worker to do `name` soon. Never waits, never raises."""
    try:
        _sender_of_this_process().ask(name)
    except Exception:
        log.exception("The wake-up “%s” was dropped; the sweep will find the work.", name)


def queue_app() -> "Celery":
    """The queue's application, imported only where it is used: pages start sooner without it."""
    app: Celery = import_string(settings.QUEUE_APP)
    return app


def send(name: str) -> None:
    """Put one wake-up on the queue; raises what the queue raises."""
    queue_app().send_task(settings.QUEUE_WAKES[name], ignore_result=True, headers={"asked_at": time.time()})


class Sender:
    """One thread that sends wake-ups, each name once, and rests after a failure."""

    def __init__(self, deliver: Callable[[str], None] = send, *, first_pause: float = FIRST_PAUSE_SECONDS) -> None:
        self._deliver = deliver
        self._first_pause = first_pause
        self._pause = first_pause
        self._waiting: dict[str, None] = {}
        self._sending = False
        self._resting = False
        self._stopping = False
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None

    def ask(self, name: str) -> None:
        if name not in settings.QUEUE_WAKES:
            raise ValueError(f"There is no wake-up named “{name}”.")
        with self._changed:
            self._waiting[name] = None
            self._stopping = False
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="wake", daemon=True)
                self._thread.start()
            self._changed.notify_all()

    def flush(self, seconds: float = EXIT_SECONDS) -> bool:
        """Wait until everything asked for is sent, but not for a queue that is known to be away."""
        with self._changed:
            return self._changed.wait_for(lambda: self._resting or self._idle(), timeout=seconds) and self._idle()

    def stop(self, seconds: float = EXIT_SECONDS) -> bool:
        """End the thread, and leave to the sweep what still waits; asking again starts another.

        Answers whether it has ended: a message on its way is not broken off, only waited for.
        """
        with self._changed:
            thread = self._thread
            self._stopping = thread is not None
            self._waiting.clear()
            self._changed.notify_all()
        if thread is None:
            return True
        thread.join(seconds)
        return not thread.is_alive()

    def _idle(self) -> bool:
        return not self._waiting and not self._sending

    def _run(self) -> None:
        while (name := self._next_name()) is not None:
            sent = self._try(name)
            with self._changed:
                self._sending = False
                self._resting = not sent
                if not sent and not self._stopping:
                    self._waiting[name] = None
                self._changed.notify_all()
                pause = SECONDS_BETWEEN_SENDS if sent else self._next_pause()
                self._changed.wait_for(lambda: self._stopping, timeout=pause)

    def _next_name(self) -> str | None:
        """What to send next, as soon as there is something; None when this thread is to end."""
        with self._changed:
            self._changed.wait_for(lambda: self._stopping or bool(self._waiting))
            if self._stopping:
                self._stopping = False
                self._thread = None
                return None
            name = next(iter(self._waiting))
            del self._waiting[name]
            self._sending = True
            return name

    def _try(self, name: str) -> bool:
        try:
            self._deliver(name)
        except Exception as refused:
            log.warning("The queue cannot be reached (%s); the sweep will find the work.", type(refused).__name__)
            return False
        self._pause = self._first_pause
        return True

    def _next_pause(self) -> float:
        pause = self._pause
        self._pause = min(2 * pause, LONGEST_PAUSE_SECONDS)
        return pause


_senders: dict[int, Sender] = {}
_making = threading.Lock()


def _sender_of_this_process() -> Sender:
    """A thread does not survive a fork, so each process has its own."""
    process = os.getpid()
    sender = _senders.get(process)
    if sender is None:
        with _making:
            sender = _senders.setdefault(process, Sender())
    return sender


def stop_sending(seconds: float = EXIT_SECONDS) -> bool:
    """End this process's sender, as a test does with what it started; the next wake-up starts another."""
    sender = _senders.get(os.getpid())
    return sender is None or sender.stop(seconds)


@atexit.register
def _flush_at_exit() -> None:
    """A short command that logged a run should not leave its wake-up behind."""
    sender = _senders.get(os.getpid())
    if sender is not None:
        sender.flush()
        # It must not begin anew, or speak, while the interpreter goes down about it.
        sender.stop(0)
