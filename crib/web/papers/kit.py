"""The pick list of a kit: in the order of the bins, with a box to tick and the kit's label to scan."""

from __future__ import annotations

from collections.abc import Sequence

from crib.stock.records import Kit
from crib.stock.selectors import KitLineNow
from crib.web import codes
from crib.web.formats import day
from crib.web.papers.printing import make_pdf

NOWHERE = "~"


def kit_paper(kit: Kit, lines: Sequence[KitLineNow]) -> bytes:
    open_lines = [one for one in lines if one.still] or list(lines)
    ordered = sorted(open_lines, key=lambda one: (one.bins[0] if one.bins else NOWHERE, one.design.code))
    needed = f", needed on {day(kit.needed_on)}" if kit.needed_on else ""
    return make_pdf(
        "kit",
        {
            "title": f"Kit {kit.pk} for {kit.job.code}",
            "more": f"{kit.job.part}. For {kit.parts:,} parts{needed}.",
            "label": kit.label,
            "code": str(codes.data_matrix(kit.label)),
            "taker": str(kit.issued_to) if kit.issued_to else "",
            "lines": [
                {
                    "bins": list(one.bins),
                    "design": one.design.code,
                    "description": one.design.description,
                    "role": one.role,
                    "wanted": one.still or one.want.wanted,
                    "short": one.short,
                    "elsewhere": "; ".join(one.elsewhere),
                    "kept": one.kept_for,
                }
                for one in ordered
            ],
        },
    )
