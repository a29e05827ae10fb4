"""Makes the environment that the program runs in, then starts the program there.

Standard library alone: this runs before anything is installed. `.venv` holds what `requirements.lock`
pins; for `test` also what `tests/requirements.lock` pins. A stamp per lock, written last, says that
the lock's content is installed whole. A mark stands while an installation is under way, so that one
that was cut off is thrown away and begun again.
"""

import contextlib
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import NoReturn

from config import supervisor

PROJECT = Path(__file__).resolve().parent.parent
RUN_LOCK = PROJECT / "requirements.lock"
TEST_LOCK = PROJECT / "tests" / "requirements.lock"
UNDER_WAY = "installing"
LOG = "install.log"
# Says which pins of a lock are not installed; run by the environment's own Python.
MISSING_PINS = """
import sys
from importlib import metadata
from pip._vendor.packaging.requirements import Requirement
for line in open(sys.argv[1], encoding="utf-8"):
    if line[:1].isalnum():
        pin = Requirement(line.rstrip().removesuffix(chr(92)))
        if pin.marker is None or pin.marker.evaluate():
            try:
                if metadata.version(pin.name) not in pin.specifier:
                    sys.exit(3)
            except metadata.PackageNotFoundError:
                sys.exit(3)
"""


class CannotStart(Exception):
    """Why the program cannot start, in one sentence."""


def start(arguments: list[str]) -> int:
    """Run `manage.py` with `arguments`, in an environment where everything pinned is installed."""
    command = arguments[1] if len(arguments) > 1 else ""
    try:
        with _stopping_on_term():
            python = _prepared(TEST_LOCK if command == "test" else RUN_LOCK)
    except CannotStart as reason:
        sys.stderr.write(f"{reason}\n")
        return 1
    except KeyboardInterrupt:
        sys.stderr.write("Stopped; the next start takes up the installation again.\n")
        return 130
    if command == "test":
        os.chdir(PROJECT)
        _become([str(python), "-m", "pytest", *(arguments[2:] or _whole_suite())])
    if not _runs_here(python):
        _become([str(python), str(PROJECT / "manage.py"), *arguments[1:]])
    return run_command(arguments)


def _whole_suite() -> list[str]:
    """One process for each core, but not more than the tests' own servers and browsers leave room for."""
    return ["-n", str(min(os.cpu_count() or 1, 4))]


def run_command(arguments: list[str]) -> int:
    """Hand over to Django; wrong settings are told in a sentence."""
    supervisor.end_with_parent()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    from django.conf import settings
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        settings.configured or settings.DATA_DIR  # noqa: B018 - reading one setting loads them all
    except ImproperlyConfigured as wrong:
        sys.stderr.write(f"{wrong}\n")
        return 1
    execute_from_command_line(arguments)
    return 0


def _become(command: list[str]) -> NoReturn:
    sys.stdout.flush()
    sys.stderr.flush()
    os.execv(command[0], command)


def _prepared(lock: Path) -> Path:
    """The Python of an environment where `lock` is installed, made first if need be."""
    if os.environ.get("EDGETALLY_VENV") == "off":
        return Path(sys.executable)
    venv = _place()
    if not _stamped(venv, lock):
        _make_place(venv)
        with _alone(venv.parent) as held:
            if not _stamped(venv, lock):
                _install(venv, lock, held)
    return _python(venv)


# --- Where ------------------------------------------------------------------------------------------


def _place() -> Path:
    """The environment's folder: the one asked for, the project's own, or one under the home folder."""
    if asked := os.environ.get("EDGETALLY_VENV"):
        return Path(asked).expanduser().absolute()
    own = PROJECT / ".venv"
    if _writable(PROJECT):
        return own
    mark = hashlib.sha256(str(PROJECT).encode()).hexdigest()[:12]
    home = Path(os.environ.get("XDG_CACHE_HOME") or "~/.cache").expanduser() / "edgetally" / mark
    # The data cannot stand in the project either.
    share = Path(os.environ.get("XDG_DATA_HOME") or "~/.local/share").expanduser() / "edgetally" / mark
    os.environ.setdefault("EDGETALLY_DATA", str(share))
    return own if _stamped(own, RUN_LOCK) and sys.argv[1:2] != ["test"] else home / "venv"


