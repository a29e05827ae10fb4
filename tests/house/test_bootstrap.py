"""First starts from a fresh clone, with a tiny package of our own in the place of the real ones.

Each start is a process of its own, against a folder of packages or an address where nobody answers, so
that nothing here needs a network.
"""

import base64
import hashlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from config import bootstrap

PROJECT = Path(__file__).resolve().parents[2]
PROGRAM = """
import sys
from importlib import metadata
sys.path.insert(0, {project!r})
from config import bootstrap
def say(arguments):
    print("inside", sys.prefix, metadata.version("tinytool"), *arguments[1:])
    return 0
bootstrap.run_command = say
sys.exit(bootstrap.start(sys.argv))
"""

pytestmark = [
    pytest.mark.once,
    pytest.mark.processes,
    pytest.mark.skipif(sys.platform == "win32", reason="starts need flock"),
]


def make_wheel(folder: Path, version: str) -> str:
    """A wheel that holds one module; answers its SHA-256."""
    about = f"tinytool-{version}.dist-info"
    members = {
        "tinytool.py": f'VERSION = "{version}"\n',
        f"{about}/METADATA": f"Metadata-Version: 2.1\nName: tinytool\nVersion: {version}\n",
        f"{about}/WHEEL": "Wheel-Version: 1.0\nGenerator: by-hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = ""
    for name, text in members.items():
        digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
        record += f"{name},sha256={digest},{len(text)}\n"
    members[f"{about}/RECORD"] = record + f"{about}/RECORD,,\n"
    place = folder / f"tinytool-{version}-py3-none-any.whl"
    with zipfile.ZipFile(place, "w") as wheel:
        for name, text in members.items():
            wheel.writestr(name, text)
    return hashlib.sha256(place.read_bytes()).hexdigest()


class Clone:
    """A fresh clone that pins one package, and the starts made in it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "clone"
        self.packages = folder / "packages"
        self.packages.mkdir()
        (self.folder / "config").mkdir(parents=True)
        (self.folder / "tests").mkdir()
        (self.folder / "config" / "__init__.py").touch()
        for name in ("bootstrap.py", "supervisor.py"):
            shutil.copy(PROJECT / "config" / name, self.folder / "config" / name)
        # The program that follows the start is replaced; the rest is the product's own.
        (self.folder / "manage.py").write_text(PROGRAM.format(project=str(self.folder)))
        self.pin("1.0")
        kept = {name: value for name, value in os.environ.items() if name in {"PATH", "LANG"}}
        self.env = {
            **kept,
            "HOME": str(folder / "home"),
            "PIP_NO_INDEX": "1",
            "PIP_FIND_LINKS": str(self.packages),
            "PIP_CONFIG_FILE": os.devnull,
        }

    def pin(self, version: str, *, digest: str = "") -> None:
        made = make_wheel(self.packages, version)
        line = f"tinytool=={version} \\\n    --hash=sha256:{digest or made}\n"
        (self.folder / "requirements.lock").write_text(line)
        (self.folder / "tests" / "requirements.lock").write_text(line)

    def open(self, *arguments: str, **changes: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "manage.py", *arguments],
            cwd=self.folder,
            env={**self.env, **changes},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
            # A suite started in the background of a script has Ctrl-C switched off, and its children inherit that.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        )

    def start(self, *arguments: str, **changes: str) -> subprocess.CompletedProcess[str]:
        process = self.open(*arguments, **changes)
        out, err = process.communicate(timeout=300)
        return subprocess.CompletedProcess(arguments, process.returncode, out, err)

    @property
    def venv(self) -> Path:
        return self.folder / ".venv"


@pytest.fixture
def clone(tmp_path: Path) -> Clone:
    return Clone(tmp_path)


@pytest.fixture(scope="module")
def started_once(tmp_path_factory: pytest.TempPathFactory) -> Clone:
    clone = Clone(tmp_path_factory.mktemp("started"))
    answer = clone.start("check")
    assert answer.returncode == 0, answer.stderr
    return clone


@pytest.fixture
def started(started_once: Clone) -> Clone:
    """A clone that has been started before; its tests put back what they change."""
    started_once.pin("1.0")
    assert started_once.start("check").returncode == 0
    return started_once


@pytest.fixture
def silent_index() -> Iterator[str]:
    """A package index that takes a call and never answers."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield f"http://127.0.0.1:{server.getsockname()[1]}/simple"


def test_a_fresh_clone_makes_its_environment_and_runs_inside_it(clone: Clone) -> None:
    answer = clone.start("check", "--deploy")
    assert answer.returncode == 0, answer.stderr
    assert answer.stdout.split() == ["inside", str(clone.venv), "1.0", "check", "--deploy"]
    assert "Making an environment" in answer.stderr


def test_the_next_start_installs_nothing_and_says_nothing(started: Clone) -> None:
    answer = started.start("check", PIP_FIND_LINKS="/nowhere")
    assert (answer.returncode, answer.stderr) == (0, "")


def test_a_changed_lock_is_installed_before_anything_runs(started: Clone) -> None:
    started.pin("1.1")
    answer = started.start("check")
    assert answer.stdout.split()[2] == "1.1", answer.stderr


def test_the_tests_have_a_stamp_of_their_own(started: Clone) -> None:
    # There is no pytest in this clone, which is what the start then runs into.
    answer = started.start("test")
    assert answer.returncode == 1
    assert "No module named pytest" in answer.stderr
    assert (started.venv / "installed-tests").exists()


def test_an_installation_that_was_cut_off_is_begun_again(started: Clone) -> None:
    (started.venv / "installed-run").unlink()
    (started.venv / bootstrap.UNDER_WAY).touch()
    left_over = started.venv / "left-over"
    left_over.touch()
    answer = started.start("check")
    assert answer.returncode == 0, answer.stderr
    assert not left_over.exists()
    assert not (started.venv / bootstrap.UNDER_WAY).exists()


def test_an_environment_somebody_else_made_is_kept_when_it_holds_what_is_pinned(started: Clone) -> None:
    (started.venv / "installed-run").unlink()
    theirs = started.venv / "theirs"
    theirs.touch()
    answer = started.start("check", PIP_FIND_LINKS="/nowhere")
    assert (answer.returncode, answer.stderr) == (0, "")
    assert theirs.exists()


def test_half_an_environment_is_made_anew(clone: Clone) -> None:
    (clone.venv / "bin").mkdir(parents=True)
    (clone.venv / "bin" / "python").symlink_to("/nowhere/python3")
    answer = clone.start("check")
    assert answer.returncode == 0, answer.stderr


def test_two_starts_at_once_install_once_and_both_run(clone: Clone) -> None:
    first = clone.open("one")
    time.sleep(0.3)
    second = clone.open("two")
    outs = [process.communicate(timeout=300) for process in (first, second)]
    assert (first.returncode, second.returncode) == (0, 0), outs
    assert [out.split()[-1] for out, _ in outs] == ["one", "two"]
    said = "".join(err for _, err in outs)
    assert said.count("Making an environment") == 1
    assert "Another start is installing" in said


def test_no_network_is_told_in_one_sentence_and_the_next_start_goes_on(clone: Clone) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        nobody = f"http://127.0.0.1:{server.getsockname()[1]}/simple"
    answer = clone.start("check", PIP_NO_INDEX="0", PIP_FIND_LINKS="", PIP_INDEX_URL=nobody)
    assert answer.returncode == 1
    last = answer.stderr.strip().splitlines()[-1]
    assert last.startswith("The package index cannot be reached;")
    assert "Traceback" not in answer.stderr
    assert clone.start("check").returncode == 0


def test_a_package_with_another_hash_is_refused(clone: Clone) -> None:
    clone.pin("1.0", digest="0" * 64)
    answer = clone.start("check")
    assert answer.returncode == 1
    assert "does not match its pinned hash" in answer.stderr.splitlines()[-1]
    assert answer.stdout == ""


def test_a_package_that_does_not_exist_is_named(clone: Clone) -> None:
    for wheel in clone.packages.iterdir():
        wheel.unlink()
    answer = clone.start("check")
    assert answer.returncode == 1
    assert "tinytool==1.0" in answer.stderr.splitlines()[-1]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["Ctrl-C", "TERM"])
