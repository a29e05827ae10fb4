"""How right the forecasts were, beside what naive rivals would have said."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe

from crib.life import selectors
from crib.life.selectors import Held, Judged
from crib.life.words import CAUTION
from crib.web import charts, formats
from crib.web.sheets import sheet

TENTHS = [f"{low}–{low + 10}\u00a0%" for low in range(0, 100, 10)]
HEADS = [
    "design", "material", "kind of cut", "forecasts scored", "edges ended", "inside 80 %", "verdict", "CRPS min",
    "pinball 10 min", "pinball 50 min", "pinball 90 min",
]  # fmt: skip


@require_safe
def accuracy(request: HttpRequest) -> HttpResponse:
    """The whole record of the forecasts."""
    found = selectors.accuracy()
    context = {
        "found": found,
        "chart": tenths_chart(found.overall.held),
        "warned": [(one.of, one.warnings) for one in found.groups if one.warnings],
        "caution": CAUTION,
    }
    return render(request, "crib/life/accuracy.html", context)


def tenths_chart(held: Held) -> SafeString:
    """Where ends fell in their forecasts, a tenth each if the forecasts are right; with the numbers beneath."""
    title = "Where in its forecast each edge ended"
    drawn = charts.share_bars(
        TENTHS, held.tenths, title=title, says=held.tenths_words, x_label="share of the forecast gone when it ended",
        y_label="edges", right=0.1, share_words="edges that ended there", right_words="one in ten would be right",
    )  # fmt: skip
    rows = [[name, formats.share(one)] for name, one in zip(TENTHS, held.tenths, strict=True)]
    return mark_safe(drawn + charts.data_table(title, ["Of the forecast", "Edges"], rows))  # both escaped


@require_safe
def accuracy_sheet(request: HttpRequest) -> HttpResponse:
    """The record by group, for a spreadsheet."""
    rivals = [one.name for one in selectors.Worth().against]
    heads = [
        *HEADS,
        *(
            f"{name}: {what}"
            for name in rivals
            for what in ("forecasts", "ours min", "theirs min", "skill", "from", "to")
        ),
    ]
    return sheet("forecasts-scored", heads, [_row(one) for one in selectors.accuracy().groups])


def _row(one: Judged) -> list[object]:
    worth = one.worth
    row: list[object] = [
        one.of.design.code, one.of.material.name, one.of.cut_words, worth.forecasts, one.held.edges,
        one.held.share, one.held.words, worth.crps, worth.pinball_10, worth.pinball_50, worth.pinball_90,
    ]  # fmt: skip
    for rival in worth.against:
        row += [rival.forecasts, rival.ours, rival.theirs, rival.skill, rival.low, rival.high]
    return row
