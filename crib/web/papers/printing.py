"""Turns figures into a PDF. Whatever people typed goes in as data, so that it is printed and never obeyed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.http import HttpResponse

SHEETS = Path(__file__).parent / "sheets"


def make_pdf(sheet: str, figures: Mapping[str, Any]) -> bytes:
    """The PDF of `sheets/<sheet>.typ`, which reads its figures as JSON under `sys.inputs.figures`.

    No clock and no font of the machine goes in: the same figures give the same paper anywhere.
    """
    # Imported late: a web server that prints nothing does not carry the typesetter in its memory.
    import typst

    made = typst.compile(
        SHEETS / f"{sheet}.typ",
        root=SHEETS,
        sys_inputs={"figures": json.dumps(figures)},
        ignore_system_fonts=True,
    )
    assert isinstance(made, bytes)
    return made


def pdf_response(made: bytes, name: str) -> HttpResponse:
    """Show a PDF in the browser, to be saved under `name`."""
    response = HttpResponse(made, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response
