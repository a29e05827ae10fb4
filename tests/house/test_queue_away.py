"""A queue that refuses, hangs or comes back: nobody waits for it, and the work is done all the same."""

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house.starts import PATIENCE, PROJECT, Start, free_port, until

# Each start has data and a queue of its own.
pytestmark = [pytest.mark.once, pytest.mark.processes]

MEASURE = """
import time
import django
django.setup()
from crib.core import wake
from config.celery import app
began = time.monotonic()
wake.wake("forecasts")
print("wake", time.monotonic() - began)
for _ in range(2):
    began = time.monotonic()
    try:
        wake.send("flags")
        print("sent", 0)
    except Exception:
        print("send", time.monotonic() - began)
print("left", time.monotonic())
"""


def measured(data: Path, redis_url: str) -> dict[str, list[float]]:
    """Seconds that waking and sending took, and that the process took to go once it had nothing left to do."""
    env = {name: value for name, value in os.environ.items() if name in {"PATH", "HOME", "LANG"}}
    env |= {"DJANGO_SETTINGS_MODULE": "config.settings", "EDGETALLY_DATA": str(data), "REDIS_URL": redis_url}
    out = subprocess.run(
        [sys.executable, "-c", MEASURE],
        cwd=PROJECT,
        env=env,
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=True,
    ).stdout
    ended = time.monotonic()
    figures: dict[str, list[float]] = {}
    for line in out.splitlines():
        name, figure = line.split()
        figures.setdefault(name, []).append(float(figure))
    figures["exit"] = [ended - figures["left"][0]]
    return figures


@pytest.fixture
def hung_queue() -> Iterator[str]:
    """Takes the call and never says a word, as a stopped process does."""
    with socket.create_server(("127.0.0.1", 0), backlog=16) as server:
        yield f"redis://127.0.0.1:{server.getsockname()[1]}/0"


def test_a_queue_that_refuses_costs_a_page_nothing(tmp_path: Path) -> None:
    figures = measured(tmp_path, f"redis://127.0.0.1:{free_port()}/0")
    assert figures["wake"][0] < 0.5
    assert len(figures["send"]) == 2
    assert max(figures["send"]) < 3
    assert figures["exit"][0] < 3


def test_a_queue_that_hangs_costs_a_page_nothing_and_its_thread_a_second(tmp_path: Path, hung_queue: str) -> None:
    figures = measured(tmp_path, hung_queue)
    assert figures["wake"][0] < 0.5
    assert len(figures["send"]) == 2
    assert max(figures["send"]) < 4
    assert figures["exit"][0] < 3


def test_with_the_embedded_queue_a_short_command_leaves_its_wake_up_there(tmp_path: Path) -> None:
    assert measured(tmp_path, "")["sent"] == [0, 0]
    kept = [path.read_text() for path in (tmp_path / "queue" / "messages").iterdir()]
    assert sum("refresh_stale_forecasts" in text for text in kept) == 1


@pytest.fixture
def data(tmp_path: Path) -> Path:
    data = tmp_path / "data"
    assert Start(data, "migrate", "--no-input", "-v", "0").ended() == 0
    return data


def swept_at(data: Path) -> float:
    mark = data / "queue" / "last_sweep"
    return mark.stat().st_mtime if mark.exists() else 0.0


def test_the_worker_sweeps_at_its_start_although_the_queue_is_away(data: Path) -> None:
    worker = Start(data, "work", sqlite=False, DATABASE_URL="", REDIS_URL=f"redis://127.0.0.1:{free_port()}/0")
    try:
        assert until(lambda: swept_at(data) > 0), worker.said
        assert worker.process.poll() is None
    finally:
        assert worker.end() == 0, worker.said


def test_a_worker_that_is_killed_sweeps_again_as_soon_as_it_is_back(data: Path) -> None:
    worker = Start(data, "work")
    assert until(lambda: swept_at(data) > 0), worker.said
    worker.process.kill()
    worker.process.wait()
    before = time.time()
    again = Start(data, "work")
    try:
        assert until(lambda: swept_at(data) > before), again.said
    finally:
        assert again.end() == 0, again.said
    assert not re.search("Traceback", again.said), again.said


def test_two_workers_on_the_same_data_keep_one_schedule(data: Path) -> None:
    first = Start(data, "work")
    try:
        assert until(lambda: swept_at(data) > 0), first.said
        second = Start(data, "work")
        try:
            assert until(lambda: "Another worker on these data keeps the schedule" in second.said), second.said
            assert second.process.poll() is None
        finally:
            assert second.end() == 0
    finally:
        assert first.end() == 0
