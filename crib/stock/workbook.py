"""Reads a spreadsheet as rows of text, whoever made it: xlsx, or CSV in the usual codings; nothing in it is run.

What a stranger may send is bounded before anything large is built from it: an xlsx is a zip, whose entries are unpacked
here under a limit, looked through for cells that stand absurdly far out, and packed anew, so that the reader of
workbooks gets only what was measured. A formula counts by the value that was saved with it; in CSV it is text.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from crib.core.errors import BadInput

LARGEST_BYTES = 10 * 1024 * 1024
LARGEST_UNPACKED = 100 * 1024 * 1024
MOST_ENTRIES, MOST_SHEETS = 1_000, 40
MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 20_000, 60, 500
# Spreadsheets format rows far below the last filled one; beyond these somebody means harm.
FARTHEST_ROW, MOST_CELLS_SPANNED = 200_000, 6_000_000

XLSX, OLD_OFFICE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_NEEDED = re.compile(
    r"\A(\[Content_Types\]\.xml|_rels/.*|xl/(?!media/|drawings/|charts/|embeddings/|printerSettings/).*)\Z"
)
_REFERENCE = re.compile(rb"\br\s*=\s*[\"']\s*([A-Za-z]{0,9})([0-9]{1,12})\s*[\"']")
_CHUNK, _OVERLAP = 1 << 20, 64
_DELIMITERS = (";", "\t", ",", "|")


@dataclass(frozen=True, slots=True)
class Row:
    """A row that holds something, with its number in the sheet."""

    line: int
    cells: list[str]


@dataclass(frozen=True, slots=True)
class Worksheet:
    """The filled rows of one sheet."""

    name: str
    rows: list[Row]


def read_workbook(content: bytes, name: str) -> list[Worksheet]:
    """The sheets of a file that hold anything; refused, with the way out, when it is no such file or too large."""
    if len(content) > LARGEST_BYTES:
        raise BadInput("file", f"A file has at most {LARGEST_BYTES // 1024 // 1024} MB. Divide it.")
    if content.startswith(OLD_OFFICE):
        raise BadInput("file", "This is an old or a locked workbook. Save it as xlsx without a password, or as CSV.")
    if content.startswith(XLSX):
        sheets = _read_xlsx(content)
    else:
        sheets = [Worksheet(name[:60], _rows(enumerate(_read_csv(content), start=1)))]
    filled = [sheet for sheet in sheets if sheet.rows]
    if not filled:
        raise BadInput("file", "There is nothing in this file. Save the sheet with its rows, and choose it again.")
    if sum(len(sheet.rows) for sheet in filled) > MOST_ROWS:
        raise BadInput("file", f"A file has at most {MOST_ROWS:,} rows over all its sheets. Divide it.")
    return filled


def _rows(lines: Iterable[tuple[int, Iterable[Any]]]) -> list[Row]:
    rows: list[Row] = []
    for line, values in lines:
        cells = [text_of(value) for value in values]
        while cells and not cells[-1]:
            cells.pop()
        if not cells:
            continue
        if len(cells) > MOST_COLUMNS:
            raise BadInput("file", f"Row {line} has more than {MOST_COLUMNS} columns. Leave out what is not needed.")
        if len(rows) == MOST_ROWS:
            raise BadInput("file", f"A file has at most {MOST_ROWS:,} rows. Divide it.")
        rows.append(Row(line, cells))
    return rows


def text_of(value: object) -> str:
    """A cell as a person reads it: a number without a needless .0, a day without midnight, one line of text."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        value = value.date()
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    text = " ".join("".join(one if one.isprintable() else " " for one in str(value)[: 4 * LONGEST_CELL]).split())
    return text[:LONGEST_CELL]


# --- xlsx -------------------------------------------------------------------------------------------------


def _read_xlsx(content: bytes) -> list[Worksheet]:
    # Imported late: a web server that reads no sheets does not carry the reader in its memory.
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        packed = _packed_anew(content)
        book = CalamineWorkbook.from_filelike(io.BytesIO(packed))
        names = book.sheet_names
        if len(names) > MOST_SHEETS:
            raise BadInput("file", f"A workbook has at most {MOST_SHEETS} sheets. Save the one that counts by itself.")
        return [Worksheet(name[:60], _sheet_rows(book.get_sheet_by_name(name))) for name in names]
    except (CalamineError, zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, ValueError, EOFError) as bad:
        raise BadInput("file", "This workbook cannot be read. Open it, save it as xlsx or CSV, and try again.") from bad


