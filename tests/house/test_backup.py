import errno
import gzip
import io
import json
import sqlite3
import stat
import tarfile
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from pytest_django import Settings

from crib.core.errors import NotFound, Refused
from crib.management import databases
from crib.management.backup import MANIFEST
from crib.people.models import Person
from crib.people.services import retire_person, take_on_person

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _own_media(settings: Settings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def lead() -> Person:
    person, _ = take_on_person(username="ada", first_name="Ada", last_name="Holm", role="lead", who=None)
    return person


@pytest.fixture
def kept(lead: Person, tmp_path: Path, settings: Settings) -> Path:
    """A backup of a shop with one lead and one photo."""
    photo = Path(settings.MEDIA_ROOT) / "wear" / "edge 7.jpg"
    photo.parent.mkdir(parents=True)
    photo.write_bytes(b"a wear land")
    file = tmp_path / "shop.backup"
    call_command("backup", file, stdout=io.StringIO())
    return file


def test_what_was_backed_up_comes_back_whole(kept: Path, settings: Settings) -> None:
    Person.objects.update(first_name="Somebody")
    take_on_person(username="eve", first_name="Eve", last_name="Late", role="machinist", who=None)
    photo = Path(settings.MEDIA_ROOT) / "wear" / "edge 7.jpg"
    photo.unlink()
    said = io.StringIO()
    call_command("restore", kept, "--yes", stdout=said)
    assert [(one.username, one.first_name) for one in Person.objects.all()] == [("ada", "Ada")]
    assert photo.read_bytes() == b"a wear land"
    assert "Restored and checked" in said.getvalue()


def test_new_rows_after_a_restore_get_numbers_of_their_own(kept: Path) -> None:
    call_command("restore", kept, "--yes", stdout=io.StringIO())
    person, _ = take_on_person(username="bo", first_name="Bo", last_name="Hand", role="machinist", who=None)
    assert person.pk not in Person.objects.exclude(username="bo").values_list("pk", flat=True)


def test_a_shop_is_not_replaced_without_saying_so(kept: Path) -> None:
    Person.objects.update(first_name="Still here")
    with pytest.raises(CommandError, match="add --yes"):
        call_command("restore", kept)
    assert Person.objects.get().first_name == "Still here"


def test_a_backup_is_not_written_over_without_saying_so(kept: Path) -> None:
    before = kept.read_bytes()
    with pytest.raises(CommandError, match="add --yes"):
        call_command("backup", kept)
    assert kept.read_bytes() == before


def test_a_backup_is_for_its_owner_alone_and_holds_no_signing_key(kept: Path, settings: Settings) -> None:
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert settings.SECRET_KEY.encode() not in gzip.decompress(kept.read_bytes())
    assert [path.name for path in kept.parent.iterdir() if path.name.endswith(".part")] == []


def refused_unchanged(file: Path) -> bool:
    """Whether a restore is refused with a sentence that nothing was changed, and nothing was."""
    Person.objects.update(first_name="Still here")
    try:
        call_command("restore", file, "--yes", stdout=io.StringIO())
    except CommandError as refused:
        return "nothing was changed" in str(refused) and Person.objects.get().first_name == "Still here"
    return False


@pytest.mark.parametrize(
    "spoil",
    [
        lambda whole: b"",
        lambda whole: b"something else altogether",
        lambda whole: whole + b"and more",
        lambda whole: gzip.compress(b"no archive"),
        lambda whole: gzip.compress(gzip.decompress(whole)[:1000]),
        lambda whole: gzip.compress(gzip.decompress(whole)[512:]),
    ],
    ids=["empty", "no backup at all", "more behind it", "no archive", "half an archive", "no head"],
)
def test_a_damaged_backup_changes_nothing(kept: Path, spoil) -> None:  # type: ignore[no-untyped-def]
    kept.write_bytes(spoil(kept.read_bytes()))
    assert refused_unchanged(kept)


def test_one_byte_turned_over_anywhere_is_noticed(kept: Path) -> None:
    whole = kept.read_bytes()
    # A gzip file (RFC 1952) begins with ten bytes and its own name, a zero behind it; of these the time, the
    # system and the name say nothing about what is inside.
    head = whole.index(b"\0", 10) + 1
    spots = {0, 1, 2, head, head + 1, len(whole) - 8, len(whole) - 4, len(whole) - 1}
    spots |= {head + number * (len(whole) - head) // 60 for number in range(60)}
    missed = []
    for spot in sorted(spots):
        kept.write_bytes(whole[:spot] + bytes([whole[spot] ^ 0xFF]) + whole[spot + 1 :])
        if not refused_unchanged(kept):
            missed.append(spot)
    assert missed == []


def test_a_backup_cut_off_anywhere_is_noticed(kept: Path) -> None:
    whole = kept.read_bytes()
    lengths = {1, 2, 9, 10, 11, len(whole) - 9, len(whole) - 8, len(whole) - 4, len(whole) - 1}
    lengths |= {number * len(whole) // 40 for number in range(40)}
    missed = []
    for length in sorted(lengths):
        kept.write_bytes(whole[:length])
        if not refused_unchanged(kept):
            missed.append(length)
    assert missed == []


WRITTEN = {"format": "edgetally-backup-1", "made_at": "", "vendor": "", "migrations": [], "rows": {}, "files": {}}


@pytest.mark.parametrize(
    "written",
    [
        b"",
        b"\xff\xfe",
        b"[" * 100_000,
        b"[1]",
        b'{"format": 1}',
        b'{"format": "edgetally-backup-1"}',
        json.dumps(WRITTEN | {"made_at": 1}).encode(),
        json.dumps(WRITTEN | {"migrations": [{}]}).encode(),
        json.dumps(WRITTEN | {"rows": {"crib_person": "1"}}).encode(),
    ],
    ids=["empty", "no text", "too deep", "a list", "no format", "format alone", "no time", "no name", "no count"],
)
def test_a_manifest_that_says_too_little_is_refused(kept: Path, written: bytes) -> None:
    repacked(kept, {MANIFEST: written})
    assert refused_unchanged(kept)


def test_a_folder_or_a_file_that_may_not_be_read_is_told(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert refused_unchanged(kept.parent)

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(tarfile.TarFile, "extractall", full)
    with pytest.raises(CommandError, match=r"cannot be unpacked \(No space left on device\); nothing was changed"):
        call_command("restore", kept, "--yes")


def test_a_photo_that_cannot_be_put_back_is_named(kept: Path, settings: Settings) -> None:
    settings.MEDIA_ROOT = kept  # a file: no folder can be made in it
    with pytest.raises(CommandError, match=r"The database is restored, but the photo .*edge 7.jpg cannot be written"):
        call_command("restore", kept, "--yes", stdout=io.StringIO())


def repacked(file: Path, changes: dict[str, bytes]) -> None:
    """The same archive with some members replaced or added."""
    with tarfile.open(file) as old:
        members = {one.name: old.extractfile(one).read() for one in old.getmembers()}  # type: ignore[union-attr]
    with tarfile.open(file, "w:gz") as new:
        for name, content in (members | changes).items():
            about = tarfile.TarInfo(name)
            about.size = len(content)
            new.addfile(about, io.BytesIO(content))


def manifest_of(file: Path) -> dict[str, object]:
    with tarfile.open(file) as archive:
        manifest: dict[str, object] = json.load(archive.extractfile(MANIFEST))  # type: ignore[arg-type]
    return manifest


def test_a_member_that_was_changed_or_slipped_in_is_noticed(kept: Path) -> None:
    repacked(kept, {"media/wear/edge 7.jpg": b"another picture"})
    with pytest.raises(CommandError, match="damaged, so nothing was changed"):
        call_command("restore", kept, "--yes")


def test_a_member_that_would_land_outside_is_refused(kept: Path) -> None:
    outside = kept.parent.parent / "escaped"
    repacked(kept, {f"../../{outside.name}": b"boo"})
    with pytest.raises(CommandError, match="nothing was changed"):
        call_command("restore", kept, "--yes")
    assert not outside.exists()


def test_a_backup_of_a_newer_version_or_another_database_names_the_way_out(kept: Path) -> None:
    manifest = manifest_of(kept)
    newer = {**manifest, "migrations": [*manifest["migrations"], "crib.9999_later"]}  # type: ignore[misc]
    repacked(kept, {MANIFEST: json.dumps(newer).encode()})
    with pytest.raises(CommandError, match=r"newer version.*nothing was changed"):
        call_command("restore", kept, "--yes")
    repacked(kept, {MANIFEST: json.dumps({**manifest, "vendor": "other"}).encode()})
    with pytest.raises(CommandError, match=r"DATABASE_URL.*nothing was changed"):
        call_command("restore", kept, "--yes")


def test_rows_that_do_not_add_up_are_noticed_before_anything_is_replaced(kept: Path, lead: Person) -> None:
    manifest = manifest_of(kept)
    rows = dict(manifest["rows"])  # type: ignore[call-overload]
    rows["crib_person"] += 1
    repacked(kept, {MANIFEST: json.dumps({**manifest, "rows": rows}).encode()})
    Person.objects.update(first_name="Still here")
    with pytest.raises(CommandError, match="nothing was changed"):
        call_command("restore", kept, "--yes")
    assert Person.objects.get().first_name == "Still here"


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="There is no backup"):
        call_command("restore", tmp_path / "none", "--yes")


def test_a_folder_that_is_not_there_is_told(lead: Person, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("backup", tmp_path / "nowhere" / "file")


def test_a_broken_sqlite_file_is_never_loaded(tmp_path: Path) -> None:
    place = tmp_path / databases.Sqlite.FILE
    with sqlite3.connect(place) as database:
        database.execute("CREATE TABLE a (b)")
    database.close()
    place.write_bytes(place.read_bytes()[:100] + b"\0" * 4000)
    with pytest.raises(CommandError, match="damaged"):
        databases.Sqlite(connection).check(tmp_path, {"a": 0})


def test_a_token_is_made_once_and_anew_only_when_asked(lead: Person) -> None:
    def token(*more: str) -> str:
        said = io.StringIO()
        call_command("token", "ada", *more, stdout=said)
        return said.getvalue().strip()

    first = token()
    assert len(first) == 40
    assert token() == first
    assert token("--new") != first


def test_no_token_for_nobody_or_for_somebody_who_left(lead: Person) -> None:
    with pytest.raises(NotFound, match="nobody"):
        call_command("token", "nobody")
    gone, _ = take_on_person(username="gone", first_name="Gone", last_name="Away", role="machinist", who=None)
    retire_person(person=gone, who=lead)
    with pytest.raises(Refused, match="has left"):
        call_command("token", "gone")
