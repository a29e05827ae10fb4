"""Reads a file of runs row by row: what cannot be read is told by line and column, and the rest goes on.

Every line is a row of its own, so that a stray quote spoils one row and not the rest of the file, and so that memory
stays flat whatever the file holds. What a spreadsheet would take for a formula is text here, and nothing else.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO

from django.utils import timezone

from crib.core.errors import BadInput
from crib.floor.drafts import RunDraft
from crib.floor.models import Run

COLUMNS = ("machine", "pocket", "edge", "operation", "started_at", "ended_at", "minutes_in_cut", "parts", "source_key")
ALWAYS = ("operation", "started_at", "ended_at", "parts", "source_key")
LONGEST_LINE = 16_384
LONGEST_FIELD = 200


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that was refused: its line in the file, the column at fault and the reason."""

    line: int
    column: str
    reason: str

    def as_dict(self) -> dict[str, int | str]:
        return {"line": self.line, "column": self.column, "reason": self.reason}


@dataclass(frozen=True, slots=True)
class GoodRow:
    """A row that could be read."""

    line: int
    draft: RunDraft


class _Unreadable(Exception):
    def __init__(self, column: str, reason: str) -> None:
        super().__init__(reason)
        self.column = column
        self.reason = reason


def read_rows(file: BinaryIO) -> Iterator[GoodRow | BadRow]:
    """Each row of the file after its header; a header that cannot be used is refused as a whole."""
    lines = _lines(file)
    place = _header(lines)
    for number, raw in lines:
        try:
            text = _text(raw)
            if not text.strip(" \t\r\n,"):
                continue
            fields = _fields(text)
            if len(text) > LONGEST_FIELD:
                _check_lengths(fields, place)
            yield GoodRow(number, _draft(fields, place))
        except _Unreadable as unread:
            yield BadRow(number, unread.column, unread.reason)


def _lines(file: BinaryIO) -> Iterator[tuple[int, bytes | None]]:
    """Numbered lines; None stands for one too long to be a run, which is never held in memory whole."""
    number = 0
    while raw := file.readline(LONGEST_LINE + 1):
        number += 1
        if len(raw) <= LONGEST_LINE or raw.endswith(b"\n"):
            yield number, raw
            continue
        while raw and not raw.endswith(b"\n"):
            raw = file.readline(LONGEST_LINE)
        yield number, None


def _header(lines: Iterator[tuple[int, bytes | None]]) -> dict[str, int]:
    """Where each column stands."""
    _, raw = next(lines, (0, b""))
    if raw is not None and raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise BadInput("file", "The file is in UTF-16; save it as CSV in UTF-8.")
    try:
        names = [name.strip().lower() for name in _fields(_text(raw).removeprefix("\ufeff"))]
    except _Unreadable as unread:
        raise BadInput("file", f"The first line cannot be read: {unread.reason}") from unread
    if names == [""] or not names:
        raise BadInput("file", f"The file is empty; its first line names the columns: {', '.join(COLUMNS)}.")
    if len(names) == 1 and (";" in names[0] or "\t" in names[0]):
        raise BadInput("file", "The columns are set apart by semicolons or tabs; save the file with commas.")
    _check_names(names)
    return {name: place for place, name in enumerate(names)}


def _check_names(names: list[str]) -> None:
    for name in names:
        if name not in COLUMNS:
            raise BadInput("file", f"There is no column “{name[:40]}” for runs; the columns are {', '.join(COLUMNS)}.")
        if names.count(name) > 1:
            raise BadInput("file", f"The column “{name}” stands twice in the first line.")
    missing = [name for name in ALWAYS if name not in names]
    if "edge" not in names:
        missing += [name for name in ("machine", "pocket") if name not in names]
    if missing:
        raise BadInput("file", f"The first line names the columns, and these are missing: {', '.join(missing)}.")


def _text(raw: bytes | None) -> str:
    if raw is None:
        raise _Unreadable("line", f"The line is longer than {LONGEST_LINE} characters, so it cannot be a run.")
    try:
        text = raw.decode()
    except UnicodeDecodeError as wrong:
        raise _Unreadable("line", "The line is not in UTF-8; save the file as CSV in UTF-8.") from wrong
    if "\0" in text:
        raise _Unreadable("line", "The line holds a NUL character; it is damaged.")
    return text


def _fields(text: str) -> list[str]:
    text = text.rstrip("\r\n")
    if '"' not in text:
        return text.split(",")
    try:
        return next(csv.reader([text], strict=True))
    except csv.Error as wrong:
        raise _Unreadable("line", "The quotes in the line do not close; each run stands on one line.") from wrong


def _draft(fields: list[str], place: dict[str, int]) -> RunDraft:
    if len(fields) != len(place):
        raise _Unreadable("line", f"The line has {len(fields)} fields, but the first line names {len(place)} columns.")
    machine, pocket, edge, operation, started, ended, minutes, parts, key = [
        fields[place[name]].strip() if name in place else "" for name in COLUMNS
    ]
    return RunDraft(
        machine=machine or None,
        pocket=_whole("pocket", pocket) if pocket else None,
        edge=edge or None,
        operation=operation,
        started_at=_moment("started_at", started),
        ended_at=_moment("ended_at", ended),
        minutes_in_cut=_minutes(minutes),
        parts=_whole("parts", parts),
        source=Run.Source.FILE,
        source_key=key,
    )


def _check_lengths(fields: list[str], place: dict[str, int]) -> None:
    for name, index in place.items():
        if index < len(fields) and len(fields[index]) > LONGEST_FIELD:
            raise _Unreadable(name, f"The field holds {len(fields[index])} characters; {LONGEST_FIELD} are the most.")


def _whole(column: str, text: str) -> int:
    if text.isascii() and text.removeprefix("-").isdigit() and len(text) < 12:
        return int(text)
    if not text:
        raise _Unreadable(column, "The field is empty; it needs a whole number.")
    raise _Unreadable(column, f"“{text[:20]}” is not a whole number.")


def _minutes(text: str) -> float | None:
    if not text:
        return None
    if text.isascii() and "_" not in text:
        try:
            return float(text)
        except ValueError:
            pass
    raise _Unreadable("minutes_in_cut", f"“{text[:20]}” is not a number of minutes, such as 12.5.")


def _moment(column: str, text: str) -> datetime:
    """A time with its offset; one without is meant in the shop's own zone."""
    if len(text) >= 16:
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            pass
        else:
            return moment if moment.tzinfo is not None else timezone.make_aware(moment)
    raise _Unreadable(column, f"“{text[:20]}” is not a time; write it as 2026-11-25T10:00:00+01:00.")