def _sheet_rows(sheet: Any) -> list[Row]:
    first = sheet.start[0] if sheet.start else 0
    left = sheet.start[1] if sheet.start else 0
    values = sheet.to_python(skip_empty_area=True)
    _fill_merged(values, sheet.merged_cell_ranges or [], first, left)
    return _rows(enumerate(values, start=first + 1))


def _fill_merged(values: list[list[Any]], ranges: Iterable[Any], first: int, left: int) -> None:
    """A bin written once over several merged rows holds for each of them."""
    for number, ((top, start), (bottom, end)) in enumerate(ranges):
        if number == MOST_ROWS or bottom - top > MOST_ROWS or end - start > MOST_COLUMNS:
            return
        if not (0 <= top - first < len(values) and 0 <= start - left < len(values[top - first])):
            continue
        said = values[top - first][start - left]
        if said in ("", None) or start != end:
            continue  # a title over several columns is no value of each of them
        for row in range(top - first, min(bottom - first + 1, len(values))):
            values[row][start - left] = said


def _packed_anew(content: bytes) -> bytes:
    made = io.BytesIO()
    left = LARGEST_UNPACKED
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as new,
    ):
        entries = {entry.filename: entry for entry in old.infolist() if _NEEDED.match(entry.filename)}
        if "xl/workbook.xml" not in entries:
            raise BadInput("file", "This is no xlsx workbook. Save it as xlsx or CSV.")
        if len(old.infolist()) > MOST_ENTRIES or sum(entry.file_size for entry in entries.values()) > left:
            raise _bomb()
        for name, entry in entries.items():
            with old.open(entry) as packed, new.open(name, "w") as kept:
                left -= _copied(packed, kept, left, is_sheet=name.startswith("xl/worksheets/"))
    return made.getvalue()


def _copied(packed: Any, kept: Any, left: int, *, is_sheet: bool) -> int:
    """Copy an entry, counting what really comes out and looking where its cells stand."""
    size, farthest, widest, tail = 0, 0, 0, b""
    while chunk := packed.read(_CHUNK):
        size += len(chunk)
        if size > left:
            raise _bomb()
        if is_sheet:
            if size == len(chunk) and chunk[:2] in (b"\xff\xfe", b"\xfe\xff"):
                raise BadInput("file", "This workbook is written in an unusual coding. Save it as xlsx once more.")
            for column, row in _REFERENCE.findall(tail + chunk):
                farthest = max(farthest, int(row))
                widest = max(widest, _column_number(column))
            tail = chunk[-_OVERLAP:]
            if farthest > FARTHEST_ROW or farthest * max(widest, 1) > MOST_CELLS_SPANNED:
                raise BadInput(
                    "file", "A cell stands far outside the rest. Delete what is below and beside the table, then save."
                )
        kept.write(chunk)
    return size


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def _bomb() -> BadInput:
    return BadInput("file", "This workbook unpacks to far too much. Save the one sheet that counts as CSV.")


# --- CSV --------------------------------------------------------------------------------------------------


def _read_csv(content: bytes) -> list[list[str]]:
    text = _decoded(content)
    if text[:4].lower() == "sep=" and "\n" in text:
        text = text.split("\n", 1)[1]
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text)))
    except csv.Error as bad:
        raise BadInput("file", f"This cannot be read as CSV: {bad}. Save it as xlsx instead.") from bad
    return rows


def _decoded(content: bytes) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        coding = "utf-16"
    elif len(content) > 3 and content[1:200:2].count(0) > len(content[1:200:2]) // 2:
        coding = "utf-16-le"
    else:
        coding = "utf-8-sig"
    try:
        text = content.decode(coding)
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
    if (
        "\x00" in text
        or sum(not one.isprintable() and not one.isspace() for one in text[:4000]) > len(text[:4000]) // 20
    ):
        raise BadInput("file", "This is no spreadsheet. Choose an xlsx or a CSV file.")
    return text


def _delimiter(text: str) -> str:
    """The one that parts the first lines into the most columns, equally many in most of them."""
    head = text[:20_000].splitlines()[:30]

    def worth(delimiter: str) -> tuple[int, int]:
        counts = [len(row) for row in csv.reader(head, delimiter=delimiter) if row]
        usual = max(set(counts), key=counts.count) if counts else 1
        return (counts.count(usual) * (usual - 1), usual)

    try:
        return max(_DELIMITERS, key=worth)
    except csv.Error:
        return ","
