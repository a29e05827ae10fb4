"""The demo as somebody starts it: two processes under one, that begin and end together."""

import json
import os
import re
import signal
import socket
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house.starts import Start, alive, answers, free_port, until

pytestmark = [
    # Each start has data of its own, on the embedded default.
    pytest.mark.once,
    pytest.mark.processes,
    pytest.mark.skipif(not Path("/proc/self").exists(), reason="looks at processes through /proc"),
]


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One data directory for all: the first start makes the tables, the others are warm."""
    return tmp_path_factory.mktemp("demo") / "data"


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture
def demo(data: Path, port: int) -> Iterator[Start]:
    start = Start(data, "demo", "--empty", "--port", str(port))
    try:
        assert until(lambda: "Ctrl-C ends it" in start.said or start.process.poll() is not None)
        assert "Ctrl-C ends it" in start.said, start.said
        yield start
    finally:
        start.end()


def test_it_says_where_it_is_and_who_may_sign_in(demo: Start, data: Path, port: int) -> None:
    assert f"http://127.0.0.1:{port}/" in demo.said
    kept = json.loads((data / "demo_people.json").read_text())
    assert [entry["role"] for entry in kept] == ["lead"]
    assert re.search(rf"lead +{kept[0]['password']} +lead", demo.said)
    assert stat.S_IMODE((data / "demo_people.json").stat().st_mode) == 0o600
    assert answers(port) == 200
    # The plan of the start named the passwords too; it is gone once read.
    assert not list(data.glob("start-*.json"))


def test_it_listens_on_this_machine_alone(demo: Start, port: int) -> None:
    inodes = {
        line.split()[1]
        for line in Path("/proc/net/tcp").read_text().splitlines()[1:]
        if line.split()[1].endswith(f":{port:04X}") and line.split()[3] == "0A"
    }
    assert inodes == {f"0100007F:{port:04X}"}


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["Ctrl-C", "TERM"])
def test_it_ends_both_and_then_itself_without_complaint(demo: Start, port: int, number: signal.Signals) -> None:
    children = demo.children()
    assert set(children) == {"serve", "work"}
    demo.process.send_signal(number)
    assert demo.ended() == 0
    assert not [name for name, process in children.items() if alive(process)]
    assert answers(port) == 0
    assert "Traceback" not in demo.said


@pytest.mark.parametrize(("dies", "named"), [("work", "worker"), ("serve", "web server")])
def test_when_either_dies_the_other_is_ended_too_and_it_says_which(demo: Start, dies: str, named: str) -> None:
    children = demo.children()
    os.kill(children[dies], signal.SIGKILL)
    assert demo.ended() == 1
    assert not [name for name, process in children.items() if alive(process)]
    assert f"The {named} ended by itself (signal 9), so everything is stopped." in demo.said


def test_when_it_is_killed_itself_both_end_on_their_own(demo: Start) -> None:
    children = demo.children()
    demo.process.kill()
    demo.process.wait()
    assert until(lambda: not any(map(alive, children.values()))), demo.said


def test_ended_while_it_is_still_starting_it_leaves_nothing_behind(data: Path, port: int) -> None:
    start = Start(data, "demo", "--empty", "--port", str(port))
    assert until(lambda: "config/supervisor.py" in Path(f"/proc/{start.process.pid}/cmdline").read_text())
    assert until(lambda: len(start.children()) == 1)
    children = start.children()
    assert start.end() == 0
    assert not [name for name, process in children.items() if alive(process)]


def test_a_port_that_is_taken_is_told_in_one_sentence(data: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        start = Start(data, "demo", "--empty", "--port", str(taken.getsockname()[1]))
        assert start.ended() == 1
    assert start.said.count("\n") == 1
    assert "choose another with --port" in start.said


def test_a_shop_that_is_no_demo_is_never_thrown_away(demo: Start, data: Path) -> None:
    demo.end()
    marker = data / "demo_people.json"
    kept = marker.read_bytes()
    marker.unlink()
    try:
        start = Start(data, "demo", "--reset", "--empty", "--port", str(free_port()))
        assert start.ended() == 1
        assert "no demo shop, so it is not thrown away" in start.said
    finally:
        marker.write_bytes(kept)


def test_reset_begins_anew_with_new_passwords(demo: Start, data: Path) -> None:
    demo.end()
    before = json.loads((data / "demo_people.json").read_text())[0]["password"]
    again = Start(data, "demo", "--reset", "--empty", "--port", str(free_port()))
    try:
        assert until(lambda: "Ctrl-C ends it" in again.said), again.said
        assert json.loads((data / "demo_people.json").read_text())[0]["password"] != before
    finally:
        again.end()


@pytest.mark.parametrize("command", ["serve", "work"])
def test_on_a_database_without_tables_each_says_what_to_run(tmp_path: Path, command: str) -> None:
    start = Start(tmp_path / "data", command)
    assert start.ended() == 1
    assert start.said == "The database is not up to date; run first: python3 manage.py migrate\n"


@pytest.mark.parametrize("command", ["serve", "work", "demo"])
def test_on_a_database_that_is_away_each_says_so(tmp_path: Path, command: str) -> None:
    nobody = f"postgres://nobody@127.0.0.1:{free_port()}/none"
    options = ["--port", str(free_port())] if command != "work" else []
    start = Start(tmp_path / "data", command, *options, DATABASE_URL=nobody, SECRET_KEY="k" * 50)
    assert start.ended() == 1
    assert start.said.startswith("The database cannot be used: ")
    assert start.said.count("\n") == 1
