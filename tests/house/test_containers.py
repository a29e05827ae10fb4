"""The compose file: every service's own command is run as a process, on ports and data of this machine."""

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.house.starts import PATIENCE, PROJECT, answers, free_port, until

COMPOSE: dict[str, Any] = yaml.safe_load((PROJECT / "docker-compose.yml").read_text())
SERVICES: dict[str, Any] = COMPOSE["services"]


def test_there_are_web_worker_database_and_queue_each_with_a_health_check() -> None:
    assert set(SERVICES) == {"web", "worker", "db", "redis"}
    assert all(service["healthcheck"]["test"][0] == "CMD" for service in SERVICES.values())


def test_what_must_outlive_a_container_stands_on_a_named_volume() -> None:
    mounted = {one.split(":")[0] for service in SERVICES.values() for one in service.get("volumes", [])}
    assert mounted == set(COMPOSE["volumes"]) == {"data", "database"}
    assert SERVICES["web"]["volumes"] == SERVICES["worker"]["volumes"] == ["data:/data"]


def test_secrets_come_from_outside_and_the_start_is_refused_without_them() -> None:
    text = (PROJECT / "docker-compose.yml").read_text()
    for name in ("SECRET_KEY", "POSTGRES_PASSWORD", "ALLOWED_HOSTS"):
        assert set(re.findall(rf"\$\{{{name}[^}}]*\}}", text)) == {f"${{{name}:?put {name} into .env}}"}


def test_only_the_web_server_is_reached_from_outside_and_only_from_this_machine() -> None:
    assert {name for name, service in SERVICES.items() if "ports" in service} == {"web"}
    assert SERVICES["web"]["ports"] == ["127.0.0.1:8000:8000"]


def test_every_variable_handed_to_the_program_is_one_it_reads() -> None:
    read = set(re.findall(r'(?:text|flag|words)\(\s*"([A-Z_]+)"', (PROJECT / "config" / "settings.py").read_text()))
    read |= set(re.findall(r'text\("([A-Z_]+)"', (PROJECT / "config" / "environment.py").read_text()))
    assert set(SERVICES["web"]["environment"]) <= read


def test_the_image_installs_what_is_pinned_and_runs_as_nobody_special() -> None:
    lines = SERVICES["web"]["build"]["dockerfile_inline"].splitlines()
    install = next(line for line in lines if "pip install" in line)
    assert {"--require-hashes", "--no-deps"} <= set(install.split())
    assert lines.index("USER edgetally") > lines.index("COPY . .")
    version = next(line for line in lines if line.startswith("FROM")).removeprefix("FROM python:").split("-")[0]
    assert version in {"3.11", "3.12", "3.13"}


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """As in the image, with the suite's own database and queue in the place of the other containers."""
    bin_folder = tmp_path / "bin"
    bin_folder.mkdir()
    (bin_folder / "python").symlink_to(sys.executable)
    # A link alone would lose the packages beside the interpreter.
    packages = os.pathsep.join(path for path in sys.path if path.endswith("site-packages"))
    return {
        "PATH": f"{bin_folder}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": packages,
        "EDGETALLY_VENV": "off",
        "EDGETALLY_DATA": str(tmp_path / "data"),
        "SECRET_KEY": "k" * 50,
        "ALLOWED_HOSTS": "crib.example",
        "PYTHONUNBUFFERED": "1",
    }


def here(words: list[str], port: int, data: str) -> list[str]:
    """A command of the compose file, for this machine."""
    filled = [re.sub(r"\$\{\w+:-([^}]*)\}", r"\1", word) for word in words]
    return [word.replace("8000", str(port)).replace("/data/", f"{data}/") for word in filled]


@pytest.mark.processes
def test_web_and_worker_start_by_their_own_commands_and_pass_their_own_health_checks(
    environment: dict[str, str],
) -> None:
    port, data = free_port(), environment["EDGETALLY_DATA"]

    def run(words: list[str]) -> subprocess.Popen[bytes]:
        return subprocess.Popen(here(words, port, data), cwd=PROJECT, env=environment, stdin=subprocess.DEVNULL)

    def healthy(service: str) -> bool:
        return run(SERVICES[service]["healthcheck"]["test"][1:]).wait(PATIENCE) == 0

    assert not healthy("web")
    web = run(SERVICES["web"]["command"])
    try:
        assert until(lambda: answers(port) == 200 or web.poll() is not None)
        assert healthy("web")
        # Behind HTTPS from the first moment: a page asked for in plain HTTP is sent there.
        assert answers(port, "/") == 301
        worker = run(SERVICES["worker"]["command"])
        try:
            assert until(lambda: (Path(data) / "queue" / "last_sweep").exists())
            assert healthy("worker")
        finally:
            worker.terminate()
            assert worker.wait(PATIENCE) == 0
    finally:
        web.terminate()
        assert web.wait(PATIENCE) == 0


@pytest.mark.processes
def test_the_queues_own_command_is_one_that_its_server_takes(tmp_path: Path) -> None:
    port = free_port()
    try:
        server = subprocess.Popen(
            [*SERVICES["redis"]["command"], "--port", str(port), "--bind", "127.0.0.1", "--dir", str(tmp_path)],
            stdout=subprocess.DEVNULL,
        )
    except FileNotFoundError:
        pytest.skip("there is no redis-server on this machine")
    try:
        check = [*SERVICES["redis"]["healthcheck"]["test"][1:], "-p", str(port)]
        check = [check[0], *check[2:], check[1]]
        assert until(lambda: subprocess.run(check, capture_output=True).stdout == b"PONG\n")
    finally:
        server.terminate()
        server.wait(PATIENCE)
