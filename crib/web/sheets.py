"""Files for a spreadsheet: CSV in which no text can turn into a formula."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence

from django.http import HttpResponse, StreamingHttpResponse

# A spreadsheet takes a text that begins so for a formula; an apostrophe before it keeps it a text.
BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def sheet(name: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> HttpResponse:
    """A CSV file in UTF-8 with a line of heads; numbers stay numbers, and what is not known is empty."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{_plain(name)}.csv"'
    response.write("\ufeff")  # by this mark spreadsheets know UTF-8
    writer = csv.writer(response)
    writer.writerow([_cell(head) for head in heads])
    writer.writerows([_cell(value) for value in row] for row in rows)
    return response


def streamed_sheet(name: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> StreamingHttpResponse:
    """As `sheet`, sent line by line, so that a long file takes no more memory than a short one."""
    writer = csv.writer(_Echo())

    def lines() -> Iterator[str]:
        yield "\ufeff" + writer.writerow([_cell(head) for head in heads])
        for row in rows:
            yield writer.writerow([_cell(value) for value in row])

    response = StreamingHttpResponse(lines(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{_plain(name)}.csv"'
    return response


class _Echo:
    """Answers what a CSV writer writes, instead of keeping it."""

    def write(self, text: str) -> str:
        return text


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    text = str(value)
    return f"'{text}" if text.startswith(BEGINS_A_FORMULA) else text


def _plain(name: str) -> str:
    """A file name that every system takes."""
    return "".join(letter if letter.isascii() and (letter.isalnum() or letter in "-_.") else "-" for letter in name)
