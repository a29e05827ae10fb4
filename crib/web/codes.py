"""Draws the two-dimensional codes of labels as SVG: Data Matrix (ISO/IEC 16022), or QR (ISO/IEC 18004) by choice."""

from __future__ import annotations

from collections.abc import Sequence

import segno
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from ppf.datamatrix import DataMatrix

# Modules left white round the code, as each standard asks.
QUIET_DATA_MATRIX, QUIET_QR = 1, 4


def modules(text: str, *, as_qr: bool = False) -> tuple[list[list[int]], int]:
    """The code's rows of dark and light modules, and how many modules of white it wants round it."""
    if as_qr:
        # A micro QR code is not read by most telephones.
        return [list(row) for row in segno.make(text, micro=False, error="m").matrix], QUIET_QR
    return [list(row) for row in DataMatrix(text).matrix], QUIET_DATA_MATRIX


def drawing(text: str, *, as_qr: bool = False) -> SafeString:
    """The code with its quiet zone as SVG, one unit to a module."""
    rows, quiet = modules(text, as_qr=as_qr)
    return _drawing(rows, quiet, text)


def data_matrix(text: str) -> SafeString:
    return drawing(text)


def _drawing(rows: Sequence[Sequence[int]], quiet: int, text: str) -> SafeString:
    size = len(rows) + 2 * quiet
    path = "".join(
        f"M{column + quiet} {line + quiet}h1v1h-1z"
        for line, row in enumerate(rows)
        for column, dark in enumerate(row)
        if dark
    )
    return format_html(
        '<svg viewBox="0 0 {} {}" role="img" aria-label="Code of {}" shape-rendering="crispEdges">'
        '<path fill="#ffffff" d="M0 0h{}v{}H0z"/><path fill="#000000" d="{}"/></svg>',
        size,
        size,
        text,
        size,
        size,
        mark_safe(path),  # digits and letters made just above
    )
