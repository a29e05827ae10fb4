"""Reads the environment that an installation is configured by, and says plainly what is wrong with it."""

import contextlib
import os
import secrets
import zoneinfo
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

LOOPBACK_HOSTS = ["127.0.0.1", "localhost", "[::1]"]
UNIT_SYSTEMS = ("metric", "inch")
_YES = {"1", "true", "yes", "on"}
_NO = {"0", "false", "no", "off", ""}


def text(name: str, default: str = "") -> str:
    """The variable without surrounding blanks; set but empty means unset, as compose files write it."""
    return os.environ.get(name, "").strip() or default


def flag(name: str, *, default: bool) -> bool:
    value = os.environ.get(name, "").strip().lower()
    if value in _YES:
        return True
    if value in _NO:
        return default if value == "" else False
    raise ImproperlyConfigured(f"{name} is “{value}”; write 1 or 0.")


def words(name: str, default: list[str]) -> list[str]:
    """A list written with commas or blanks between."""
    return text(name).replace(",", " ").split() or default


def time_zone() -> str:
    name = text("TIME_ZONE", "UTC")
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError) as unknown:
        raise ImproperlyConfigured(
            f"TIME_ZONE is “{name}”, which is no known zone; write one such as Europe/Oslo."
        ) from unknown
    return name


def currency() -> str:
    code = text("CURRENCY", "EUR").upper()
    if not (len(code) == 3 and code.isascii() and code.isalpha()):
        raise ImproperlyConfigured(f"CURRENCY is “{code}”; write a three-letter ISO 4217 code such as EUR.")
    return code


def units() -> str:
    system = text("UNITS", "metric").lower()
    if system not in UNIT_SYSTEMS:
        raise ImproperlyConfigured(f"UNITS is “{system}”; write metric or inch.")
    return system


def log_level() -> str:
    level = text("LOG_LEVEL", "INFO").upper()
    if level not in ("DEBUG", "INFO", "WARNING", "ERROR"):
        raise ImproperlyConfigured(f"LOG_LEVEL is “{level}”; write DEBUG, INFO, WARNING or ERROR.")
    return level


def data_directory(project: Path) -> Path:
    """Where database, queue, media and secrets live; made on first use, closed to other accounts."""
    directory = Path(text("EDGETALLY_DATA", str(project / "var"))).expanduser().absolute()
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as refused:
        raise ImproperlyConfigured(
            f"The data directory {directory} cannot be made ({refused.strerror}); name another in EDGETALLY_DATA."
        ) from refused
    return directory


def secret_key(directory: Path, *, must_be_given: bool) -> str:
    """The signing key: from the environment, or made once and kept beside the data.

    Several processes may start at once on a fresh directory, so the key is written whole beside its
    place and then linked there: the first link wins and everybody reads the winner's key.
    """
    if given := text("SECRET_KEY"):
        return given
    if must_be_given:
        raise ImproperlyConfigured("Set SECRET_KEY: it is required when DEBUG is off and the database is not SQLite.")
    place = directory / "secret_key"
    try:
        if not place.exists():
            keep_once(place, secrets.token_urlsafe(48))
        return place.read_text(encoding="ascii")
    except OSError as refused:
        raise ImproperlyConfigured(
            f"The signing key cannot be kept in {directory} ({refused.strerror}); "
            "set SECRET_KEY or name a writable EDGETALLY_DATA."
        ) from refused


def keep_once(place: Path, content: str) -> None:
    """Write `content` to `place`, readable by its owner alone, unless somebody else was first."""
    draft = place.with_name(f"{place.name}.{os.getpid()}.{secrets.token_hex(4)}")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileExistsError):
            os.link(draft, place)
    finally:
        draft.unlink()
