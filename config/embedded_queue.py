"""The queue of an installation without Redis: kombu's files in a folder, with whole messages only.

The transport that comes with kombu opens a message under its final name and then writes it; a worker that looks in
between reads nothing, takes that for JSON and dies. Here a message is written aside and renamed into the folder, and
whatever cannot be read is dropped with a line in the log: the database knows what is due, so that costs a sweep.
"""

from __future__ import annotations

import json
import logging
import os
import time
import uuid
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import TRANSPORT_ALIASES, filesystem

SCHEME = "whole-files"
TRIES = 20
SECONDS_BETWEEN_TRIES = 0.05

log = logging.getLogger(__name__)


class Channel(filesystem.Channel):
    """One connection's end of the folder."""

    # kombu's stubs name the second argument differently in two of its classes.
    def _put(self, queue: str, payload: Any, **kwargs: Any) -> None:  # type: ignore[override]
        """Write a message aside, then let it appear whole."""
        folder = Path(self.data_folder_out)
        name = f"{time.time_ns():020d}_{uuid.uuid4().hex}"
        aside = folder / f"{name}.part"
        aside.write_text(json.dumps(payload))
        aside.rename(folder / f"{name}.{queue}.msg")

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        """Claim the oldest message of the queue by renaming it, which only one process can do."""
        folder = Path(self.data_folder_in)
        for name in sorted(os.listdir(folder)):
            if name.partition(".")[2] != f"{queue}.msg":
                continue
            claimed = Path(self.processed_folder) / f"{name}.{os.getpid()}"
            try:
                (folder / name).rename(claimed)
            except FileNotFoundError:
                continue
            try:
                return json.loads(claimed.read_text())
            except ValueError:
                log.warning("A message of the queue could not be read and was dropped; the sweep finds its work.")
            finally:
                claimed.unlink()
        raise Empty

    def _queue_bind(self, exchange: str, routing_key: str | None, pattern: str | None, queue: str) -> None:
        """Note which queue an exchange feeds; the note is for a moment empty while another process makes it."""
        for _ in range(TRIES):
            try:
                return super()._queue_bind(exchange, routing_key or "", pattern, queue)
            except ValueError:
                time.sleep(SECONDS_BETWEEN_TRIES)
        Path(self.control_folder, f"{exchange}.exchange").unlink(missing_ok=True)
        super()._queue_bind(exchange, routing_key or "", pattern, queue)


class Transport(filesystem.Transport):
    """What kombu is given for addresses that begin with `whole-files:`."""

    Channel = Channel
    driver_type = driver_name = "whole-files"


TRANSPORT_ALIASES[SCHEME] = f"{__name__}:Transport"
