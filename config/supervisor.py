"""Keeps the web server and the worker running together, and ends both when either ends.

Standard library alone, and started as a program of its own (`python -m config.supervisor`), so that it
weighs next to nothing beside the two it looks after.
"""

import contextlib
import http.client
import json
import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

PARENT_PIPE = "EDGETALLY_PARENT_PIPE"
READY_SECONDS = 90.0
GRACE_SECONDS = 10.0
LOOK_SECONDS = 0.1


@dataclass
class Plan:
    """What to run, what to ask until it answers, and what to say then. The first child is the one that answers."""

    children: dict[str, list[str]]
    host: str
    port: int
    said_when_ready: str
    environment: dict[str, str] = field(default_factory=dict)


class Supervisor:
    """Starts the children of a plan, waits until the web server is ready, and ends all together."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._running: dict[str, subprocess.Popen[bytes]] = {}
        self._asked_to_stop = threading.Event()

    def run(self) -> int:
        """Answer 0 when asked to stop, 1 when a child ended by itself or never got ready."""
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._stop)
        read_end, write_end = os.pipe()
        try:
            first, *others = self._plan.children
            self._start(first, read_end)
            return self._watch(others, read_end)
        finally:
            self._end_all()
            os.close(read_end)
            os.close(write_end)

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self._asked_to_stop.set()

    def _start(self, name: str, read_end: int) -> None:
        """Start a child in a process group of its own, so that Ctrl-C reaches the supervisor alone.

        The child holds the reading end of a pipe that only the supervisor can write to; when the
        supervisor is gone, however it went, the pipe closes and the child ends itself.
        """
        environment = {**os.environ, **self._plan.environment, PARENT_PIPE: str(read_end)}
        self._running[name] = subprocess.Popen(
            self._plan.children[name], env=environment, stdin=subprocess.DEVNULL, pass_fds=(read_end,), process_group=0
        )

    def _watch(self, others: list[str], read_end: int) -> int:
        """The others start once the first answers, so that somebody who waits for a page gets all of the machine."""
        give_up = time.monotonic() + READY_SECONDS
        ready = False
        while not self._asked_to_stop.wait(LOOK_SECONDS):
            for name, child in self._running.items():
                if child.poll() is not None:
                    say(f"The {name} ended by itself ({_how(child.returncode)}), so everything is stopped.")
                    return 1
            if not ready:
                ready = is_ready(self._plan.host, self._plan.port)
                if ready:
                    for name in others:
                        self._start(name, read_end)
                    say(self._plan.said_when_ready)
                elif time.monotonic() > give_up:
                    say(f"The web server was not ready within {READY_SECONDS:.0f} seconds, so everything is stopped.")
                    return 1
        say("Stopping …")
        return 0

    def _end_all(self) -> None:
        for child in self._running.values():
            _signal(child, signal.SIGTERM)
        give_up = time.monotonic() + GRACE_SECONDS
        for child in self._running.values():
            try:
                child.wait(max(0.1, give_up - time.monotonic()))
            except subprocess.TimeoutExpired:
                _signal(child, signal.SIGKILL)
                child.wait()


def end_with_parent() -> None:
    """In a child: end when the supervisor that started this process is gone. Elsewhere: nothing."""
    handle = os.environ.pop(PARENT_PIPE, "")
    if handle:
        threading.Thread(target=_wait_for_parent, args=(int(handle),), name="parent", daemon=True).start()


def _wait_for_parent(handle: int) -> None:
    with contextlib.suppress(OSError):
        while os.read(handle, 1):
            pass
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(GRACE_SECONDS)
    os._exit(1)


def is_ready(host: str, port: int) -> bool:
    """Whether the web server says that it can serve."""
    connection = http.client.HTTPConnection(host, port, timeout=5)
    try:
        connection.request("GET", "/readyz")
        return connection.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


def say(text: str) -> None:
    with contextlib.suppress(OSError):
        sys.stdout.write(f"{text}\n")
        sys.stdout.flush()


def _how(code: int) -> str:
    return f"signal {-code}" if code < 0 else f"code {code}"


def _signal(child: subprocess.Popen[bytes], number: int) -> None:
    if child.poll() is None:
        with contextlib.suppress(ProcessLookupError):
            child.send_signal(number)


def main(plan_file: str) -> int:
    """Read the plan, which may name passwords, from a file that is removed at once."""
    place = Path(plan_file)
    plan = Plan(**json.loads(place.read_text(encoding="utf-8")))
    place.unlink()
    return Supervisor(plan).run()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
