"""Starts the product's own processes for a test, each with data of its own, and ends them with it."""

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.db import connection

PROJECT = Path(__file__).resolve().parents[2]
# Long enough for a machine with ten other things to do; everything returns as soon as it can.
PATIENCE = 120.0
KEPT = {"PATH", "HOME", "LANG", "DATABASE_URL", "REDIS_URL"}


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
    return port


def until(claim: Callable[[], bool], seconds: float = PATIENCE, every: float = 0.05) -> bool:
    give_up = time.monotonic() + seconds
    while not claim():
        if time.monotonic() > give_up:
            return False
        time.sleep(every)
    return True


def answers(port: int, path: str = "/readyz") -> int:
    """The status of an answer, 0 when there is none."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", path)
        return connection.getresponse().status
    except (OSError, http.client.HTTPException):
        return 0
    finally:
        connection.close()


def alive(process: int) -> bool:
    """Whether a process runs; one that only waits to be collected does not."""
    try:
        state = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


class Start:
    """One `manage.py …` with its output in a file."""

    def __init__(self, data: Path, *arguments: str, sqlite: bool = True, **variables: str) -> None:
        data.mkdir(exist_ok=True)
        kept = {name: value for name, value in os.environ.items() if name in KEPT}
        if sqlite:
            kept.pop("DATABASE_URL", None)
            kept.pop("REDIS_URL", None)
        self.env = {
            **kept,
            "EDGETALLY_DATA": str(data),
            "EDGETALLY_VENV": "off",
            "PYTHONUNBUFFERED": "1",
            "PYTHONPATH": str(PROJECT),
            **variables,
        }
        self._log = data / f"{arguments[0]}-{time.monotonic_ns()}.log"
        with self._log.open("w") as log:
            self.process = subprocess.Popen(
                [sys.executable, str(PROJECT / "manage.py"), *arguments],
                env=self.env,
                cwd=data,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    @property
    def said(self) -> str:
        return self._log.read_text()

    def children(self) -> dict[str, int]:
        """Process of each child by the command it runs."""
        mine = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        found = {}
        for child in map(int, mine):
            words = Path(f"/proc/{child}/cmdline").read_bytes().split(b"\0")
            found[words[2].decode()] = child
        return found

    def end(self) -> int:
        """Ask it to end; answers its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        return self.ended()

    def ended(self) -> int:
        """Wait for its own end; answers its exit code."""
        try:
            return self.process.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
            raise


def database_url() -> str:
    """The test's own database, as the worker is told of it."""
    about = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{about['NAME']}"
    password = f":{about['PASSWORD']}" if about["PASSWORD"] else ""
    return f"postgres://{about['USER']}{password}@{about['HOST']}:{about['PORT'] or 5432}/{about['NAME']}"


def start_worker() -> Start:
    """A worker on the test's own database and queue, ready for its first message."""
    worker = Start(
        settings.DATA_DIR,
        "work",
        sqlite=False,
        DATABASE_URL=database_url(),
        REDIS_URL=settings.REDIS_URL,
        SECRET_KEY=settings.SECRET_KEY,
    )
    mark = settings.QUEUE_DIR / "last_sweep"
    mark.unlink(missing_ok=True)
    if not until(mark.exists):
        worker.end()
        raise AssertionError(worker.said)
    # The sweep comes before the queue is read.
    time.sleep(1.5)
    return worker
