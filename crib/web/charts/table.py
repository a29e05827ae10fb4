"""The numbers behind a chart, folded away beneath it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString


def data_table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> SafeString:
    """A table of what a chart shows, the first column naming the row; every text is escaped."""
    head = format_html_join(
        "", '<th scope="col"{}>{}</th>', ((_num(place), words) for place, words in enumerate(heads))
    )
    body = format_html_join("", "<tr>{}</tr>", ((_row(row),) for row in rows))
    return format_html(
        '<details class="fold chart-table"><summary>The numbers</summary>'
        '<div class="table-scroll" role="region" tabindex="0" aria-label="{}">'
        '<table class="table table--tight"><caption>{}</caption><thead><tr>{}</tr></thead><tbody>{}</tbody></table>'
        "</div></details>",
        caption,
        caption,
        head,
        body,
    )


def _row(row: Sequence[object]) -> SafeString:
    cells = []
    for place, cell in enumerate(row):
        pattern = '<th scope="row">{}</th>' if place == 0 else '<td class="num">{}</td>'
        cells.append(format_html(pattern, cell))
    return format_html_join("", "{}", ((cell,) for cell in cells))


def _num(place: int) -> SafeString:
    return SafeString(' class="num"' if place else "")