def _writable(folder: Path) -> bool:
    """Tried, not asked: permissions say nothing about a read-only file system."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def _make_place(venv: Path) -> None:
    try:
        venv.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=venv.parent):
            pass
    except OSError as refused:
        raise CannotStart(
            f"The folder {venv.parent} cannot be written to ({refused.strerror}); "
            "name writable folders in EDGETALLY_VENV and EDGETALLY_DATA."
        ) from refused


def _python(venv: Path) -> Path:
    return venv / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def _runs_here(python: Path) -> bool:
    return Path(sys.prefix).resolve() == python.parent.parent.resolve() or python == Path(sys.executable)


# --- Stamps -----------------------------------------------------------------------------------------


def _stamp(venv: Path, lock: Path) -> Path:
    return venv / f"installed-{lock.parent.name if lock == TEST_LOCK else 'run'}"


def _stamp_text(lock: Path) -> str:
    digest = hashlib.sha256(lock.read_bytes()).hexdigest()
    return f"{digest} {sys.version_info[0]}.{sys.version_info[1]} {Path(sys.base_prefix).resolve()}"


def _stamped(venv: Path, lock: Path) -> bool:
    try:
        return _stamp(venv, lock).read_text(encoding="utf-8") == _stamp_text(lock) and _python(venv).exists()
    except OSError:
        return False


# --- Installing -------------------------------------------------------------------------------------


def _install(venv: Path, lock: Path, held: int) -> None:
    try:
        if (venv / UNDER_WAY).exists() or not _usable(venv):
            _make(venv)
        elif _complete(venv, lock):
            _write_stamp(venv, lock)
            return
        (venv / UNDER_WAY).touch()
        _run_pip(venv, lock, held)
        if not _complete(venv, lock):
            raise CannotStart(f"The installation into {venv} is not complete; see {venv / LOG}.")
        _write_stamp(venv, lock)
        (venv / UNDER_WAY).unlink()
    except OSError as refused:
        raise CannotStart(f"The environment {venv} cannot be made: {refused.strerror}.") from refused


def _usable(venv: Path) -> bool:
    """Whether a Python of this very version, with pip, answers there."""
    question = "import sys, pip; print(*sys.version_info[:2], sys.prefix != sys.base_prefix)"
    try:
        answer = subprocess.run([_python(venv), "-c", question], capture_output=True, text=True, timeout=60)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return answer.stdout.split() == [*map(str, sys.version_info[:2]), "True"]


def _complete(venv: Path, lock: Path) -> bool:
    return subprocess.run([_python(venv), "-c", MISSING_PINS, lock], capture_output=True).returncode == 0


def _make(venv: Path) -> None:
    if venv.exists():
        if venv != PROJECT / ".venv" and any(venv.iterdir()) and not (venv / "pyvenv.cfg").exists():
            raise CannotStart(f"{venv} holds something else; name an empty folder in EDGETALLY_VENV.")
        shutil.rmtree(venv)
    _say(f"Making an environment for Python {sys.version_info[0]}.{sys.version_info[1]} in {venv}")
    venv.mkdir()
    (venv / UNDER_WAY).touch()
    made = subprocess.run(
        [getattr(sys, "_base_executable", sys.executable), "-m", "venv", venv], capture_output=True, text=True
    )
    if made.returncode != 0:
        if "ensurepip" in made.stdout + made.stderr:
            raise CannotStart(
                "This Python cannot make environments; install its venv package "
                "(on Debian and Ubuntu: apt install python3-venv) and start again."
            )
        raise CannotStart(f"The environment {venv} cannot be made: {_last_line(made.stderr or made.stdout)}")


def _run_pip(venv: Path, lock: Path, held: int) -> None:
    """Install what `lock` pins. Pip keeps the lock on the folder even if this process is killed."""
    pins = [line for line in lock.read_text(encoding="utf-8").splitlines() if line[:1].isalnum()]
    command = [str(_python(venv)), "-m", "pip", "install", "--require-hashes", "--no-deps", "--no-input"]
    command += ["--disable-pip-version-check", "--retries", "1", "--timeout", "15", "--progress-bar", "off"]
    if lock == RUN_LOCK:
        command += ["--only-binary", ":all:"]
    _say(f"Installing up to {len(pins)} packages; this is done once")
    with (venv / LOG).open("w", encoding="utf-8") as log:
        pip = subprocess.Popen(
            [*command, "-r", str(lock)], stdout=log, stderr=log, stdin=subprocess.DEVNULL, pass_fds=(held,)
        )
        try:
            while pip.poll() is None:
                _show_progress(venv / LOG, len(pins))
                time.sleep(0.25)
        except BaseException:
            pip.terminate()
            pip.wait()
            raise
        finally:
            _end_progress()
    if pip.returncode != 0:
        raise CannotStart(_why_pip_failed((venv / LOG).read_text(encoding="utf-8", errors="replace"), venv / LOG))


def _why_pip_failed(log: str, place: Path) -> str:
    if "DO NOT MATCH THE HASHES" in log:
        return "A downloaded package does not match its pinned hash, so nothing of it was used; see " + str(place)
    if "No space left on device" in log:
        return "The disk is full; make room and start again."
    unreachable = (
        "NewConnectionError",
        "ConnectTimeout",
        "NameResolutionError",
        "ProxyError",
        "SSLError",
        "ReadTimeout",
    )
    if any(word in log for word in unreachable):
        return "The package index cannot be reached; check the network, or the proxy in HTTPS_PROXY, and start again."
    if "No matching distribution" in log:
        return f"The package index has no fitting package for this machine: {_last_line(log)}"
    return f"The packages cannot be installed: {_last_line(log)}"


def _last_line(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    errors = [line.removeprefix("ERROR: ") for line in lines if line.startswith("ERROR: ")]
    return (errors or lines or ["no reason was given"])[-1]


def _write_stamp(venv: Path, lock: Path) -> None:
    stamp = _stamp(venv, lock)
    draft = stamp.with_suffix(".draft")
    draft.write_text(_stamp_text(lock), encoding="utf-8")
    draft.replace(stamp)


# --- One at a time, and what is said meanwhile ------------------------------------------------------


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[int]:
    """Hold `folder`, so that two starts at once install one after the other."""
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            _say("Another start is installing; waiting for it")
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield handle
    finally:
        os.close(handle)


@contextlib.contextmanager
def _stopping_on_term() -> Iterator[None]:
    def stop(number: int, frame: FrameType | None) -> NoReturn:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _say(sentence: str) -> None:
    sys.stderr.write(f"{sentence} …\n")
    sys.stderr.flush()


def _show_progress(log: Path, total: int) -> None:
    if sys.stderr.isatty():
        done = min(total, log.read_text(encoding="utf-8", errors="replace").count("Collecting "))
        sys.stderr.write(f"\r  {done} of {total} fetched")
        sys.stderr.flush()


def _end_progress() -> None:
    if sys.stderr.isatty():
        sys.stderr.write("\n")
