"""Counting: start a count, count on a tablet, review, post; what is due, and how right the books were."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_POST, require_safe

from crib.core.errors import BadInput, ShopError
from crib.floor import services as floor
from crib.stock import selectors, services
from crib.stock.models import Condition, Count
from crib.stock.selectors import MonthCounted, ToCount
from crib.stock.services import CountPosition
from crib.web import charts, formats
from crib.web.acting import acting_person, need_acting, needs
from crib.web.forms import show_refusal
from crib.web.sheets import sheet
from crib.web.stock_forms import CountForm, CountScanForm
from crib.web.views.stock_acts import answer_form, form_page, posted

# What a shop may hold its counts against; common practice, no source.
SHARE_AIMED_AT = 0.97
LATER_SHOWN = 100
HEADS = [
    "month", "counts", "lines", "lines right", "share right", "pieces too many", "pieces too few", "pieces net",
    "pieces absolute", "pieces in another place", "money net", "money absolute",
]  # fmt: skip


@form_page
def counts(request: HttpRequest) -> HttpResponse:
    """The counts there are; start another."""
    form = CountForm(posted(request), initial={"what": request.GET.get("what", "")[:100].replace("\x00", "")})
    if request.method == "POST":
        return _start_count(request, form)
    return render(request, "crib/stock/counts.html", {"form": form, "counts": selectors.recent_counts()})


@needs("keep_stock")
def _start_count(request: HttpRequest, form: CountForm) -> HttpResponse:
    def act() -> HttpResponse:
        started = services.start_count(who=need_acting(request), **form.draft())
        return redirect("crib:count", number=started.pk)

    return answer_form(request, form, act, "crib/stock/counts.html", {"counts": selectors.recent_counts()})


@form_page
def count(request: HttpRequest, number: int) -> HttpResponse:
    """One count: the field and the next line while it is open; books, shelf and differences when it is reviewed."""
    found = selectors.count_with(number=number)
    if request.method == "POST":
        return _take_scan(request, found)
    return _shown(request, found, _position(request, found), CountScanForm())


@needs("keep_stock")
def _take_scan(request: HttpRequest, found: Count) -> HttpResponse:
    who, form = need_acting(request), CountScanForm(request.POST)
    at, status = CountPosition(place=found.place), 400
    if form.is_valid():
        given = form.cleaned_data
        try:
            at = _stood_at(found, given["place"], given["design"], given["condition"])
            then = services.take_count_scan(
                count=found, text=given["text"], who=who, at=at, key=given["key"], marker=given["marker"]
            )
        except ShopError as refused:
            show_refusal(form, refused)
            status = refused.status
        else:
            said = {"good": messages.success, "caution": messages.warning}.get(then.tone, messages.info)
            said(request, then.words)
            return redirect(_address(found, then))
    return _shown(request, found, at, CountScanForm(), refused=form, status=status)


def _shown(
    request: HttpRequest,
    found: Count,
    at: CountPosition,
    form: CountScanForm,
    *,
    refused: CountScanForm | None = None,
    status: int = 200,
) -> HttpResponse:
    lines = selectors.count_sheet(count=found)
    looked_at = [one for one in lines if one.found is not None]
    context: dict[str, Any] = {
        "count": found,
        "form": form,
        "refused": refused,
        "at": at,
        "books": found.state != Count.State.OPEN or not found.blind,
        "sheet": lines,
        "left": sum(not one.done for one in lines),
        "again": [one for one in lines if one.again],
    }
    if found.state == Count.State.OPEN:
        context |= _line_at(found, at, lines)
    else:
        context |= {"sheet": looked_at, "tally": selectors.tally_of(looked_at)}
        context["same_person"] = _counted_by(request, found, looked_at)
    return render(request, "crib/stock/count.html", context, status=status)


def _line_at(found: Count, at: CountPosition, lines: list[ToCount]) -> dict[str, Any]:
    """The line somebody stands at, and the last move that touched it, so that one made meanwhile is noticed."""
    if at.design is None or at.place is None:
        return {"line": None, "following": selectors.next_to_count(lines, place=at.place)}
    line = selectors.line_shown(count=found, design=at.design, place=at.place, condition=at.condition)
    rest = [one for one in lines if one.spot != line.spot]
    return {
        "line": line,
        "marker": selectors.spot_marker(design=at.design, place=at.place),
        "following": selectors.next_to_count(rest, place=at.place),
        "conditions": Condition.choices,
    }


def _counted_by(request: HttpRequest, found: Count, lines: list[ToCount]) -> bool:
    """Whether whoever looks at the differences is among those who counted."""
    who = acting_person(request)
    counters = {found.counted_by_id, *(one.line.counted_by_id for one in lines if one.line)}
    return found.state == Count.State.REVIEW and who is not None and who.pk in counters


def _position(request: HttpRequest, found: Count) -> CountPosition:
    """The line that the address names; else the first that is left."""
    numbers = []
    for name in ("place", "design"):
        text = request.GET.get(name, "")
        if text and not (text.isascii() and text.isdigit() and len(text) < 19):
            raise BadInput(name, "This address cannot be read. Open the count anew.")
        numbers.append(int(text) if text else None)
    return _stood_at(found, numbers[0], numbers[1], request.GET.get("condition", ""))


def _stood_at(found: Count, place: int | None, design: int | None, condition: str) -> CountPosition:
    return CountPosition(
        place=selectors.place_with(number=place) if place else found.place,
        design=selectors.design_with(number=design) if design else None,
        condition=selectors.read_condition(condition or Condition.NEW),
    )


def _address(found: Count, at: CountPosition) -> str:
    words = {"place": at.place.pk if at.place else None, "design": at.design.pk if at.design else None}
    named = {name: value for name, value in words.items() if value is not None}
    if at.design is not None:
        named |= {"condition": str(at.condition)}  # type: ignore[dict-item]  # a word beside numbers, for the address
    return f"{reverse('crib:count', args=[found.pk])}?{urlencode(named)}"


@require_POST
@needs("keep_stock")
def finish_count(request: HttpRequest, number: int) -> HttpResponse:
    """Hand the count over for review."""
    services.finish_count(count=selectors.count_with(number=number), who=need_acting(request))
    messages.success(request, "The count is finished. It is posted after a review, best by somebody else.")
    return redirect("crib:count", number=number)


@require_POST
@needs("keep_stock")
def reopen_count(request: HttpRequest, number: int) -> HttpResponse:
    """Send the count back to be gone on with."""
    services.reopen_count(count=selectors.count_with(number=number), who=need_acting(request))
    messages.success(request, "The count is open again.")
    return redirect("crib:count", number=number)


@require_POST
@needs("keep_stock")
def post_count(request: HttpRequest, number: int) -> HttpResponse:
    """After review the differences become moves."""
    moves = floor.post_count(count=selectors.count_with(number=number), who=need_acting(request))
    differences = {0: "Nothing differed.", 1: "1 difference is in the ledger."}
    said = differences.get(len(moves), f"{len(moves)} differences are in the ledger.")
    messages.success(request, f"The count is posted. {said}")
    return redirect("crib:count", number=number)


@require_POST
@needs("keep_stock")
def drop_count(request: HttpRequest, number: int) -> HttpResponse:
    services.drop_count(count=selectors.count_with(number=number), who=need_acting(request))
    messages.success(request, "The count is dropped; nothing was posted.")
    return redirect("crib:counts")


# --- what is due, and how right the books were ----------------------------------------------------------


@require_safe
def counts_due(request: HttpRequest) -> HttpResponse:
    """What is to be counted today by value and use, and what follows."""
    day = selectors.counting_day()
    classes = [(letter, days, day.kept[letter]) for letter, days in selectors.DAYS_BETWEEN.items()]
    context = {
        "day": day,
        "classes": classes,
        "later": day.later[:LATER_SHOWN],
        "more": max(len(day.later) - LATER_SHOWN, 0),
    }
    return render(request, "crib/stock/counts_due.html", context)


@require_safe
def count_accuracy(request: HttpRequest) -> HttpResponse:
    """How right the books were found to be, month by month."""
    months = selectors.accuracy_by_month()
    return render(request, "crib/stock/count_accuracy.html", {"months": months, "chart": _accuracy_chart(months)})


def _accuracy_chart(months: list[MonthCounted]) -> SafeString:
    title = "Lines on which books and shelf agreed"
    names = [f"{one.month:%b %Y}" for one in months]
    drawn = charts.share_bars(
        names, [one.tally.share for one in months], title=title, says=_accuracy_says(months),
        x_label="month of posting", y_label="share of lines", right=SHARE_AIMED_AT,
        share_words="lines right", right_words="aimed at",
    )  # fmt: skip
    return mark_safe(drawn)  # escaped by the chart


def _accuracy_says(months: list[MonthCounted]) -> str:
    if not months:
        return "No count is posted yet."
    last = months[-1]
    return f"In {last.month:%B %Y} {formats.share(last.tally.share)} of {last.tally.lines} lines were right."


@require_safe
def count_accuracy_sheet(request: HttpRequest) -> HttpResponse:
    """The months, for a spreadsheet."""
    return sheet("count-accuracy", HEADS, [_month_row(one) for one in selectors.accuracy_by_month()])


def _month_row(one: MonthCounted) -> list[object]:
    tally = one.tally
    return [
        f"{one.month:%Y-%m}", one.counts, tally.lines, tally.right, tally.share, tally.more, tally.fewer, tally.net,
        tally.absolute, tally.misplaced, float(tally.money_net), float(tally.money_absolute),
    ]  # fmt: skip