def test_stopped_while_installing_it_says_so_and_the_next_start_is_whole(
    clone: Clone, silent_index: str, number: signal.Signals
) -> None:
    process = clone.open("check", PIP_NO_INDEX="0", PIP_FIND_LINKS="", PIP_INDEX_URL=silent_index)
    wait_for_text(clone.venv / bootstrap.LOG)
    process.send_signal(number)
    _, err = process.communicate(timeout=120)
    assert process.returncode == 130
    assert err.strip().splitlines()[-1].startswith("Stopped;")
    assert "Traceback" not in err
    assert clone.start("check").returncode == 0


def test_killed_while_installing_the_next_start_is_whole(clone: Clone, silent_index: str) -> None:
    process = clone.open("check", PIP_NO_INDEX="0", PIP_FIND_LINKS="", PIP_INDEX_URL=silent_index)
    wait_for_text(clone.venv / bootstrap.LOG)
    os.killpg(process.pid, signal.SIGKILL)
    process.communicate()
    answer = clone.start("check")
    assert answer.returncode == 0, answer.stderr


def wait_for_text(log: Path) -> None:
    give_up = time.monotonic() + 60
    while not (log.exists() and log.stat().st_size):
        assert time.monotonic() < give_up, "the installation did not begin"
        time.sleep(0.05)


