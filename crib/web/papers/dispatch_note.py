"""The figures of the note that goes with tools to a regrind shop."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from crib.stock.models import Item
from crib.stock.records import Dispatch
from crib.web import formats


def dispatch_note_of(sent: Dispatch, system: str) -> dict[str, Any]:
    """What the paper says, in the reader's units; a figure that nobody knows is a dash."""
    lines = sorted(sent.lines.all(), key=lambda line: line.pk)
    return {
        "number": sent.pk,
        "shop": sent.shop.name,
        "work": sent.get_work_display(),
        "sent": timezone.localdate(sent.sent_at).isoformat(),
        "by": str(sent.sent_by),
        "due": sent.due_on.isoformat() if sent.due_on else "",
        "note": sent.note,
        "lines": [
            {
                "label": line.item.label,
                "design": line.item.design.code,
                "what": line.item.design.description,
                "diameter": _said(line.item.diameter_mm or line.item.design.diameter_mm, system),
                "length": _said(line.item.length_mm or line.item.design.length_mm, system),
                "grind": _grind(line.item),
            }
            for line in lines
        ],
    }


def _said(value: float | None, system: str) -> str:
    return "–" if value is None else formats.amount(value, "mm", system)


def _grind(item: Item) -> str:
    return f"{item.regrinds_done} of {item.design.regrinds_allowed}" if item.design.regrinds_allowed else "–"
