"""One file that holds the whole shop: the database as it was at one moment, and the photos.

A backup is a compressed tar with `manifest.json`, the database under `database/` and the files under
`media/`. SQLite is copied by its own online backup; PostgreSQL table by table in one read-only
snapshot. Secrets are not in it: passwords only as their hashes, and not the signing key.
"""

import gzip
import hashlib
import json
import tarfile
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import CommandError
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from crib.core.clock import now
from crib.management import databases

FORMAT = "edgetally-backup-1"
MANIFEST = "manifest.json"
BLOCK = 1 << 20


@dataclass(frozen=True)
class Contents:
    """What a backup holds."""

    made_at: str
    rows: int
    photos: int


def write_backup(file: Path) -> Contents:
    """Write the backup beside its place and move it there when it is whole."""
    draft = file.with_name(file.name + ".part")
    try:
        with _working_folder() as folder:
            rows = databases.of(connection).dump(folder / "database")
            manifest: dict[str, Any] = {
                "format": FORMAT,
                "made_at": now().isoformat(),
                "vendor": connection.vendor,
                "migrations": _applied_migrations(),
                "rows": rows,
                "files": {name: _digest(path) for name, path in _members(folder)},
            }
            (folder / MANIFEST).write_text(json.dumps(manifest, indent=1), encoding="utf-8")
            with tarfile.open(draft, "w:gz", compresslevel=6) as archive:
                archive.add(folder / MANIFEST, MANIFEST)
                for name, path in _members(folder):
                    archive.add(path, name, recursive=False)
        draft.chmod(0o600)
        draft.replace(file)
    except OSError as refused:
        raise CommandError(f"The backup cannot be written to {file}: {refused.strerror}.") from refused
    finally:
        draft.unlink(missing_ok=True)
    return _contents(manifest)


def read_backup(file: Path) -> Contents:
    """Put the backup in the place of what is there; all of it was checked before anything is touched."""
    with _working_folder() as folder:
        manifest = _unpacked(file, folder)
        database = databases.of(connection)
        _check_fits(manifest)
        database.check(folder / "database", manifest["rows"])
        database.load(folder / "database", manifest["rows"])
        _restore_media(folder / "media")
    return _contents(manifest)


def _contents(manifest: dict[str, Any]) -> Contents:
    photos = [name for name in manifest["files"] if name.startswith("media/")]
    return Contents(manifest["made_at"], sum(manifest["rows"].values()), len(photos))


@contextmanager
def _working_folder() -> Iterator[Path]:
    # Beside the data: what is large there should not have to fit into a small /tmp.
    try:
        made = tempfile.TemporaryDirectory(prefix="backup-", dir=settings.DATA_DIR)
    except OSError as refused:
        raise CommandError(f"{settings.DATA_DIR} cannot be written ({refused.strerror}).") from refused
    with made as folder:
        (Path(folder) / "database").mkdir()
        yield Path(folder)


def _members(folder: Path) -> list[tuple[str, Path]]:
    """Name in the archive and place on disk of everything but the manifest."""
    media = Path(settings.MEDIA_ROOT)
    found = [(f"database/{path.name}", path) for path in sorted((folder / "database").iterdir())]
    if media.is_dir():
        found += [(f"media/{path.relative_to(media)}", path) for path in sorted(media.rglob("*")) if path.is_file()]
    return found


def _unpacked(file: Path, folder: Path) -> dict[str, Any]:
    """The manifest, when every member it names is there with its own fingerprint and nothing else is."""
    try:
        _read_to_the_end(file)
        with tarfile.open(file, "r:gz") as archive:
            archive.extractall(folder, filter="data")
        manifest = _sound_manifest(json.loads((folder / MANIFEST).read_text(encoding="utf-8")), file)
    except (tarfile.TarError, zlib.error, EOFError, OverflowError, RecursionError, ValueError) as unread:
        raise CommandError(f"{file} is no backup of Edgetally, or it is damaged; nothing was changed.") from unread
    except OSError as refused:
        raise _unreadable(file, refused) from refused
    there = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()} - {MANIFEST}
    if there != set(manifest["files"]) or any(
        _digest(folder / name) != digest for name, digest in manifest["files"].items()
    ):
        raise CommandError(f"{file} is damaged, so nothing was changed; use another backup.")
    return manifest


def _read_to_the_end(file: Path) -> None:
    """The check sum over the whole stands at its very end, where unpacking alone would not look."""
    with gzip.open(file) as whole:
        while whole.read(BLOCK):
            pass


def _sound_manifest(read: Any, file: Path) -> dict[str, Any]:
    """The manifest, when it says all that a manifest has to say; a ValueError otherwise."""
    if not isinstance(read, dict):
        raise ValueError("the manifest is none")
    if read.get("format") != FORMAT:
        raise CommandError(f"{file} was not written by this version of Edgetally; nothing was changed.")
    texts: list[Any] = [read.get("made_at"), read.get("vendor")]
    migrations, rows, files = read.get("migrations"), read.get("rows"), read.get("files")
    if not (isinstance(migrations, list) and isinstance(rows, dict) and isinstance(files, dict)):
        raise ValueError("a part of the manifest is missing")
    if not all(isinstance(text, str) for text in [*texts, *migrations, *files.values()]):
        raise ValueError("a text of the manifest is none")
    if not all(type(count) is int for count in rows.values()):
        raise ValueError("a count of rows is none")
    return read


def _unreadable(file: Path, refused: OSError) -> CommandError:
    if not file.exists():
        return CommandError(f"There is no backup {file}.")
    if refused.errno is None or isinstance(refused, FileNotFoundError):
        return CommandError(f"{file} is no backup of Edgetally, or it is damaged; nothing was changed.")
    return CommandError(f"{file} cannot be unpacked ({refused.strerror}); nothing was changed.")


def _check_fits(manifest: dict[str, Any]) -> None:
    if manifest["vendor"] != connection.vendor:
        raise CommandError(
            f"This backup is of a {manifest['vendor']} database and this one is {connection.vendor}; "
            "set DATABASE_URL to a database of that kind; nothing was changed."
        )
    unknown = set(manifest["migrations"]) - set(_known_migrations())
    if unknown:
        raise CommandError(
            "This backup is of a newer version of Edgetally, so nothing was changed; "
            "install that version and restore there."
        )


def _applied_migrations() -> list[str]:
    return sorted(f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations())


def _known_migrations() -> list[str]:
    from django.db.migrations.loader import MigrationLoader

    return sorted(f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations)


def _restore_media(source: Path) -> None:
    if not source.is_dir():
        return
    target = Path(settings.MEDIA_ROOT)
    for path in sorted(source.rglob("*")):
        if path.is_file():
            place = target / path.relative_to(source)
            try:
                place.parent.mkdir(parents=True, exist_ok=True)
                path.replace(place)
            except OSError as refused:
                raise CommandError(
                    f"The database is restored, but the photo {place} cannot be written ({refused.strerror}); "
                    "make room for it and restore again."
                ) from refused


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
