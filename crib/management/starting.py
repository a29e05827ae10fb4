"""What every start has in common: tables up to date, static files in place, a free port."""

import hashlib
import signal
import socket
import sys
from pathlib import Path
from types import FrameType
from typing import NoReturn

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

# Only pages for people who write programs would need them, and the service has none.
STATIC_LEFT_OUT = ["rest_framework/*"]


def leave_when_asked() -> None:
    """Take a request to end as an ordinary end, from the first moment on."""
    signal.signal(signal.SIGTERM, _leave)


def _leave(number: int, frame: FrameType | None) -> NoReturn:
    sys.exit(0)


def tables_are_current() -> bool:
    """Whether every migration has been applied."""
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def require_current_tables() -> None:
    """Refuse to start on tables that are not there or not up to date, or on a database that is away."""
    try:
        current = tables_are_current()
    except DatabaseError as away:
        raise CommandError(f"The database cannot be used: {_first_line(away)}") from away
    if not current:
        raise CommandError("The database is not up to date; run first: python3 manage.py migrate")


def require_free_port(host: str, port: int) -> None:
    """Say in a sentence that somebody else listens there."""
    if not 0 < port < 65536:
        raise CommandError(f"There is no port {port}; choose one from 1024 to 65535 with --port.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as taken:
            raise CommandError(
                f"Cannot listen on {host} port {port} ({taken.strerror}); choose another with --port."
            ) from taken


def collect_static() -> None:
    """Put the static files where they are served from, unless nothing changed since the last time."""
    if settings.STORAGES["staticfiles"]["BACKEND"] != "whitenoise.storage.CompressedManifestStaticFilesStorage":
        return
    stamp = Path(settings.STATIC_ROOT) / ".collected"
    now = _static_fingerprint()
    if not (stamp.exists() and stamp.read_text(encoding="ascii") == now):
        call_command("collectstatic", interactive=False, clear=True, verbosity=0, ignore_patterns=STATIC_LEFT_OUT)
        stamp.write_text(now, encoding="ascii")


def _static_fingerprint() -> str:
    digest = hashlib.sha256()
    for finder in get_finders():
        for name, storage in sorted(finder.list(STATIC_LEFT_OUT), key=lambda found: str(found[0])):
            about = Path(storage.path(name)).stat()
            digest.update(f"{name} {about.st_size} {about.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0]