def test_a_folder_with_something_else_in_it_is_never_thrown_away(clone: Clone, tmp_path: Path) -> None:
    precious = tmp_path / "home" / "precious"
    precious.mkdir(parents=True)
    (precious / "letters").write_text("dear")
    answer = clone.start("check", EDGETALLY_VENV=str(precious))
    assert answer.returncode == 1
    assert "holds something else" in answer.stderr
    assert (precious / "letters").read_text() == "dear"


def test_an_environment_elsewhere_is_used_when_asked_for(clone: Clone, tmp_path: Path) -> None:
    answer = clone.start("check", EDGETALLY_VENV=str(tmp_path / "elsewhere"))
    assert answer.stdout.split()[1] == str(tmp_path / "elsewhere"), answer.stderr
    assert not clone.venv.exists()


def test_a_read_only_project_keeps_environment_and_data_under_the_home_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    # Permissions do not stop an administrator; /proc is read-only for everybody.
    monkeypatch.setattr(bootstrap, "PROJECT", Path("/proc"))
    for name in ("EDGETALLY_VENV", "EDGETALLY_DATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "share"))
    place = bootstrap._place()
    bootstrap._make_place(place)
    assert place.is_relative_to(tmp_path / "cache" / "edgetally")
    assert Path(os.environ["EDGETALLY_DATA"]).is_relative_to(tmp_path / "share" / "edgetally")


def test_nowhere_to_write_names_the_way_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "PROJECT", Path("/proc"))
    for name in ("EDGETALLY_VENV", "EDGETALLY_DATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", "/proc/cache")
    with pytest.raises(bootstrap.CannotStart, match="EDGETALLY_VENV and EDGETALLY_DATA"):
        bootstrap._make_place(bootstrap._place())
    monkeypatch.delenv("EDGETALLY_DATA")


@pytest.mark.parametrize("version", [(2, 7), (3, 6), (3, 10), (3, 14)])
def test_a_python_that_does_not_fit_says_so_in_one_sentence(version: tuple[int, int]) -> None:
    pretend = (
        f"import runpy, sys; sys.version_info = {(*version, 0)!r}; "
        f"runpy.run_path({str(PROJECT / 'manage.py')!r}, run_name='__main__')"
    )
    answer = subprocess.run([sys.executable, "-c", pretend], capture_output=True, text=True)
    assert answer.returncode == 1
    assert answer.stderr.count("\n") == 1
    assert f"this is Python {version[0]}.{version[1]}" in answer.stderr


def test_manage_py_is_written_so_that_the_oldest_pythons_can_read_it() -> None:
    import ast

    source = (PROJECT / "manage.py").read_text(encoding="ascii")
    tree = ast.parse(source, feature_version=(3, 4))
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr | ast.AnnAssign)]
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.arg) and node.annotation]


def test_every_pin_of_the_program_is_the_pin_of_its_tests() -> None:
    def pins(lock: Path) -> set[str]:
        # A marker may be left out where another dependency of the tests makes it needless.
        return {line.split()[0] for line in lock.read_text().splitlines() if line[:1].isalnum()}

    assert pins(bootstrap.RUN_LOCK) <= pins(bootstrap.TEST_LOCK)


@pytest.mark.parametrize("lock", [bootstrap.RUN_LOCK, bootstrap.TEST_LOCK], ids=["run", "tests"])
def test_locks_pin_every_package_by_hash_and_name_no_index(lock: Path) -> None:
    text = lock.read_text()
    assert "://" not in text
    blocks = [block for block in text.replace("\\\n", " ").splitlines() if block.strip()]
    assert len(blocks) > 30
    assert all("==" in block and "--hash=sha256:" in block for block in blocks)


def test_locks_hold_every_dependency_that_the_project_names() -> None:
    named = tomllib.loads((PROJECT / "pyproject.toml").read_text())
    wanted = {
        bootstrap.RUN_LOCK: named["project"]["dependencies"],
        bootstrap.TEST_LOCK: named["project"]["dependencies"] + named["dependency-groups"]["test"],
    }
    for lock, dependencies in wanted.items():
        pins: dict[str, list[str]] = {}
        for line in lock.read_text().splitlines():
            if line[:1].isalnum():
                name, version = line.split()[0].split("==")
                pins.setdefault(canonicalize_name(name), []).append(version)
        for dependency in map(Requirement, dependencies):
            versions = pins.get(canonicalize_name(dependency.name), [])
            assert versions, f"{lock.name} does not pin {dependency.name}; make the locks again (DEVELOPERS.md)"
            assert all(version in dependency.specifier for version in versions), dependency.name
